// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Bodies lowered to inertia and parts of the load, against worked examples. Books that call a rise along the road a
 * gradient mean its sine, and resistances per tonne of weight, not of force on the road; road() translates. An answer
 * holds to half a unit of its last digit, worked out again from the book's data where the book prints fewer.
 */
#include <stdlib.h>
#include <string.h>

#include "help/driven.h"
#include "help/shell.h"
#include "shiftband/body.h"
#include "shiftband/scenario.h"

static const double rounding = 1e-14;    /* relative; a dozen roundings of a double */
static const double step_limit = 1e-6;   /* what a step of 1 ms leaves, as in the tests of the simulator */
static const double no_drive_nm = 1e-12; /* next to no motor */

/* Room for the tables of one body at a time. */
static double room[4 * 4096];

static struct sb_load lowered(const struct sb_body *body)
{
  struct sb_load load = {0};
  struct sb_error err = {0};
  assert_true(sb_body_room(body) <= sizeof room / sizeof room[0]);
  assert_int_equal(sb_body_lower(body, room, &load, &err), SB_OK);
  return load;
}

/* Torque against a motion forward or back, at a place and a speed. */
static double load_nm(const struct sb_load *load, double angle_rad, double speed_rad_s)
{
  const int direction = speed_rad_s < 0.0 ? -1 : 1;
  const struct sb_load_at at = {.angle_rad = angle_rad, .beyond_rad = angle_rad, .direction = direction};
  const struct sb_load_curve curve = sb_load_curve_at(load, &at, SB_SHARE_ALL);
  return sb_load_curve_nm(&curve, 0.0, angle_rad, speed_rad_s);
}

static struct sb_body vehicle(double mass_kg, double radius_m)
{
  return (struct sb_body){
      .ops = sb_body_kind_find("vehicle"),
      .as.vehicle = {.mass_kg = mass_kg, .wheel_radius_m = radius_m, .air_density_kg_m3 = 1.2, .gravity_m_s2 = 9.81}};
}

/* A gradient given as a sine and a resistance given per kg, in N. */
static void road(struct sb_body *body, double sine, double n_per_kg)
{
  const double cosine = sqrt(1.0 - sine * sine);
  body->as.vehicle.grade_fraction = sine / cosine;
  body->as.vehicle.rolling_resistance_ratio = n_per_kg / (body->as.vehicle.gravity_m_s2 * cosine);
}

static struct sb_body hoist(double mass_kg, double radius_m, double gravity_m_s2)
{
  return (struct sb_body){.ops = sb_body_kind_find("hoist"),
                          .as.hoist = {.mass_kg = mass_kg, .drum_radius_m = radius_m, .gravity_m_s2 = gravity_m_s2}};
}

/* Coasts in neutral without end, from a speed of the output. */
static struct driven coast(const struct sb_body *body, double speed_rad_s, double time_s)
{
  struct sb_model model = model_blank();
  model_set_line_motor(&model, 1.0, no_drive_nm, 1.0);
  model_add_gear(&model, 1.0, 1.0, false);
  model_add_gear(&model, 0.5, 1.0, false);
  model.load = lowered(body);
  model.run.initial_output_speed_rad_s = speed_rad_s;
  model.shifter.travel_time_s = 1e6;
  model_finish(&model);
  return drive(&model, 0, (struct oracle_command[]){{0.0, 1}}, 1, time_s);
}

/* Vehicles --------------------------------------------------------------------------------------------------------- */

/* R. K. Bansal, Engineering Mechanics, example 15.11: 45 deg, friction 0.1, g 9.81: 2 m/s after 0.32 m (0.320356). */
static void a_block_on_a_slope_of_45_degrees_comes_to_its_speed_in_its_way(void **state)
{
  (void)state;
  struct sb_body body = vehicle(2.0, 0.25);
  body.as.vehicle.grade_fraction = -1.0;
  body.as.vehicle.rolling_resistance_ratio = 0.1;
  const double a = 9.81 * (1.0 - 0.1) / sqrt(2.0);
  assert_near(a, 6.24305, 5e-6);
  const double time_s = 0.3; /* a whole number of steps; the way at 2 m/s follows from s = v^2 / 2a */
  const struct driven got = coast(&body, 0.0, time_s);
  const double speed_m_s = got.state.output_speed_rad_s * 0.25, way_m = got.state.output_angle_rad * 0.25;
  assert_near_rel(speed_m_s, a * time_s, step_limit);
  assert_near(way_m * (2.0 / speed_m_s) * (2.0 / speed_m_s), 0.320356, 5e-7);
}

