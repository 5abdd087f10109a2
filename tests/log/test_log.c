// SPDX-License-Identifier: GPL-3.0-or-later
/* Reading logs: line ends, quotes, gaps, other names, and faults told by line and column. */
#include <gsl/gsl_rng.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "help/dice.h"
#include "help/near.h"
#include "help/shell.h"
#include "shiftband/inspect.h"

static void files_of_all_sorts_of_line_ends_quotes_and_gaps_are_read_alike(void **state)
{
  (void)state;
  static const char *const writes[] = {
      "printf 'time_s,gear,motor_speed_rpm\\n0,1,100\\n1,1,\\n2,2,nan\\n3,2,50\\n'",
      "printf 'time_s,gear,motor_speed_rpm\\r\\n0,1,100\\r\\n1,1,\\r\\n2,2,NA\\r\\n3,2,50'",
      "printf '\\357\\273\\277\"motor_speed_rpm\",note,\"time_s\", gear\\n1e2,\"a,\"\"b\"\"\",0, 1\\n,,1,1\\n\\n,x,2,2\\n50.0,,3,2\\n'",
  };
  for (size_t k = 0; k < sizeof writes / sizeof writes[0]; k++) {
    char command[512];
    snprintf(command, sizeof command, "%s > $T/log.csv; $SHIFTBAND inspect --json $T/log.csv", writes[k]);
    const struct said *said = shell_run(command);
    if (said->code != 0) fail_msg("%zu: %s", k, said->text);
    shell_expect(said, "\"shifts\":[{\"command_s\":1,\"engaged_s\":2,\"from\":1,\"to\":2,");
  }
}

/* 1.5 s comes 0.5 s late in rows of 1 s; what stands in it does not count, here a gear that would be a shift. */
static void row_whose_time_goes_back_by_less_than_a_row_is_set_aside_with_a_warning(void **state)
{
  (void)state;
  const struct said *said = shell_run("printf 'time_s,gear\\n0,1\\n1,1\\n2,1\\n1.5,2\\n3,1\\n4,1\\n' > $T/late.csv; "
                                      "$SHIFTBAND inspect --json $T/late.csv");
  assert_int_equal(said->code, 0);
  shell_expect(said, "warning: ");
  shell_expect(said, "1 row is set aside, the first in line 5: the time goes back by less than a row");
  shell_expect(said, "\"rows\":5,");
  shell_expect(said, "\"shift_count\":0,");
}

static void faults_of_a_log_name_line_column_need_and_find(void **state)
{
  (void)state;
  static const struct {
    const char *text, *said;
  } faults[] = {
      {"t,gear\\n0,1\\n", "log.csv:1:1: time_s: needs a column of this name, found t, gear"},
      {"time_s:gear\\n0:1\\n", "log.csv:1:1: time_s: needs a column of this name, found time_s:gear"},
      {"time_s,gear,gear\\n0,1,1\\n", "log.csv:1:13: gear: needs each quantity once, found a second column of it"},
      {"time_s,gear\\n0,1\\n1,x\\n", "log.csv:3:3: gear: needs a number, found \"x\""},
      {"time_s,gear\\n0,1\\n1,1.5\\n", "log.csv:3:3: gear: needs a whole number from 0 (neutral) to 8, found \"1.5\""},
      {"time_s,gear\\n0,1\\n1,9\\n", "log.csv:3:3: gear: needs a whole number"},
      {"time_s,gear\\n0,1\\n,1\\n", "log.csv:3:1: time_s: needs a time in every row, found nothing"},
      {"time_s,gear\\n0,1\\n2,1\\n0,1\\n", "log.csv:4:1: time_s: needs a time not before the last one, 2, found \"0\""},
      {"time_s,gear\\n2,1\\n1.5,1\\n", "log.csv:3:1: time_s: needs a time not before the last one, 2, found \"1.5\""},
      {"time_s,gear\\n0,1\\n1\\n", "log.csv:3:1: needs 2 fields, as the header has, found 1"},
      {"time_s,gear\\n0,1\\n1,1,1\\n", "log.csv:3:1: needs 2 fields, as the header has, found 3"},
      {"time_s,gear\\n0,1\\n1,0x10\\n", "log.csv:3:3: gear: needs a number, found \"0x10\""},
      {"time_s,gear\\n0,1\\n1,1e400\\n", "gear: needs a number"},
      {"time_s,gear\\n", "needs at least 2 rows, found 0"},
      {"time_s,gear\\n0,1\\n", "needs at least 2 rows, found 1"},
      {"", "time_s: needs a column of this name, found none"},
      {"time_s,gear\\n0,\"1\\n", "needs a closing quote, found the end of the file"},
      {"time_s,gear\\n0,1\\0\\n", "needs text, found a zero byte"},
      {"time_s,force\\n0,1\\n1,1\\n",
       "needs a column gear, or motor_speed_rpm and output_speed_rpm, or motor_speed_rpm or reading_pct alone; found "
       "time_s, force"},
      {"time_s,motor_speed_rpm\\n0,1\\n1,1\\n", "needs at least 16 values of motor_speed_rpm, found 2"},
  };
  for (size_t k = 0; k < sizeof faults / sizeof faults[0]; k++) {
    char command[512];
    snprintf(command, sizeof command, "printf '%s' > $T/log.csv; $SHIFTBAND inspect $T/log.csv", faults[k].text);
    const struct said *said = shell_run(command);
    shell_expect(said, faults[k].said);
    assert_int_equal(said->code, 3);
  }
}

