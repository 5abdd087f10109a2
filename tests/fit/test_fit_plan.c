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

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(each_duty_is_a_span_of_its_own),
      cmocka_unit_test(a_steady_voltage_is_one_span_to_the_last_row),
      cmocka_unit_test(the_drive_goes_off_where_the_speed_was_last_near_its_greatest),
      cmocka_unit_test(a_log_with_a_shift_is_fed_by_the_open_circuit_voltage),
      cmocka_unit_test(rows_at_one_instant_do_not_count_in_a_log_with_a_shift),
      cmocka_unit_test(a_log_with_a_shift_needs_one_duty_throughout),
  };
  return cmocka_run_group_tests_name("fit plan", tests, NULL, NULL);
}