/* physics.stackexchange.com/questions/334654: 1 kg, c 0.1, CdA 0.05 m2 from 10 m/s stops at 6.12842 s, 23.3453 m. */
static void a_vehicle_coasts_down_to_its_stop(void **state)
{
  (void)state;
  struct sb_body body = vehicle(1.0, 0.3);
  body.as.vehicle.rolling_resistance_ratio = 0.1;
  body.as.vehicle.drag_area_m2 = 0.05;
  const struct driven under_way = coast(&body, 10.0 / 0.3, 3.0);
  assert_near(under_way.state.output_speed_rad_s * 0.3, 3.40206, 5e-6);
  assert_true(coast(&body, 10.0 / 0.3, 6.128).state.output_speed_rad_s > 0.0);
  const struct driven stopped = coast(&body, 10.0 / 0.3, 6.129);
  assert_true(stopped.state.output_speed_rad_s == 0.0);
  assert_near(stopped.state.output_angle_rad * 0.3, 23.3453, 5e-5);
}

/* Torque at each of four motors that start a train, through a gear with a loss; a tenth of the mass turns. */
static double train_motor_nm(double mass_kg, double wheel_m, double sine, double n_per_kg, double kmh, double time_s,
                             double ratio, double efficiency)
{
  const double radius_m = 0.5 * wheel_m;
  struct sb_body body = vehicle(mass_kg, radius_m);
  road(&body, sine, n_per_kg);
  body.as.vehicle.wheel_inertia_kg_m2 = 0.1 * mass_kg * radius_m * radius_m;
  const struct sb_load load = lowered(&body);
  const double alpha = kmh / 3.6 / time_s / radius_m;
  return (load_nm(&load, 0.0, 1.0) + load.inertia_kg_m2 * alpha) / (4.0 * ratio * efficiency);
}

/* B. L. Theraja, Electrical Technology vol. III, example 43.6: 7181 N.m; J. B. Gupta, Utilization of Electrical Energy and
 * Traction, example 7.27: printed 7805, from its data 7804.28. */
static void trains_ask_their_motors_for_the_torque_in_the_books(void **state)
{
  (void)state;
  assert_near(train_motor_nm(250e3, 0.92, 1.0 / 80.0, 0.04, 42.0, 20.0, 3.5, 0.92), 7181.18, 5e-3);
  assert_near(train_motor_nm(250e3, 0.95, 0.01, 0.04, 40.0, 20.0, 3.0, 0.95), 7804.28, 5e-3);
}

/* G. K. Dubey, Fundamentals of Electrical Drives, example 10.2: 100 km/h in 32.6 s (32.6326). */
static void a_train_reaches_its_speed_in_the_time_of_the_book(void **state)
{
  (void)state;
  struct sb_body body = vehicle(100e3, 0.54);
  road(&body, 0.05, 0.025);
  body.as.vehicle.wheel_inertia_kg_m2 = 0.1 * 100e3 * 0.54 * 0.54;
  const struct sb_load load = lowered(&body);
  const double alpha = (4.0 * 5000.0 * 4.0 * 0.98 - load_nm(&load, 0.0, 1.0)) / load.inertia_kg_m2;
  assert_near(100.0 / 3.6 / 0.54 / alpha, 32.6326, 5e-5);
}

/* Khurmi and Gupta, Theory of Machines, example 3.4: 14 t up 1 in 20 on a rope; 154.46 N.m at the motor (154.460). */
static void haulage_up_an_incline_asks_for_the_torque_in_the_book(void **state)
{
  (void)state;
  struct sb_body body = vehicle(14e3, 0.5);
  road(&body, 1.0 / 20.0, 1200.0 / 14e3);
  body.as.vehicle.wheel_inertia_kg_m2 = 1250.0 * 0.45 * 0.45;
  const struct sb_load load = lowered(&body);
  const double alpha = 0.1 / 0.5, armature = 110.0 * 0.125 * 0.125;
  const double motor_nm =
      (load_nm(&load, 0.0, 1.0) + load.inertia_kg_m2 * alpha) / (40.0 * 0.85) + armature * 40.0 * alpha;
  assert_near(motor_nm, 154.460, 5e-4);
}

/* At rest on a grade and put into neutral: a = g (sin - c cos) down, less for the wheels; a gentle one holds. */
static void a_vehicle_on_a_grade_rolls_back_in_neutral_unless_its_tyres_hold_it(void **state)
{
  (void)state;
  struct sb_body body = vehicle(10.0, 0.1);
  body.as.vehicle.grade_fraction = 0.12;
  body.as.vehicle.rolling_resistance_ratio = 0.02;
  body.as.vehicle.wheel_inertia_kg_m2 = 0.02;
  const double a = 9.81 * (0.12 - 0.02) / sqrt(1.0 + 0.12 * 0.12) / (1.0 + 0.02 / (10.0 * 0.1 * 0.1));
  assert_near_rel(coast(&body, 0.0, 2.0).state.output_speed_rad_s * 0.1, -a * 2.0, step_limit);
  body.as.vehicle.grade_fraction = 0.0199;
  assert_true(coast(&body, 0.0, 2.0).state.output_speed_rad_s == 0.0);
  body.as.vehicle.grade_fraction = -0.12; /* downhill it runs away forward */
  assert_near_rel(coast(&body, 0.0, 2.0).state.output_speed_rad_s * 0.1, a * 2.0, step_limit);
}

