// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Inspecting machines that have more: orders and an inner loop, wheels that slip, a battery, a winding that warms, a shaft
 * that gives. Shifts against the run's own are in test_inspect.c.
 */
#include <math.h>
#include <stdio.h>

#include "help/loaded.h"
#include "help/near.h"
#include "help/shell.h"
#include "help/worn.h"
#include "shiftband/inspect.h"

static const char *const richer[] = {"crate-pusher", "braked-hoist",  "tired-winder", "seed-drill",
                                     "dough-drum",   "shuttle-wagon", "grindstone"};

enum { RICHER_COUNT = sizeof richer / sizeof richer[0] };

/* The wagon waits 2 s at the top of its ramp, told to, and 1.9 s at its end: its own file. */
static void stop_that_was_ordered_is_no_stall_as_long_as_the_log_has_the_drive(void **state)
{
  (void)state;
  struct sb_log log;
  struct sb_run_result result;
  loaded_take_shipped("shuttle-wagon");
  worn_log(&loaded_scenario.model, 0.01, &log, &result);
  const struct sb_inspect_options options = sb_inspect_options_of(&loaded_scenario.model);
  for (int has_drive = 1; has_drive >= 0; has_drive--) {
    struct sb_inspection found;
    if (!has_drive) worn_strip(&log, SB_LOG_DUTY);
    assert_int_equal(sb_inspect(&log, &options, &found, NULL), SB_OK);
    assert_int_equal(found.rest_count, has_drive ? 0 : 2);
    sb_inspect_clear(&found);
  }
  sb_log_clear(&log);
  sb_run_result_clear(&result);
  sb_scenario_clear(&loaded_scenario);
}

static void trace_of_a_scenario_never_parts_from_it(void **state)
{
  (void)state;
  for (int k = 0; k < RICHER_COUNT; k++) {
    char command[512];
    snprintf(
        command, sizeof command,
        "$SHIFTBAND run -o $T/own.csv scenarios/%s.yaml > /dev/null; $SHIFTBAND inspect --fail-on deviation --against "
        "scenarios/%s.yaml $T/own.csv",
        richer[k], richer[k]);
    const struct said *said = shell_run(command);
    if (said->code != 0) fail_msg("%s: %s", richer[k], said->text);
    shell_expect(said, "Log and simulation agree within the tolerance all the time");
  }
}

/* Columns that only some machines have are compared where both sides have them. */
static void vehicle_charge_and_winding_are_compared_where_both_have_them(void **state)
{
  (void)state;
  static const struct {
    const char *name, *change, *column;
  } cases[] = {{"crate-pusher", "load.bodies.1.mass='45 kg'", "\"name\":\"vehicle_speed_m_s\""},
               {"tired-winder", "supply.battery.charge='40 %'", "\"first_deviation_in\":\"charge_pct\""},
               {"seed-drill", "motor.winding.ambient='60 C'", "\"first_deviation_in\":\"winding_c\""}};
  for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
    char command[1024];
    snprintf(
        command, sizeof command,
        "$SHIFTBAND run -o $T/whole.csv --set tolerances={} --set %s scenarios/%s.yaml > /dev/null; awk -F, 'NR == 1 { for (i = 1; i <= NF; "
        "i++) if ($i ~ /^(time_s|gear|vehicle_speed_m_s|charge_pct|winding_c)$/) keep[++n] = i } { for (i = 1; i <= n; "
        "i++) printf \"%%s%%s\", $keep[i], i < n ? \",\" : \"\\n\" }' $T/whole.csv > $T/few.csv; $SHIFTBAND "
        "inspect --json --no-hints --against scenarios/%s.yaml $T/few.csv",
        cases[k].change, cases[k].name, cases[k].name);
    const struct said *said = shell_run(command);
    assert_int_equal(said->code, 0);
    shell_expect(said, cases[k].column);
  }
}

/* The tug needs 12.5 s for its 6 m, and half of the way less than half as long. */
static void log_longer_than_a_run_that_ends_by_its_way_is_compared_up_to_that_end(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "$SHIFTBAND run -o $T/way.csv scenarios/crate-pusher.yaml > /dev/null; $SHIFTBAND inspect --fail-on deviation "
      "--against scenarios/crate-pusher.yaml --set run.distance='3 m' $T/way.csv");
  assert_int_equal(said->code, 0);
  shell_expect(said, "where the scenario's run ends");
  const double compared_s = shell_figure(said, "compared up to ");
  assert_true(compared_s > 2.0 && compared_s < 12.0);
}

