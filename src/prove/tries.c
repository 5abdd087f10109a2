// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * tries.c - where nothing can be proved: load profiles are tried, and counterexamples sought.
 *
 * A profile has three stages of one load each, of which the last one is the lightest or the heaviest, or two, of which the last one is
 * any load. Quasi-random profiles come first; then, for each statement that none has disproved, the profile that came nearest is
 * bettered by GSL's simplex minimizer. Whole runs (run.h) judge, with all that takes the scenario out of the class. Nothing depends
 * on the clock or on threads.
 *
 * Source: J. A. Nelder, R. Mead, The Computer Journal 7(4), 1965 (gsl_multimin, nmsimplex2); I. M. Sobol, 1967 (gsl_qrng).
 */
#include <gsl/gsl_multimin.h>
#include <gsl/gsl_qrng.h>
#include <math.h>
#include <stdlib.h>

#include "prove/edge.h"
#include "shiftband/prove.h"
#include "shiftband/run.h"

/* Loads of the first two stages, and their lengths, as shares. */
enum { PARAMETERS = 4, STAGES = 3 };

/* How the profiles of a family end, and which statement they speak of besides the stall. */
enum family { FAMILY_LIGHTEST, FAMILY_HEAVIEST, FAMILY_CONSTANT, FAMILIES };

static const enum sb_prove_statement statement_of[FAMILIES] = {SB_PROVE_RETURN, SB_PROVE_REACTION, SB_PROVE_CONSTANT};

/* Runs in which the last stage brings so many commands more than there are gears do not settle. */
enum { COMMANDS_TOO_MANY = 2 };

struct trying {
  struct sb_prove *prove;
  const struct sb_prove_effort *effort;
  struct sb_model model;  /* whose last two parts follow the profile */
  double stage_s, last_s; /* the first stages are at most, the last one is as long */
  double nearest[SB_PROVE_STATEMENTS];
  double nearest_at[SB_PROVE_STATEMENTS][PARAMETERS];
  enum family nearest_in[SB_PROVE_STATEMENTS];
  enum sb_status status;
  struct sb_error err;
};

/* Profiles ------------------------------------------------------------------------------------------------------------- */

static double within(double share)
{
  return fmin(fmax(share, 0.0), 1.0);
}

static void add_corner(const struct trying *trying, struct sb_prove_profile *profile, double time_s, double share)
{
  const struct sb_prove *prove = trying->prove;
  const double *acting = prove->acting_nm, *resisting = prove->resisting_nm;
  const int k = profile->count++;
  profile->time_s[k] = time_s;
  profile->acting_nm[k] = acting[0] + within(share) * (acting[1] - acting[0]);
  profile->resisting_nm[k] = resisting[0] + within(share) * (resisting[1] - resisting[0]);
}

/* To the next corner as fast as the rate allows, where it is bounded. */
static void add_stage(const struct trying *trying, struct sb_prove_profile *profile, double time_s, double share)
{
  const struct sb_load_bounds *bounds = &trying->prove->model->load.bounds;
  if (profile->is_linear && profile->count > 0) {
    const int last = profile->count - 1;
    const double *before = bounds->manner == SB_BOUNDS_ACTS ? profile->acting_nm : profile->resisting_nm;
    const double width = bounds->greatest_nm - bounds->least_nm;
    const double own = width > 0.0 ? (before[last] - bounds->least_nm) / width : 0.0;
    const double start_s = fmax(time_s, profile->time_s[last]);
    add_corner(trying, profile, start_s, own);
    time_s = start_s + fabs(within(share) - own) * width / bounds->rate_nm_s;
  }
  add_corner(trying, profile, time_s, share);
}

static struct sb_prove_profile profile_of(const struct trying *trying, enum family family, const double *at)
{
  struct sb_prove_profile profile = {.is_linear = isfinite(trying->prove->model->load.bounds.rate_nm_s)};
  const double first_s = trying->stage_s * (0.02 + within(at[2]));
  const double second_s = first_s + trying->stage_s * (0.02 + within(at[3]));
  add_stage(trying, &profile, 0.0, at[0]);
  add_stage(trying, &profile, first_s, at[1]);
  if (family != FAMILY_CONSTANT) add_stage(trying, &profile, second_s, family == FAMILY_LIGHTEST ? 0.0 : 1.0);
  profile.duration_s = profile.time_s[profile.count - 1] + trying->last_s;
  return profile;
}

