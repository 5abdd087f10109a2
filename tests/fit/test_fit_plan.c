// SPDX-License-Identifier: GPL-3.0-or-later
/* What a bench makes of logs before anything is sought: what feeds the motor and when, and which readings count. */
#include <string.h>

#include "fit/bench.h"
#include "help/fit_data.h"
#include "help/loaded.h"

enum { ROW_MAX = 32 };

static struct sb_bench bench; /* large, hence not on the stack */

static enum sb_status plan(const struct sb_fit_setup *setup, const struct sb_log *log, struct sb_error *err)
{
  return sb_bench_init(&bench, setup, log, 1, err);
}

static void must_plan(const struct sb_fit_setup *setup, const struct sb_log *log)
{
  struct sb_error err = {0};
  if (plan(setup, log, &err) != SB_OK) fail_msg("%s", err.text);
}

/* Rows 0.1 s apart, with nonsense behind the last, where nobody may look. */
static struct sb_log rows_of(size_t count, double *speeds, double *voltages, double *duties)
{
  static double times[ROW_MAX];
  static long lines[ROW_MAX];
  static char path[] = "rows.csv";
  for (size_t i = 0; i < count; i++) {
    times[i] = 0.1 * (double)i;
    lines[i] = 2 + (long)i;
  }
  for (size_t i = count; i < ROW_MAX; i++) {
    times[i] = 99.0;
    speeds[i] = 1e6;
    if (voltages != NULL) voltages[i] = 99.0;
    if (duties != NULL) duties[i] = 0.7;
  }
  return (struct sb_log){
      .count = count,
      .time_s = times,
      .lines = lines,
      .path = path,
      .columns = {[SB_LOG_MOTOR_SPEED] = speeds, [SB_LOG_SUPPLY_VOLTAGE] = voltages, [SB_LOG_DUTY] = duties}};
}

static void expect_span(size_t number, double from_s, double voltage_v, bool is_open)
{
  const struct sb_bench_span *span = &bench.tests[0].spans[number];
  assert_near(span->from_s, from_s, 1e-12);
  assert_near(span->voltage_v, voltage_v, 1e-12);
  assert_int_equal(span->is_open, is_open);
}

/* Full duty of 12 V, half of it, none, and all of it again. */
static void each_duty_is_a_span_of_its_own(void **state)
{
  (void)state;
  double speeds[ROW_MAX], duties[ROW_MAX];
  for (size_t i = 0; i < 12; i++) {
    speeds[i] = 20.0;
    duties[i] = i < 4 || i >= 10 ? 1.0 : i < 8 ? 0.5 : 0.0;
  }
  const struct sb_fit_setup setup = fit_setup();
  const struct sb_log log = rows_of(12, speeds, NULL, duties);
  must_plan(&setup, &log);
  assert_int_equal(bench.tests[0].phase, SB_FIT_PHASE_FIND);
  assert_int_equal(bench.tests[0].span_count, 4);
  expect_span(0, 0.0, 12.0, false);
  expect_span(1, 0.4, 6.0, false);
  expect_span(2, 0.8, 0.0, true);
  expect_span(3, 1.0, 12.0, false);
  sb_bench_clear(&bench);
}

static void a_steady_voltage_is_one_span_to_the_last_row(void **state)
{
  (void)state;
  double speeds[ROW_MAX], voltages[ROW_MAX];
  for (size_t i = 0; i < 12; i++) {
    speeds[i] = 2.0 * (double)i;
    voltages[i] = 11.5;
  }
  struct sb_fit_setup setup = fit_setup();
  const struct sb_log log = rows_of(12, speeds, voltages, NULL);
  must_plan(&setup, &log);
  assert_int_equal(bench.tests[0].phase, SB_FIT_SPIN_UP);
  assert_int_equal(bench.tests[0].span_count, 1);
  expect_span(0, 0.0, 11.5, false);
  assert_near(bench.tests[0].spans[0].length_s, 1.1, 1e-12);
  assert_near(bench.nominal_voltage_v, 12.0, 0.0);
  sb_bench_clear(&bench);
  setup.nominal_voltage_v = 0.0; /* then it is what was measured */
  must_plan(&setup, &log);
  assert_true(bench.is_voltage_known);
  assert_near(bench.nominal_voltage_v, 11.5, 0.0);
  sb_bench_clear(&bench);
}

/* Up to 100 rad/s, there up to 0.7 s, and down again; one reading at the end is high by itself. */
static void the_drive_goes_off_where_the_speed_was_last_near_its_greatest(void **state)
{
  (void)state;
  double speeds[ROW_MAX] = {0.0, 40.0, 80.0, 100.0, 100.0, 100.0, 100.0, 100.0, 60.0, 30.0, 10.0, 10.0, 99.0, 10.0};
  const struct sb_fit_setup setup = fit_setup();
  const struct sb_log log = rows_of(14, speeds, NULL, NULL);
  must_plan(&setup, &log);
  assert_int_equal(bench.tests[0].phase, SB_FIT_BOTH);
  /* The median of five is still 100 rad/s one row before the last of them. */
  assert_near(bench.tests[0].own[SB_OWN_OFF], 0.6, 0.1001);
  sb_bench_clear(&bench);
}

