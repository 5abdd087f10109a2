// SPDX-License-Identifier: GPL-3.0-or-later
/* Logs as people's loggers write them, and what is said about those that cannot be read. */
#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "help/near.h"
#include "shiftband/fit.h"

static const struct sb_log_options none = {0};

static enum sb_status parse(const char *text, size_t length, const struct sb_log_options *options, struct sb_log *log,
                            struct sb_faults *faults)
{
  struct sb_log_options with_text = *options;
  with_text.text = text;
  with_text.length = length;
  return sb_fit_log_read("log.csv", &with_text, log, faults);
}

static struct sb_log read_sound(const char *text, const struct sb_log_options *options)
{
  struct sb_log log;
  struct sb_faults faults = {0};
  if (parse(text, strlen(text), options, &log, &faults) != SB_OK) fail_msg("%s", faults.texts[0]);
  return log;
}

/* All fault texts must be these, NULL at the end. */
static void expect_faults(const char *text, const struct sb_log_options *options, const char *const *wanted)
{
  struct sb_log log;
  struct sb_faults faults = {0};
  assert_int_equal(parse(text, strlen(text), options, &log, &faults), SB_ERR_SCENARIO);
  for (size_t k = 0; k < faults.count && wanted[k] != NULL; k++) assert_string_equal(faults.texts[k], wanted[k]);
  size_t count = 0;
  while (wanted[count] != NULL) count++;
  assert_int_equal(faults.count, count);
  sb_faults_clear(&faults);
}

static void expect_fault(const char *text, const char *wanted)
{
  const char *const list[] = {wanted, NULL};
  expect_faults(text, &none, list);
}

static void units_come_from_the_ending_the_brackets_or_an_option(void **state)
{
  (void)state;
  static const struct sb_column_fact units[] = {{"current", "mA"}};
  const struct sb_log_options options = {.facts = {.unit_count = 1, .units = units}};
  struct sb_log log = read_sound("time_ms,speed [rpm],voltage (mV),current,duty_pct\n500,60,12000,250,50\n", &options);
  assert_near(log.time_s[0], 0.5, 1e-15);
  assert_near(log.columns[SB_LOG_MOTOR_SPEED][0], 6.283185307179586, 1e-14);
  assert_near(log.columns[SB_LOG_SUPPLY_VOLTAGE][0], 12.0, 1e-14);
  assert_near(log.columns[SB_LOG_MOTOR_CURRENT][0], 0.25, 1e-15);
  assert_near(log.columns[SB_LOG_DUTY][0], 0.5, 1e-15);
  assert_null(log.columns[SB_LOG_TORQUE]);
  sb_log_clear(&log);
}

/* Standard gravity 9.80665 m/s2 and the kilogram-force by NIST SP 811, appendix B. */
static void a_weight_and_a_force_on_an_arm_are_a_torque(void **state)
{
  (void)state;
  const struct sb_log_options options = {.arm_m = 0.012};
  struct sb_log log = read_sound("mass_g,speed_rpm\n500,100\n", &options);
  assert_near(log.columns[SB_LOG_TORQUE][0], 0.5 * 9.80665 * 0.012, 1e-15);
  sb_log_clear(&log);
  log = read_sound("force_kgf,speed_rpm\n0.5,100\n", &options);
  assert_near(log.columns[SB_LOG_TORQUE][0], 0.5 * 9.80665 * 0.012, 1e-15);
  sb_log_clear(&log);
}

static void semicolons_tabs_quotes_crlf_and_a_byte_order_mark_are_taken(void **state)
{
  (void)state;
  struct sb_log log = read_sound("\xef\xbb\xbf\"time_s\";\"speed_rpm\"\r\n0; 10\r\n\r\n1;\"20\"", &none);
  assert_int_equal(log.count, 2);
  assert_near(log.time_s[1], 1.0, 0.0);
  assert_int_equal(log.lines[1], 4);
  sb_log_clear(&log);
  log = read_sound("time_s\tspeed_rpm\n0\t10\n", &none);
  assert_int_equal(log.count, 1);
  sb_log_clear(&log);
}

static void other_columns_are_named_and_left_alone(void **state)
{
  (void)state;
  struct sb_log log = read_sound("time_s,note,speed_rpm,temperature_c\n0,\"a, b\",10,x\n", &none);
  assert_string_equal(log.ignored, "note, temperature_c");
  sb_log_clear(&log);
}

