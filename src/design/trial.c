// SPDX-License-Identifier: GPL-3.0-or-later
/* One machine: thresholds by closed forms, its run, and the values of its needs. */
#include <math.h>
#include <string.h>

#include "base/constants.h"
#include "design/machine.h"
#include "shiftband/closed_form.h"
#include "shiftband/crossover.h"
#include "shiftband/run.h"
#include "text/fields.h"
#include "theory/steady.h"

struct sb_design_control sb_machine_any_control(const struct sb_candidate *candidate)
{
  const int speeds = candidate->box.stages > 0 ? candidate->box.speeds : 1;
  return (struct sb_design_control){
      .pairs = speeds - 1, .downshift_pct = {40, 40, 40}, .upshift_pct = {90, 90, 90}, .dwell_s = 1.0};
}

/* Percent that thresholds keep from where closed forms let them fail, and their step. */
#define KEPT_PCT 2.0
#define STEP_PCT 0.5

static double to_step(double percent)
{
  return STEP_PCT * round(percent / STEP_PCT);
}

static double clamped(double value, double least, double most)
{
  return fmax(least, fmin(value, most));
}

/* The thresholds of one pair: around the crossover, apart so far that there is no hunting band, and below what the slower gear reads under
 * the lightest load. */
static void choose_pair(struct sb_model *model, int pair, struct sb_design_control *control)
{
  const struct sb_crossover crossover = sb_crossover_solve(model, pair);
  double *downshift = &model->control.downshift_fraction[pair], *upshift = &model->control.upshift_fraction[pair];
  *downshift = isnan(crossover.faster_reading) ? 0.4 : clamped(crossover.faster_reading, 0.1, 0.85);
  *upshift = 0.95;
  const struct sb_closed_form first = sb_closed_form_solve(model);
  const double most = 100.0 * first.gears[pair].lightest_reading - KEPT_PCT;
  const double safe = 100.0 * first.pairs[pair].least_safe_upshift + KEPT_PCT;
  const double apart = isnan(crossover.slower_reading) ? 0.0 : 100.0 * crossover.slower_reading;
  const double up = to_step(clamped(fmax(isnan(safe) ? most : safe, apart), 10.0, fmax(most, 10.0)));
  *upshift = up / 100.0;
  const struct sb_closed_form second = sb_closed_form_solve(model);
  const double band = 100.0 * second.pairs[pair].greatest_safe_downshift - KEPT_PCT;
  const double down = fmin(100.0 * *downshift, isnan(band) ? 100.0 : band);
  control->downshift_pct[pair] = clamped(to_step(down), STEP_PCT, up - STEP_PCT);
  control->upshift_pct[pair] = up;
  *downshift = control->downshift_pct[pair] / 100.0;
}

/* A third more than the shortest, in whole samples. */
static double dwell_of(const struct sb_model *model)
{
  const struct sb_closed_form form = sb_closed_form_solve(model);
  const double period_s = model->control.sample_period_s;
  double longest_s = 0.2;
  for (int p = 0; p + 1 < model->gearbox.gear_count; p++) {
    const double shortest_s = form.pairs[p].shortest_dwell_steady_s;
    longest_s = fmax(longest_s, isnan(shortest_s) ? 1.0 : 1.3 * shortest_s);
  }
  return ceil(fmin(longest_s, 60.0) / period_s - 1e-9) * period_s;
}

static struct sb_design_control control_under(const struct sb_model *model)
{
  struct sb_model own = *model;
  struct sb_design_control control = {.pairs = own.gearbox.gear_count - 1, .dwell_s = 1.0};
  for (int p = 0; p + 1 < own.gearbox.gear_count; p++) choose_pair(&own, p, &control);
  if (own.gearbox.gear_count > 1) control.dwell_s = dwell_of(&own);
  return control;
}

struct sb_design_control sb_machine_control(const struct sb_loaded *loaded)
{
  struct sb_design_control all = control_under(&loaded->items[0].model);
  for (int k = 1; k < loaded->count; k++) {
    const struct sb_design_control own = control_under(&loaded->items[k].model);
    for (int p = 0; p < all.pairs; p++) {
      all.upshift_pct[p] = fmin(all.upshift_pct[p], own.upshift_pct[p]);
      all.downshift_pct[p] = fmin(fmin(all.downshift_pct[p], own.downshift_pct[p]), all.upshift_pct[p] - STEP_PCT);
    }
    all.dwell_s = fmax(all.dwell_s, own.dwell_s);
  }
  return all;
}

struct sb_design_control sb_machine_own_control(const struct sb_model *model)
{
  struct sb_design_control control = {.pairs = model->gearbox.gear_count - 1, .dwell_s = model->control.dwell_s};
  for (int p = 0; p + 1 < model->gearbox.gear_count; p++) {
    control.downshift_pct[p] = sb_fields_rounded_percent(model->control.downshift_fraction[p]);
    control.upshift_pct[p] = sb_fields_rounded_percent(model->control.upshift_fraction[p]);
  }
  return control;
}

