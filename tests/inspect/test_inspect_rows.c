// SPDX-License-Identifier: GPL-3.0-or-later
/* Logs of a few rows made by hand, in which anybody sees what must be found. */
#include <math.h>
#include <string.h>

#include "help/loaded.h"
#include "help/near.h"
#include "inspect/gear_track.h"
#include "shiftband/inspect.h"

enum { ROW_MAX = 2000 };

static double times[ROW_MAX], speeds[ROW_MAX];

/* A stretch of the motor's speed, until a time; rows are 10 ms apart, and every other one is 1 rpm higher: a little noise. */
struct stretch {
  double until_s, rpm;
};

static struct sb_log motor_log(const struct stretch *stretches, size_t count)
{
  size_t row = 0;
  for (size_t k = 0; k < count; k++) {
    for (; row < ROW_MAX && 0.01 * (double)row < stretches[k].until_s - 1e-9; row++) {
      times[row] = 0.01 * (double)row;
      speeds[row] = stretches[k].rpm + copysign((double)(row % 2), stretches[k].rpm);
    }
  }
  return (struct sb_log){.count = row, .time_s = times, .columns = {[SB_LOG_MOTOR_SPEED] = speeds}};
}

static struct sb_inspection inspected(const struct sb_log *log)
{
  const struct sb_inspect_options options = sb_inspect_options_default();
  struct sb_inspection found;
  struct sb_error err;
  if (sb_inspect(log, &options, &found, &err) != SB_OK) fail_msg("%s", err.text);
  return found;
}

/* A motor whose speed jumps up has joined a lower gear. Twice in a row cannot be in a box of two: the greater jump counts. */
static void of_two_downshifts_in_a_row_the_one_that_jumps_further_counts(void **state)
{
  (void)state;
  static const struct stretch small_first[] = {{2.0, 1000.0}, {4.0, 1120.0}, {6.0, 1400.0}, {8.0, 900.0}};
  static const struct stretch great_first[] = {{2.0, 1000.0}, {4.0, 1280.0}, {6.0, 1400.0}, {8.0, 900.0}};
  for (int is_great_first = 0; is_great_first < 2; is_great_first++) {
    const struct sb_log log = motor_log(is_great_first ? great_first : small_first, 4);
    struct sb_inspection found = inspected(&log);
    assert_int_equal(found.source, SB_INSPECT_MOTOR);
    assert_int_equal(found.shift_count, 2);
    assert_near(found.shifts[0].engaged_s, is_great_first ? 2.0 : 4.0, 0.0101);
    assert_int_equal(found.shifts[0].from, 2);
    assert_int_equal(found.shifts[0].to, 1);
    assert_near(found.shifts[1].engaged_s, 6.0, 0.0101);
    assert_int_equal(found.shifts[1].from, 1);
    assert_int_equal(found.shifts[1].to, 2);
    sb_inspect_clear(&found);
  }
}

/* Of two gears that turn the motor in opposite directions the lower one is left at higher speeds, whichever direction it has. */
static void the_direction_that_is_left_at_higher_speeds_is_the_lower_gear(void **state)
{
  (void)state;
  for (int sign = -1; sign <= 1; sign += 2) {
    const struct stretch slow_first[] = {{2.0, sign * 600.0}, {4.0, sign * -800.0}, {6.0, sign * 600.0}};
    const struct stretch fast_first[] = {{2.0, sign * 800.0}, {4.0, sign * -600.0}, {6.0, sign * 800.0}};
    for (int is_fast_first = 0; is_fast_first < 2; is_fast_first++) {
      const struct sb_log log = motor_log(is_fast_first ? fast_first : slow_first, 3);
      struct sb_inspection found = inspected(&log);
      assert_true(found.is_by_direction);
      assert_int_equal(found.shift_count, 2);
      assert_int_equal(found.shifts[0].from, is_fast_first ? 1 : 2);
      sb_inspect_clear(&found);
    }
  }
}

