// SPDX-License-Identifier: GPL-3.0-or-later
/* What `run`, `check` and `tune` say where there is no figure to say. */
#include <stdio.h>
#include <string.h>

#include "help/near.h"
#include "help/shell.h"

static const char held_feeder[] = "--set 'drive={mode: speed control, target: 50 %}' scenarios/three-speed-feeder.yaml";

static const struct said *with(const char *command, const char *arguments)
{
  char text[1024];
  snprintf(text, sizeof text, "$SHIFTBAND %s %s", command, arguments);
  return shell_run(text);
}

/* A held speed below up: no load brings the slower gear above it. */
static void thresholds_that_no_load_reaches_are_told_in_words(void **state)
{
  (void)state;
  const struct said *said = with("run", held_feeder);
  shell_expect(said, "but the speed of first rises above the upshift threshold under no load; a lower upshift");
  shell_expect_not(said, "inf ");
  said = with("check", held_feeder);
  shell_expect(said, "upshift torque   none: first reads below 82 % under any load");
  shell_expect_not(said, "no least");
}

/* The start delay of 1 s is longer than the closed form asks for: the loop is what makes the start late. */
static void a_late_start_under_a_long_enough_delay_is_blamed_on_the_loop(void **state)
{
  (void)state;
  const struct said *said = with("run", held_feeder);
  shell_expect(said, "the motor had not run up yet: the speed control takes longer than the start delay of 1 s.");
  shell_expect_not(said, "set controller.start_delay");
}

static void help_names_every_verdict_that_a_run_can_fail_on(void **state)
{
  (void)state;
  static const char *const names[] = {
      "hunting",           "stall",    "stuck-low", "busy-shifting", "needless-downshift",
      "shift-not-engaged", "overload", "slipping",  "overheated",    "drive-cut"};
  for (size_t k = 0; k < sizeof names / sizeof *names; k++) shell_expect(with("run --help", ""), names[k]);
}

static const char lowering[] =
    "name: lowering\n"
    "motor: {nominal_voltage: 12 V, no_load_speed: 300 rpm, stall_torque: 1.2 N.m, stall_current: 4 A,\n"
    "  no_load_current: 0.1 A, rotor_inertia: 3e-5 kg.m2}\n"
    "supply: {internal_resistance: 0.1 ohm, battery: {chemistry: lithium ion, cells: 3, capacity: 5 mAh, charge: 99 %}}\n"
    "drive: {schedule: [[0 s, reverse]]}\n"
    "gearbox: {gears: [{name: only, meshes: [12/60, 12/45]}]}\n"
    "load: {bodies: [{kind: hoist, mass: 25 kg, drum_radius: 50 mm, drum_inertia: 0.02 kg.m2}]}\n"
    "run: {duration: 30 s}\n";

/* A hung weight lowered charges the battery that drives it; the charge is the trace's current times its time. */
static void charge_given_back_to_a_full_battery_is_told(void **state)
{
  (void)state;
  char command[2048];
  snprintf(command, sizeof command, "cat > $T/low.yaml <<'END'\n%sEND\n$SHIFTBAND run --json -o $T/low.csv $T/low.yaml",
           lowering);
  const double above_as = shell_figure(shell_run(command), "\"overcharge_as\":");
  const struct said *said = shell_run(
      "awk -F, 'NR == 1 {for (i = 1; i <= NF; i++) c[$i] = i; next} {t = $c[\"time_s\"]; i = $c[\"motor_current_a\"] * "
      "$c[\"duty_fraction\"]; if (NR > 2) sum -= (t - before) * was; before = t; was = i} END {print \"sum\", sum}' $T/low.csv");
  /* Full after 1 % of 18 A.s; rows of the trace, 10 ms apart, against ticks of 5 ms while the current settles. */
  assert_near_rel(shell_figure(said, "sum"), above_as + 0.18, 2e-3);
  said = shell_run("$SHIFTBAND run $T/low.yaml");
  shell_expect(said, "A.s back to a battery that was full.");
  shell_expect_not(said, "efficiency"); /* more than all of it went the other way */
  said =
      shell_run("$SHIFTBAND run --set supply.battery.capacity='5 A.h' --set supply.battery.charge='50 %' $T/low.yaml");
  shell_expect_not(said, "battery that was full");
}

/* 11 kg on a drum of 50 mm, 0.3 N.m of friction: 11 * 9.80665 * 0.05 - 0.3. */
static void check_says_whether_the_holding_brake_holds(void **state)
{
  (void)state;
  const struct said *said = with("check", "scenarios/braked-hoist.yaml");
  assert_near_rel(shell_figure(said, "the load needs"), 11.0 * 9.80665 * 0.05 - 0.3, 1e-3); /* four digits */
  shell_expect(said, "friction: the brake holds\n");
  shell_expect_not(said, "does not hold the load");
  said = with("check --set 'load.bodies.1.holding_brake=2 N.m'", "scenarios/braked-hoist.yaml");
  shell_expect(said, "friction: the brake slips\n");
  shell_expect(said, "the holding brake of 2 N.m does not hold the load, which needs 5.094 N.m");
  said = with("check --set 'load.bodies.1.holding_brake=5.1 N.m'", "scenarios/braked-hoist.yaml");
  shell_expect(said, "friction: the brake holds\n");
}

