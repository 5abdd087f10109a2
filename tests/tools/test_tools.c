// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The helpers in tools/: cycle-to-load against figures that US EPA publishes and a value worked by hand, plot-trace and
 * plot-map, and the summing up of test runs.
 */
#include "help/near.h"
#include "help/shell.h"

#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The number that follows `name` at the start of a line; NAN when there is no such line. */
static double figure(const char *text, const char *name)
{
  const size_t length = strlen(name);
  for (const char *line = text; line; line = strchr(line, '\n') ? strchr(line, '\n') + 1 : NULL) {
    if (strncmp(line, name, length) == 0) return strtod(line + length, NULL);
  }
  return NAN;
}

static bool has_gnuplot(void)
{
  return shell_run("command -v gnuplot")->code == 0;
}

/* US EPA, dynamometer drive schedules, UDDS: 7.45 miles, 1369 seconds, average speed 19.59 mph (from memory). */
static void urban_schedule_has_the_published_distance_duration_and_mean_speed(void **state)
{
  (void)state;
  const struct said *said = shell_run("tools/data/cycle-to-load --check tests/data/uddscol.txt");
  assert_int_equal(said->code, 0);
  assert_near(figure(said->text, "distance "), 7.45, 0.005); /* half a unit of the last published digit, as below */
  assert_near(figure(said->text, "duration "), 1369.0, 0.5);
  assert_near(figure(said->text, "mean "), 19.59, 0.005);
  assert_near(figure(said->text, "maximum "), 56.7, 1e-9); /* the greatest speed in the file, as it stands there */
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
  const struct said *said =
      shell_run("tools/data/cycle-to-load --mass 20 --wheel-radius 0.1 --rolling-resistance 0.02 --drag-area 0.1"
                " --speed-scale 0.1 tests/data/uddscol.txt");
  assert_int_equal(said->code, 0);
  assert_memory_equal(said->text, "time_s,torque_nm\n0,0\n", 21);
  assert_near(figure(said->text, "22,"), 0.64302579577, 1e-11); /* the digits worked out above */
}

static void brakes_and_standstill_leave_no_torque(void **state)
{
  (void)state;
  const struct said *said =
      shell_run("tools/data/cycle-to-load --mass 1 --wheel-radius 1 --rolling-resistance 0.1 tests/data/uddscol.txt");
  assert_int_equal(said->code, 0);
  /* 8, 5.2 and 2.5 mph at 1364..1366 s: a = -1.23 m/s2, more than the 0.98 m/s2 that rolling takes. */
  assert_true(figure(said->text, "1365,") == 0.0);
  /* At rest at 20 s, though the next speed is 3 mph. */
  assert_true(figure(said->text, "20,") == 0.0);
  assert_true(figure(said->text, "21,") > 0.0);
}

static void stretching_time_divides_the_inertia_force(void **state)
{
  (void)state;
  const struct said *plain = shell_run("tools/data/cycle-to-load --mass 3 --wheel-radius 1 tests/data/uddscol.txt");
  const double torque_nm = figure(plain->text, "22,");
  assert_near(torque_nm, 3.0 * (8.6 - 3.0) * 0.44704 / 2.0, 1e-12); /* m a alone; rounding of a few operations */
  const struct said *slow =
      shell_run("tools/data/cycle-to-load --mass 3 --wheel-radius 1 --time-scale 2 tests/data/uddscol.txt");
  assert_near(figure(slow->text, "44,"), torque_nm / 2.0, 1e-12);
}

static void faulty_schedules_are_refused_with_their_line(void **state)
{
  (void)state;
  const struct said *said = shell_run("printf 't,v\\n0,1\\n2,1\\n1,1\\n' > $T/back.csv;"
                                      "tools/data/cycle-to-load --mass 1 --wheel-radius 1 $T/back.csv");
  assert_int_equal(said->code, 3);
  shell_expect(said, "back.csv:4: time 1 s does not follow 2 s");
  assert_null(strstr(said->text, "torque_nm"));

  said = shell_run(
      "printf '0,1\\n1,fast\\n' > $T/word.csv; tools/data/cycle-to-load --mass 1 --wheel-radius 1 $T/word.csv");
  assert_int_equal(said->code, 3);
  shell_expect(said, "word.csv:2: expected a time and a speed");

  said = shell_run("tools/data/cycle-to-load --mass 0 --wheel-radius 1 tests/data/uddscol.txt");
  assert_int_equal(said->code, 2);
  shell_expect(said, "--mass: expected a number > 0");
}