/* Whatever stands in a file: a fault or an answer, never a crash. */
static void random_bytes_are_refused_or_read(void **state)
{
  (void)state;
  static const char alphabet[] = "0123456789.,,,,\n\n\r\"-+eEnaN time_sgear\xff\xc3";
  gsl_rng *random = dice_of(0);
  char path[64] = "/tmp/shiftband-log.XXXXXX";
  const int descriptor = mkstemp(path);
  assert_true(descriptor >= 0);
  FILE *file = fdopen(descriptor, "w+");
  assert_non_null(file);
  const struct sb_log_options reading = sb_log_options_default();
  int read_count = 0;
  for (int k = 0; k < 3000; k++) {
    struct sb_log log;
    struct sb_faults faults;
    rewind(file);
    assert_int_equal(ftruncate(descriptor, 0), 0);
    fputs(k % 2 ? "time_s,gear\n0,1\n1,2\n" : "time_s,motor_speed_rpm\n", file);
    const unsigned long length = gsl_rng_uniform_int(random, 60);
    for (unsigned long i = 0; i < length; i++) {
      fputc(alphabet[gsl_rng_uniform_int(random, sizeof alphabet - 1)], file);
    }
    fflush(file);
    const enum sb_status status = sb_log_read(path, &reading, &log, &faults);
    assert_true(status == SB_OK ? faults.count == 0 : status == SB_ERR_SCENARIO && faults.count > 0);
    sb_faults_clear(&faults);
    if (status != SB_OK) continue;
    const struct sb_inspect_options options = sb_inspect_options_default();
    struct sb_inspection found;
    if (sb_inspect(&log, &options, &found, NULL) == SB_OK) sb_inspect_clear(&found);
    sb_log_clear(&log);
    read_count++;
  }
  assert_true(read_count > 10);
  fclose(file);
  remove(path);
  gsl_rng_free(random);
}

static void columns_of_other_names_are_taken_when_told(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "$SHIFTBAND run -o - scenarios/tray-cart.yaml 2>/dev/null | awk -F, -v OFS=, 'NR == 1 { print \"t,n1,n2\"; next } "
      "{ print $1, $5, $7 }' > $T/log.csv; $SHIFTBAND inspect --column time_s=t --column motor_speed_rpm=n1 --column "
      "output_speed_rpm=n2 --ratios 8,4 $T/log.csv");
  assert_int_equal(said->code, 0);
  shell_expect(said, "gear 2 -> gear 1");
  shell_expect(said, "gear 1 -> gear 2");
  said = shell_run("$SHIFTBAND inspect --column time_s=t --column motor_speed_rpm=n7 $T/log.csv");
  assert_int_equal(said->code, 3);
  shell_expect(said, "motor_speed_rpm: needs a column \"n7\", found t, n1, n2");
}

