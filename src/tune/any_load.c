// SPDX-License-Identifier: GPL-3.0-or-later
#include "tune/any_load.h"

#include <math.h>
#include <stdlib.h>

#include "prove/any_load.h"

/* One machine after the other, each only where all before are proved. */
struct marking {
  const struct sb_survey *survey;
  struct sb_raster *raster;
  struct sb_any_load_options options;
  unsigned char *wanted, *is_standing; /* by points of the plane */
};

static size_t point_count(const struct marking *marking)
{
  return (size_t)marking->options.downshift.count * (size_t)marking->options.upshift.count;
}

/* The raster's place of a point of the plane. */
static size_t place_of(const struct marking *marking, size_t point)
{
  const struct sb_map_axis *axis = &marking->survey->options->axis;
  const struct sb_any_load_options *options = &marking->options;
  const size_t width = (size_t)options->upshift.count;
  const double down = sb_map_axis_at(&options->downshift, (int)(point / width));
  const double up = sb_map_axis_at(&options->upshift, (int)(point % width));
  const long i = lround((down - axis->first_fraction) / axis->step_fraction);
  const long j = lround((up - axis->first_fraction) / axis->step_fraction);
  return (size_t)i * (size_t)marking->raster->side + (size_t)j;
}

static void take_machine(struct marking *marking, const struct sb_any_load *plane, bool is_first)
{
  const double stall_s = plane->model->limits.stall_time_s;
  for (size_t k = 0; k < point_count(marking); k++) {
    const struct sb_any_load_point *point = &plane->points[k];
    float *swing_nm = &marking->raster->swing_nm[place_of(marking, k)];
    if (!marking->wanted[k]) continue;
    const bool is_standing = point->class == SB_ANY_LOAD_STALLS && isfinite(point->standing_s);
    /* What never shifts in one machine may do so in another one. */
    const bool is_fine = point->class >= SB_ANY_LOAD_NEVER_SHIFTS || is_standing;
    const bool has_swing = !isnan(point->high_nm) && point->class != SB_ANY_LOAD_NEVER_SHIFTS;
    const float swing = has_swing ? (float)sb_any_load_swing_nm(point) : INFINITY;
    marking->wanted[k] = is_fine;
    marking->is_standing[k] |= is_standing && point->standing_s > stall_s;
    if (!is_fine) {
      *swing_nm = -1.0F;
    } else if (is_first || swing < *swing_nm) {
      *swing_nm = swing;
    }
  }
}

/* Where some thresholds keep the output from standing for too long, the others do not count. */
static void drop_standing(const struct marking *marking)
{
  bool has_better = false;
  for (size_t k = 0; k < point_count(marking); k++) has_better |= marking->wanted[k] && !marking->is_standing[k];
  for (size_t k = 0; k < point_count(marking) && has_better; k++) {
    if (marking->is_standing[k]) marking->raster->swing_nm[place_of(marking, k)] = -1.0F;
  }
}

/* A swing that is not bounded is that of a machine which never shifts for ever; single precision adds what is left. */
static enum sb_status mark_machine(struct marking *marking, int machine, struct sb_error *err)
{
  const struct sb_survey *survey = marking->survey;
  struct sb_model model = survey->machines[machine].model;
  struct sb_any_load plane;
  model.control.dwell_s = survey->dwell_s;
  const enum sb_status status = sb_any_load_solve(&model, &marking->options, &plane, err);
  if (status != SB_OK) return status;
  take_machine(marking, &plane, machine == 0);
  sb_any_load_clear(&plane);
  return SB_OK;
}