static void take_profile(struct trying *trying, const struct sb_prove_profile *profile)
{
  struct sb_load_part *parts[2] = {sb_edge_acting_part(&trying->model.load),
                                   sb_edge_resisting_part(&trying->model.load)};
  const double *torques[2] = {profile->acting_nm, profile->resisting_nm};
  for (int k = 0; k < 2; k++) {
    parts[k]->ops = sb_load_kind_find("profile");
    parts[k]->axis = SB_OVER_TIME;
    parts[k]->is_held = !profile->is_linear;
    parts[k]->table = (struct sb_table){(size_t)profile->count, profile->time_s, torques[k]};
  }
  const double step_s = trying->model.run.step_s;
  trying->model.run.duration_s = (double)sb_model_step_count(profile->duration_s, step_s) * step_s;
}

/* One gear has nothing to come back to; a drive that is switched off shifts nothing; bodies in the way are a load besides. */
static bool is_asked(const struct sb_model *model, enum sb_prove_statement statement)
{
  if (statement == SB_PROVE_STALL) return true;
  if (model->gearbox.gear_count < 2) return false;
  return statement == SB_PROVE_CONSTANT || (model->drive.schedule.count == 0 && model->load.road.obstacle_count == 0);
}

/* What a run says ------------------------------------------------------------------------------------------------------ */

static size_t commands_after(const struct sb_monitor *monitor, double time_s)
{
  size_t count = 0;
  for (size_t k = 0; k < monitor->shift_kept; k++) count += monitor->shifts[k].command_s > time_s ? 1 : 0;
  return count;
}

/* How near a run comes to disproving a statement; from 1 on it does. */
static double nearness(const struct trying *trying, enum sb_prove_statement statement,
                       const struct sb_prove_profile *profile, const struct sb_run_result *run)
{
  const struct sb_monitor *monitor = &run->monitor;
  const double last_s = profile->time_s[profile->count - 1];
  const int gears = trying->model.gearbox.gear_count;
  switch (statement) {
    case SB_PROVE_STALL:
      if (sb_monitor_find(monitor, SB_VERDICT_STALL) != NULL) return 1.0;
      return fmin(run->sums.standstill_time_s / (trying->model.limits.stall_time_s * 1e3), 0.99);
    case SB_PROVE_RETURN:
      if (run->end_gear != gears) return 1.0;
      if (monitor->shift_count == 0) return 0.0;
      return fmin(fmax(monitor->last_shift.command_s - last_s, 0.0) / trying->last_s, 0.99);
    default: return (double)commands_after(monitor, last_s) / (gears + COMMANDS_TOO_MANY);
  }
}

static void take(struct trying *trying, enum sb_prove_statement statement, enum family family, const double *at,
                 const struct sb_prove_profile *profile, double value)
{
  struct sb_prove *prove = trying->prove;
  if (value > trying->nearest[statement]) {
    trying->nearest[statement] = value;
    trying->nearest_in[statement] = family;
    for (int k = 0; k < PARAMETERS; k++) trying->nearest_at[statement][k] = at[k];
  }
  if (value < 1.0 || prove->statements[statement] != SB_PROOF_UNSHOWN) return;
  prove->statements[statement] = SB_PROOF_DISPROVED;
  prove->profiles[sb_prove_bound_of(statement)] = *profile;
}

static bool is_stopped(const struct trying *trying)
{
  return trying->status != SB_OK || (trying->effort->stop != NULL && *trying->effort->stop != 0);
}

/* One run; how near it comes to disproving a statement. */
static double attempt(struct trying *trying, enum family family, const double *at, enum sb_prove_statement asked)
{
  const struct sb_run_options options = sb_run_options_default();
  const struct sb_prove_profile profile = profile_of(trying, family, at);
  struct sb_run_result run;
  if (is_stopped(trying)) return 0.0;
  take_profile(trying, &profile);
  trying->status = sb_run(&trying->model, &options, &run, &trying->err);
  if (trying->status != SB_OK) return 0.0;
  const enum sb_prove_statement statements[] = {SB_PROVE_STALL, statement_of[family]};
  double value = 0.0;
  for (int k = 0; k < 2; k++) {
    const double own = nearness(trying, statements[k], &profile, &run);
    take(trying, statements[k], family, at, &profile, own);
    if (statements[k] == asked) value = own;
  }
  sb_run_result_clear(&run);
  trying->prove->try_count++;
  if (trying->effort->on_progress != NULL) {
    trying->effort->on_progress(trying->effort->context, trying->prove->try_count, trying->effort->tries);
  }
  return value;
}

/* The search ------------------------------------------------------------------------------------------------------------ */

static void try_random(struct trying *trying, long tries)
{
  gsl_qrng *draws = gsl_qrng_alloc(gsl_qrng_sobol, PARAMETERS);
  if (draws == NULL) {
    trying->status = sb_fail(&trying->err, SB_ERR_MEMORY, "out of memory for a search");
    return;
  }
  for (long k = 0; k < tries && !is_stopped(trying); k++) {
    double at[PARAMETERS];
    gsl_qrng_get(draws, at);
    for (int p = 0; p < 2; p++) at[p] = fmin(fmax(1.5 * at[p] - 0.25, 0.0), 1.0); /* often at the ends */
    (void)attempt(trying, (enum family)(k % FAMILIES), at, SB_PROVE_STALL);
  }
  gsl_qrng_free(draws);
}

