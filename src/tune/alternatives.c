// SPDX-License-Identifier: GPL-3.0-or-later
#include "tune/alternatives.h"

#include <math.h>
#include <stdlib.h>

/* A choice that is run: how fast the output is in each machine, and what energy a radian of it takes. */
struct trial {
  const struct sb_survey *survey;
  struct sb_tune_choice *choice;
  struct sb_control control; /* thresholds and dwell of all pairs */
  double *speeds_rad_s, *energies_j;
};

static double charge_of(const struct sb_report *report, const struct sb_run_facts *facts)
{
  const struct sb_model *model = report->model;
  if (!isnan(facts->used_as)) return facts->used_as;
  if (!model->motor.has_currents) return NAN;
  return report->result->sums.energy.given / model->supply.open_circuit_voltage_v;
}

/* Takes a run into its choice. */
static void take_run(struct trial *trial, int machine, const struct sb_report *report)
{
  const struct sb_run_result *result = report->result;
  const struct sb_sums *sums = &result->sums;
  const struct sb_run_facts facts = sb_run_facts(report);
  const struct sb_map_verdict verdict = sb_map_verdict_of(&result->monitor);
  struct sb_tune_choice *choice = trial->choice;
  trial->speeds_rad_s[machine] = sums->way_rad / fmax(result->end.time_s, 1e-9);
  trial->energies_j[machine] = sums->energy.given / fmax(sums->way_rad, 1e-9);
  if (report->model->motor.has_currents) choice->current_a = fmax(choice->current_a, fabs(sums->motor_current_a.value));
  choice->winding_c = fmax(choice->winding_c, facts.greatest_winding_c);
  if (trial->survey->machines[machine].sample == 0) {
    choice->time_s += result->end.time_s;
    choice->way_rad += sums->way_rad;
    choice->energy_j += sums->energy.given;
    choice->charge_as += charge_of(report, &facts);
    choice->shift_count += (long)result->monitor.shift_count;
  }
  if (verdict.kinds == 0 || choice->failing++ > 0) return;
  choice->first_failing = machine;
  choice->first_verdict = verdict;
}

static enum sb_status run_machine(struct trial *trial, int machine, struct sb_error *err)
{
  const struct sb_tune_options *options = trial->survey->options;
  struct sb_model model = trial->survey->machines[machine].model;
  for (int p = 0; p + 1 < SB_GEAR_MAX; p++) {
    model.control.downshift_fraction[p] = trial->control.downshift_fraction[p];
    model.control.upshift_fraction[p] = trial->control.upshift_fraction[p];
  }
  model.control.dwell_s = trial->control.dwell_s;
  struct sb_run_options run_options = sb_run_options_default();
  struct sb_run_result result;
  run_options.decider = options->decider;
  run_options.locked_gear = trial->choice->locked_gear;
  const enum sb_status status = sb_run(&model, &run_options, &result, err);
  if (status != SB_OK) return status;
  const struct sb_report report = {.model = &model, .result = &result, .locked_gear = run_options.locked_gear};
  take_run(trial, machine, &report);
  sb_run_result_clear(&result);
  return SB_OK;
}

static enum sb_status run_choice(struct trial *trial, struct sb_error *err)
{
  const volatile sig_atomic_t *stop = trial->survey->options->stop;
  struct sb_tune_choice *choice = trial->choice;
  enum sb_status status = SB_OK;
  choice->current_a = choice->winding_c = NAN;
  choice->first_failing = -1;
  for (int i = 0; i < trial->survey->count && status == SB_OK; i++) {
    if (stop != NULL && *stop != 0) return sb_fail(err, SB_ERR_STOPPED, "stopped");
    status = run_machine(trial, i, err);
  }
  choice->speed_rad_s = choice->way_rad / fmax(choice->time_s, 1e-9);
  return status;
}

/* ---- which of them are shown ---- */

/* Not worse: NAN is nothing to compare. */
static bool is_at_most(double one, double other)
{
  return !(one > other * (1.0 + 1e-6));
}

/* Whether a choice is as good as another one in everything. */
static bool is_as_good(const struct sb_tune_choice *one, const struct sb_tune_choice *other)
{
  const double one_j = one->energy_j / one->way_rad, other_j = other->energy_j / other->way_rad;
  return is_at_most(other->speed_rad_s, one->speed_rad_s) && is_at_most(one_j, other_j) &&
         is_at_most(one->current_a, other->current_a) && is_at_most(one->winding_c, other->winding_c) &&
         one->shift_count <= other->shift_count && is_at_most(other->margin_fraction, one->margin_fraction);
}

/* Whether another alternative is as good in everything; of two that are so mutually, the later one is beaten. */
static bool is_beaten(const struct sb_tune_result *result, int k)
{
  for (int j = 0; j < result->alternative_count; j++) {
    const bool is_mutual = is_as_good(&result->choices[k], &result->choices[j]);
    if (j != k && is_as_good(&result->choices[j], &result->choices[k]) && (k > j || !is_mutual)) return true;
  }
  return false;
}

