// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Shifts in a log: a gear column tells between which two rows a gear was left and the next one engaged. The instants
 * themselves are the log's own unknowns, held softly to the middle of that pause: taken from a row, half a row of error
 * would go into every figure. Speeds in the two rows beside an engagement, and currents in those beside a command or the
 * start too, may stand on either side of a jump, and are left out.
 */
#include "fit/bench.h"

#include <math.h>

/* A speed below this share of the greatest counts as rest where a log begins. */
static const double rest_share = 0.05;

enum { NEUTRAL = -1, UNKNOWN = -2 };

/* Index of the gear engaged in a row, NEUTRAL or UNKNOWN. */
static int gear_in(const struct sb_log *log, size_t row)
{
  const double gear = log->columns[SB_LOG_GEAR][row];
  return isnan(gear) ? UNKNOWN : gear < 1.0 ? NEUTRAL : (int)gear - 1;
}

static bool has_neutral_rows(const struct sb_log *log)
{
  for (size_t i = 0; i < log->count; i++) {
    if (gear_in(log, i) == NEUTRAL) return true;
  }
  return false;
}

static enum sb_status no_other_gear(const struct sb_log *log, size_t row, struct sb_error *err)
{
  return sb_fail(err, SB_ERR_SCENARIO, "%s:%ld: gear: needs another gear after neutral, found gear %d as before it",
                 log->path, log->lines[row], gear_in(log, row) + 1);
}

static enum sb_status add_event(struct sb_bench_test *test, const struct sb_bench_event *event, struct sb_error *err)
{
  if (test->event_count == SB_BENCH_EVENT_MAX) {
    const int most = SB_BENCH_EVENT_MAX / (test->is_engagement_logged ? 2 : 1);
    return sb_fail(err, SB_ERR_SCENARIO,
                   "%s:%ld: gear: needs at most %d shifts in a log, found another; take its rows up to here",
                   test->log->path, test->log->lines[event->to_row], most);
  }
  test->events[test->event_count++] = *event;
  return SB_OK;
}

/* The last row from the beginning on in which the machine had hardly moved yet; row_count: it turns from the first on. */
static size_t find_resting_row(const struct sb_bench_test *test)
{
  const double *speeds = sb_bench_speeds(test->log);
  double greatest = 0.0;
  for (size_t i = test->first_row; i <= test->last_row; i++) greatest = fmax(greatest, speeds[i]);
  size_t row = test->first_row;
  if (speeds[row] > rest_share * greatest) return test->log->count;
  while (row < test->last_row && !(speeds[row + 1] > rest_share * greatest)) row++;
  return row;
}

enum sb_status sb_shift_find(const struct sb_model *model, struct sb_bench_test *test, struct sb_error *err)
{
  const struct sb_log *log = test->log;
  size_t row = 0;
  while (row < log->count && gear_in(log, row) < 0) row++;
  if (row == log->count) return SB_OK;
  test->is_slipping = model->shifter.ops->plan(&model->shifter, 0.0).clutch_nm > 0.0;
  test->is_engagement_logged = has_neutral_rows(log) && !test->is_slipping;
  test->gear = gear_in(log, row);
  test->first_row = test->last_row = row;
  struct sb_bench_event command = {0};
  bool is_open = false;
  int gear = test->gear;
  for (size_t told = row; row < log->count; row++) { /* told: the last row that tells a gear */
    const int here = gear_in(log, row);
    if (here == UNKNOWN) continue;
    const struct sb_bench_event change = {.from_row = told, .to_row = row, .gear = here, .is_engaging = true};
    told = row;
    if (here != gear && !is_open) command = change;
    if (here >= 0 && (is_open || here != gear)) {
      enum sb_status status = here != gear ? SB_OK : no_other_gear(log, row, err);
      command.gear = here;
      command.is_engaging = false;
      if (status == SB_OK) status = add_event(test, &command, err);
      if (status == SB_OK && test->is_engagement_logged) status = add_event(test, &change, err);
      if (status != SB_OK) return status;
      gear = here;
    }
    is_open = here == NEUTRAL;
    if (!is_open) test->last_row = row;
  }
  test->resting_row = find_resting_row(test);
  return SB_OK;
}

int sb_shift_find_count(const struct sb_bench_test *test)
{
  int count = 0;
  for (size_t k = 0; k < test->event_count; k++) count += !test->events[k].is_engaging;
  return count;
}

bool sb_shift_find_is_wanted(const struct sb_bench_test *test, enum sb_log_column column, size_t row)
{
  if (row < test->first_row || row > test->last_row) return false;
  const bool is_beside_start = row == test->resting_row || row == test->resting_row + 1;
  if (column == SB_LOG_MOTOR_CURRENT && is_beside_start) return false;
  for (size_t k = 0; k < test->event_count; k++) {
    const struct sb_bench_event *event = &test->events[k];
    if ((event->is_engaging || column == SB_LOG_MOTOR_CURRENT) && row >= event->from_row && row <= event->to_row)
      return false;
  }
  return true;
}

void sb_shift_find_own(struct sb_bench_test *test)
{
  const bool is_turning = test->resting_row == test->log->count;
  test->is_own_free[SB_OWN_SPEED] = is_turning;
  test->is_own_free[SB_OWN_START] = !is_turning;
  if (!is_turning) test->own[SB_OWN_SPEED] = 0.0;
  test->own[SB_OWN_START] = sb_bench_time(test, is_turning ? test->first_row : test->resting_row);
  for (size_t k = 0; k < test->event_count; k++) {
    struct sb_bench_event *event = &test->events[k];
    const double from_s = sb_bench_time(test, event->from_row), pause_s = sb_bench_time(test, event->to_row) - from_s;
    /* Where neutral has no row of its own, both instants are in one pause. */
    const bool is_first = !event->is_engaging && k + 1 < test->event_count && test->events[k + 1].is_engaging &&
                          test->events[k + 1].to_row == event->to_row;
    const bool is_second = event->is_engaging && k > 0 && test->events[k - 1].to_row == event->to_row;
    event->middle_s = from_s + pause_s * (is_first ? 0.3 : is_second ? 0.7 : 0.5);
    event->spread_s = pause_s;
    test->own[SB_OWN_EVENT + k] = event->middle_s;
    test->own_scale[SB_OWN_EVENT + k] = 4.0 * pause_s;
    test->is_own_free[SB_OWN_EVENT + k] = pause_s > 0.0;
  }
}
