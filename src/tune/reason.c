// SPDX-License-Identifier: GPL-3.0-or-later
/* reason.c - where simulation and closed form differ, and why: things are removed one after the other until they agree. */
#include <math.h>

#include "shiftband/tune.h"

/* A failure within so many lattice steps of the closed form agrees with it. */
static const double agree_steps = 1.5;

struct sb_tune_closed sb_tune_closed_limits(const struct sb_tune_machine *machines, int count, int pair,
                                            double downshift_fraction, double upshift_fraction)
{
  struct sb_tune_closed all = {.least_upshift = 0.0,
                               .greatest_upshift = INFINITY,
                               .greatest_downshift_band = INFINITY,
                               .greatest_downshift_carried = INFINITY};
  for (int i = 0; i < count; i++) {
    struct sb_model model = machines[i].model;
    model.control.downshift_fraction[pair] = downshift_fraction;
    model.control.upshift_fraction[pair] = upshift_fraction;
    const struct sb_closed_form closed = sb_closed_form_solve(&model);
    const struct sb_pair_figures *figures = &closed.pairs[pair];
    all.least_upshift =
        fmax(all.least_upshift, isnan(figures->least_safe_upshift) ? INFINITY : figures->least_safe_upshift);
    all.greatest_upshift = fmin(all.greatest_upshift, closed.gears[pair].lightest_reading);
    const double safe_downshift = isnan(figures->greatest_safe_downshift) ? 0.0 : figures->greatest_safe_downshift;
    all.greatest_downshift_band = fmin(all.greatest_downshift_band, safe_downshift);
    all.greatest_downshift_carried = fmin(all.greatest_downshift_carried, closed.gears[pair + 1].lightest_reading);
  }
  return all;
}

/* Where the machine fails on the way from the answer in a direction, bisected to a lattice step. */
static enum sb_status failing_threshold(const struct sb_model *model, const struct sb_tune_options *options,
                                        const struct sb_tune_result *result, enum sb_tune_direction direction,
                                        double *fails_at, struct sb_error *err)
{
  const bool is_downshift = direction == SB_TUNE_DOWNSHIFT_LOWER || direction == SB_TUNE_DOWNSHIFT_HIGHER;
  const bool is_higher = direction == SB_TUNE_DOWNSHIFT_HIGHER || direction == SB_TUNE_UPSHIFT_HIGHER;
  const double step = options->axis.step_fraction;
  double passes = is_downshift ? result->downshift_fraction : result->upshift_fraction;
  double fails =
      is_higher ? (is_downshift ? result->upshift_fraction : sb_map_axis_at(&options->axis, options->axis.count - 1))
                : (is_downshift ? options->axis.first_fraction : result->downshift_fraction + step);
  enum sb_status status = SB_OK;
  while (status == SB_OK && fabs(fails - passes) > 0.5 * step) {
    const double middle = 0.5 * (fails + passes);
    struct sb_map_verdict verdict;
    struct sb_map_figures figures;
    status = sb_tune_try(model, options->pair, is_downshift ? middle : result->downshift_fraction,
                         is_downshift ? result->upshift_fraction : middle, result->dwell_s, &verdict, &figures, err);
    *(status == SB_OK && verdict.kinds == 0 ? &passes : &fails) = middle;
  }
  *fails_at = fails;
  return status;
}

const char *sb_reason_text(enum sb_reason reason)
{
#define REASON_TEXT(code, text) \
  if (reason == code) return text;
  SB_REASON_LIST(REASON_TEXT)
#undef REASON_TEXT
  return "";
}