/* What was changed is found again, the controller keeping its own reference; the values beside are those that were set. */
static void number_that_was_changed_is_found_under_any_reading_drive_and_supply(void **state)
{
  (void)state;
  static const struct {
    const char *name, *change, *tries, *found;
    double best;
  } cases[] = {
      {"dough-drum", "drive.target='55 %'", "--try drive.target --try motor.stall_torque", "drive.target 240 -> ",
       220.0},
      {"dough-drum", "motor.stall_torque='1.1 N.m'", "--try motor.stall_torque", "motor.stall_torque 1.2 -> ", 1.1},
      {"dough-drum", "drive.integral_time='120 ms'", "--try drive.integral_time --try motor.stall_torque",
       "drive.integral_time 0.08 -> ", 0.12},
      {"shuttle-wagon", "drive.limit='90 %'", "--try drive.limit --try motor.no_load_speed", "drive.limit 100 -> ",
       90.0},
      {"tray-cart", "drive='90 %'", "--try drive --try motor.no_load_speed", "drive 100 -> ", 90.0},
      {"tired-winder", "supply.battery.charge='70 %'", "--try supply.battery.charge --try drive",
       "supply.battery.charge 100 -> ", 70.0},
      {"seed-drill", "motor.winding.heat_capacity='10 J/K'", "--try motor.winding.heat_capacity",
       "motor.winding.heat_capacity 18 -> ", 10.0},
  };
  for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
    char command[1024];
    snprintf(
        command, sizeof command,
        "$SHIFTBAND run -o $T/log.csv --set tolerances={} --set %s scenarios/%s.yaml > /dev/null; $SHIFTBAND inspect %s "
        "--against scenarios/%s.yaml $T/log.csv | grep -A 1 'A hint'",
        cases[k].change, cases[k].name, cases[k].tries, cases[k].name);
    const struct said *said = shell_run(command);
    if (said->code != 0) fail_msg("%s: %s", cases[k].change, said->text);
    /* A scan and a few steps of Brent's method on traces of 20 ms. */
    assert_near(shell_figure(said, cases[k].found), cases[k].best, 0.005 * cases[k].best);
  }
}

/* The reference follows the motor's no-load speed where none is given, and the thresholds with it: who takes the hint has to
 * pin it. */
static void hint_of_the_no_load_speed_says_that_the_reference_stays(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "$SHIFTBAND run -o $T/log.csv --set motor.no_load_speed='290 rpm' --set controller.reference_speed='310 rpm'"
      " --set tolerances={} scenarios/tray-cart.yaml > /dev/null;"
      " $SHIFTBAND inspect --try motor.no_load_speed --against scenarios/tray-cart.yaml $T/log.csv");
  assert_int_equal(said->code, 0);
  assert_near(shell_figure(said, "motor.no_load_speed 310 -> "), 290.0, 1.0);
  shell_expect(said, "The controller's reference speed was kept: give controller.reference_speed");
}

/* One duty for all would wipe a section out, ramps and orders with it. */
static void drive_is_tried_in_the_form_that_the_scenario_has(void **state)
{
  (void)state;
  assert_int_equal(shell_run("$SHIFTBAND run -o $T/log.csv scenarios/shuttle-wagon.yaml > /dev/null")->code, 0);
  const struct said *said =
      shell_run("$SHIFTBAND inspect --try drive --against scenarios/shuttle-wagon.yaml $T/log.csv");
  assert_int_equal(said->code, 2);
  shell_expect(said, "\"drive\" is no number of this scenario that has a value");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(stop_that_was_ordered_is_no_stall_as_long_as_the_log_has_the_drive),
      cmocka_unit_test(trace_of_a_scenario_never_parts_from_it),
      cmocka_unit_test(vehicle_charge_and_winding_are_compared_where_both_have_them),
      cmocka_unit_test(log_longer_than_a_run_that_ends_by_its_way_is_compared_up_to_that_end),
      cmocka_unit_test(number_that_was_changed_is_found_under_any_reading_drive_and_supply),
      cmocka_unit_test(hint_of_the_no_load_speed_says_that_the_reference_stays),
      cmocka_unit_test(drive_is_tried_in_the_form_that_the_scenario_has),
  };
  return cmocka_run_group_tests_name("inspect_machines", tests, shell_setup, shell_teardown);
}