static struct sb_fit_setup scenario_setup(void)
{
  const char *const sets[] = {"load.parts=[]"};
  char path[256];
  snprintf(path, sizeof path, "%s/scenarios/tray-cart.yaml", SB_SOURCE_DIR);
  loaded_take(path, sets, 1);
  return fit_exact(sb_fit_setup_default(&loaded_scenario.model));
}

/* From gear 2 to gear 1 between rows 5 and 6, at full duty; the supply has 1.2 ohm of its own. */
static const char *const shifting =
    "time_s,gear,motor_speed_rpm,duty_fraction,supply_voltage_v,motor_current_a\n"
    "0.0,2,200,1,11,0.5\n0.1,2,200,1,11,0.5\n0.2,2,200,1,11,0.5\n0.3,2,200,1,5,0.5\n0.3,2,200,1,11,0.5\n"
    "0.4,2,200,1,11,0.5\n0.5,1,210,1,11,0.5\n0.6,1,220,1,11,0.5\n0.7,1,230,1,11,0.5\n0.8,1,240,1,11,0.5\n";

/* 11 V and 0.5 A through 1.2 ohm: 11.6 V behind it, but for one row that a median does not mind. */
static void a_log_with_a_shift_is_fed_by_the_open_circuit_voltage(void **state)
{
  (void)state;
  const struct sb_fit_setup setup = scenario_setup();
  assert_near(loaded_scenario.model.supply.internal_resistance_ohm, 1.2, 1e-12);
  struct sb_log log = fit_read("shift.csv", shifting, strlen(shifting));
  must_plan(&setup, &log);
  assert_int_equal(bench.tests[0].event_count, 1);
  assert_int_equal(bench.tests[0].span_count, 1);
  expect_span(0, 0.0, 11.6, false);
  assert_near(bench.tests[0].source_ohm, 1.2, 1e-12);
  sb_bench_clear(&bench);
  sb_log_clear(&log);
  sb_scenario_clear(&loaded_scenario);
}

/* Ten rows; the two at 0.3 s are on either side of whatever happened then. Currents beside the command are left out, too. */
static void rows_at_one_instant_do_not_count_in_a_log_with_a_shift(void **state)
{
  (void)state;
  const struct sb_fit_setup setup = scenario_setup();
  struct sb_log log = fit_read("shift.csv", shifting, strlen(shifting));
  must_plan(&setup, &log);
  size_t speeds = 0, currents = 0;
  for (size_t i = 0; i < bench.reading_count; i++) {
    const struct sb_bench_reading *reading = &bench.readings[i];
    assert_true(reading->row != 3 && reading->row != 4);
    speeds += reading->column == SB_LOG_MOTOR_SPEED;
    currents += reading->column == SB_LOG_MOTOR_CURRENT;
  }
  assert_int_equal(speeds, 8);
  assert_int_equal(currents, 6);
  sb_bench_clear(&bench);
  sb_log_clear(&log);
  sb_scenario_clear(&loaded_scenario);
}

/* From the first row on. */
static void a_log_with_a_shift_needs_one_duty_throughout(void **state)
{
  (void)state;
  const struct sb_fit_setup setup = scenario_setup();
  char text[1024];
  struct sb_error err = {0};
  snprintf(text, sizeof text, "%s", shifting);
  char *duty = strstr(text, "0.0,2,200,1") + strlen("0.0,2,200,");
  memmove(duty + 3, duty + 1, strlen(duty));
  memcpy(duty, "0.5", 3);
  struct sb_log log = fit_read("duty.csv", text, strlen(text));
  assert_int_equal(plan(&setup, &log, &err), SB_ERR_SCENARIO);
  assert_non_null(
      strstr(err.text, "duty.csv:3: duty: needs one duty throughout a log with a shift, found 100 % after 50 %"));
  sb_bench_clear(&bench);
  sb_log_clear(&log);
  sb_scenario_clear(&loaded_scenario);
}

static void expect_event(size_t number, size_t from_row, size_t to_row, int gear, bool is_engaging, double middle_s)
{
  const struct sb_bench_event *event = &bench.tests[0].events[number];
  assert_int_equal(event->from_row, from_row);
  assert_int_equal(event->to_row, to_row);
  assert_int_equal(event->gear, gear);
  assert_int_equal(event->is_engaging, is_engaging);
  assert_near(event->middle_s, middle_s, 1e-12);
  assert_near(event->spread_s, 0.1 * (double)(to_row - from_row), 1e-12);
  assert_near(bench.tests[0].own[SB_OWN_EVENT + number], middle_s, 1e-12);
  assert_true(bench.tests[0].is_own_free[SB_OWN_EVENT + number]);
}

static struct sb_log geared_log;