static void remove_thing(struct sb_model *model, enum sb_reason reason)
{
  struct sb_control *control = &model->control;
  if (reason == SB_REASON_ROUNDING) {
    control->sensor.resolution_fraction = 0.0;
    control->sensor.pulses = (struct sb_pulse_sensor){0};
    control->sensor.supply.resolution_v = 0.0;
  }
  if (reason == SB_REASON_NOISE) control->sensor.noise_fraction = 0.0;
  if (reason == SB_REASON_FILTER) control->sensor.filter_s = control->sensor.supply.filter_s = 0.0;
  if (reason == SB_REASON_SAMPLING) {
    control->sample_period_s = model->run.step_s;
    control->debounce_count = 1;
  }
  if (reason == SB_REASON_INERTIA) model->load.inertia_kg_m2 *= 0.05;
}

static enum sb_status find_reason(const struct sb_tune_machine *machine, const struct sb_tune_options *options,
                                  const struct sb_tune_result *result, enum sb_tune_direction direction,
                                  double closed_fraction, enum sb_reason *reason, struct sb_error *err)
{
  struct sb_model model = machine->model;
  const double near = agree_steps * options->axis.step_fraction;
  for (int step = SB_REASON_AGREE; step < SB_REASON_LOAD; step++) {
    remove_thing(&model, (enum sb_reason)step);
    double fails_at;
    const enum sb_status status = failing_threshold(&model, options, result, direction, &fails_at, err);
    if (status != SB_OK) return status;
    if (fabs(fails_at - closed_fraction) <= near) {
      *reason = (enum sb_reason)step;
      return SB_OK;
    }
  }
  *reason = SB_REASON_LOAD;
  return SB_OK;
}

/* The closed form that is about the same failure in the same direction; NAN: there is none. */
static double closed_of(const struct sb_tune_closed *closed, enum sb_tune_direction direction,
                        const struct sb_map_verdict *verdict)
{
  const int worst = sb_map_verdict_worst(verdict);
  const bool is_band = worst == SB_VERDICT_HUNTING && verdict->cause == SB_CAUSE_THRESHOLDS;
  if (direction == SB_TUNE_UPSHIFT_LOWER && is_band) return closed->least_upshift;
  if (direction == SB_TUNE_UPSHIFT_HIGHER && worst == SB_VERDICT_STUCK_LOW) return closed->greatest_upshift;
  if (direction == SB_TUNE_DOWNSHIFT_HIGHER && is_band) return closed->greatest_downshift_band;
  if (direction == SB_TUNE_DOWNSHIFT_HIGHER && worst == SB_VERDICT_NEEDLESS_DOWNSHIFT) {
    return closed->greatest_downshift_carried;
  }
  return NAN;
}

static enum sb_status explain_limit(const struct sb_tune_machine *machines, const struct sb_tune_options *options,
                                    struct sb_tune_result *result, enum sb_tune_direction direction,
                                    struct sb_error *err)
{
  struct sb_tune_limit *limit = &result->limits[direction];
  limit->closed_fraction = NAN;
  if (limit->is_end || limit->is_fixed || limit->is_band || limit->is_low || limit->machine < 0) return SB_OK;
  const struct sb_tune_machine *machine = &machines[limit->machine];
  const struct sb_tune_closed closed =
      sb_tune_closed_limits(machine, 1, options->pair, result->downshift_fraction, result->upshift_fraction);
  const double fraction = closed_of(&closed, direction, &limit->verdict);
  if (!isfinite(fraction)) return SB_OK;
  limit->closed_fraction = fraction;
  return find_reason(machine, options, result, direction, fraction, &limit->reason, err);
}

enum sb_status sb_tune_explain(const struct sb_tune_machine *machines, int count, const struct sb_tune_options *options,
                               struct sb_tune_result *result, struct sb_error *err)
{
  enum sb_status status = SB_OK;
  result->closed =
      sb_tune_closed_limits(machines, count, options->pair, result->downshift_fraction, result->upshift_fraction);
  for (int d = 0; d < SB_TUNE_DIRECTIONS && status == SB_OK && result->passes; d++) {
    status = explain_limit(machines, options, result, (enum sb_tune_direction)d, err);
  }
  return status;
}