static const double hump_m[] = {0.0, 2.0, 3.0, 5.0, 6.0, 6.0, 8.0};
static const double hump_grade[] = {0.0, 0.0, 1.5, 0.3, -0.8, 0.25, 0.25};
enum { HUMP_COUNT = sizeof hump_m / sizeof hump_m[0] };

static struct sb_body hump_vehicle(void)
{
  struct sb_body body = vehicle(30.0, 0.08);
  body.as.vehicle.grade = (struct sb_table){HUMP_COUNT, hump_m, hump_grade};
  return body;
}

/* The grade at a place, on the line between its points. */
static double hump_angle(double place_m)
{
  size_t i = 0;
  while (i + 2 < HUMP_COUNT && hump_m[i + 1] <= place_m) i++;
  const double share = (place_m - hump_m[i]) / (hump_m[i + 1] - hump_m[i]);
  return atan(hump_grade[i] + share * (hump_grade[i + 1] - hump_grade[i]));
}

/* c = 1 shows the cosine whole. */
static void a_changing_grade_is_met_exactly(void **state)
{
  (void)state;
  struct sb_body body = hump_vehicle();
  body.as.vehicle.rolling_resistance_ratio = 1.0;
  body.as.vehicle.static_friction_ratio = body.as.vehicle.kinetic_friction_ratio = 0.6;
  body.as.vehicle.driven_share = 0.5;
  const struct sb_load load = lowered(&body);
  const double weight_nm = 30.0 * 9.81 * 0.08;
  double worst = 0.0;
  for (int k = 0; k < 80000; k++) {
    const double place_m = 8.0 * (k + 0.5) / 80000.0, angle = hump_angle(place_m);
    const double up_nm = load_nm(&load, place_m / 0.08, 1.0), down_nm = load_nm(&load, place_m / 0.08, -1.0);
    worst = fmax(worst, fabs(0.5 * (up_nm + down_nm) - weight_nm * sin(angle)));
    worst = fmax(worst, fabs(0.5 * (up_nm - down_nm) - weight_nm * cos(angle)));
    worst =
        fmax(worst, fabs(sb_road_press_nm(&load.road, place_m / 0.08, k % 2 ? +1 : -1) - 0.5 * weight_nm * cos(angle)));
  }
  assert_near(worst / weight_nm, 0.0, rounding);
}

/* At a jump the piece ahead counts for the press, as for the rest. */
static void at_its_points_the_press_is_that_of_the_grade_ahead(void **state)
{
  (void)state;
  struct sb_body body = hump_vehicle();
  body.as.vehicle.static_friction_ratio = body.as.vehicle.kinetic_friction_ratio = 0.6;
  body.as.vehicle.driven_share = 0.5;
  const struct sb_load load = lowered(&body);
  const double level_nm = 0.5 * 30.0 * 9.81 * 0.08;
  for (size_t i = 0; i < HUMP_COUNT; i++) {
    const size_t up = i == 4 ? 5 : i, down = i == 5 ? 4 : i; /* the jump */
    assert_near(sb_road_press_nm(&load.road, hump_m[i] / 0.08, +1), level_nm * cos(atan(hump_grade[up])),
                rounding * level_nm);
    assert_near(sb_road_press_nm(&load.road, hump_m[i] / 0.08, -1), level_nm * cos(atan(hump_grade[down])),
                rounding * level_nm);
  }
}

static void at_its_points_a_grade_is_exact(void **state)
{
  (void)state;
  const struct sb_body body = hump_vehicle();
  const struct sb_load load = lowered(&body);
  for (size_t i = 1; i < HUMP_COUNT; i++) {
    if (i == 4) continue; /* the near side of the jump */
    const double want = 30.0 * 9.81 * 0.08 * sin(atan(hump_grade[i]));
    assert_near(load_nm(&load, hump_m[i] / 0.08, 1.0), want, rounding * 30.0);
  }
}

/* A curve that was taken at one place holds at all others up to the next corner. */
static void from_one_corner_to_the_next_one_curve_is_exact(void **state)
{
  (void)state;
  struct sb_body body = hump_vehicle();
  body.as.vehicle.rolling_resistance_ratio = 0.25;
  const struct sb_load load = lowered(&body);
  const double weight_nm = 30.0 * 9.81 * 0.08;
  for (int direction = -1; direction <= 1; direction += 2) {
    for (size_t k = 1; k < HUMP_COUNT; k++) {
      const double a = hump_m[k - 1], b = hump_m[k];
      for (double from = 0.125; from <= 0.875 && a < b; from += 0.125) {
        const struct sb_load_at at = {.angle_rad = (a + from * (b - a)) / 0.08, .direction = direction};
        const struct sb_load_curve curve = sb_load_curve_at(&load, &at, SB_SHARE_ALL);
        assert_near(sb_load_next_angle_rad(&load, SB_SIDE_BOTH, at.angle_rad, direction),
                    (direction > 0 ? b : a) / 0.08, rounding);
        for (double share = 0.125; share <= 0.875; share += 0.125) {
          const double place_m = a + share * (b - a), angle = hump_angle(place_m);
          const double want = weight_nm * (sin(angle) + 0.25 * direction * cos(angle));
          assert_near(sb_load_curve_nm(&curve, 0.0, place_m / 0.08, direction), want, 4.0 * rounding * weight_nm);
        }
      }
    }
  }
}