#define TRACE_HEADER "time_s,gear,reading_pct,output_torque_nm,load_torque_nm"

static void plot_refuses_a_trace_that_lacks_columns_and_draws_nothing(void **state)
{
  (void)state;
  if (!has_gnuplot()) skip();
  const struct said *said = shell_run("printf 'time_s,gear,reading_pct\\n0,1,50\\n' > $T/narrow.csv;"
                                      "tools/plot/plot-trace $T/narrow.csv -o $T/narrow.png");
  assert_int_equal(said->code, 3);
  shell_expect(said, "lacks the column(s) output_torque_nm load_torque_nm");
  assert_int_not_equal(shell_run("ls $T/narrow.png*")->code, 0);

  said = shell_run(": > $T/empty.csv; tools/plot/plot-trace $T/empty.csv -o $T/narrow.png");
  assert_int_equal(said->code, 3);
  shell_expect(said, "the file is empty");
}

static void plot_draws_both_formats_from_columns_in_any_order(void **state)
{
  (void)state;
  if (!has_gnuplot()) skip();
  const struct said *said =
      shell_run("printf 'note,load_torque_nm,output_torque_nm,reading_pct,gear,time_s\\r\\n\"a, b\",0.1,0.2,50,1,0"
                "\\r\\nc,0.1,0.2,50,2,1\\r\\n' > $T/t.csv; for kind in png svg; do "
                "tools/plot/plot-trace $T/t.csv -o $T/t.$kind --downshift 40 --upshift 60 || exit; done; ls $T/t.*");
  assert_int_equal(said->code, 0);
  assert_int_equal(shell_run("od -An -c -N 4 $T/t.png | grep -q '211   P   N   G'")->code, 0);
  said = shell_run("cat $T/t.svg");
  shell_expect(said, "upshift 60 %");
  shell_expect(said, "load torque");
  shell_expect(said, "</svg>");
}

static void a_faulty_trace_leaves_the_old_picture_alone(void **state)
{
  (void)state;
  if (!has_gnuplot()) skip();
  const struct said *said = shell_run("echo old > $T/old.png; printf '" TRACE_HEADER "\\n0,1,50,x,1\\n' > $T/bad.csv;"
                                      "tools/plot/plot-trace $T/bad.csv -o $T/old.png; echo code $?; cat $T/old.png");
  shell_expect(said, "bad.csv:2: output_torque_nm: expected a number, got \"x\"");
  shell_expect(said, "code 3\nold\n");
}

#define MAP_HEADER "downshift_from_pct,downshift_to_pct,upshift_from_pct,upshift_to_pct,verdict,cause"

/*
 * A lattice of whole percent, downshift 50 to 52 and upshift 50 to 53: of the 12 points those with the downshift threshold
 * below the upshift threshold count, 3 + 2 + 1 at downshift 50, 51, 52. "stuck low" has upshift 53 of all three, "hunting"
 * the rest of downshift 50, "passes" the rest.
 */
#define SMALL_MAP       \
  "printf '" MAP_HEADER \
  "\\n50,52,53,53,stuck low,\\n50,50,50,52,hunting,dwell-driven\\n51,52,50,52,passes,\\n' > $T/m.csv;"

static void map_picture_has_every_verdict_with_its_share_of_the_points_and_the_limits(void **state)
{
  (void)state;
  if (!has_gnuplot()) skip();
  const struct said *said = shell_run(
      SMALL_MAP
      "printf 'limit,downshift_below_pct,upshift_above_pct\\nhunting,50,51\\nhunting,52,53\\nstuck low,80,80\\n"
      "stuck low,90,80\\n' > $T/l.csv;"
      "for kind in png svg; do tools/plot/plot-map $T/m.csv -o $T/m.$kind --limits $T/l.csv --mark 50,52"
      " --title \"It's <mine>\" || exit; done; cat $T/m.svg");
  assert_int_equal(said->code, 0);
  shell_expect(said, "stuck low");
  shell_expect(said, "50.0 % of the plane"); /* 3 of 6 points */
  shell_expect(said, "hunting, dwell-driven");
  shell_expect(said, "33.3 % of the plane"); /* 2 of 6 */
  shell_expect(said, "16.7 % of the plane"); /* 1 of 6 */
  shell_expect(said, "hunting under some load");
  shell_expect(said, "50 % and 52 %");
  shell_expect(said, "It's &lt;mine>");
  shell_expect(said, "</svg>");
  assert_null(strstr(said->text, "closed form: above")); /* a limit outside the plane is in no key */
  assert_int_equal(shell_run("od -An -c -N 4 $T/m.png | grep -q '211   P   N   G'")->code, 0);
}