/* Rows 0.1 s apart, from rest: a gear for each ('.': nothing is said), and how many readings of each column are left. */
static void plan_geared(const char *gears, size_t speeds, size_t currents)
{
  char text[2048];
  size_t length = (size_t)snprintf(text, sizeof text, "time_s,gear,motor_speed_rad_s,motor_current_a\n");
  for (size_t i = 0; gears[i] != 0; i++) {
    const char gear[2] = {gears[i] == '.' ? '0' : gears[i], 0};
    length += (size_t)snprintf(text + length, sizeof text - length, "%.1f,%s,%d,0.5\n", 0.1 * (double)i, gear,
                               i < 3 ? (int)i : 100);
  }
  const struct sb_fit_setup setup = scenario_setup();
  geared_log = fit_read("gears.csv", text, length);
  for (size_t i = 0; i < geared_log.count; i++) {
    if (gears[i] == '.') geared_log.columns[SB_LOG_GEAR][i] = NAN;
  }
  must_plan(&setup, &geared_log);
  size_t counts[SB_LOG_COLUMN_COUNT] = {0};
  for (size_t i = 0; i < bench.reading_count; i++) counts[bench.readings[i].column]++;
  assert_int_equal(counts[SB_LOG_MOTOR_SPEED], speeds);
  assert_int_equal(counts[SB_LOG_MOTOR_CURRENT], currents);
  assert_int_equal(bench.tests[0].resting_row, 2); /* 2 of 100 rad/s */
  assert_near(bench.tests[0].own[SB_OWN_START], 0.2, 1e-12);
  sb_scenario_clear(&loaded_scenario);
}

static void clear_geared(void)
{
  sb_bench_clear(&bench);
  sb_log_clear(&geared_log);
}

/* Speeds beside an engagement may stand on either side of a jump, currents beside a command or the start, too. */
static void a_gear_is_left_and_the_next_engaged_between_two_rows(void **state)
{
  (void)state;
  plan_geared("2222200111", 8, 4);
  assert_int_equal(bench.tests[0].event_count, 2);
  assert_int_equal(sb_shift_find_count(&bench.tests[0]), 1);
  assert_true(bench.tests[0].is_engagement_logged);
  expect_event(0, 4, 5, 0, false, 0.45);
  expect_event(1, 6, 7, 0, true, 0.65);
  clear_geared();
}

/* The second shift has no row in neutral: it is left in the first part of the pause, and the next one engages in the last. */
static void both_ends_of_a_shift_may_lie_in_one_pause(void **state)
{
  (void)state;
  plan_geared("222220111222", 8, 5);
  assert_int_equal(bench.tests[0].event_count, 4);
  assert_int_equal(sb_shift_find_count(&bench.tests[0]), 2);
  expect_event(2, 8, 9, 1, false, 0.83);
  expect_event(3, 8, 9, 1, true, 0.87);
  clear_geared();
  plan_geared("222221110222", 8, 5); /* now the first one */
  assert_int_equal(bench.tests[0].event_count, 4);
  expect_event(0, 4, 5, 0, false, 0.43);
  expect_event(1, 4, 5, 0, true, 0.47);
  expect_event(2, 7, 8, 1, false, 0.75);
  expect_event(3, 8, 9, 1, true, 0.85);
  clear_geared();
}

/* Without rows in neutral only the command is known, and with rows that say nothing the pause is longer. */
static void a_row_without_a_gear_says_nothing_of_it(void **state)
{
  (void)state;
  plan_geared("22222..111", 10, 4);
  assert_int_equal(bench.tests[0].event_count, 1);
  assert_false(bench.tests[0].is_engagement_logged);
  expect_event(0, 4, 7, 0, false, 0.55);
  clear_geared();
}

/* What comes before the first gear and behind the last one is not looked at. */
static void rows_before_the_first_gear_and_behind_the_last_do_not_count(void **state)
{
  (void)state;
  plan_geared("..22220011100", 7, 3);
  assert_int_equal(bench.tests[0].first_row, 2);
  assert_int_equal(bench.tests[0].last_row, 10);
  assert_int_equal(bench.tests[0].event_count, 2);
  clear_geared();
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(each_duty_is_a_span_of_its_own),
      cmocka_unit_test(a_steady_voltage_is_one_span_to_the_last_row),
      cmocka_unit_test(the_drive_goes_off_where_the_speed_was_last_near_its_greatest),
      cmocka_unit_test(a_log_with_a_shift_is_fed_by_the_open_circuit_voltage),
      cmocka_unit_test(rows_at_one_instant_do_not_count_in_a_log_with_a_shift),
      cmocka_unit_test(a_log_with_a_shift_needs_one_duty_throughout),
      cmocka_unit_test(a_gear_is_left_and_the_next_engaged_between_two_rows),
      cmocka_unit_test(both_ends_of_a_shift_may_lie_in_one_pause),
      cmocka_unit_test(a_row_without_a_gear_says_nothing_of_it),
      cmocka_unit_test(rows_before_the_first_gear_and_behind_the_last_do_not_count),
  };
  return cmocka_run_group_tests_name("fit plan", tests, NULL, NULL);
}