/* v^2 = v0^2 - 2 g h, where a grade that changes evenly from p to q over s climbs
 * h = s (sqrt(1 + q^2) - sqrt(1 + p^2)) / (q - p): the integral of sin(atan grade) along the road. */
static void a_vehicle_that_coasts_over_a_hump_keeps_its_energy(void **state)
{
  (void)state;
  const struct sb_body body = hump_vehicle();
  const double start_m_s = 9.0;
  double height_m = 0.0;
  for (size_t i = 0; i + 1 < HUMP_COUNT; i++) {
    const double p = hump_grade[i], q = hump_grade[i + 1], s = hump_m[i + 1] - hump_m[i];
    height_m += p == q ? s * p / sqrt(1.0 + p * p) : s * (sqrt(1.0 + q * q) - sqrt(1.0 + p * p)) / (q - p);
  }
  const struct driven got = coast(&body, start_m_s / 0.08, 1.4);
  const double beyond_m = got.state.output_angle_rad * 0.08 - 8.0;
  assert_true(beyond_m > 0.0);
  height_m += beyond_m * 0.25 / sqrt(1.0 + 0.25 * 0.25); /* the last grade stays */
  const double want = sqrt(start_m_s * start_m_s - 2.0 * 9.81 * height_m);
  assert_near_rel(got.state.output_speed_rad_s * 0.08, want, 1e-12); /* some thousand roundings */
}

/* Only wheels of which nothing is known are taken for ones that never slip, and said to be. */
static void a_vehicle_without_static_friction_says_so(void **state)
{
  (void)state;
  struct sb_body body = vehicle(2.0, 0.25);
  body.as.vehicle.static_friction_ratio = 0.0;
  assert_non_null(body.ops->note(&body));
  body.as.vehicle.static_friction_ratio = 0.9;
  assert_null(body.ops->note(&body));
}

/* Bodies and the end of the road lie ahead. */
static void a_road_stops_nobody_on_the_way_back(void **state)
{
  (void)state;
  const struct sb_road ahead = {
      .is_present = true, .finish_rad = 50.0, .obstacle_count = 1, .obstacles = {{.angle_rad = 7.0}}};
  assert_near(sb_road_next_angle_rad(&ahead, 0, INFINITY, 9.0, -1), -(double)INFINITY, 0.0);
  assert_near(sb_road_next_angle_rad(&ahead, 0, INFINITY, 5.0, +1), 7.0, 0.0);
  assert_near(sb_road_next_angle_rad(&ahead, 1, INFINITY, 9.0, +1), 50.0, 0.0);
  assert_near(sb_road_next_angle_rad(&ahead, 1, 20.0, 9.0, +1), 20.0, 0.0); /* where the body was left */
}

/* What pulls on an output at rest is the weight on one side less that on the other, as far as friction leaves any of it. */
static void a_hoist_hangs_by_its_weight_less_what_holds_it(void **state)
{
  (void)state;
  static const struct {
    double counterweight_kg, friction_nm, breakaway_nm, want_nm;
  } cases[] = {{0.0, 0.0, 0.0, 0.981},
               {0.0, 0.2, 0.3, 0.681},
               {5.0, 0.2, 0.1, 1.2715},
               {0.0, 2.0, 0.0, 0.0},
               {2.0, 0.0, 0.0, 0.0}};
  for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
    struct sb_model model = model_blank();
    model.bodies[model.body_count++] = hoist(2.0, 0.05, 9.81);
    model.bodies[0].as.hoist.counterweight_kg = cases[i].counterweight_kg;
    model.bodies[0].as.hoist.friction_nm = cases[i].friction_nm;
    model.bodies[0].as.hoist.breakaway_nm = cases[i].breakaway_nm;
    model.load = lowered(&model.bodies[0]);
    assert_near(sb_model_suspended_nm(&model), cases[i].want_nm, 1e-14);
  }
}

/* Hoists ----------------------------------------------------------------------------------------------------------- */

/* Khurmi and Gupta, Theory of Machines, example 3.2: cage 500 kg and rope 300 kg start at 1.5 m/s2: 4615.9 N.m. */
static void a_mine_hoist_starts_with_the_torque_in_the_book(void **state)
{
  (void)state;
  struct sb_body body = hoist(800.0, 0.5, 9.81);
  body.as.hoist.drum_inertia_kg_m2 = 250.0 * 0.35 * 0.35;
  const struct sb_load load = lowered(&body);
  assert_near(load_nm(&load, 0.0, 1.0) + load.inertia_kg_m2 * 1.5 / 0.5, 4615.9, 0.05);
}