static void share_map_is_drawn_in_classes_of_its_share(void **state)
{
  (void)state;
  if (!has_gnuplot()) skip();
  const struct said *said = shell_run(
      "printf 'downshift_from_pct,downshift_to_pct,upshift_from_pct,upshift_to_pct,passed,samples,share,share_least"
      "\\n10,10,20,29,200,200,1,0.98\\n11,19,20,29,150,200,0.75,0.69\\n' > $T/share.csv;"
      "tools/plot/plot-map $T/share.csv -o $T/share.svg && cat $T/share.svg");
  assert_int_equal(said->code, 0);
  shell_expect(said, "10.0 % of the plane");
  shell_expect(said, "75 to 90 %");
  shell_expect(said, "90.0 % of the plane");
  shell_expect_not(said, "never shifts");
  said = shell_run(
      "printf 'downshift_from_pct,downshift_to_pct,upshift_from_pct,upshift_to_pct,passed,samples,share,share_least,never_shift"
      "\\n10,10,20,29,200,200,1,0.98,199\\n11,12,20,29,200,200,1,0.98,200\\n13,19,20,29,150,200,0.75,0.69,150\\n' > "
      "$T/share.csv; tools/plot/plot-map $T/share.csv -o $T/share.svg && cat $T/share.svg");
  assert_int_equal(said->code, 0);
  shell_expect(said, ">never shifts<");
  shell_expect(said, "20.0 % of the plane");
  shell_expect(said, "70.0 % of the plane");
}

/* The program and the picture call columns and verdicts by the same names: what passes has the colour of that. */
static void maps_as_the_program_writes_them_are_drawn(void **state)
{
  (void)state;
  if (!has_gnuplot()) skip();
  const struct said *said = shell_run(
      "$SHIFTBAND map --set controller.threshold_step='5 %' -o $T/real.csv scenarios/hunting-crawler.yaml > $T/out &&"
      "tools/plot/plot-map $T/real.csv -o $T/real.svg && cat $T/real.svg");
  assert_int_equal(said->code, 0);
  shell_expect(said, ">passes<");
  shell_expect(said, ">never shifts<");
  shell_expect(said, ">stuck low<");
  assert_non_null(strstr(said->text, "rgb(228, 242, 234)")); /* #E4F2EA */
  assert_non_null(strstr(said->text, "rgb(163, 194, 147)")); /* #A3C293 */
  said = shell_run(
      "$SHIFTBAND map --samples 3 --set controller.threshold_step='5 %' -o $T/shares.csv scenarios/tray-cart.yaml "
      "> $T/out && tools/plot/plot-map $T/shares.csv -o $T/shares.svg && cat $T/shares.svg");
  assert_int_equal(said->code, 0);
  shell_expect(said, ">all<");
  shell_expect(said, ">none<");
}

/* Nothing divides it, so its lattice is taken to be of tenths of a percent: 11 times 21 points, all of which count. */
static void a_map_of_one_rectangle_is_drawn_whole(void **state)
{
  (void)state;
  if (!has_gnuplot()) skip();
  const struct said *said = shell_run("printf '" MAP_HEADER "\\n50,51,60,62,passes,\\n' > $T/one.csv;"
                                      "tools/plot/plot-map $T/one.csv -o $T/one.svg && cat $T/one.svg");
  assert_int_equal(said->code, 0);
  shell_expect(said, "100.0 % of the plane");
  shell_expect(said, " 50.8<"); /* tics of both axes reach over the rectangle */
  shell_expect(said, " 61.5<");
}