struct bettering {
  struct trying *trying;
  enum sb_prove_statement statement;
};

static double badness(const gsl_vector *place, void *context)
{
  const struct bettering *bettering = context;
  double at[PARAMETERS];
  for (size_t k = 0; k < PARAMETERS; k++) at[k] = gsl_vector_get(place, k);
  return -attempt(bettering->trying, bettering->trying->nearest_in[bettering->statement], at, bettering->statement);
}

/* Betters the profile that came nearest. */
static void better(struct trying *trying, enum sb_prove_statement statement, long last)
{
  struct bettering bettering = {trying, statement};
  gsl_multimin_function function = {badness, PARAMETERS, &bettering};
  gsl_multimin_fminimizer *search = gsl_multimin_fminimizer_alloc(gsl_multimin_fminimizer_nmsimplex2, PARAMETERS);
  gsl_vector *from = gsl_vector_alloc(PARAMETERS), *step = gsl_vector_alloc(PARAMETERS);
  if (search != NULL && from != NULL && step != NULL) {
    for (size_t k = 0; k < PARAMETERS; k++) gsl_vector_set(from, k, trying->nearest_at[statement][k]);
    gsl_vector_set_all(step, 0.2);
    int code = gsl_multimin_fminimizer_set(search, &function, from, step);
    while (code == 0 && !is_stopped(trying) && trying->prove->try_count < last &&
           trying->prove->statements[statement] == SB_PROOF_UNSHOWN && gsl_multimin_fminimizer_size(search) > 1e-4) {
      code = gsl_multimin_fminimizer_iterate(search);
    }
  } else {
    trying->status = sb_fail(&trying->err, SB_ERR_MEMORY, "out of memory for a search");
  }
  if (search != NULL) gsl_multimin_fminimizer_free(search);
  if (from != NULL) gsl_vector_free(from);
  if (step != NULL) gsl_vector_free(step);
}

static void prepare(struct trying *trying)
{
  struct sb_prove *prove = trying->prove;
  const struct sb_model *model = prove->model;
  struct sb_load *load = &trying->model.load;
  const struct sb_derived derived = sb_model_derive(model);
  bool is_beyond = false;
  trying->model = *model;
  for (int k = 0; k < load->part_count; k++) is_beyond = is_beyond || load->parts[k].is_beyond;
  sb_edge_replace_parts(load);
  load->breakaway_nm = sb_edge_load_of(model).breakaway_nm;
  sb_edge_acting_part(load)->is_beyond = sb_edge_resisting_part(load)->is_beyond = is_beyond;
  double longest_s = 0.0;
  for (int g = 0; g < model->gearbox.gear_count; g++) longest_s = fmax(longest_s, derived.time_constant_s[g + 1]);
  trying->stage_s = model->control.start_delay_s + model->control.dwell_s + 6.0 * fmin(longest_s, 10.0) + 0.5;
  trying->last_s = 2.0 * trying->stage_s + model->control.dwell_s * model->gearbox.gear_count;
  for (int k = 0; k < SB_PROVE_STATEMENTS; k++) {
    trying->nearest[k] = -INFINITY;
    prove->statements[k] = is_asked(model, (enum sb_prove_statement)k) ? SB_PROOF_UNSHOWN : SB_PROOF_UNDECIDED;
  }
}

/* Half of the tries are random ones. */
enum sb_status sb_prove_try(struct sb_prove *prove, const struct sb_prove_effort *effort, struct sb_error *err)
{
  struct trying *trying = calloc(1, sizeof *trying);
  if (trying == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for a search");
  trying->prove = prove;
  trying->effort = effort;
  prepare(trying);
  const long random = (effort->tries + 1) / 2;
  try_random(trying, random);
  for (int k = 0; k < SB_PROVE_STATEMENTS; k++) {
    const long last = random + (effort->tries - random) * (k + 1) / SB_PROVE_STATEMENTS;
    const bool is_open = prove->statements[k] == SB_PROOF_UNSHOWN && isfinite(trying->nearest[k]);
    if (is_open && !is_stopped(trying)) better(trying, (enum sb_prove_statement)k, last);
  }
  enum sb_status status = trying->status;
  if (status != SB_OK) *err = trying->err;
  if (status == SB_OK && effort->stop != NULL && *effort->stop != 0) {
    status = sb_fail(err, SB_ERR_STOPPED, "interrupted");
  }
  free(trying);
  return status;
}