/* G. K. Dubey, Fundamentals of Electrical Drives, example 2.1: 1000 kg at 1.5 m/s and 1420 rpm of the motor, beside a
 * load of 10 kg.m2 and 10 N.m at a tenth: 0.4018 kg.m2 (0.401753) and 117.53 N.m (117.530) at the motor. */
static void a_hoist_reflects_to_its_motor_as_in_the_book(void **state)
{
  (void)state;
  const struct sb_body body = hoist(1000.0, 1.5 / model_rad_s(1420.0), 9.81);
  const struct sb_load load = lowered(&body);
  assert_near(0.2 + 10.0 * 0.1 * 0.1 + load.inertia_kg_m2, 0.401753, 5e-7);
  assert_near(10.0 * 0.1 / 0.9 + load_nm(&load, 0.0, 1.0) / 0.85, 117.530, 5e-4);
}

/* T. Bevan, The Theory of Machines, chapter 2, example 10, in pounds and feet with g = 32.2: a falling 150 lb drives a
 * drum of 200 lb.ft2 and, at 5:1, 15 lb.ft2: 3.35 ft/s2 (3.34545), with a gear of 0.9 3.14 (3.14146). */
static void a_falling_weight_speeds_up_as_in_the_book(void **state)
{
  (void)state;
  const double radius = 8.0 / 12.0;
  struct sb_body body = hoist(150.0, radius, 32.2);
  body.as.hoist.drum_inertia_kg_m2 = 200.0;
  const struct sb_load load = lowered(&body);
  const double torque = load_nm(&load, 0.0, -1.0);
  assert_near(torque / (load.inertia_kg_m2 + 15.0 * 25.0) * radius, 3.34545, 5e-6);
  assert_near(torque / (load.inertia_kg_m2 + 15.0 * 25.0 / 0.9) * radius, 3.14146, 5e-6);
}

/* B. R. Gupta and V. Singhal, Fundamentals of Electric Drives, example 1.1: cage 500 kg, load 5500 kg, balance 3000 kg,
 * 50 m: 1 471 500 J up loaded, 1 226 250 J down empty, 1.102 kWh a round trip, 20.44 kW for the 1.5 min up. */
static void a_balanced_mine_lift_takes_the_energy_in_the_book(void **state)
{
  (void)state;
  struct sb_body body = hoist(500.0 + 5500.0, 0.8, 9.81);
  body.as.hoist.counterweight_kg = 3000.0;
  struct sb_load load = lowered(&body);
  const double up_j = load_nm(&load, 0.0, 1.0) * 50.0 / 0.8;
  assert_near_rel(load.inertia_kg_m2, 9000.0 * 0.8 * 0.8, rounding); /* the sum moves, the difference hangs */
  body.as.hoist.mass_kg = 500.0;
  load = lowered(&body);
  const double down_j = -load_nm(&load, 0.0, -1.0) * 50.0 / 0.8;
  assert_near_rel(up_j, 1471500.0, rounding);
  assert_near_rel(down_j, 1226250.0, rounding);
  assert_near((up_j + down_j) / (0.8 * 0.85) / 3.6e6, 1.102, 5e-4);
  assert_near(up_j / 0.8 / 90.0, 20440.0, 5.0);
}

/* A. Beiser, Schaum's Outline of Physical Science, example 5.8: 500 kg, 80 m, 20 hp at 80 %: 32.84 s (32.8418). */
static void a_hoist_of_constant_power_takes_the_time_in_the_book(void **state)
{
  (void)state;
  const struct sb_body body = hoist(500.0, 0.2, 9.8);
  const struct sb_load load = lowered(&body);
  const double speed_rad_s = 20.0 * 746.0 * 0.8 / load_nm(&load, 0.0, 1.0);
  assert_near(80.0 / (speed_rad_s * 0.2), 32.8418, 5e-5);
}

/* The friction of the drum holds a small difference of weights, its breakaway a greater one; Coulomb's law. */
static void drum_friction_holds_what_it_can(void **state)
{
  (void)state;
  struct sb_body body = hoist(10.0, 0.1, 10.0);
  body.as.hoist.counterweight_kg = 9.0; /* 1 N.m hangs */
  body.as.hoist.friction_nm = 0.4;
  body.as.hoist.breakaway_nm = 1.01;
  assert_true(coast(&body, 0.0, 1.0).state.output_speed_rad_s == 0.0);
  body.as.hoist.breakaway_nm = 0.99;
  assert_near_rel(coast(&body, 0.0, 1.0).state.output_speed_rad_s, -(1.0 - 0.4) / 0.19, step_limit);
}

/* Rotors ----------------------------------------------------------------------------------------------------------- */