/* Drops each alternative than which another one is as good in everything; the first one stays. */
static void drop_worse(struct sb_tune_result *result)
{
  int kept = 1;
  for (int k = 1; k < result->alternative_count; k++) {
    if (!is_beaten(result, k)) result->choices[kept++] = result->choices[k];
  }
  result->alternative_count = result->choice_count = kept;
}

static enum sb_status find_alternatives(struct trial *trial, const struct sb_raster *raster,
                                        const struct sb_choices *choices, struct sb_tune_result *result,
                                        struct sb_error *err)
{
  const struct sb_tune_options *options = trial->survey->options;
  enum sb_status status = SB_OK;
  for (int k = SB_CHOICE_COUNT - 1; k >= 0 && status == SB_OK; k--) {
    const struct sb_point at = choices->points[k];
    trial->choice = &result->choices[k];
    *trial->choice = (struct sb_tune_choice){.name = sb_choice_name((enum sb_choice)k),
                                             .downshift_fraction = sb_map_axis_at(&options->axis, at.downshift),
                                             .upshift_fraction = sb_map_axis_at(&options->axis, at.upshift),
                                             .dwell_s = result->dwell_s,
                                             .margin_fraction = sb_raster_margin(raster, at.downshift, at.upshift) *
                                                                options->axis.step_fraction};
    trial->control = trial->survey->machines[0].model.control;
    trial->control.downshift_fraction[options->pair] = trial->choice->downshift_fraction;
    trial->control.upshift_fraction[options->pair] = trial->choice->upshift_fraction;
    trial->control.dwell_s = result->dwell_s;
    status = run_choice(trial, err);
  }
  result->alternative_count = SB_CHOICE_COUNT;
  if (status == SB_OK) drop_worse(result);
  return status;
}

/* ---- what stands beside them ---- */

static enum sb_status run_own(struct trial *trial, struct sb_tune_result *result, struct sb_error *err)
{
  const struct sb_tune_options *options = trial->survey->options;
  trial->choice = &result->choices[result->choice_count++];
  *trial->choice = (struct sb_tune_choice){.name = "scenario",
                                           .downshift_fraction = options->own.downshift_fraction[options->pair],
                                           .upshift_fraction = options->own.upshift_fraction[options->pair],
                                           .dwell_s = options->own.dwell_s,
                                           .margin_fraction = NAN};
  trial->control = options->own;
  return run_choice(trial, err);
}

/* Whether a locked gear does as well in every machine as what the other arrays hold; NULL: passing will do. */
static bool does_as_well(const struct trial *locked, const struct trial *recommended)
{
  if (locked->choice->failing > 0) return false;
  for (int i = 0; recommended != NULL && i < locked->survey->count; i++) {
    const double energy_j = recommended->energies_j[i];
    if (locked->speeds_rad_s[i] < SB_TUNE_SPEED_KEPT * recommended->speeds_rad_s[i]) return false;
    if (locked->energies_j[i] > energy_j + (SB_TUNE_CHARGE_KEPT - 1.0) * fabs(energy_j)) return false;
  }
  return true;
}

static enum sb_status run_locked(struct trial *trial, const struct trial *recommended, struct sb_tune_result *result,
                                 struct sb_error *err)
{
  const int gear_count = trial->survey->machines[0].model.gearbox.gear_count;
  double fastest_rad_s = -INFINITY;
  for (int gear = 1; gear <= gear_count; gear++) {
    trial->choice = &result->choices[result->choice_count++];
    *trial->choice = (struct sb_tune_choice){.name = "locked",
                                             .locked_gear = gear,
                                             .downshift_fraction = NAN,
                                             .upshift_fraction = NAN,
                                             .dwell_s = NAN,
                                             .margin_fraction = NAN};
    const enum sb_status status = run_choice(trial, err);
    if (status != SB_OK) return status;
    if (!(trial->choice->speed_rad_s > fastest_rad_s) || !does_as_well(trial, recommended)) continue;
    fastest_rad_s = trial->choice->speed_rad_s;
    result->needed_gear = gear;
  }
  return SB_OK;
}

enum sb_status sb_alternatives_find(const struct sb_survey *survey, const struct sb_raster *raster,
                                    const struct sb_choices *choices, struct sb_tune_result *result,
                                    struct sb_error *err)
{
  const size_t count = (size_t)survey->count;
  double *figures = calloc(4 * count, sizeof *figures);
  if (figures == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for the figures of alternatives");
  struct trial recommended = {.survey = survey, .speeds_rad_s = figures, .energies_j = figures + count};
  struct trial beside = {.survey = survey, .speeds_rad_s = figures + 2 * count, .energies_j = figures + 3 * count};
  const bool is_there = choices->points[SB_CHOICE_FASTEST].downshift >= 0;
  enum sb_status status = SB_OK;
  result->is_speed_alone = choices->is_speed_alone;
  /* The recommended one is run last: its figures stay. */
  if (is_there) status = find_alternatives(&recommended, raster, choices, result, err);
  if (status == SB_OK) status = run_own(&beside, result, err);
  if (status == SB_OK) status = run_locked(&beside, result->passes ? &recommended : NULL, result, err);
  free(figures);
  return status;
}
