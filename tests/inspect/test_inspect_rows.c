// SPDX-License-Identifier: GPL-3.0-or-later
/* Logs of a few rows made by hand, in which anybody sees what must be found. */
#include <math.h>

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

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(of_two_downshifts_in_a_row_the_one_that_jumps_further_counts),
      cmocka_unit_test(the_direction_that_is_left_at_higher_speeds_is_the_lower_gear),
      cmocka_unit_test(a_direction_that_the_first_row_alone_shows_counts),
  };
  return cmocka_run_group_tests_name("inspect rows", tests, NULL, NULL);
}