static void faulty_maps_and_limits_are_refused_and_leave_the_old_picture_alone(void **state)
{
  (void)state;
  if (!has_gnuplot()) skip();
  static const struct {
    const char *rows, *fault;
  } maps[] = {
      {"", "x.csv: the file is empty"},
      {MAP_HEADER "\\n", "x.csv: there is a header but no row"},
      {"downshift_from_pct,upshift_to_pct\\n1,2\\n",
       "x.csv:1: the header lacks the column(s) downshift_to_pct upshift_from_pct"},
      {"downshift_from_pct,downshift_to_pct,upshift_from_pct,upshift_to_pct\\n1,2,3,4\\n",
       "lacks the column(s) verdict"},
      {MAP_HEADER "\\n1,2,3,x,passes,\\n", "x.csv:2: upshift_to_pct: expected a number, got \"x\""},
      {MAP_HEADER "\\n2,1,3,4,passes,\\n", "x.csv:2: downshift_from_pct 2 is above downshift_to_pct 1"},
      {MAP_HEADER "\\n1,2,3,4\\n", "x.csv:2: expected 6 fields as in the header"},
      {MAP_HEADER "\\n1,2,3,4,,\\n", "x.csv:2: verdict is empty"},
      {MAP_HEADER "\\n1,2,3,4,passes,\\n3,4.5,3,4,passes,\\n", "4.5 % is not on one lattice with the other ends"},
      {MAP_HEADER "\\n5,6,3,4,passes,\\n",
       "the map has no point with the downshift threshold below the upshift threshold"},
  };
  for (size_t i = 0; i < sizeof maps / sizeof maps[0]; i++) {
    char command[1024];
    snprintf(
        command, sizeof command,
        "echo old > $T/x.png; printf '%s' > $T/x.csv; tools/plot/plot-map $T/x.csv -o $T/x.png; echo code $?; cat $T/x.png*",
        maps[i].rows);
    const struct said *said = shell_run(command);
    shell_expect(said, maps[i].fault);
    shell_expect(said, "code 3\nold\n");
  }
  const struct said *said =
      shell_run(SMALL_MAP "printf 'limit,downshift_below_pct,upshift_above_pct\\nhunting,50\\n' > $T/l.csv;"
                          "tools/plot/plot-map $T/m.csv -o $T/none.png --limits $T/l.csv; echo code $?; ls $T/none*");
  shell_expect(said, "l.csv:2: expected 3 fields");
  shell_expect(said, "code 3");
  assert_int_not_equal(said->code, 0);
  said = shell_run(SMALL_MAP "tools/plot/plot-map $T/m.csv -o $T/none.png --mark 50");
  assert_int_equal(said->code, 2);
  said = shell_run("tools/plot/plot-map $T/absent.csv -o $T/none.png");
  assert_int_equal(said->code, 4);
}

static void a_test_program_that_dies_counts_as_failed_and_the_rest_runs_on(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "printf '#!/bin/sh\\nexit 3\\n' > $T/dies;"
      "printf '#!/bin/sh\\necho \"[==========] 2 test(s) run.\"\\necho \"[  PASSED  ] 2 test(s).\"\\n' > $T/fine;"
      "printf '#!/bin/sh\\nexit 0\\n' > $T/silent; chmod +x $T/dies $T/fine $T/silent;"
      "tools/dev/run-tests $T/logs $T/dies $T/fine $T/silent");
  assert_int_equal(said->code, 1);
  shell_expect(said, "failed:\n  dies\n  silent\n2 passed, 2 failed\n");
}

/* An answer with two alternatives, the scenario's own thresholds and a gear that fails alone. */
#define SMALL_ANSWER                                                                                                            \
  "{ echo '{\"pairs\":[{\"slower\":\"low\",\"faster\":\"high\",\"alternatives\":['; for c in recommended:5:4 fastest:5.2:1;"    \
  "do IFS=: read -r n w m <<E\n$c\nE\n"                                                                                         \
  "printf '%s{\"name\":\"%s\",\"mean_output_speed_rad_s\":%s,\"margin_pct\":%s,\"passes\":true}' \"$by\" $n $w $m; by=,; done;" \
  "echo '],\"beside\":[{\"name\":\"high locked\",\"mean_output_speed_rad_s\":4,\"margin_pct\":null,\"passes\":false}]}]}';"     \
  "} > $T/tune.json;"

