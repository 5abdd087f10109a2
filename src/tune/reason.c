// SPDX-License-Identifier: GPL-3.0-or-later
/* Where simulation and closed form part, and why: what parts them is taken away, one thing after the other. */
#include <math.h>

#include "shiftband/tune.h"

/* A failure within so many lattice steps of the closed form agrees with it. */
static const double agree_steps = 1.5;

struct sb_tune_closed sb_tune_closed_limits(const struct sb_tune_machine *machines, int count, int pair,
                                            double downshift_fraction, double upshift_fraction)
{
  struct sb_tune_closed all = {
      .least_up = 0.0, .greatest_up = INFINITY, .greatest_down_band = INFINITY, .greatest_down_hold = INFINITY};
  for (int i = 0; i < count; i++) {
    struct sb_model model = machines[i].model;
    model.control.downshift_fraction[pair] = downshift_fraction;
    model.control.upshift_fraction[pair] = upshift_fraction;
    const struct sb_closed_form closed = sb_closed_form_solve(&model);
    const struct sb_pair_figures *figures = &closed.pairs[pair];
    all.least_up = fmax(all.least_up, isnan(figures->least_safe_upshift) ? INFINITY : figures->least_safe_upshift);
    all.greatest_up = fmin(all.greatest_up, closed.gears[pair].lightest_reading);
    const double safe_down = isnan(figures->greatest_safe_downshift) ? 0.0 : figures->greatest_safe_downshift;
    all.greatest_down_band = fmin(all.greatest_down_band, safe_down);
    all.greatest_down_hold = fmin(all.greatest_down_hold, closed.gears[pair + 1].lightest_reading);
  }
  return all;
}

/* Where the machine fails on the way from the answer in a direction, bisected to a lattice step. */
static enum sb_status failing_threshold(const struct sb_model *model, const struct sb_tune_options *options,
                                        const struct sb_tune_result *result, enum sb_tune_direction direction,
                                        double *fails_at, struct sb_error *err)
{
  const bool is_down = direction == SB_TUNE_DOWN_LOWER || direction == SB_TUNE_DOWN_HIGHER;
  const bool is_higher = direction == SB_TUNE_DOWN_HIGHER || direction == SB_TUNE_UP_HIGHER;
  const double step = options->axis.step_fraction;
  double holds = is_down ? result->downshift_fraction : result->upshift_fraction;
  double fails = is_higher
                     ? (is_down ? result->upshift_fraction : sb_map_axis_at(&options->axis, options->axis.count - 1))
                     : (is_down ? options->axis.first_fraction : result->downshift_fraction + step);
  enum sb_status status = SB_OK;
  while (status == SB_OK && fabs(fails - holds) > 0.5 * step) {
    const double middle = 0.5 * (fails + holds);
    struct sb_map_verdict verdict;
    struct sb_map_figures figures;
    status = sb_tune_try(model, options->pair, is_down ? middle : result->downshift_fraction,
                         is_down ? result->upshift_fraction : middle, result->dwell_s, &verdict, &figures, err);
    *(status == SB_OK && verdict.kinds == 0 ? &holds : &fails) = middle;
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

static void take_away(struct sb_model *model, enum sb_reason reason)
{
  struct sb_control *control = &model->control;
  if (reason == SB_REASON_ROUNDING) control->sensor.resolution_fraction = 0.0;
  if (reason == SB_REASON_NOISE) control->sensor.noise_fraction = 0.0;
  if (reason == SB_REASON_FILTER) control->sensor.filter_s = 0.0;
  if (reason == SB_REASON_SAMPLING) {
    control->sample_period_s = model->run.step_s;
    control->debounce_count = 1;
  }
  if (reason == SB_REASON_INERTIA) model->load.inertia_kg_m2 *= 0.05;
}

enum sb_status sb_tune_reason(const struct sb_tune_machine *machine, const struct sb_tune_options *options,
                              const struct sb_tune_result *result, enum sb_tune_direction direction,
                              double closed_fraction, enum sb_reason *reason, struct sb_error *err)
{
  struct sb_model model = machine->model;
  const double near = agree_steps * options->axis.step_fraction;
  for (int step = SB_REASON_AGREE; step < SB_REASON_LOAD; step++) {
    take_away(&model, (enum sb_reason)step);
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