/* Affinity laws, common practice: torque goes with the squared speed; above the static part for a pump. */
static void fans_and_pumps_follow_the_squared_speed(void **state)
{
  (void)state;
  struct sb_body body = {.ops = sb_body_kind_find("pump"),
                         .as.rotor = {.inertia_kg_m2 = 0.03, .torque_nm = 0.9, .speed_rad_s = 30.0}};
  struct sb_load load = lowered(&body);
  assert_int_equal(load.part_count, 1);
  assert_near_rel(load.inertia_kg_m2, 0.03, rounding);
  assert_near_rel(load_nm(&load, 0.0, 30.0), 0.9, rounding);
  assert_near_rel(load_nm(&load, 0.0, 60.0), 3.6, rounding);
  assert_near_rel(load_nm(&load, 0.0, -15.0), -0.225, rounding);
  body.as.rotor.static_nm = 0.5;
  load = lowered(&body);
  assert_near_rel(load_nm(&load, 0.0, 30.0), 0.9, rounding);
  assert_near_rel(load_nm(&load, 0.0, 60.0), 0.5 + 4.0 * 0.4, rounding);
  assert_near_rel(load_nm(&load, 0.0, 0.0), 0.5, rounding);
}

/* Scenarios -------------------------------------------------------------------------------------------------------- */

static struct sb_scenario scenario; /* large, hence not on the stack */

static void load_bodies(const char *const *sets, size_t set_count)
{
  struct sb_faults faults;
  const enum sb_status status =
      sb_scenario_load(SB_SOURCE_DIR "/tests/good/bodies.yaml", sets, set_count, &scenario, &faults);
  if (status != SB_OK) fail_msg("%s", faults.count > 0 ? faults.texts[0] : sb_status_text(status));
  sb_faults_clear(&faults);
}

/* Inertias: 0.5 + 120 0.2^2 + 0.2 + 40 0.05^2 + 0.02 + 0.03 + 0.01; torques by the equations in body.h. */
static void bodies_of_a_scenario_add_up_with_its_own_load(void **state)
{
  (void)state;
  load_bodies(NULL, 0);
  const struct sb_load *load = &scenario.model.load;
  assert_int_equal(scenario.model.body_count, 4);
  assert_near_rel(load->inertia_kg_m2, 5.66, rounding);
  const double weight_nm = 120.0 * 9.81 * 0.2, own_nm = 0.5 + 20.0 * 9.81 * 0.05 + 0.4 + 0.6;
  const double quadratic = 0.5 * 1.25 * 0.5 * 0.2 * 0.2 * 0.2 + 0.9 / 900.0 + 0.4 / 400.0;
  assert_near_rel(load_nm(load, 0.0, 4.0), own_nm + 0.02 * weight_nm + 16.0 * quadratic, rounding);
  const double end = atan(-0.05); /* behind the last point of the table */
  assert_near_rel(load_nm(load, 20.0, 4.0), own_nm + weight_nm * (sin(end) + 0.02 * cos(end)) + 16.0 * quadratic,
                  10.0 * rounding);
  assert_int_equal(scenario.tolerance_count, 2);
  assert_string_equal(scenario.tolerances[0].path, "load.bodies.1.mass");
  assert_near_rel(scenario.tolerances[1].greatest, 0.44, rounding);
  sb_scenario_clear(&scenario);
}

static void a_set_changes_a_body(void **state)
{
  (void)state;
  static const char *const sets[] = {"load.bodies.2.counterweight=40 kg", "load.bodies.1.wheel_radius=30 cm"};
  load_bodies(sets, 2);
  assert_near_rel(scenario.model.load.inertia_kg_m2, 5.66 + 120.0 * 0.05 + 30.0 * 0.0025, rounding);
  assert_near_rel(scenario.model.bodies[1].as.hoist.counterweight_kg, 40.0, rounding);
  sb_scenario_clear(&scenario);
}

static void points_and_file_make_the_same_grade(void **state)
{
  (void)state;
  load_bodies(NULL, 0);
  const struct sb_table *file = &scenario.model.bodies[0].as.vehicle.grade;
  double places[3], grades[3];
  assert_int_equal(file->count, 3);
  memcpy(places, file->x, sizeof places);
  memcpy(grades, file->y, sizeof grades);
  sb_scenario_clear(&scenario);
  static const char *const set =
      "load.bodies.1={kind: vehicle, mass: 120 kg, wheel_radius: 1 m, rolling_resistance: 0, grade_points: "
      "[[0 m, 0 %], [300 cm, 12 %], [3 m, -5 %]]}";
  load_bodies(&set, 1);
  const struct sb_table *points = &scenario.model.bodies[0].as.vehicle.grade;
  assert_int_equal(points->count, 3);
  for (int i = 0; i < 3; i++) {
    assert_near_rel(points->x[i], places[i], rounding);
    assert_near_rel(points->y[i], grades[i], rounding);
  }
  sb_scenario_clear(&scenario);
}