static void alternatives_are_drawn_with_speed_and_margin(void **state)
{
  (void)state;
  if (!has_gnuplot() || shell_run("command -v python3")->code != 0) skip();
  const struct said *said =
      shell_run(SMALL_ANSWER "tools/plot/plot-alternatives $T/tune.json -o $T/alt.svg && cat $T/alt.svg");
  assert_int_equal(said->code, 0);
  shell_expect(said, ">recommended<");
  shell_expect(said, ">fastest<");
  shell_expect(said, ">high locked, fails<");
  shell_expect(said, ">margin of the thresholds (%)<");
  said = shell_run(
      SMALL_ANSWER
      "for pair in 1 2; do echo old > $T/a.png;"
      "tools/plot/plot-alternatives $T/tune.json -o $T/a.png --pair $pair; echo code $?; head -c 4 $T/a.png; done");
  shell_expect(said, "code 0\n\211PNG");
  shell_expect(said, "code 3\nold");
}

/* Three designs: two on the front of speed against charge, and one that is slower and takes more. */
#define SMALL_DESIGNS                                                                                                \
  "printf 'design,mean_speed_rad_s,charge_as,energy_j,margin_pct\\nstrong,6,18,200,8.8\\n\"light, 9 V\",3,9,120,\\n" \
  "strong,2,36,100,4\\n' > $T/d.csv;"

static void designs_are_drawn_with_number_margin_and_speed_against_charge_or_energy(void **state)
{
  (void)state;
  if (!has_gnuplot() || shell_run("command -v python3")->code != 0) skip();
  const struct said *said = shell_run(
      SMALL_DESIGNS "tools/plot/plot-design $T/d.csv -o $T/d.svg --narrow --title \"It's <mine>\" && cat $T/d.svg");
  assert_int_equal(said->code, 0);
  shell_expect(said, ">1 (8.8 %)<");
  shell_expect(said, ">2<"); /* no margin is known */
  shell_expect(said, ">3 (4 %)<");
  shell_expect(said, ">light, 9 V<");
  shell_expect(said, ">charge of a run (mAh)<");
  shell_expect(said, ">mean output speed (rpm)<");
  shell_expect(said, "<title>It's &lt;mine&gt;</title>");
  shell_expect(said, "width=\"600\"");
  /* A label in blue belongs to a filled point: the third design is one where energy counts, as it takes least of it. */
  said = shell_run(
      SMALL_DESIGNS
      "for cost in charge energy; do tools/plot/plot-design $T/d.csv -o $T/d.svg --against $cost || exit;"
      "echo $cost $(grep -A 1 'fill=\"rgb(0,114,178)\"' $T/d.svg | sed -n 's/.*<text>\\([0-9]\\).*/\\1/p' | sort);"
      "done");
  assert_string_equal(said->text, "charge 1 2\nenergy 1 2 3\n");
}

static void faulty_tables_of_designs_are_refused_and_leave_the_old_picture_alone(void **state)
{
  (void)state;
  if (!has_gnuplot() || shell_run("command -v python3")->code != 0) skip();
  static const struct {
    const char *edit, *fault;
  } tables[] = {
      {"d", "x.csv: the file is empty"},
      {"1!d", "x.csv: there are no designs"},
      {"1s/charge_as/charge/", "x.csv:1: the header lacks the column(s) charge_as"},
      {"3s/,120,/,120/", "x.csv:3: expected 5 fields as in the header"},
      {"4s/,36,/,much,/", "x.csv:4: charge_as: expected a number, got \"much\""},
      {"4s/,2,/,,/", "x.csv: design 3 has no mean_speed_rad_s"},
      {"4s/,36,100,/,,,/", "x.csv: not every design has its charge or its energy"},
      {"1s/^/{/", "x.csv: expected what `shiftband design --json` prints"},
  };
  for (size_t i = 0; i < sizeof tables / sizeof tables[0]; i++) {
    char command[512];
    snprintf(command, sizeof command,
             SMALL_DESIGNS
             "echo old > $T/x.png; sed '%s' $T/d.csv > $T/x.csv; tools/plot/plot-design $T/x.csv -o $T/x.png;"
             "echo code $?; cat $T/x.png*",
             tables[i].edit);
    const struct said *said = shell_run(command);
    shell_expect(said, tables[i].fault);
    shell_expect(said, "code 3\nold\n");
  }
}

