// SPDX-License-Identifier: GPL-3.0-or-later
/* What `check` says of shocks on a compliant and on a rigid output shaft, for people and for machines. */
#include <math.h>

#include "help/near.h"
#include "help/shell.h"

static const double pi = 3.14159265358979323846;

/* grindstone.yaml: 7 mm of steel, 60 mm long; ratios 12 and 5, 4e-5 and 0.03 kg m2. The figures are printed with 17
 * digits, and the slip is taken as printed; test_driveshaft.c holds it to the simulation. */
static void check_json_has_the_oscillation_and_the_shocks_of_each_gear(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND check --json scenarios/grindstone.yaml");
  assert_int_equal(said->code, 0);
  const double k = 79.3e9 * pi * pow(7e-3, 4.0) / 32.0 / 0.06;
  assert_near_rel(shell_figure(said, "\"stiffness_nm_rad\":"), k, 1e-12);
  assert_near_rel(shell_figure(said, "\"backlash_rad\":"), 1.5 * pi / 180.0, 1e-12);
  shell_expect(said, "\"output_shaft\":{\"rigid\":false,");
  shell_expect(said, "\"difference_matters\":true");
  assert_near_rel(shell_figure(said, "\"damping_ratio\":"), 0.05, 1e-12);
  shell_expect(said, "\"impact\":null");
  const double slow = 144.0 * 4e-5 * 0.03 / (144.0 * 4e-5 + 0.03), fast = 25.0 * 4e-5 * 0.03 / (25.0 * 4e-5 + 0.03);
  assert_near_rel(shell_figure(said, "\"natural_frequency_rad_s\":"), sqrt(k / slow), 1e-12);
  said = shell_run("$SHIFTBAND check --json scenarios/grindstone.yaml | "
                   "sed 's/.*\"name\":\"fast\",\"natural/{\"natural/; s/\"impact\".*//'");
  const double slip = shell_figure(said, "\"speed_difference_rad_s\":");
  assert_true(slip > 30.0);
  assert_near_rel(shell_figure(said, "\"natural_frequency_rad_s\":"), sqrt(k / fast), 1e-12);
  assert_near_rel(shell_figure(said, "\"impulse_nms\":"), slip * fast, 1e-12);
  assert_near_rel(shell_figure(said, "\"undamped_peak_torque_nm\":"), slip * sqrt(k * fast), 1e-12);
  assert_true(shell_figure(said, "\"peak_torque_nm\":") < 0.95 * slip * sqrt(k * fast));
  const double limit = pi * pow(7e-3, 3.0) / 16.0 * 0.577 * 370e6 / 2.0;
  assert_near_rel(shell_figure(said, "\"stiffness_at_limit_nm_rad\":"), pow(limit / slip, 2.0) / fast, 1e-12);
}

/* An upshift joins a motor that is too fast for the gear, a downshift one that is too slow. */
static void the_slowest_gear_has_the_shock_of_the_downshift_into_it(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND check --json scenarios/grindstone.yaml | "
                                      "sed 's/.*\"name\":\"slow\",\"natural/{\"natural/; s/\"impact\".*//'");
  const double slow = 144.0 * 4e-5 * 0.03 / (144.0 * 4e-5 + 0.03);
  const double slip = shell_figure(said, "\"speed_difference_rad_s\":");
  assert_true(slip < 0.0);
  assert_near_rel(shell_figure(said, "\"impulse_nms\":"), -slip * slow, 1e-12);
}

static void check_says_whether_the_shaft_makes_a_difference(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND check scenarios/grindstone.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "a shock in fast alone applies 18.86 N.m to an output that withstands 7.189 N.m");
  shell_expect(said, "slow oscillates at 40.41 Hz, damped by 5.0 % of the critical damping.");
  shell_expect(said, "The difference from a rigid driveline matters: a shock in fast alone exceeds the limit of 7.189");
  said = shell_run("$SHIFTBAND check --set gearbox.output_shaft='1 N.m/rad' scenarios/grindstone.yaml");
  shell_expect(said, "The difference from a rigid driveline matters little");
  shell_expect_not(said, "a shock in fast alone applies");
  said =
      shell_run("$SHIFTBAND check --set gearbox.output_shaft='30 N.m/rad' --set limits={} scenarios/grindstone.yaml");
  shell_expect(said, "The difference from a rigid driveline matters: a shock alone reaches more than");
}

/* 1.5 times 1.39 N m at stall, 8.153 rad / s on 1.826e-3 kg m2; 3 N m likewise. */
static void of_a_rigid_shaft_check_says_from_which_stiffness_on_it_matters(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND check scenarios/tray-cart.yaml");
  shell_expect(said, "fast  engagement  8.153 rad/s       0.01489 N.m.s\n");
  shell_expect(said, "The shaft is assumed to be rigid, so that the torque of a shock is not known; ");
  shell_expect(said, "That matters above 35.83 N.m/rad");
  shell_expect(said, "Above 74.14 N.m/rad the engagement in fast alone exceeds the limit of 3 N.m, undamped.");
  said = shell_run("$SHIFTBAND check --json scenarios/tray-cart.yaml");
  shell_expect(said, "\"output_shaft\":{\"rigid\":true,\"stiffness_nm_rad\":null,");
  shell_expect(said, "\"difference_matters\":null");
  said = shell_run("$SHIFTBAND check scenarios/seed-drill.yaml --set gearbox.shifter='{kind: clutch, torque: 1 N.m}'");
  shell_expect_not(said, "Output shaft\n");
}

#define CART                                                                                                      \
  "$SHIFTBAND check --json scenarios/hump-cart.yaml --set gearbox.output_shaft='40 N.m/rad' --set tolerances={} " \
  "--set load.bodies='[{kind: vehicle, mass: 20 kg, wheel_radius: 80 mm, rolling_resistance: 0.02, "              \
  "obstacles: [{distance: 5 m, mass: 5 kg, kinetic_friction: 0.3}]}]' | "

/* 20 kg at its settled speed meet 5 kg: dW = W 5 / 25, and 25 kg on wheels of 80 mm swing against the motor. */
static void an_impact_on_a_body_is_a_shock_of_its_own(void **state)
{
  (void)state;
  const double speed = shell_figure(shell_run(CART "sed 's/.*\"name\":\"flat\",\"ratio//'"), "\"output_speed_rad_s\":");
  const struct said *said = shell_run(CART "sed 's/.*\"name\":\"flat\",\"natural//; s/.*\"impact\"//'");
  assert_int_equal(said->code, 0);
  assert_near_rel(shell_figure(said, "\"speed_difference_rad_s\":"), speed * 5.0 / 25.0, 1e-12);
  const double motor = 1.8 * 1.8 * 1.2e-3, load = 25.0 * 0.08 * 0.08;
  const double reduced = motor * load / (motor + load);
  assert_near_rel(shell_figure(said, "\"impulse_nms\":"), speed / 5.0 * reduced, 1e-12);
  assert_near_rel(shell_figure(said, "\"undamped_peak_torque_nm\":"), speed / 5.0 * sqrt(40.0 * reduced), 1e-12);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(check_json_has_the_oscillation_and_the_shocks_of_each_gear),
      cmocka_unit_test(the_slowest_gear_has_the_shock_of_the_downshift_into_it),
      cmocka_unit_test(check_says_whether_the_shaft_makes_a_difference),
      cmocka_unit_test(of_a_rigid_shaft_check_says_from_which_stiffness_on_it_matters),
      cmocka_unit_test(an_impact_on_a_body_is_a_shock_of_its_own),
  };
  return cmocka_run_group_tests_name("cli shaft", tests, shell_setup, shell_teardown);
}
