// SPDX-License-Identifier: GPL-3.0-or-later
/* cause.c - why a box in a log hunts; see cause.h. */
#include "inspect/cause.h"

#include <math.h>

#include "base/constants.h"
#include "theory/torque_balance.h"

/* The row of a command: the one after the last in the old gear. */
static size_t row_of(const struct sb_log *log, const struct sb_inspect_shift *shift)
{
  size_t low = 0, high = log->count;
  while (low < high) {
    const size_t middle = (low + high) / 2;
    if (log->time_s[middle] < shift->command_s) {
      low = middle + 1;
    } else {
      high = middle;
    }
  }
  return low + 1 < log->count ? low + 1 : log->count - 1;
}

static double value_at(const struct sb_log *log, enum sb_log_column column, size_t row)
{
  return log->columns[column] != NULL ? log->columns[column][row] : (double)NAN;
}

/* The part of the load that follows the speed, N m; without an output speed that is only known where there is none. */
static double following_nm(const struct sb_load *load, double output_rad_s)
{
  double viscous, quadratic;
  sb_load_speed_terms(load, &viscous, &quadratic);
  if (viscous == 0.0 && quadratic == 0.0) return 0.0;
  return viscous * output_rad_s + quadratic * output_rad_s * fabs(output_rad_s);
}

/* The external torque at a shift against the direction in which its old gear is driven; NAN: the log does not show it. */
static double external_nm(const struct sb_log *log, const struct sb_model *model, const struct sb_inspect_shift *shift)
{
  if (shift->from > model->gearbox.gear_count) return NAN;
  const struct sb_gear *gear = &model->gearbox.gears[shift->from - 1];
  const size_t row = row_of(log, shift);
  const double output_rad_s = SB_RPM * value_at(log, SB_LOG_OUTPUT_SPEED, row);
  return gear->output_direction * (value_at(log, SB_LOG_LOAD_TORQUE, row) - following_nm(&model->load, output_rad_s));
}

/* That of each three in turn: the thresholds before the dwell before the load. */
static void find_cause(const struct sb_log *log, const struct sb_model *model, const struct sb_motor_line *line,
                       const struct sb_inspection *found, struct sb_inspect_hunt *hunt)
{
  const int slow = hunt->slower_gear - 1, fast = slow + 1;
  const struct sb_inspect_shift *shifts = &found->shifts[hunt->first];
  if (fast >= model->gearbox.gear_count) return;
  const struct sb_band band =
      sb_band_of(model, line, slow, model->control.downshift_fraction[slow], model->control.upshift_fraction[slow]);
  double least_nm = INFINITY, greatest_nm = -INFINITY;
  enum sb_cause cause = SB_CAUSE_LOAD;
  struct sb_three three = {.is_soon = 1, .is_quick = 1};
  for (size_t i = 0; i < hunt->count; i++) {
    const double nm = external_nm(log, model, &shifts[i]);
    if (!isfinite(nm)) return;
    least_nm = fmin(least_nm, nm);
    greatest_nm = fmax(greatest_nm, nm);
    three = (struct sb_three){.time_s = {three.time_s[1], three.time_s[2], shifts[i].command_s},
                              .load_nm = {three.load_nm[1], three.load_nm[2], nm},
                              .is_down_first = shifts[i].to < shifts[i].from,
                              .is_soon = 1,
                              .is_quick = 1};
    if (i < 2) continue;
    /* Down, up, down: the first of them was as the last one. */
    const enum sb_cause own = sb_three_cause(&three, &band);
    if (i == 2 || own < cause) hunt->three = three;
    if (own < cause) cause = own;
  }
  hunt->band = band;
  hunt->least_nm = least_nm;
  hunt->greatest_nm = greatest_nm;
  hunt->cause = cause;
}

size_t sb_inspect_busy_count(const struct sb_inspection *inspection)
{
  size_t count = 0;
  for (size_t i = 0; i < inspection->hunt_count; i++) count += inspection->hunts[i].cause == SB_CAUSE_LOAD;
  return count;
}

void sb_inspect_find_causes(const struct sb_log *log, const struct sb_model *model, struct sb_inspection *found)
{
  const struct sb_motor_line line = sb_torque_balance_line(model);
  for (size_t i = 0; i < found->hunt_count; i++) find_cause(log, model, &line, found, &found->hunts[i]);
}