/* A command says the same of trace.csv and, with options for its columns, of dialect.csv. */
static void expect_same(const char *command, const char *options)
{
  char text[1024];
  snprintf(text, sizeof text,
           "cd $T && %s trace.csv > plain.txt && %s %s dialect.csv 2> note.txt > other.txt && "
           "sed 's/dialect.csv/trace.csv/' other.txt | diff plain.txt -; sed 's/^shiftband [a-z]*: //' note.txt",
           command, command, options);
  const struct said *said = shell_run(text);
  assert_string_equal(said->text, "warning: dialect.csv: decimal commas are read as points\n");
  assert_int_equal(said->code, 0);
}

/* A trace in semicolons, decimal commas, other units, names of gears and other names of columns: one motor in its low gear. */
static void a_trace_in_any_dialect_is_read_by_inspect_and_by_fit(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "cp scenarios/tray-cart.yaml $T; cd $T && $SHIFTBAND run --gear slow --set 'load.parts=[]' --set 'run.duration=3 s' "
      "-o trace.csv tray-cart.yaml > /dev/null && awk -F, -v OFS=';' 'NR == 1 { $1 = \"\\\"time [s]\\\"\"; $5 = \"n1 (raw)\"; $11 = "
      "\"voltage [V]\"; $3 = \"phase, \" } NR > 1 { $2 = \"slow\"; if ($12 == \"\") $12 = \"NA\"; gsub(/[.]/, "
      "\",\") } { print }' trace.csv | sed 's/$/\\r/' > dialect.csv; head -n 1 dialect.csv");
  shell_expect(said, "\"time [s]\";gear;phase, ;");
  expect_same("$SHIFTBAND inspect --json --against tray-cart.yaml --set 'load.parts=[]' --no-hints",
              "--column speed='n1 (raw)' --unit speed=rpm");
  expect_same("$SHIFTBAND fit --json --scenario tray-cart.yaml --set 'load.parts=[]' --gear slow --fit "
              "motor.rotor_inertia",
              "--column motor_speed_rpm='n1 (raw)'");
}

static void a_load_profile_is_read_in_the_same_dialect(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "mkdir -p $T/data; sed 's/data.urban-stop-and-go.csv/data\\/dialect.csv/' scenarios/stop-and-go.yaml > $T/stop.yaml; "
      "sed 's/,/;/; s/time_s/time [min]/; s/torque_nm/torque [mN.m]/; 2,$s/[.]/,/g' scenarios/data/urban-stop-and-go.csv > "
      "$T/data/dialect.csv; head -n 1 $T/data/dialect.csv; grep -c dialect.csv $T/stop.yaml; $SHIFTBAND check $T/stop.yaml > "
      "$T/out.txt; echo code $?");
  shell_expect(said, "time [min];torque [mN.m]\n2\n");
  shell_expect(said, "/data/dialect.csv: decimal commas are read as points\n");
  shell_expect(said, "code 0");
  said = shell_run("sed -i 's/^1;0$/1;na/' $T/data/dialect.csv; $SHIFTBAND check $T/stop.yaml");
  assert_int_equal(said->code, 3);
  shell_expect(said, "torque [mN.m]: needs a number, found \"na\"");
}