static void columns_of_other_names_are_found_by_option(void **state)
{
  (void)state;
  static const struct sb_column_fact renames[] = {{"speed", "RPM (raw)"}, {"time", "t"}};
  static const struct sb_column_fact units[] = {{"RPM (raw)", "rpm"}, {"time", "s"}};
  static const struct sb_column_fact fills[] = {{"voltage", "6 V"}};
  const struct sb_log_options options = {
      .facts = {
          .unit_count = 2, .units = units, .rename_count = 2, .renames = renames, .fill_count = 1, .fills = fills}};
  struct sb_log log = read_sound("t,RPM (raw),speed_rpm\n0,60,7\n", &options);
  assert_near(log.columns[SB_LOG_MOTOR_SPEED][0], 6.283185307179586, 1e-14);
  assert_near(log.columns[SB_LOG_SUPPLY_VOLTAGE][0], 6.0, 0.0);
  sb_log_clear(&log);
}

static void empty_fields_are_gaps(void **state)
{
  (void)state;
  struct sb_log log = read_sound("time_s,speed_rpm\n0,1\n1,\n2,nan\n3,4\n30,5\n31,6\n32,7\n", &none);
  assert_true(isnan(log.columns[SB_LOG_MOTOR_SPEED][1]) && isnan(log.columns[SB_LOG_MOTOR_SPEED][2]));
  assert_int_equal(log.gap_count, 1);
  assert_near(log.longest_gap_s, 27.0, 0.0);
  sb_log_clear(&log);
}

/* A motor that turns backwards is turned round whole; one that reverses becomes its magnitude. */
static void the_sense_of_turning_does_not_matter(void **state)
{
  (void)state;
  struct sb_log log = read_sound("time_s,speed [rad/s]\n0,0.1\n1,-50\n2,-80\n3,-90\n", &none);
  assert_near(log.columns[SB_LOG_MOTOR_SPEED][0], -0.1, 0.0);
  assert_near(log.columns[SB_LOG_MOTOR_SPEED][3], 90.0, 0.0);
  sb_log_clear(&log);
  log = read_sound("time_s,speed [rad/s]\n0,80\n1,85\n2,-80\n3,-90\n", &none);
  assert_near(log.columns[SB_LOG_MOTOR_SPEED][0], 80.0, 0.0);
  assert_near(log.columns[SB_LOG_MOTOR_SPEED][3], 90.0, 0.0);
  sb_log_clear(&log);
}

static void the_step_of_rounded_readings_is_seen(void **state)
{
  (void)state;
  struct sb_log log = read_sound("time_s,speed [rad/s]\n0,0\n1,20\n2,50\n3,60\n4,100\n", &none);
  assert_near(log.quantum[SB_LOG_MOTOR_SPEED], 10.0, 1e-12);
  sb_log_clear(&log);
  log = read_sound("time_s,speed [rad/s]\n0,0\n1,30\n2,10\n3,40\n4,20\n",
                   &none); /* no two neighbours are one step apart */
  assert_near(log.quantum[SB_LOG_MOTOR_SPEED], 10.0, 1e-12);
  sb_log_clear(&log);
  log = read_sound("time_s,speed [rad/s]\n0,0\n1,20.17\n2,50.3\n3,60.94\n4,100.111\n", &none);
  assert_near(log.quantum[SB_LOG_MOTOR_SPEED], 0.0, 0.0);
  sb_log_clear(&log);
}