static void a_body_without_room_for_its_parts_leaves_the_load_alone(void **state)
{
  (void)state;
  struct sb_load load = {.part_count = SB_LOAD_PART_MAX - 1, .inertia_kg_m2 = 1.0};
  struct sb_error err;
  struct sb_body body = hoist(1.0, 1.0, 9.81);
  body.as.hoist.friction_nm = 1.0;
  assert_int_equal(sb_body_lower(&body, NULL, &load, &err), SB_ERR_SCENARIO);
  assert_int_equal(load.part_count, SB_LOAD_PART_MAX - 1);
  assert_true(load.inertia_kg_m2 == 1.0);
  assert_null(sb_body_kind_find("rocket"));
}

static void run_and_check_say_what_hangs_and_what_is_taken_for_granted(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND run scenarios/balanced-lift.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "Caution: this load acts by itself, as a suspended weight does");
  said = shell_run("$SHIFTBAND check scenarios/balanced-lift.yaml");
  shell_expect(said, "this load acts by itself, as a suspended weight does");
  shell_expect(said, "hoist: the rope is assumed to stay taut");
  shell_expect_not(said, "vehicle:");
  said = shell_run("$SHIFTBAND check scenarios/hump-cart.yaml");
  shell_expect(said, "its wheels are assumed never to slip");
  shell_expect_not(said, "hoist:");
}

/* Its points as angles, however much it changes between them. */
static void a_grade_takes_the_room_of_its_points(void **state)
{
  (void)state;
  struct sb_body body = vehicle(10.0, 0.2);
  for (size_t count = 0; count <= HUMP_COUNT; count++) {
    body.as.vehicle.grade = (struct sb_table){count, hump_m, hump_grade};
    assert_true(sb_body_room(&body) == count);
  }
}

/* Rolling resistance is greatest where the road is level and the grade's pull where it is steepest: the load is m g r (sin + c cos) place
 * by place, rises with the grade while that is below 1 / c, and so has its bounds at the flattest and the steepest place. */
static void bounds_of_a_vehicle_are_those_of_rolling_and_grade_together(void **state)
{
  (void)state;
  const double c = 0.1, weight_nm = 30.0 * 9.81 * 0.08;
  struct sb_body body = vehicle(30.0, 0.08);
  body.as.vehicle.grade = (struct sb_table){HUMP_COUNT, hump_m, hump_grade};
  body.as.vehicle.rolling_resistance_ratio = c;
  const struct sb_load load = lowered(&body);
  double lightest_nm, heaviest_nm;
  sb_load_range_nm(&load, 10.0, &lightest_nm, &heaviest_nm);
  double low = INFINITY, high = -INFINITY;
  for (int i = 0; i < HUMP_COUNT; i++) {
    const double angle = atan(hump_grade[i]), nm = weight_nm * (sin(angle) + c * cos(angle));
    low = fmin(low, nm);
    high = fmax(high, nm);
  }
  assert_near(lightest_nm, low, 1e-12 * weight_nm);
  assert_near(heaviest_nm, high, 1e-12 * weight_nm);
  /* Steeper than 1 / c the load falls again: at 0.25, where sine and c times the cosine are at their greatest together. */
  body.as.vehicle.rolling_resistance_ratio = 4.0;
  const struct sb_load rough = lowered(&body);
  sb_load_range_nm(&rough, 10.0, &low, &high);
  assert_near(high, weight_nm * sqrt(1.0 + 4.0 * 4.0), 1e-12 * weight_nm);
  assert_true(high > weight_nm * (sin(atan(0.3)) + 4.0 * cos(atan(0.3))) + 1e-3 * weight_nm);
  /* On a road that is steeper than that throughout it never is: the flattest place, here the last, asks for most. */
  static const double way_m[] = {0.0, 2.0}, grades[] = {0.6, 0.3};
  body.as.vehicle.grade = (struct sb_table){2, way_m, grades};
  const struct sb_load steep = lowered(&body);
  sb_load_range_nm(&steep, 10.0, &low, &high);
  assert_near(low, weight_nm * (sin(atan(0.6)) + 4.0 * cos(atan(0.6))), 1e-12 * weight_nm);
  assert_near(high, weight_nm * (sin(atan(0.3)) + 4.0 * cos(atan(0.3))), 1e-12 * weight_nm);
  /* Its rolling resistance alone has its bounds there; where a road passes the level it is greatest on the level. */
  for (int i = 0; i < steep.part_count; i++) {
    const struct sb_load_part *part = &steep.parts[i], *humped = &rough.parts[i];
    if (!part->is_resisting) continue;
    part->ops->range_nm(part, &low, &high);
    assert_near(low, 4.0 * weight_nm * cos(atan(0.6)), 1e-12 * weight_nm);
    assert_near(high, 4.0 * weight_nm * cos(atan(0.3)), 1e-12 * weight_nm);
    humped->ops->range_nm(humped, &low, &high);
    assert_near(high, 4.0 * weight_nm, 1e-12 * weight_nm);
  }
  /* A road that comes through the level is level somewhere; one that jumps from up to down is not. */
  static const double bend_m[] = {0.0, 2.0, 4.0}, bend[] = {0.6, -0.3, -0.3};
  static const double jump_m[] = {0.0, 2.0, 2.0, 4.0}, jump[] = {0.6, 0.3, -0.3, -0.6};
  const struct sb_table roads[] = {{3, bend_m, bend}, {4, jump_m, jump}};
  for (int k = 0; k < 2; k++) {
    body.as.vehicle.grade = roads[k];
    const struct sb_load other = lowered(&body);
    for (int i = 0; i < other.part_count; i++) {
      if (!other.parts[i].is_resisting) continue;
      other.parts[i].ops->range_nm(&other.parts[i], &low, &high);
      assert_near(high, 4.0 * weight_nm * (k == 0 ? 1.0 : cos(atan(0.3))), 1e-12 * weight_nm);
    }
  }
  /* Each by itself would be further apart: at the steepest place the rolling resistance is not what it is on the level. */
  assert_true(heaviest_nm < weight_nm * (sin(atan(1.5)) + c) - 0.1 * c * weight_nm);
}

