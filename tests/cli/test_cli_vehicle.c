// SPDX-License-Identifier: GPL-3.0-or-later
/* What `check` and `run` say of a vehicle's way, for people and for machines. */
#include <math.h>

#include "help/near.h"
#include "help/shell.h"

/* crate-pusher.yaml: 34 kg of which 80 % on wheels of 60 mm, g = 9.80665 m/s2. */
static const double press_n = 0.8 * 34.0 * 9.80665, light_press_n = 0.8 * 18.0 * 9.80665;

/* What stands against it at the second crate: rolling, and both crates at rest. */
static double need_n(double mass_kg)
{
  return 9.80665 * (0.015 * mass_kg + 0.3 * 12.0 + 0.37 * 30.0);
}

static void check_says_what_the_ground_carries_and_which_gear_passes_which_body(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND check scenarios/crate-pusher.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "\nVehicle\n");
  assert_near_rel(shell_figure(said, "The wheels push with at most"), 0.7 * press_n, 1e-3); /* four digits */
  shell_expect(said, "fast pushes up to 120.2 N: it stalls before its wheels slip.");
  shell_expect(said, "body 1  2 m   40.31 N  goes   goes");
  shell_expect(said, "body 2  4 m   149.2 N  goes   stalls");
  shell_expect(said, "The run ends at 6 m.");
  shell_expect_not(said, "ballast on the driven wheels");
  said = shell_run("$SHIFTBAND check scenarios/crate-pusher.yaml --set 'load.bodies.1.mass=18 kg'");
  shell_expect(said, "body 2  4 m   146.8 N  slips  slips");
  shell_expect(said, "ballast on the driven wheels lets them transmit");
  said = shell_run("$SHIFTBAND check scenarios/hump-cart.yaml");
  shell_expect_not(said, "\nVehicle\n");
}

static void check_json_has_the_vehicle(void **state)
{
  (void)state;
  const struct said *said =
      shell_run("$SHIFTBAND check --json scenarios/crate-pusher.yaml --set 'load.bodies.1.mass=18 kg'");
  assert_int_equal(said->code, 0);
  assert_near_rel(shell_figure(said, "\"carried_push_n\":"), 0.7 * light_press_n, 1e-12);
  assert_near_rel(shell_figure(said, "\"slipping_push_n\":"), 0.65 * light_press_n, 1e-12);
  assert_near_rel(shell_figure(said, "\"distance_m\":4,\"need_n\":"), need_n(18.0), 1e-12);
  /* Each kilogram more grips 0.65 g and rolls 0.015 g. */
  const double ballast_kg = (need_n(18.0) - 0.65 * light_press_n) / (0.635 * 9.80665);
  assert_true(ballast_kg > 8.0);
  shell_expect(said, "\"gears\":[{\"name\":\"shove\",\"fate\":\"slips\"},{\"name\":\"fast\",\"fate\":\"slips\"}]");
  shell_expect(said, "\"end_m\":6");
  said = shell_run("$SHIFTBAND check --json scenarios/crate-pusher.yaml --set 'load.bodies.1.mass=18 kg' | "
                   "sed 's/.*\"distance_m\":4//'");
  assert_near_rel(shell_figure(said, "\"ballast_kg\":"), ballast_kg, 1e-12);
  said = shell_run("$SHIFTBAND check --json scenarios/hump-cart.yaml");
  shell_expect(said, "\"vehicle\":null");
}

/* Of two equal climbs the first is the one that it meets first. */
static void check_names_the_first_of_equal_climbs(void **state)
{
  (void)state;
  shell_expect(
      shell_run("$SHIFTBAND check --json scenarios/crate-pusher.yaml --set "
                "'load.bodies.1.grade_points=[[0 m, 0 %], [0.5 m, 3 %], [1 m, 0 %], [1.5 m, 3 %], [1.7 m, 0 %]]'"),
      "{\"bodies\":0,\"steepest\":true,\"distance_m\":0.5,");
}

static void run_tells_where_the_vehicle_got_to_and_what_it_met(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND run scenarios/crate-pusher.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "Vehicle     distance travelled 6 m, all of it, in 12.");
  shell_expect(said, "2 impacts on bodies, the greatest 14.5 N.s");
  shell_expect(said, "wheels slipped for 0.0");
  said = shell_run("$SHIFTBAND run --json scenarios/crate-pusher.yaml");
  shell_expect(said, "\"vehicle\":{\"distance_m\":6,");
  shell_expect(said, "\"has_arrived\":true,\"impacts\":2,");
}

static void run_without_ballast_names_the_push_the_need_and_the_ballast(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND run scenarios/crate-pusher.yaml --set 'load.bodies.1.mass=18 kg'");
  shell_expect(said, "the ground takes a push of at most 98.9 N (91.8 N once the wheels slip)");
  shell_expect(said, "a lower gear pushes no harder; 147 N are needed, so that more than 8.83 kg of ballast");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(check_says_what_the_ground_carries_and_which_gear_passes_which_body),
      cmocka_unit_test(check_json_has_the_vehicle),
      cmocka_unit_test(check_names_the_first_of_equal_climbs),
      cmocka_unit_test(run_tells_where_the_vehicle_got_to_and_what_it_met),
      cmocka_unit_test(run_without_ballast_names_the_push_the_need_and_the_ballast),
  };
  return cmocka_run_group_tests_name("way at the command line", tests, shell_setup, shell_teardown);
}
