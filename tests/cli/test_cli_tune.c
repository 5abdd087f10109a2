// SPDX-License-Identifier: GPL-3.0-or-later
/* The tune command as a user meets it: answer, JSON, going on after a stop, faults. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "help/near.h"
#include "help/shell.h"

static void answer_is_reported_with_margins_and_passes_in_a_run_of_its_own(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND tune --samples 4 scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said,
               "These thresholds and this dwell pass in all 7 machines"); /* as written, two corners, four samples */
  shell_expect(said, "lower downshift");
  shell_expect(said, "higher upshift");
  shell_expect(said, "shorter dwell");
  shell_expect(said, "Closed forms over all machines");
  said = shell_run(
      "set -- $($SHIFTBAND tune --samples 4 scenarios/tray-cart.yaml | "
      "sed -n 's/^    \\(downshift_below\\|upshift_above\\|dwell\\): \\([0-9.]*\\) .*/\\2/p'); "
      "$SHIFTBAND run --fail-on any --set controller.downshift_below=\"$1 %\" --set controller.upshift_above=\"$2 %\" "
      "--set controller.dwell=\"$3 s\" --set supply.open_circuit_voltage='10.4 V' "
      "--set controller.reference_speed='310 rpm' scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "none: the machine passes under this load");
}

static void json_is_one_valid_object_with_the_same_answer(void **state)
{
  (void)state;
  if (shell_run("command -v python3")->code != 0) skip();
  const struct said *said = shell_run(
      "$SHIFTBAND tune --json --samples 2 scenarios/tray-cart.yaml | python3 -c '\n"
      "import json, sys\n"
      "pair = json.load(sys.stdin)[\"pairs\"][0]\n"
      "print(pair[\"passes\"], pair[\"slower\"], pair[\"faster\"])\n"
      "print([m[\"threshold\"] + \" \" + m[\"direction\"] for m in pair[\"margins\"]])\n"
      "print(\"ordered\" if 0 < pair[\"downshift_below_pct\"] < pair[\"upshift_above_pct\"] else \"not ordered\")\n"
      "'");
  assert_int_equal(said->code, 0);
  shell_expect(said, "True slow fast\n['downshift_below lower', 'downshift_below higher', 'upshift_above lower', "
                     "'upshift_above higher']\nordered\n");
}

/* Ranked, ten at most, the tolerance in its place; and one of the failures that it foretells, run. */
/* What is tried are multiples of the shortest dwell, and the scenario's own: where it is shorter than what would be chosen else, and leaves
 * the same margin, it stays. A longer one does not. */
static void a_dwell_of_the_scenarios_own_that_serves_as_well_stays_if_it_is_shorter(void **state)
{
  (void)state;
  static const char *const own[] = {"1 s", "0.6 s"};
  double dwells_s[2], margins_pct[2];
  for (int k = 0; k < 2; k++) {
    char command[160];
    snprintf(command, sizeof command,
             "$SHIFTBAND tune --samples 0 --json --set controller.dwell='%s' scenarios/tray-cart.yaml", own[k]);
    const struct said *said = shell_run(command);
    assert_int_equal(said->code, 0);
    dwells_s[k] = shell_figure(said, "\"dwell_s\":");
    margins_pct[k] = shell_figure(said, "\"margin_pct\":");
  }
  assert_true(dwells_s[0] > 0.6 && dwells_s[0] < 1.0);
  assert_near(dwells_s[1], 0.6, 1e-9);
  assert_near(margins_pct[1], margins_pct[0], 1e-9);
}

static void figures_to_measure_first_are_ranked_and_fail_where_they_are_said_to(void **state)
{
  (void)state;
  if (shell_run("command -v python3")->code != 0) skip();
  const struct said *said = shell_run(
      "$SHIFTBAND tune --json scenarios/well-winch.yaml > $T/winch.json; "
      "$SHIFTBAND tune --json --samples 0 scenarios/tray-cart.yaml | cat $T/winch.json - | python3 -c '\n"
      "import json, sys\n"
      "for line in sys.stdin:\n"
      "    rows = json.loads(line)[\"measure_first\"]\n"
      "    order = [(r[\"passes\"], -r[\"moves_limits_by_pct\"]) for r in rows]\n"
      "    voltage = [r for r in rows if r[\"key\"] == \"supply.open_circuit_voltage\"][0]\n"
      "    print(0 < len(rows) <= 10, order == sorted(order), voltage[\"has_tolerance\"], voltage[\"least\"],\n"
      "          voltage[\"passes\"], voltage[\"fails_at\"])\n"
      "'");
  assert_int_equal(said->code, 0);
  shell_expect(said, "True True False 11.34 False 11.34\nTrue True True 10.4 True None\n");
  said = shell_run("set -- $($SHIFTBAND tune scenarios/well-winch.yaml | "
                   "sed -n 's/^    \\(downshift_below\\|upshift_above\\|dwell\\): \\([0-9.]*\\) .*/\\2/p'); "
                   "$SHIFTBAND run --fail-on stuck-low --set controller.downshift_below=\"$1 %\" --set "
                   "controller.upshift_above=\"$2 %\" --set controller.dwell=\"$3 s\" "
                   "--set supply.open_circuit_voltage='11.34 V' scenarios/well-winch.yaml");
  assert_int_equal(said->code, 1);
}