/* How far it may run back: an eighth of a turn; of a body on wheels or a drum a hundredth of its way, 10 mm at least and a quarter of a
 * turn at most; what the user says, before all that. */
static void a_machine_may_run_back_by_its_way(void **state)
{
  (void)state;
  struct sb_model model = {.body_count = 0};
  assert_near_rel(sb_model_run_back_rad(&model, 1e3), model_pi / 4.0, rounding);
  model.bodies[model.body_count++] = vehicle(10.0, 0.1);
  assert_near_rel(sb_model_run_back_rad(&model, 0.0), 0.1, rounding);
  assert_near_rel(sb_model_run_back_rad(&model, 9.9), 0.1, rounding);
  assert_near_rel(sb_model_run_back_rad(&model, 50.0), 0.5, rounding);
  assert_near_rel(sb_model_run_back_rad(&model, 1e3), model_pi / 2.0, rounding);
  model.limits.run_back_rad = 0.7;
  assert_near_rel(sb_model_run_back_rad(&model, 0.0), 0.7, rounding);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(bounds_of_a_vehicle_are_those_of_rolling_and_grade_together),
      cmocka_unit_test(a_machine_may_run_back_by_its_way),
      cmocka_unit_test(a_block_on_a_slope_of_45_degrees_comes_to_its_speed_in_its_way),
      cmocka_unit_test(a_vehicle_coasts_down_to_its_stop),
      cmocka_unit_test(a_grade_takes_the_room_of_its_points),
      cmocka_unit_test(trains_ask_their_motors_for_the_torque_in_the_books),
      cmocka_unit_test(a_train_reaches_its_speed_in_the_time_of_the_book),
      cmocka_unit_test(haulage_up_an_incline_asks_for_the_torque_in_the_book),
      cmocka_unit_test(a_vehicle_on_a_grade_rolls_back_in_neutral_unless_its_tyres_hold_it),
      cmocka_unit_test(a_changing_grade_is_met_exactly),
      cmocka_unit_test(at_its_points_a_grade_is_exact),
      cmocka_unit_test(at_its_points_the_press_is_that_of_the_grade_ahead),
      cmocka_unit_test(from_one_corner_to_the_next_one_curve_is_exact),
      cmocka_unit_test(a_vehicle_that_coasts_over_a_hump_keeps_its_energy),
      cmocka_unit_test(a_vehicle_without_static_friction_says_so),
      cmocka_unit_test(a_road_stops_nobody_on_the_way_back),
      cmocka_unit_test(a_hoist_hangs_by_its_weight_less_what_holds_it),
      cmocka_unit_test(a_mine_hoist_starts_with_the_torque_in_the_book),
      cmocka_unit_test(a_hoist_reflects_to_its_motor_as_in_the_book),
      cmocka_unit_test(a_falling_weight_speeds_up_as_in_the_book),
      cmocka_unit_test(a_balanced_mine_lift_takes_the_energy_in_the_book),
      cmocka_unit_test(a_hoist_of_constant_power_takes_the_time_in_the_book),
      cmocka_unit_test(drum_friction_holds_what_it_can),
      cmocka_unit_test(fans_and_pumps_follow_the_squared_speed),
      cmocka_unit_test(bodies_of_a_scenario_add_up_with_its_own_load),
      cmocka_unit_test(a_set_changes_a_body),
      cmocka_unit_test(points_and_file_make_the_same_grade),
      cmocka_unit_test(a_body_without_room_for_its_parts_leaves_the_load_alone),
      cmocka_unit_test(run_and_check_say_what_hangs_and_what_is_taken_for_granted),
  };
  return cmocka_run_group_tests_name("bodies", tests, shell_setup, shell_teardown);
}