static void the_speed_of_a_drive_that_was_cut_is_not_called_reached(void **state)
{
  (void)state;
  const struct said *said =
      with("run --set 'drive={mode: speed control, target: 50 %}' --set supply.battery.charge='3 %'",
           "scenarios/tired-winder.yaml");
  shell_expect(said, "The drive is cut");
  shell_expect(said, "is reached after each run-up, but not for the");
}

/* 180 C is the highest usual class of insulation (IEC 60085, from memory): above it a motor without a limit is cautioned. */
static void a_blocked_motor_without_a_limit_is_cautioned_beyond_any_insulation(void **state)
{
  (void)state;
  const char *motor =
      "name: w\nmotor: {nominal_voltage: 12 V, no_load_speed: 250 rpm, stall_torque: 2.3 N.m, stall_current: "
      "6 A, no_load_current: 0.3 A, rotor_inertia: 1e-4 kg.m2, winding: {ambient: 25 C, heat_capacity: 20 "
      "J/K, thermal_resistance: %s K/W}}\ngearbox: {gears: [{name: only, meshes: [12/60]}]}\nload: {inertia: "
      "0.01 kg.m2}\nrun: {duration: 1 s}\n";
  char command[2048], text[1024];
  for (int is_hot = 0; is_hot < 2; is_hot++) {
    snprintf(text, sizeof text, motor, is_hot ? "4" : "2");
    snprintf(command, sizeof command, "cat > $T/w.yaml <<'END'\n%sEND\n$SHIFTBAND check $T/w.yaml", text);
    const struct said *said = shell_run(command);
    assert_int_equal(said->code, 0);
    (is_hot ? shell_expect : shell_expect_not)(said, "with its shaft blocked the winding exceeds 180 C after");
  }
}

static void check_does_not_call_a_load_that_drives_the_motor_light(void **state)
{
  (void)state;
  const char *sets =
      "--set controller.reading=current --set controller.downshift_below='50 %' --set controller.upshift_above='80 %' --set "
      "'load.parts=[{kind: constant, manner: acts, torque: -6 N.m}]'";
  char arguments[512];
  snprintf(arguments, sizeof arguments, "%s scenarios/dough-drum.yaml", sets);
  const struct said *said = with("check", arguments);
  shell_expect(said, "Stuck low: every load of this scenario drives the motor so hard");
  shell_expect(said, "shifts up again at no voltage");
}

static void tune_answers_only_what_a_scenario_takes(void **state)
{
  (void)state;
  const char *tune = "tune --samples 2 --json --set controller.threshold_step='5 %' scenarios/grindstone.yaml";
  const struct said *said = with(tune, "");
  const double downshift = shell_figure(said, "\"downshift_below_pct\":"),
               upshift = shell_figure(said, "\"upshift_above_pct\":");
  char command[256];
  snprintf(command, sizeof command,
           "check --set controller.downshift_below='%.10g %%' --set controller.upshift_above='%.10g %%'", downshift,
           upshift);
  said = with(command, "scenarios/grindstone.yaml");
  assert_int_equal(said->code, 0);
}

/* The tired winder shifts down once and stays. */
static void a_single_shift_is_told_as_one(void **state)
{
  (void)state;
  const struct said *said =
      with("map --downshift 40..42 --upshift 60..95 --set supply.battery.charge='30 %'", "scenarios/tired-winder.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, " 1 shift, ");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(thresholds_that_no_load_reaches_are_told_in_words),
      cmocka_unit_test(a_late_start_under_a_long_enough_delay_is_blamed_on_the_loop),
      cmocka_unit_test(help_names_every_verdict_that_a_run_can_fail_on),
      cmocka_unit_test(charge_given_back_to_a_full_battery_is_told),
      cmocka_unit_test(check_says_whether_the_holding_brake_holds),
      cmocka_unit_test(the_speed_of_a_drive_that_was_cut_is_not_called_reached),
      cmocka_unit_test(a_blocked_motor_without_a_limit_is_cautioned_beyond_any_insulation),
      cmocka_unit_test(check_does_not_call_a_load_that_drives_the_motor_light),
      cmocka_unit_test(a_single_shift_is_told_as_one),
      cmocka_unit_test(tune_answers_only_what_a_scenario_takes),
  };
  return cmocka_run_group_tests_name("words of the command line", tests, shell_setup, shell_teardown);
}
