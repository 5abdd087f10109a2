// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The helpers in tools/: cycle-to-load against figures that US EPA publishes and a value worked by hand, plot-trace,
 * and the summing up of test runs.
 */
#include "near.h"

#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

static char folder[] = "/tmp/test-tools.XXXXXX";

/* What a shell command said on both streams, and its exit code. */
struct said {
  int code;
  char text[65536];
};

/* Runs a command of the repository's folder; $T in it is a folder for temporary files. */
static struct said run(const char *command)
{
  static struct said said;
  char line[2048];
  const int length = snprintf(line, sizeof line, "T=%s; cd '%s' && { %s; } 2>&1", folder, SB_SOURCE_DIR, command);
  assert_in_range(length, 1, sizeof line - 1);
  FILE *pipe = popen(line, "r");
  assert_non_null(pipe);
  const size_t count = fread(said.text, 1, sizeof said.text - 1, pipe);
  said.text[count] = 0;
  const int status = pclose(pipe);
  said.code = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
  return said;
}

/* The number that follows `name` at the start of a line; NAN when there is no such line. */
static double figure(const char *text, const char *name)
{
  const size_t length = strlen(name);
  for (const char *line = text; line; line = strchr(line, '\n') ? strchr(line, '\n') + 1 : NULL) {
    if (strncmp(line, name, length) == 0) return strtod(line + length, NULL);
  }
  return NAN;
}

static void expect_contains(const char *text, const char *part)
{
  if (!strstr(text, part)) print_error("expected \"%s\" in:\n%s\n", part, text);
  assert_non_null(strstr(text, part));
}

static bool has_gnuplot(void)
{
  return run("command -v gnuplot").code == 0;
}

/* US EPA, dynamometer drive schedules, UDDS: 7.45 miles, 1369 seconds, average speed 19.59 mph (from memory). */
static void urban_schedule_has_the_published_distance_duration_and_mean_speed(void **state)
{
  (void)state;
  const struct said said = run("tools/cycle-to-load --check tests/data/uddscol.txt");
  assert_int_equal(said.code, 0);
  assert_near(figure(said.text, "distance "), 7.45, 0.005); /* half a unit of the last published digit, as below */
  assert_near(figure(said.text, "duration "), 1369.0, 0.5);
  assert_near(figure(said.text, "mean "), 19.59, 0.005);
  assert_near(figure(said.text, "maximum "), 56.7, 1e-9); /* the greatest speed in the file, as it stands there */
}

/*
 * By hand, at 22 s of the schedule: 3, 5.9 and 8.6 mph at 21, 22 and 23 s; a tenth of each, 1 mph = 0.44704 m/s.
 *
 *   v = 5.9 * 0.044704                = 0.2637536 m/s      a = (8.6 - 3) * 0.044704 / 2 = 0.1251712 m/s2
 *   m a = 20 * 0.1251712              = 2.503424 N         C m g = 0.02 * 20 * 9.80665  = 3.92266 N
 *   1/2 R A v^2 = 0.6 * 0.1 * 0.0695659615 = 0.0041739577 N
 *   torque = 0.1 m * 6.4302579577 N   = 0.64302579577 N m
 */
static void torque_of_a_small_vehicle_is_the_one_worked_by_hand(void **state)
{
  (void)state;
  const struct said said = run("tools/cycle-to-load --mass 20 --wheel-radius 0.1 --rolling 0.02 --drag-area 0.1"
                               " --speed-scale 0.1 tests/data/uddscol.txt");
  assert_int_equal(said.code, 0);
  assert_memory_equal(said.text, "time_s,torque_nm\n0,0\n", 21);
  assert_near(figure(said.text, "22,"), 0.64302579577, 1e-11); /* the digits worked out above */
}

static void brakes_and_standstill_leave_no_torque(void **state)
{
  (void)state;
  const struct said said = run("tools/cycle-to-load --mass 1 --wheel-radius 1 --rolling 0.1 tests/data/uddscol.txt");
  assert_int_equal(said.code, 0);
  /* 8, 5.2 and 2.5 mph at 1364..1366 s: a = -1.23 m/s2, more than the 0.98 m/s2 that rolling takes. */
  assert_true(figure(said.text, "1365,") == 0.0);
  /* At rest at 20 s, though the next speed is 3 mph. */
  assert_true(figure(said.text, "20,") == 0.0);
  assert_true(figure(said.text, "21,") > 0.0);
}

static void stretching_time_divides_the_inertia_force(void **state)
{
  (void)state;
  const struct said plain = run("tools/cycle-to-load --mass 3 --wheel-radius 1 tests/data/uddscol.txt");
  const double torque_nm = figure(plain.text, "22,");
  assert_near(torque_nm, 3.0 * (8.6 - 3.0) * 0.44704 / 2.0, 1e-12); /* m a alone; rounding of a few operations */
  const struct said slow = run("tools/cycle-to-load --mass 3 --wheel-radius 1 --time-scale 2 tests/data/uddscol.txt");
  assert_near(figure(slow.text, "44,"), torque_nm / 2.0, 1e-12);
}