/* Word for word what `check` says of the thresholds when they stand in the scenario. */
static void what_is_proved_of_the_answer_is_what_is_proved_of_its_thresholds(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "$SHIFTBAND tune --samples 2 scenarios/tray-cart.yaml > $T/tuned; "
      "set -- $(sed -n 's/^    \\(downshift_below\\|upshift_above\\|dwell\\): \\([0-9.]*\\) .*/\\2/p' $T/tuned); "
      "$SHIFTBAND check --set controller.downshift_below=\"$1 %\" --set controller.upshift_above=\"$2 %\" "
      "--set controller.dwell=\"$3 s\" scenarios/tray-cart.yaml > $T/checked; "
      "for f in tuned checked; do tr -s ' \\n' '  ' < $T/$f | grep -o 'Whatever the load profile.*its lightest'; done "
      "| uniq -c | awk '{print $1, $2, $3}'");
  shell_expect(said, "2 Whatever the\n");
}

/* Killed in its middle, gone on with, and on other numbers of threads: the same bytes, and no journal left. */
static void killed_work_goes_on_to_the_same_bytes(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "tune=\"$SHIFTBAND tune --samples 60 scenarios/tray-cart.yaml\"; mkdir $T/long; "
      "$tune --jobs 1 > $T/whole; $tune --jobs 1 -o $T/long/a & sleep 0.4; kill -9 $!; wait $! 2>/dev/null; "
      "ls $T/long | grep -c part; $tune --jobs 2 --resume -o $T/long/a && cmp $T/whole $T/long/a && ls $T/long");
  assert_int_equal(said->code, 0);
  shell_expect_not(said, "\n0\n");
  assert_non_null(strstr(said->text, "a\n"));
  assert_int_equal(shell_run("ls $T/long | wc -l | grep -qx 1")->code, 0);
}

static void hopeless_machine_gets_the_least_bad_choice_and_a_remedy(void **state)
{
  (void)state;
  const struct said *said =
      shell_run("$SHIFTBAND tune --samples 0 --set load.parts.2='{kind: constant, manner: resists, torque: 3 N.m}' "
                "scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "No thresholds between slow and fast pass in all 3 machines");
  shell_expect(said, "These are the least bad:");
  shell_expect(said, "machines fail there, the first by stall");
  shell_expect(said, "No single change that was tried by simulation gives thresholds that pass.");
}

static void faults_of_the_command_line_are_told(void **state)
{
  (void)state;
  static const struct shell_fault faults[] = {
      {"$SHIFTBAND tune", "needs a scenario file", 2},
      {"$SHIFTBAND tune --prefer luck scenarios/tray-cart.yaml", "--prefer needs margin, time or energy", 2},
      {"$SHIFTBAND tune --samples -1 scenarios/tray-cart.yaml", "--samples needs a whole number from 0 to 100000", 2},
      {"$SHIFTBAND tune --pair 2 scenarios/tray-cart.yaml", "--pair 2: pairs of gears count from 1 to 1", 2},
      {"$SHIFTBAND tune --any-load scenarios/grindstone.yaml", "nothing can be proved for every load: drive.ramp: ", 3},
      {"$SHIFTBAND tune --any-load --prefer time scenarios/well-winch.yaml", "it is a preference", 2},
      {"$SHIFTBAND map --any-load --samples 3 scenarios/well-winch.yaml", "it proves what holds for one machine", 2},
      {"$SHIFTBAND map --any-load scenarios/tired-winder.yaml",
       "supply.battery: nothing can be proved for every load: ", 3},
      {"$SHIFTBAND tune --any-load --set controller.noise='0 %' scenarios/three-speed-feeder.yaml",
       "three-speed-feeder.yaml: --any-load: gearbox.gears: needs two gears, found 3", 3},
      {"$SHIFTBAND tune --resume scenarios/tray-cart.yaml", "--resume needs -o FILE: ", 2},
      {"$SHIFTBAND tune scenarios/tray-cart.yaml scenarios/well-winch.yaml", "so that one controller can serve both",
       3},
      {"$SHIFTBAND tune $T/none.yaml", "none.yaml: No such file", 4},
      {"$SHIFTBAND tune --samples 0 -o $T/none/x scenarios/tray-cart.yaml", "none/x", 4},
  };
  shell_expect_faults(faults, sizeof faults / sizeof *faults);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(answer_is_reported_with_margins_and_passes_in_a_run_of_its_own),
      cmocka_unit_test(json_is_one_valid_object_with_the_same_answer),
      cmocka_unit_test(a_dwell_of_the_scenarios_own_that_serves_as_well_stays_if_it_is_shorter),
      cmocka_unit_test(figures_to_measure_first_are_ranked_and_fail_where_they_are_said_to),
      cmocka_unit_test(what_is_proved_of_the_answer_is_what_is_proved_of_its_thresholds),
      cmocka_unit_test(killed_work_goes_on_to_the_same_bytes),
      cmocka_unit_test(hopeless_machine_gets_the_least_bad_choice_and_a_remedy),
      cmocka_unit_test(faults_of_the_command_line_are_told),
  };
  return cmocka_run_group_tests_name("cli_tune", tests, shell_setup, shell_teardown);
}