/* One file that needs nothing else, whole or not at all. */
static void a_report_is_one_page_without_scripts_or_network(void **state)
{
  (void)state;
  if (!has_gnuplot() || shell_run("command -v python3")->code != 0) skip();
  const struct said *said = shell_run(
      "tools/report --program $SHIFTBAND scenarios/hunting-crawler.yaml -o $T/page.html; echo code $?;"
      "grep -o 'src=\"data:image/svg+xml;base64,' $T/page.html | wc -l; grep -ciE '<script|https?:|<link' $T/page.html;"
      "sed 's/data:[^\"]*//' $T/page.html");
  shell_expect(said, "code 0\n3\n0\n"); /* alternatives, map and trace; nothing from elsewhere */
  shell_expect(said, "The gearbox hunts between low and high every 1 s");
  shell_expect(said, "<h2>What tuning recommends</h2>");
  shell_expect(said, "<h2>Whatever the load profile</h2>");
  shell_expect(said, "16 shifts");
  shell_expect(said, "width=device-width");
  said = shell_run("echo old > $T/page.html; tools/report --program $SHIFTBAND tests/bad/absent.yaml -o $T/page.html;"
                   "echo code $?; cat $T/page.html; ls $T/page.html*");
  shell_expect(said, "code 4\nold\n");
  said = shell_run(
      "for f in tests/bad/*.yaml; do tools/report --program $SHIFTBAND $f -o $T/none.html; echo code $?; break; done;"
      "ls $T/none*");
  shell_expect(said, "code 3\n");
  shell_expect(said, "report: tests/bad/");
}

/* A small shelf, on a page of its own and on that of its scenario. */
static void a_report_shows_designs_of_a_scenario_with_choices_and_of_an_answer(void **state)
{
  (void)state;
  if (!has_gnuplot() || shell_run("command -v python3")->code != 0) skip();
  const struct said *said = shell_run(
      "cp -r scenarios/data $T/data; sed \"s|\\[data/motor-light.yaml, data/|[data/|; s/teeth: .*45\\], mod/teeth: [15, 30, 36, 45], mod/;"
      "s/stages: 2..3/stages: 2/\" scenarios/mat-roller.yaml > $T/shelf.yaml; P=\"tools/report --program $SHIFTBAND\";"
      "$SHIFTBAND design --json $T/shelf.yaml > $T/shelf.json && $P $T/shelf.json -o $T/alone.html &&"
      "$P $T/shelf.yaml -o $T/whole.html; echo code $?; sed 's/data:[^\"]*//' $T/alone.html;"
      "for page in alone whole; do grep -c '<td class=\"number\" data-name=\"machine\">motor-strong, ' $T/$page.html;"
      "grep -o 'src=\"data:image/svg+xml;base64,' $T/$page.html | wc -l; done");
  shell_expect(said, "code 0\n");
  shell_expect(said, "<h1>Designs from a shelf</h1>");
  shell_expect(said, "data-name=\"mean speed, rpm\">");
  shell_expect(said, "the fastest");
  shell_expect(said, "\n1\n1\n1\n4\n"); /* a table and a picture; the same table among alternatives, map and trace */
  said = shell_run(
      "P=\"tools/report --program $SHIFTBAND\"; sed 's/\"dropped\"/\"lost\"/' $T/shelf.json > $T/odd.json;"
      "$P $T/odd.json -o $T/none.html; echo code $?; $SHIFTBAND design --json --set require.charge='0.01 mAh'"
      " $T/shelf.yaml > $T/misses.json; $P $T/misses.json -o $T/misses.html; cat $T/misses.html; ls $T/none.html");
  shell_expect(said, "odd.json: expected what `shiftband design --json` prints\ncode 3\n");
  shell_expect(said, "No design meets <code>require</code>.");
  shell_expect(said, "data-name=\"rule\">require.charge<");
  shell_expect(said, "none.html': No such file");
}