static void faulty_schedules_are_refused_with_their_line(void **state)
{
  (void)state;
  struct said said = run("printf 't,v\\n0,1\\n2,1\\n1,1\\n' > $T/back.csv;"
                         "tools/cycle-to-load --mass 1 --wheel-radius 1 $T/back.csv");
  assert_int_equal(said.code, 3);
  expect_contains(said.text, "back.csv:4: time 1 s does not follow 2 s");
  assert_null(strstr(said.text, "torque_nm"));

  said = run("printf '0,1\\n1,fast\\n' > $T/word.csv; tools/cycle-to-load --mass 1 --wheel-radius 1 $T/word.csv");
  assert_int_equal(said.code, 3);
  expect_contains(said.text, "word.csv:2: expected a time and a speed");

  said = run("tools/cycle-to-load --mass 0 --wheel-radius 1 tests/data/uddscol.txt");
  assert_int_equal(said.code, 2);
  expect_contains(said.text, "--mass: expected a number > 0");
}

#define TRACE_HEADER "time_s,gear,reading_pct,output_torque_nm,load_torque_nm"

static void plot_refuses_a_trace_that_lacks_columns_and_draws_nothing(void **state)
{
  (void)state;
  if (!has_gnuplot()) skip();
  struct said said = run("printf 'time_s,gear,reading_pct\\n0,1,50\\n' > $T/narrow.csv;"
                         "tools/plot-trace $T/narrow.csv -o $T/narrow.png");
  assert_int_equal(said.code, 3);
  expect_contains(said.text, "lacks the column(s) output_torque_nm load_torque_nm");
  assert_int_not_equal(run("ls $T/narrow.png*").code, 0);

  said = run(": > $T/empty.csv; tools/plot-trace $T/empty.csv -o $T/narrow.png");
  assert_int_equal(said.code, 3);
  expect_contains(said.text, "the file is empty");
}

static void plot_draws_both_formats_from_columns_in_any_order(void **state)
{
  (void)state;
  if (!has_gnuplot()) skip();
  struct said said =
      run("printf 'note,load_torque_nm,output_torque_nm,reading_pct,gear,time_s\\r\\n\"a, b\",0.1,0.2,50,1,0"
          "\\r\\nc,0.1,0.2,50,2,1\\r\\n' > $T/t.csv; for kind in png svg; do "
          "tools/plot-trace $T/t.csv -o $T/t.$kind --down 40 --up 60 || exit; done; ls $T/t.*");
  assert_int_equal(said.code, 0);
  assert_int_equal(run("od -An -c -N 4 $T/t.png | grep -q '211   P   N   G'").code, 0);
  said = run("cat $T/t.svg");
  expect_contains(said.text, "up 60 %");
  expect_contains(said.text, "load torque");
  expect_contains(said.text, "</svg>");
}

static void a_faulty_trace_leaves_the_old_picture_alone(void **state)
{
  (void)state;
  if (!has_gnuplot()) skip();
  const struct said said = run("echo old > $T/old.png; printf '" TRACE_HEADER "\\n0,1,50,x,1\\n' > $T/bad.csv;"
                               "tools/plot-trace $T/bad.csv -o $T/old.png; echo code $?; cat $T/old.png");
  expect_contains(said.text, "bad.csv:2: output_torque_nm: expected a number, got \"x\"");
  expect_contains(said.text, "code 3\nold\n");
}

static void a_test_program_that_dies_counts_as_failed_and_the_rest_runs_on(void **state)
{
  (void)state;
  const struct said said =
      run("printf '#!/bin/sh\\nexit 3\\n' > $T/dies;"
          "printf '#!/bin/sh\\necho \"[==========] 2 test(s) run.\"\\necho \"[  PASSED  ] 2 test(s).\"\\n' > $T/fine;"
          "printf '#!/bin/sh\\nexit 0\\n' > $T/silent; chmod +x $T/dies $T/fine $T/silent;"
          "tools/run-tests $T/logs $T/dies $T/fine $T/silent");
  assert_int_equal(said.code, 1);
  expect_contains(said.text, "failed:\n  dies\n  silent\n2 passed, 2 failed\n");
}

static int make_folder(void **state)
{
  (void)state;
  return mkdtemp(folder) ? 0 : -1;
}

static int remove_folder(void **state)
{
  (void)state;
  return run("rm -rf $T").code;
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(urban_schedule_has_the_published_distance_duration_and_mean_speed),
      cmocka_unit_test(torque_of_a_small_vehicle_is_the_one_worked_by_hand),
      cmocka_unit_test(brakes_and_standstill_leave_no_torque),
      cmocka_unit_test(stretching_time_divides_the_inertia_force),
      cmocka_unit_test(faulty_schedules_are_refused_with_their_line),
      cmocka_unit_test(plot_refuses_a_trace_that_lacks_columns_and_draws_nothing),
      cmocka_unit_test(plot_draws_both_formats_from_columns_in_any_order),
      cmocka_unit_test(a_faulty_trace_leaves_the_old_picture_alone),
      cmocka_unit_test(a_test_program_that_dies_counts_as_failed_and_the_rest_runs_on),
  };
  return cmocka_run_group_tests_name("tools", tests, make_folder, remove_folder);
}
