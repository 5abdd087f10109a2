// SPDX-License-Identifier: GPL-3.0-or-later
/* cause.c - why a box in a log hunts. */
#include "inspect/gear_track.h"

#include <math.h>
#include <stdlib.h>

#include "base/arena.h"
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

/* The external torque at a shift against the direction in which its old gear is driven; NAN: the log does not show it. At rest the
 * load is what holds the output, whatever there is. */
static double external_nm(const struct sb_log *log, const struct sb_model *model, const struct sb_inspect_shift *shift)
{
  if (shift->from > model->gearbox.gear_count) return NAN;
  const struct sb_gear *gear = &model->gearbox.gears[shift->from - 1];
  const size_t row = row_of(log, shift);
  const double output_rad_s = SB_RPM * value_at(log, SB_LOG_OUTPUT_SPEED, row);
  if (row > 0 && value_at(log, SB_LOG_OUTPUT_SPEED, row - 1) == 0.0) return NAN;
  return gear->output_direction * (value_at(log, SB_LOG_LOAD_TORQUE, row) - following_nm(&model->load, output_rad_s));
}

bool sb_inspect_add_hunt(struct sb_inspection *found, const struct sb_inspect_hunt *hunt)
{
  if (hunt->count < 3) return true;
  if (!sb_grow(&found->hunts, &found->hunt_room, found->hunt_count, sizeof *found->hunts)) return false;
  struct sb_inspect_hunt *added = &found->hunts[found->hunt_count++];
  *added = *hunt;
  added->period_s = hunt->period_s / (double)hunt->period_count;
  return true;
}

/* What the judging of shifts needs. */
struct judging {
  const struct sb_model *model;
  struct sb_motor_line line;
  double window_s; /* of hunting, without a shift's own time */
  const struct sb_inspect_shift *shifts;
  const double *load_nm; /* at each shift */
};

static bool is_opposite(const struct sb_inspect_shift *last, const struct sb_inspect_shift *now)
{
  return last->from == now->to && last->to == now->from;
}

/* The window of a run has the shift's time in it unless the scenario gives it. */
static double window_after_s(const struct judging *judging, const struct sb_inspect_shift *last)
{
  const bool is_given = !isnan(judging->model->limits.hunt_window_s);
  return judging->window_s + (is_given ? 0.0 : last->engaged_s - last->command_s);
}

/* The three shifts that end with one, as a run sees them; false: they are not opposite. */
static bool take_three(const struct judging *judging, size_t end, struct sb_three *three)
{
  const struct sb_inspect_shift *shifts = &judging->shifts[end - 2];
  const double busy_s = sb_model_shift_interval_s(judging->model);
  *three = (struct sb_three){.is_down_first = shifts[0].to < shifts[0].from, .is_soon = 1, .is_quick = 1};
  for (int k = 0; k < 3; k++) {
    three->time_s[k] = shifts[k].command_s;
    three->load_nm[k] = three->faster_nm[k] = judging->load_nm[end - 2 + (size_t)k];
    if (k == 0) continue;
    if (!is_opposite(&shifts[k - 1], &shifts[k])) return false;
    const double gap_s = shifts[k].command_s - shifts[k - 1].command_s;
    if (gap_s > window_after_s(judging, &shifts[k - 1])) three->is_soon = 0;
    if (gap_s > busy_s) three->is_quick = 0;
  }
  return true;
}

/* Adds a three to the stretch of its kind, or begins another. */
static bool take_cause(struct sb_inspection *found, struct sb_inspect_hunt *hunt, const struct sb_three *three,
                       size_t end, enum sb_cause cause, const struct sb_band *band, int slower)
{
  if (hunt->count == 0 || end - 2 >= hunt->first + hunt->count) {
    if (!sb_inspect_add_hunt(found, hunt)) return false;
    *hunt = (struct sb_inspect_hunt){.first_s = three->time_s[0],
                                     .first = end - 2,
                                     .cause = cause,
                                     .least_nm = three->load_nm[0],
                                     .greatest_nm = three->load_nm[0],
                                     .slower_gear = slower,
                                     .three = *three,
                                     .band = *band};
  }
  if (cause < hunt->cause) {
    hunt->cause = cause;
    hunt->three = *three;
  }
  for (int k = 0; k < 3; k++) {
    hunt->least_nm = fmin(hunt->least_nm, three->load_nm[k]);
    hunt->greatest_nm = fmax(hunt->greatest_nm, three->load_nm[k]);
  }
  hunt->period_s += three->time_s[2] - three->time_s[0];
  hunt->period_count++;
  hunt->last_s = three->time_s[2];
  hunt->count = end - hunt->first + 1;
  return true;
}

static int compare_first(const void *a, const void *b)
{
  const struct sb_inspect_hunt *one = a, *other = b;
  if (one->first_s != other->first_s) return one->first_s < other->first_s ? -1 : 1;
  return (int)one->cause - (int)other->cause;
}

/* Judges each three as a run does, in place of the chains that a log without loads shows. */
static bool judge_all(const struct judging *judging, struct sb_inspection *found)
{
  struct sb_inspect_hunt hunting = {.count = 0}, busy = {.count = 0};
  found->hunt_count = 0;
  for (size_t end = 2; end < found->shift_count; end++) {
    struct sb_three three;
    const struct sb_inspect_shift *last = &judging->shifts[end];
    const int slower = last->from < last->to ? last->from : last->to;
    if (slower >= judging->model->gearbox.gear_count || !take_three(judging, end, &three)) continue;
    const struct sb_control *control = &judging->model->control;
    const struct sb_band band =
        sb_band_of(judging->model, &judging->line, slower - 1, control->downshift_fraction[slower - 1],
                   control->upshift_fraction[slower - 1]);
    const enum sb_cause cause = sb_three_cause(&three, &band);
    struct sb_inspect_hunt *hunt = cause == SB_CAUSE_LOAD ? &busy : &hunting;
    if (cause != SB_CAUSE_NONE && !take_cause(found, hunt, &three, end, cause, &band, slower)) return false;
  }
  if (!sb_inspect_add_hunt(found, &hunting) || !sb_inspect_add_hunt(found, &busy)) return false;
  if (found->hunt_count > 1) qsort(found->hunts, found->hunt_count, sizeof *found->hunts, compare_first);
  return true;
}

size_t sb_inspect_busy_count(const struct sb_inspection *inspection)
{
  size_t count = 0;
  for (size_t i = 0; i < inspection->hunt_count; i++) count += inspection->hunts[i].cause == SB_CAUSE_LOAD;
  return count;
}

enum sb_status sb_inspect_find_causes(const struct sb_log *log, const struct sb_inspect_options *options,
                                      struct sb_inspection *found)
{
  const struct sb_model *model = options->model;
  double *load_nm = calloc(found->shift_count + 1, sizeof *load_nm);
  if (load_nm == NULL) return SB_ERR_MEMORY;
  const struct judging judging = {model, sb_torque_balance_line(model), options->hunt_window_s, found->shifts, load_nm};
  bool is_known = true, is_done = true;
  for (size_t i = 0; i < found->shift_count; i++) {
    load_nm[i] = external_nm(log, model, &found->shifts[i]);
    is_known = is_known && isfinite(load_nm[i]);
  }
  found->has_loads = is_known;
  if (is_known) is_done = judge_all(&judging, found);
  free(load_nm);
  return is_done ? SB_OK : SB_ERR_MEMORY;
}