/* Forwards at 900 rpm in the first row alone, and at 200 rpm later: left at 550 rpm in the mean, and backwards at 500 rpm. */
static void a_direction_that_the_first_row_alone_shows_counts(void **state)
{
  (void)state;
  static const struct stretch stretches[] = {{0.01, 900.0}, {2.0, -500.0}, {4.0, 200.0}, {6.0, -500.0}};
  const struct sb_log log = motor_log(stretches, 4);
  struct sb_inspection found = inspected(&log);
  assert_int_equal(found.shift_count, 3);
  assert_int_equal(found.shifts[0].from, 1);
  sb_inspect_clear(&found);
}

/* Through neutral, where it slows down, to a gear in which it turns slower at first, and faster once it has settled: a lower one. */
static void a_way_through_neutral_is_judged_by_where_the_motor_settles(void **state)
{
  (void)state;
  static const struct stretch stretches[] = {{2.0, 1000.0}, {2.1, 300.0}, {2.4, 900.0}, {5.0, 1300.0}};
  const struct sb_log log = motor_log(stretches, 4);
  for (size_t i = 210; i < 240; i++) speeds[i] += 400.0 * (double)(i - 210) / 30.0;
  struct sb_inspection found = inspected(&log);
  assert_int_equal(found.shift_count, 1);
  assert_int_equal(found.shifts[0].from, 2);
  assert_int_equal(found.shifts[0].to, 1);
  assert_near(found.shifts[0].engaged_s, 2.1, 0.0101);
  sb_inspect_clear(&found);
}

/* The cart shifts down below 50 % and up above 78 %. What a controller reads at a command is near one of them. */
static void a_jump_of_the_reading_far_from_all_thresholds_is_no_shift(void **state)
{
  (void)state;
  static const struct stretch near[] = {{2.0, 51.0}, {5.0, 70.0}}, far[] = {{2.0, 64.0}, {5.0, 83.0}};
  loaded_take_shipped("tray-cart");
  const struct sb_inspect_options options = sb_inspect_options_of(&loaded_scenario.model);
  for (int is_far = 0; is_far < 2; is_far++) {
    struct sb_log log = motor_log(is_far ? far : near, 2);
    log.columns[SB_LOG_MOTOR_SPEED] = NULL;
    log.columns[SB_LOG_READING] = speeds;
    struct sb_inspection found;
    assert_int_equal(sb_inspect(&log, &options, &found, NULL), SB_OK);
    assert_int_equal(found.shift_count, is_far ? 0 : 1);
    if (!is_far) assert_int_equal(found.shifts[0].to, 1);
    sb_inspect_clear(&found);
  }
  sb_scenario_clear(&loaded_scenario);
}

/* Six shifts to and fro under one load: three within two seconds, 11 s of peace, and three again. */
static void hunting_that_stops_and_begins_again_is_told_twice(void **state)
{
  (void)state;
  static double loads[ROW_MAX];
  struct sb_inspect_shift shifts[] = {{1.0, 1.1, 2, 1},   {2.0, 2.1, 1, 2},   {3.0, 3.1, 2, 1},
                                      {14.0, 14.1, 1, 2}, {15.0, 15.1, 2, 1}, {16.0, 16.1, 1, 2}};
  const char *const sets[] = {"load.parts=[]"};
  char path[256];
  snprintf(path, sizeof path, "%s/scenarios/tray-cart.yaml", SB_SOURCE_DIR);
  loaded_take(path, sets, 1);
  struct sb_inspect_options options = sb_inspect_options_of(&loaded_scenario.model);
  options.hunt_window_s = 4.0;
  for (size_t i = 0; i < ROW_MAX; i++) {
    times[i] = 0.01 * (double)i;
    loads[i] = 0.3;
  }
  const struct sb_log log = {.count = ROW_MAX, .time_s = times, .columns = {[SB_LOG_LOAD_TORQUE] = loads}};
  struct sb_inspection found = {.shift_count = 6, .shifts = shifts};
  assert_int_equal(sb_inspect_find_causes(&log, &options, &found), SB_OK);
  assert_true(found.has_loads);
  assert_int_equal(found.hunt_count, 2);
  for (size_t k = 0; k < 2; k++) {
    assert_int_equal(found.hunts[k].count, 3);
    assert_near(found.hunts[k].first_s, shifts[3 * k].command_s, 0.0);
    assert_near(found.hunts[k].last_s, shifts[3 * k + 2].command_s, 0.0);
    assert_near(found.hunts[k].period_s, 2.0, 1e-12);
  }
  found.shifts = NULL;
  sb_inspect_clear(&found);
  sb_scenario_clear(&loaded_scenario);
}

