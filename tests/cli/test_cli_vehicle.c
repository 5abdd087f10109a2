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

/* On a slope that begins 0.9 m behind the body, 40 % steep: both weights and frictions there, not where the body was met. */
static void the_way_tells_the_steepest_place_behind_a_body(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "cat > $T/hill.yaml <<'END'\n"
      "name: hill\n"
      "motor: {nominal_voltage: 12 V, no_load_speed: 2400 rpm, stall_torque: 0.6 N.m, rotor_inertia: 1.2e-4 kg.m2}\n"
      "gearbox: {mesh_efficiency: 0.9, shifter: {kind: selector, travel_time: 0.1 s}, gears: [{name: slow, meshes: [12/60, 12/36]}, {name: fast, meshes: [12/60, 12/24]}]}\n"
      "load: {bodies: [{kind: vehicle, mass: 20 kg, wheel_radius: 50 mm, rolling_resistance: 0.02, obstacles: [{distance: 1 m, mass: 10 "
      "kg, kinetic_friction: 0.3}], grade_points: [[0 m, 0 %], [1.9 m, 0 %], [2.2 m, 40 %]]}]}\n"
      "controller: {dwell: 1 s, downshift_below: 40 %, upshift_above: 80 %}\n"
      "run: {duration: 5 s, distance: 3 m}\nEND\n"
      "$SHIFTBAND check $T/hill.yaml");
  assert_int_equal(said->code, 0);
  const double tilt = atan(0.4);
  const double hill_n = 9.80665 * (20.0 * (sin(tilt) + 0.02 * cos(tilt)) + 10.0 * (sin(tilt) + 0.3 * cos(tilt)));
  assert_near_rel(shell_figure(said, "  steepest  2.2 m"), hill_n, 1e-3);
  shell_expect(said, "N  goes  stalls\n");
  said = shell_run("$SHIFTBAND check --json $T/hill.yaml");
  assert_near_rel(shell_figure(said, "\"steepest\":true,\"distance_m\":2.2,\"need_n\":"), hill_n, 1e-6);
  /* A cliff: of 40 kg by the sine and 20 kg by the cosine most is asked for at 40 over 20, two fifths of the way up it. */
  said = shell_run(
      "$SHIFTBAND check --json --set 'load.bodies.1.obstacles=[{distance: 1 m, mass: 20 kg, kinetic_friction: 0.98}]' "
      "--set 'load.bodies.1.grade_points=[[0 m, 1 %], [1.9 m, 0 %], [2.4 m, 500 %]]' $T/hill.yaml");
  assert_near_rel(shell_figure(said, "\"steepest\":true,\"distance_m\":2.1,\"need_n\":"), 9.80665 * hypot(40.0, 20.0),
                  1e-6);
  said = shell_run("$SHIFTBAND check --set 'load.bodies.1.obstacles=[]' --set 'load.bodies.1.static_friction=2' "
                   "--set load.inertia='0.01 kg.m2' $T/hill.yaml");
  assert_int_equal(said->code, 0); /* an empty list is a free way */
  shell_expect(said, "alone ");
  shell_expect_not(said, "body 1 ");
}

static void a_way_without_an_end_has_none_in_check(void **state)
{
  (void)state;
  const struct said *said = shell_run("sed 's/, distance: 6 m//' "
                                      "scenarios/crate-pusher.yaml > $T/endless.yaml && "
                                      "$SHIFTBAND check $T/endless.yaml && $SHIFTBAND check --json $T/endless.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "body 2  4 m");
  shell_expect_not(said, "The run ends at");
  shell_expect(said, "\"end_m\":null");
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
      cmocka_unit_test(the_way_tells_the_steepest_place_behind_a_body),
      cmocka_unit_test(a_way_without_an_end_has_none_in_check),
      cmocka_unit_test(run_tells_where_the_vehicle_got_to_and_what_it_met),
      cmocka_unit_test(run_without_ballast_names_the_push_the_need_and_the_ballast),
  };
  return cmocka_run_group_tests_name("way at the command line", tests, shell_setup, shell_teardown);
}