/* The bench logs that are shipped have their own names and units. */
static void a_log_of_the_bench_is_read_by_inspect(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND inspect scenarios/data/cart-spin.csv");
  assert_int_equal(said->code, 0);
  shell_expect(said, "0.596 s from 0 s on, 150 rows");
  said =
      shell_run("sed 's/time_s/time [ms]/; s/^0[.]//' scenarios/data/cart-coast.csv > $T/coast.csv; $SHIFTBAND inspect "
                "$T/coast.csv");
  assert_int_equal(said->code, 0);
  shell_expect(said, "0.292 s from 0.6 s on, 74 rows");
  said = shell_run(
      "$SHIFTBAND inspect scenarios/data/cart-points.csv"); /* it has no times: inspect needs them, fit does not */
  assert_int_equal(said->code, 3);
  shell_expect(said, "1:1: time_s: needs a column of this name, found mass_g, speed_rpm, current_a, voltage_v");
}

static void standard_input_is_a_log(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND inspect - < scenarios/data/cart-spin.csv");
  assert_int_equal(said->code, 0);
  shell_expect(said, "standard input\n0.596 s from 0 s on, 150 rows");
  said = shell_run("printf 'time_s,gear\\n0,1\\n1,x\\n' | $SHIFTBAND inspect -");
  assert_int_equal(said->code, 3);
  shell_expect(said, "standard input:3:3: gear: needs a number, found \"x\"");
  said = shell_run("$SHIFTBAND fit --json - < scenarios/data/cart-spin.csv");
  assert_int_equal(said->code, 0);
  shell_expect(said, "standard input");
}

/* Only where a scenario says which gear has the name. */
static void a_gear_column_may_have_names(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "printf 'time_s,gear,motor_speed_rpm\\n0,fast,1\\n0.5,0,1\\n1,slow,1\\n1.5,slow,1\\n' > $T/log.csv; $SHIFTBAND inspect "
      "--json --no-hints --against scenarios/tray-cart.yaml $T/log.csv");
  assert_int_equal(said->code, 0);
  shell_expect(said, "\"from\":2,\"to\":1");
  said = shell_run("$SHIFTBAND inspect $T/log.csv");
  assert_int_equal(said->code, 3);
  shell_expect(said, "log.csv:2:3: gear: needs a number, found \"fast\"");
  said = shell_run(
      "sed 's/slow/slwo/' $T/log.csv > $T/bad.csv; $SHIFTBAND inspect --against scenarios/tray-cart.yaml $T/bad.csv");
  assert_int_equal(said->code, 3);
  shell_expect(said, "bad.csv:4:3: gear: needs a number, found \"slwo\"");
}

static void a_column_of_one_value_is_filled_in(void **state)
{
  (void)state;
  const struct said *said = shell_run("cd $T; printf 'time_s\\n0\\n1\\n' > log.csv; $SHIFTBAND inspect --fill gear=2 "
                                      "--fill 'speed=60 rpm' log.csv");
  assert_int_equal(said->code, 0);
  shell_expect(said, "1 s from 0 s on, 2 rows");
  said = shell_run("cd $T; $SHIFTBAND inspect log.csv");
  assert_int_equal(said->code, 3);
  said = shell_run("cd $T; $SHIFTBAND inspect --fill 'gear=2' --fill 'speed=60 V' log.csv");
  assert_int_equal(said->code, 3);
  shell_expect(said, "log.csv:1:1: speed: needs an angular speed");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(files_of_all_sorts_of_line_ends_quotes_and_gaps_are_read_alike),
      cmocka_unit_test(row_whose_time_goes_back_by_less_than_a_row_is_set_aside_with_a_warning),
      cmocka_unit_test(faults_of_a_log_name_line_column_need_and_find),
      cmocka_unit_test(random_bytes_are_refused_or_read),
      cmocka_unit_test(columns_of_other_names_are_taken_when_told),
      cmocka_unit_test(a_trace_in_any_dialect_is_read_by_inspect_and_by_fit),
      cmocka_unit_test(a_load_profile_is_read_in_the_same_dialect),
      cmocka_unit_test(a_log_of_the_bench_is_read_by_inspect),
      cmocka_unit_test(standard_input_is_a_log),
      cmocka_unit_test(a_gear_column_may_have_names),
      cmocka_unit_test(a_column_of_one_value_is_filled_in),
  };
  return cmocka_run_group_tests_name("log", tests, shell_setup, shell_teardown);
}
