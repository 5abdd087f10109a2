// SPDX-License-Identifier: GPL-3.0-or-later
/* Reading logs: line ends, quotes, gaps, other names, and faults told by line and column. */
#include <gsl/gsl_rng.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

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
    shell_expect(said, "\"shifts\":[{\"left_s\":1,\"engaged_s\":2,\"from\":1,\"to\":2}]");
  }
}

static void faults_of_a_log_name_line_column_need_and_find(void **state)
{
  (void)state;
  static const struct {
    const char *text, *said;
  } faults[] = {
      {"t,gear\\n0,1\\n", "log.csv:1:1: time_s: needs a column of this name, found 2 others, the first \"t\""},
      {"time_s;gear\\n0;1\\n",
       "log.csv:1:1: time_s: needs a column of this name, found 1 other, the first \"time_s;gear\""},
      {"time_s,gear,gear\\n0,1,1\\n", "log.csv:1:13: gear: needs each column once, found \"gear\""},
      {"time_s,gear\\n0,1\\n1,x\\n", "log.csv:3:3: gear: needs a number, found \"x\""},
      {"time_s,gear\\n0,1\\n1,1.5\\n", "log.csv:3:3: gear: needs a whole number from 0 (neutral) to 8, found \"1.5\""},
      {"time_s,gear\\n0,1\\n1,9\\n", "log.csv:3:3: gear: needs a whole number"},
      {"time_s,gear\\n0,1\\n,1\\n", "log.csv:3:1: time_s: needs a time in every row, found none"},
      {"time_s,gear\\n0,1\\n2,1\\n1,1\\n", "log.csv:4:1: time_s: needs times that never go back, found 1 behind 2"},
      {"time_s,gear\\n0,1\\n1\\n", "log.csv:3:1: needs 2 fields as in the header, found 1"},
      {"time_s,gear\\n0,1\\n1,1,1\\n", "needs 2 fields as in the header, found 3"},
      {"time_s,gear\\n0,1\\n1,0x10\\n", "log.csv:3:3: gear: needs a number, found \"0x10\""},
      {"time_s,gear\\n0,1\\n1,1e400\\n", "gear: needs a number"},
      {"time_s,gear\\n", "needs at least two rows, found none"},
      {"time_s,gear\\n0,1\\n", "needs at least two rows, found one"},
      {"", "time_s: needs a column of this name"},
      {"time_s,gear\\n0,\"1\\n", "needs a closing quote, found the end of the file"},
      {"time_s,gear\\n0,1\\0\\n", "needs text, found a zero byte"},
      {"time_s,force\\n0,1\\n1,1\\n", "needs a column gear, or motor_speed_rpm and output_speed_rpm, or"},
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
  gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
  assert_non_null(random);
  char path[64] = "/tmp/shiftband-log.XXXXXX";
  const int descriptor = mkstemp(path);
  assert_true(descriptor >= 0);
  FILE *file = fdopen(descriptor, "w+");
  assert_non_null(file);
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
    const enum sb_status status = sb_log_read(path, NULL, 0, &log, &faults);
    assert_true(status == SB_OK ? faults.count == 0 : status == SB_ERR_SCENARIO && faults.count > 0);
    sb_faults_clear(&faults);
    if (status != SB_OK) continue;
    const struct sb_inspect_options options = sb_inspect_options_default();
    struct sb_inspection found;
    if (sb_inspect(&log, &options, &found, NULL) == SB_OK) sb_inspection_clear(&found);
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
  shell_expect(said, "motor_speed_rpm: needs a column \"n7\", found none");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(files_of_all_sorts_of_line_ends_quotes_and_gaps_are_read_alike),
      cmocka_unit_test(faults_of_a_log_name_line_column_need_and_find),
      cmocka_unit_test(random_bytes_are_refused_or_read),
      cmocka_unit_test(columns_of_other_names_are_taken_when_told),
  };
  return cmocka_run_group_tests_name("log", tests, shell_setup, shell_teardown);
}