static double charge_of(const struct sb_model *model, const struct sb_run_result *result,
                        const struct sb_run_facts *facts)
{
  if (!isnan(facts->used_as)) return facts->used_as;
  if (!model->motor.has_currents) return NAN;
  return result->sums.energy.given / model->supply.open_circuit_voltage_v;
}

static unsigned verdicts_of(const struct sb_monitor *monitor)
{
  unsigned kinds = 0;
  for (size_t k = 0; k < monitor->verdict_count; k++) kinds |= 1u << monitor->verdicts[k].kind;
  return kinds;
}

enum sb_status sb_machine_run(const struct sb_model *model, const struct sb_candidate *candidate,
                              struct sb_design_figures *figures, struct sb_error *err)
{
  const struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  const enum sb_status status = sb_run(model, &options, &result, err);
  if (status != SB_OK) return status;
  const struct sb_report report = {.model = model, .result = &result};
  const struct sb_run_facts facts = sb_run_facts(&report);
  const struct sb_sums *sums = &result.sums;
  const double torque_nm = fabs(sums->output_torque_nm.value);
  *figures = (struct sb_design_figures){
      .time_s = result.end.time_s,
      .speed_rad_s = sums->way_rad / fmax(result.end.time_s, 1e-9),
      .charge_as = charge_of(model, &result, &facts),
      .energy_j = sums->energy.given,
      .current_a = model->motor.has_currents ? fabs(sums->motor_current_a.value) : (double)NAN,
      .winding_c = facts.greatest_winding_c,
      .output_torque_nm = torque_nm,
      .tooth_n = torque_nm * candidate->tooth.force_n,
      .tooth_fraction = torque_nm * candidate->tooth.fraction,
      .wheel_count = candidate->box.stages > 0 ? sb_box_wheel_count(&candidate->box) : 0,
      .verdicts = verdicts_of(&result.monitor),
      .margin_fraction = NAN,
      .swing_nm = NAN,
      .carried_nm = NAN,
  };
  sb_run_result_clear(&result);
  return SB_OK;
}

/* The greatest speed of the output in steady state, of all gears. */
static double best_speed_rad_s(const struct sb_model *model, double load_nm)
{
  const struct sb_motor_line line = sb_motor_line_driven(&model->motor, &model->supply, model->drive.limit_fraction);
  double best_rad_s = 0.0;
  for (int g = 0; g < model->gearbox.gear_count; g++) {
    best_rad_s = fmax(best_rad_s, sb_steady_speed_rad_s(model, &line, g, load_nm) / model->gearbox.gears[g].ratio);
  }
  return best_rad_s;
}

double sb_machine_way_rad(const struct sb_choices *choices, const struct sb_model *model)
{
  const struct sb_require *require = &choices->require;
  if (isnan(require->finish_s)) return NAN;
  if (isfinite(require->turns)) return require->turns * SB_TURN;
  return model->load.road.is_present && isfinite(model->load.road.finish_rad) ? model->load.road.finish_rad
                                                                              : (double)NAN;
}

static double finish_s(const struct sb_choices *choices, const struct sb_model *model,
                       const struct sb_design_figures *figures)
{
  const bool is_early = figures->time_s < model->run.duration_s * (1.0 - 1e-12);
  if (is_early && model->load.road.is_present) return figures->time_s;
  return sb_machine_way_rad(choices, model) / fmax(figures->speed_rad_s, 1e-9);
}

static double value_of(const struct sb_need *need, const struct sb_choices *choices, const struct sb_model *model,
                       const struct sb_candidate *candidate, const struct sb_design_figures *figures)
{
  switch (need->kind) {
    case SB_NEED_SPEED:
    case SB_NEED_MOST_SPEED: return best_speed_rad_s(model, need->load_nm);
    case SB_NEED_FINISH: return finish_s(choices, model, figures);
    case SB_NEED_LENGTH:
      return candidate->box.stages > 0 ? sb_box_length_m(&candidate->box, choices->shelf.module_m) : (double)NAN;
    case SB_NEED_TOOTH: return figures->tooth_fraction;
    case SB_NEED_CHARGE: return figures->charge_as;
    case SB_NEED_CURRENT: return figures->current_a;
    case SB_NEED_WINDING: return figures->winding_c;
    case SB_NEED_TORQUE: return figures->output_torque_nm;
    case SB_NEED_VERDICT: return figures->verdicts != 0 ? 1.0 : 0.0;
  }
  return NAN;
}

void sb_machine_values(const struct sb_design_answer *answer, const struct sb_model *model,
                       const struct sb_candidate *candidate, const struct sb_design_figures *figures,
                       double values[SB_NEED_MAX])
{
  for (int k = 0; k < answer->needs.count; k++) {
    values[k] = value_of(&answer->needs.items[k], answer->choices, model, candidate, figures);
  }
}