/* Nothing that the scenario says is typed again: title, gears, thresholds, limit, and what the reading is. */
static void a_picture_of_a_trace_takes_its_words_from_the_scenario(void **state)
{
  (void)state;
  if (!has_gnuplot()) skip();
  const struct said *said = shell_run(
      "export SHIFTBAND; for s in dough-drum three-speed-feeder; do $SHIFTBAND run -q -o $T/$s.csv scenarios/$s.yaml;"
      " tools/plot/plot-trace $T/$s.csv -o $T/$s.svg --scenario scenarios/$s.yaml --show current || exit 1; done;"
      " sed 's/<[^>]*>//g' $T/dough-drum.svg; grep -o '<title>[^<]*' $T/dough-drum.svg | head -n 1");
  assert_int_equal(said->code, 0);
  shell_expect(said, "<title>Kneading drum at a constant speed");
  shell_expect(said, "duty left (%)");
  shell_expect(said, "motor speed (rpm)"); /* beside it, for the reading does not show it */
  shell_expect(said, "motor current (A)");
  shell_expect(said, "knead");
  shell_expect(said, "upshift 32 %");
  shell_expect_not(said, "motor speed (%)");
  said = shell_run("sed 's/<[^>]*>//g' $T/three-speed-feeder.svg");
  shell_expect(said, "motor speed (%)");
  shell_expect(said, "second");
  shell_expect(said, "upshift 76 %");
  shell_expect(said, "limit 18 N·m above this scale");
}

static void what_no_scenario_and_no_trace_has_is_refused(void **state)
{
  (void)state;
  if (!has_gnuplot()) skip();
  const struct said *said = shell_run(
      "export SHIFTBAND; $SHIFTBAND run -q -o $T/cart.csv scenarios/tray-cart.yaml; P=\"tools/plot/plot-trace $T/cart.csv -o\";"
      "$P $T/none.png --show noise; echo code $?; $P $T/none.png --show winding; echo code $?;"
      "$P $T/none.png --scenario tests/bad/empty.yaml; echo code $?; ls $T/none.png");
  shell_expect(said, "--show: no noise (see --help)\ncode 2\n");
  shell_expect(said, "lacks the column(s) winding_c\ncode 3\n");
  shell_expect(said, "bad/empty.yaml:1:1: ");
  shell_expect(said, "No such file");
}

/* The same of a map, whose cross stands at the scenario's thresholds. */
static void a_picture_of_a_map_takes_title_and_cross_from_the_scenario(void **state)
{
  (void)state;
  if (!has_gnuplot()) skip();
  const struct said *said = shell_run(
      "export SHIFTBAND; $SHIFTBAND map -q -o $T/map.csv scenarios/tray-cart.yaml > $T/said;"
      "tools/plot/plot-map $T/map.csv -o $T/own.svg --scenario scenarios/tray-cart.yaml &&"
      "tools/plot/plot-map $T/map.csv -o $T/typed.svg --title 'Tray cart on the greenhouse rail' --mark 50,78 &&"
      "cmp $T/own.svg $T/typed.svg && grep -c '<title>Tray cart on the greenhouse rail</title>' $T/own.svg && echo same");
  shell_expect(said, "same");
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
      cmocka_unit_test(map_picture_has_every_verdict_with_its_share_of_the_points_and_the_limits),
      cmocka_unit_test(share_map_is_drawn_in_classes_of_its_share),
      cmocka_unit_test(maps_as_the_program_writes_them_are_drawn),
      cmocka_unit_test(a_map_of_one_rectangle_is_drawn_whole),
      cmocka_unit_test(faulty_maps_and_limits_are_refused_and_leave_the_old_picture_alone),
      cmocka_unit_test(a_test_program_that_dies_counts_as_failed_and_the_rest_runs_on),
      cmocka_unit_test(alternatives_are_drawn_with_speed_and_margin),
      cmocka_unit_test(designs_are_drawn_with_number_margin_and_speed_against_charge_or_energy),
      cmocka_unit_test(faulty_tables_of_designs_are_refused_and_leave_the_old_picture_alone),
      cmocka_unit_test(a_report_is_one_page_without_scripts_or_network),
      cmocka_unit_test(a_report_shows_designs_of_a_scenario_with_choices_and_of_an_answer),
      cmocka_unit_test(a_picture_of_a_trace_takes_its_words_from_the_scenario),
      cmocka_unit_test(what_no_scenario_and_no_trace_has_is_refused),
      cmocka_unit_test(a_picture_of_a_map_takes_title_and_cross_from_the_scenario),
  };
  return cmocka_run_group_tests_name("tools", tests, shell_setup, shell_teardown);
}