static enum sb_status open_marking(struct marking *marking, struct sb_error *err)
{
  const struct sb_survey *survey = marking->survey;
  struct sb_raster *raster = marking->raster;
  const size_t places = (size_t)raster->side * (size_t)raster->side;
  struct sb_map_options part = {
      .pair = survey->options->pair, .downshift = survey->options->axis, .upshift = survey->options->axis};
  part.downshift.count = raster->greatest_downshift + 1;
  const enum sb_status status = sb_any_load_options_of(&survey->machines[0].model, &part, &marking->options, err);
  if (status != SB_OK) return status;
  marking->options.jobs = survey->options->jobs;
  marking->options.stop = survey->options->stop;
  raster->swing_nm = malloc(places * sizeof *raster->swing_nm);
  marking->wanted = calloc(2 * point_count(marking), 1);
  if (raster->swing_nm == NULL || marking->wanted == NULL) {
    return sb_fail(err, SB_ERR_MEMORY, "out of memory for what is proved of thresholds");
  }
  marking->is_standing = marking->wanted + point_count(marking);
  marking->options.wanted = marking->wanted;
  for (size_t k = 0; k < places; k++) raster->swing_nm[k] = -1.0F;
  for (size_t k = 0; k < point_count(marking); k++) marking->wanted[k] = raster->margin[place_of(marking, k)] > 0;
  return SB_OK;
}

enum sb_status sb_tune_any_load_mark(const struct sb_survey *survey, struct sb_raster *raster, struct sb_error *err)
{
  struct marking marking = {.survey = survey, .raster = raster};
  enum sb_status status = open_marking(&marking, err);
  for (int i = 0; i < survey->count && status == SB_OK; i++) status = mark_machine(&marking, i, err);
  if (status == SB_OK) drop_standing(&marking);
  free(marking.wanted);
  return status;
}

/* ---- the answer ---- */

static void take_proof(const struct sb_prove *prove, int machine, struct sb_tune_any_load *out)
{
  const double *bounds = prove->bounds;
  bool is_proved = prove->outside == NULL && isfinite(bounds[SB_PROVE_STANDING]);
  for (int k = 0; k < SB_PROVE_STATEMENTS; k++) {
    if (k != SB_PROVE_STALL && prove->statements[k] != SB_PROOF_PROVED) is_proved = false;
  }
  if (!is_proved && out->first_failing < 0) out->first_failing = machine;
  out->standing_s = fmax(out->standing_s, bounds[SB_PROVE_STANDING]);
  out->is_standing = out->is_standing || bounds[SB_PROVE_STANDING] > prove->model->limits.stall_time_s;
  out->return_s = fmax(out->return_s, bounds[SB_PROVE_RETURN_TIME]);
  out->reaction_s = fmax(out->reaction_s, bounds[SB_PROVE_REACTION_TIME]);
  if (!(bounds[SB_PROVE_SWING] < out->swing_nm)) return;
  out->swing_nm = bounds[SB_PROVE_SWING];
  out->swing_machine = machine;
}

static enum sb_status verify_machine(const struct sb_survey *survey, int machine, struct sb_tune_result *result,
                                     struct sb_error *err)
{
  const int pair = survey->options->pair;
  struct sb_model model = survey->machines[machine].model;
  struct sb_prove *prove = malloc(sizeof *prove);
  if (prove == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for a proof");
  model.control.downshift_fraction[pair] = result->downshift_fraction;
  model.control.upshift_fraction[pair] = result->upshift_fraction;
  model.control.dwell_s = result->dwell_s;
  const enum sb_status status = sb_prove_solve(&model, prove, err);
  if (status == SB_OK) take_proof(prove, machine, &result->any_load);
  free(prove);
  return status;
}

enum sb_status sb_tune_any_load_verify(const struct sb_survey *survey, struct sb_tune_result *result,
                                       struct sb_error *err)
{
  const volatile sig_atomic_t *stop = survey->options->stop;
  struct sb_tune_any_load *out = &result->any_load;
  *out = (struct sb_tune_any_load){.is_asked = true,
                                   .is_alone = out->is_alone,
                                   .swing_nm = INFINITY,
                                   .return_s = NAN,
                                   .reaction_s = NAN,
                                   .swing_machine = -1,
                                   .first_failing = -1};
  enum sb_status status = SB_OK;
  for (int i = 0; i < survey->count && status == SB_OK; i++) {
    if (stop != NULL && *stop != 0) return sb_fail(err, SB_ERR_STOPPED, "stopped");
    status = verify_machine(survey, i, result, err);
  }
  out->is_proved = out->first_failing < 0;
  return status;
}