static void stretches_that_the_load_asked_for_are_counted(void **state)
{
  (void)state;
  struct sb_inspect_hunt hunts[] = {{.cause = SB_CAUSE_LOAD}, {.cause = SB_CAUSE_DWELL}, {.cause = SB_CAUSE_LOAD}};
  const struct sb_inspection found = {.hunts = hunts, .hunt_count = 3};
  assert_int_equal(sb_inspect_busy_count(&found), 2);
}

/* 0 and 1 in turn: each second difference is 2, and a step of rounding is 1. Six differences, of eight values, are enough. */
static void noise_is_told_from_eight_values_on(void **state)
{
  (void)state;
  for (size_t i = 0; i < 8; i++) speeds[i] = (double)(i % 2);
  struct sb_log log = {.count = 7, .time_s = times, .columns = {[SB_LOG_MOTOR_SPEED] = speeds}};
  assert_near(sb_log_noise(&log, SB_LOG_MOTOR_SPEED), 0.0, 0.0);
  log.count = 8;
  assert_near(sb_log_noise(&log, SB_LOG_MOTOR_SPEED), hypot(2.0 / (0.6745 * sqrt(6.0)), 1.0 / sqrt(12.0)), 1e-12);
}

/* By hand; the first and the last value stand for those beyond the ends. */
static void a_running_median_takes_each_value_with_its_neighbours(void **state)
{
  (void)state;
  static const double by_three[] = {1.0, 2.0, 8.0, 3.0, 7.0, 4.0, 4.0}, by_five[] = {1.0, 2.0, 3.0, 7.0, 4.0, 4.0, 4.0};
  const double raw[] = {1.0, 9.0, 2.0, 8.0, 3.0, 7.0, 4.0};
  double values[7];
  memcpy(values, raw, sizeof raw);
  sb_series_smooth(values, 7, 3);
  for (size_t i = 0; i < 7; i++) assert_near(values[i], by_three[i], 0.0);
  memcpy(values, raw, sizeof raw);
  sb_series_smooth(values, 7, 5);
  for (size_t i = 0; i < 7; i++) assert_near(values[i], by_five[i], 0.0);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(of_two_downshifts_in_a_row_the_one_that_jumps_further_counts),
      cmocka_unit_test(the_direction_that_is_left_at_higher_speeds_is_the_lower_gear),
      cmocka_unit_test(a_direction_that_the_first_row_alone_shows_counts),
      cmocka_unit_test(a_way_through_neutral_is_judged_by_where_the_motor_settles),
      cmocka_unit_test(a_jump_of_the_reading_far_from_all_thresholds_is_no_shift),
      cmocka_unit_test(hunting_that_stops_and_begins_again_is_told_twice),
      cmocka_unit_test(stretches_that_the_load_asked_for_are_counted),
      cmocka_unit_test(noise_is_told_from_eight_values_on),
      cmocka_unit_test(a_running_median_takes_each_value_with_its_neighbours),
  };
  return cmocka_run_group_tests_name("inspect rows", tests, NULL, NULL);
}