static void faults_name_file_line_column_need_and_found(void **state)
{
  (void)state;
  expect_fault("time_s,speed\n0,1\n",
               "log.csv:1:8: speed: needs its unit, as in \"speed [rpm]\" or --unit speed=rpm, found none");
  expect_fault("time_s,speed [V]\n0,1\n",
               "log.csv:1:8: speed [V]: needs a unit of an angular speed (rpm, rad/s, deg/s, rev/s), found \"V\"");
  expect_fault("time_s,speed_rpm\n0,1\n1,fast\n", "log.csv:3:3: speed_rpm: needs a number, found \"fast\"");
  expect_fault("time_s,speed_rpm\n0,\"1,5\"\n",
               "log.csv:2:3: speed_rpm: needs a number with a decimal point, found \"1,5\"");
  expect_fault("time_s,speed_rpm\n1,1\n0.5,2\n",
               "log.csv:3:1: time_s: needs a time not before the last one, 1, found \"0.5\"");
  expect_fault("time_s,speed_rpm\n,1\n", "log.csv:2:1: time_s: needs a time in every row, found nothing");
  expect_fault("time_s,speed_rpm\n0,1\n1\n", "log.csv:3:1: needs 2 fields, as the header has, found 1");
  expect_fault("time_s,speed_rpm,motor_speed_rpm\n0,1,1\n",
               "log.csv:1:18: motor_speed_rpm: needs each quantity once, found a second column of it");
  expect_fault("time_s,speed_rpm,duty_pct\n0,1,150\n",
               "log.csv:2:5: duty_pct: needs a duty from -100 % to 100 %, found \"150\"");
  expect_fault(
      "mass_g,speed_rpm\n100,1\n",
      "log.csv:1:1: mass: needs the arm that makes a torque of it (--arm 12mm: the lever, or the drum's radius), "
      "found none");
  expect_fault(
      "time_s,rpm\n0,1\n",
      "log.csv:1:1: speed: needs a column such as speed_rpm (or --column speed=NAME --unit speed=rpm), found time_s, rpm");
  expect_fault(
      "speed_rpm\n1\n",
      "log.csv:1:1: needs time_s (a log over time), or torque_nm, force_n or mass_g (points in steady state), found speed_rpm");
  expect_fault("", "log.csv:1:1: needs at least 1 row, found 0");
  expect_fault("time_s,\"speed_rpm\n0,1\n", "log.csv:1:8: needs a closing quote, found the end of the file");
  expect_fault("time_s,speed_rpm,gear\n0,1,1.5\n",
               "log.csv:2:5: gear: needs a whole number from 0 (neutral) to 8, found \"1.5\"");
}

static void all_faults_are_listed(void **state)
{
  (void)state;
  static const char *const wanted[] = {"log.csv:2:3: speed_rpm: needs a number, found \"a\"",
                                       "log.csv:4:3: speed_rpm: needs a number, found \"b\"", NULL};
  expect_faults("time_s,speed_rpm\n0,a\n1,2\n2,b\n", &none, wanted);
}

/* Cut anywhere, a log is read or refused, and nothing is read beyond its end: run under the sanitizers. */
static void a_log_cut_anywhere_is_read_or_refused(void **state)
{
  (void)state;
  static const char text[] = "time_s,\"speed [rpm]\",current_a\r\n0,\"1\",2\r\n1,3.5e1,4\r\n";
  for (size_t length = 0; length < sizeof text; length++) {
    char *copy = malloc(length + 1);
    assert_non_null(copy);
    memcpy(copy, text, length);
    struct sb_log log;
    struct sb_faults faults = {0};
    const enum sb_status status = parse(copy, length, &none, &log, &faults);
    assert_true(status == SB_OK || (status == SB_ERR_SCENARIO && faults.count > 0));
    if (status == SB_OK) sb_log_clear(&log);
    sb_faults_clear(&faults);
    free(copy);
  }
}

static void a_file_that_is_not_there_is_an_error_of_reading(void **state)
{
  (void)state;
  struct sb_log log;
  struct sb_faults faults = {0};
  assert_int_equal(sb_fit_log_read("no/such/log.csv", &none, &log, &faults), SB_ERR_IO);
  assert_int_equal(errno, ENOENT);
  assert_int_equal(faults.count, 0);
  sb_faults_clear(&faults);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(units_come_from_the_ending_the_brackets_or_an_option),
      cmocka_unit_test(a_weight_and_a_force_on_an_arm_are_a_torque),
      cmocka_unit_test(semicolons_tabs_quotes_crlf_and_a_byte_order_mark_are_taken),
      cmocka_unit_test(other_columns_are_named_and_left_alone),
      cmocka_unit_test(columns_of_other_names_are_found_by_option),
      cmocka_unit_test(empty_fields_are_gaps),
      cmocka_unit_test(the_sense_of_turning_does_not_matter),
      cmocka_unit_test(the_step_of_rounded_readings_is_seen),
      cmocka_unit_test(faults_name_file_line_column_need_and_found),
      cmocka_unit_test(all_faults_are_listed),
      cmocka_unit_test(a_log_cut_anywhere_is_read_or_refused),
      cmocka_unit_test(a_file_that_is_not_there_is_an_error_of_reading),
  };
  return cmocka_run_group_tests_name("fit_log", tests, NULL, NULL);
}
