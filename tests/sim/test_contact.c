// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Wheels that slip, bodies in the way and the end of the road, against closed forms and worked examples. Sources of the
 * examples stand at each. Books count rotating masses as a tenth more mass without weight: a mass 1.1 times as great at a
 * gravity 1.1 times smaller. They call a rise along the road a gradient (its sine) and give resistances per tonne.
 */
#include <gsl/gsl_errno.h>
#include <gsl/gsl_roots.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "help/models.h"
#include "help/near.h"

static const double rounding = 1e-12; /* some thousand steps of rounding */

enum { EVENT_MAX = 64, ROOM = 4 * 4096 };

/* A run, its events and its end. */
struct ride {
  size_t count;
  struct {
    enum sb_event event;
    double time_s, wheel_rad_s, vehicle_rad_s;
  } events[EVENT_MAX];
  struct sb_row row;
  struct sb_state state;
  struct sb_sums sums;
};

static double room[ROOM];

static void note(void *context, const struct sb_sim *sim, enum sb_event event)
{
  struct ride *ride = context;
  const struct sb_row row = sb_sim_row(sim);
  if (ride->count == EVENT_MAX) return;
  ride->events[ride->count].event = event;
  ride->events[ride->count].time_s = row.time_s;
  ride->events[ride->count].wheel_rad_s = row.output_speed_rad_s;
  ride->events[ride->count++].vehicle_rad_s = row.vehicle_speed_rad_s;
}

/* From the run's start in a gear (index); a shift to another one at command_s unless that is NAN. */
static struct ride ride_of(const struct sb_model *model, int gear, double command_s, double end_s)
{
  struct ride out = {.count = 0};
  struct sb_error err = {SB_OK, ""};
  struct sb_sim sim;
  assert_int_equal(sb_sim_init(&sim, model, gear, &err), SB_OK);
  sim.observer = (struct sb_sim_observer){&out, note, NULL};
  enum sb_status status = SB_OK;
  if (!isnan(command_s)) {
    status = sb_sim_advance(&sim, sb_model_step_count(command_s, model->run.step_s), &err);
    sb_sim_command(&sim, 1 - gear);
  }
  if (status == SB_OK) status = sb_sim_advance(&sim, sb_model_step_count(end_s, model->run.step_s), &err);
  if (status != SB_OK) fail_msg("%s", err.text);
  out.sums = *sb_sim_sums(&sim);
  out.row = sb_sim_row(&sim);
  out.state = sim.state;
  sb_sim_clear(&sim);
  assert_near(sb_energy_residual_ratio(&out.sums.energy), 0.0, 1e-6);
  return out;
}

/* The nth (from 0) event of a kind: its index; fails when there is none. */
static size_t find(const struct ride *ride, enum sb_event event, size_t nth)
{
  for (size_t i = 0; i < ride->count; i++) {
    if (ride->events[i].event == event && nth-- == 0) return i;
  }
  fail_msg("no such event");
  return 0;
}

static size_t count_of(const struct ride *ride, enum sb_event event)
{
  size_t count = 0;
  for (size_t i = 0; i < ride->count; i++) count += ride->events[i].event == event;
  return count;
}

/* A motor without friction, 1 N m and 100 rad/s, in gears of 10:1 and 4:1 of 90 %, on wheels of 0.1 m: 90 N and 36 N. */
static struct sb_model puller(void)
{
  struct sb_model model = model_blank();
  model_set_line_motor(&model, 100.0, 1.0, 5e-4); /* 50 ms */
  model_add_gear(&model, 10.0, 0.9, false);
  model_add_gear(&model, 4.0, 0.9, false);
  model_drive_forward(&model);
  model.shifter.travel_time_s = 0.5;
  model_finish(&model);
  return model;
}

static struct sb_vehicle vehicle_of(double mass_kg, double grip, double sliding)
{
  return (struct sb_vehicle){.mass_kg = mass_kg,
                             .wheel_radius_m = 0.1,
                             .wheel_inertia_kg_m2 = 0.01,
                             .gravity_m_s2 = 9.81,
                             .static_friction_ratio = grip,
                             .kinetic_friction_ratio = sliding,
                             .driven_share = 1.0};
}

static void put(struct sb_model *model, const struct sb_vehicle *vehicle)
{
  const struct sb_body body = {.ops = sb_body_kind_find("vehicle"), .as.vehicle = *vehicle};
  struct sb_error err = {SB_OK, ""};
  assert_true(sb_body_room(&body) <= ROOM);
  model->load = (struct sb_load){.inertia_kg_m2 = 0.0};
  assert_int_equal(sb_body_lower(&body, room, &model->load, &err), SB_OK);
  model->bodies[0] = body;
  model->body_count = 1;
}

static struct sb_vehicle_obstacle stands(double distance_m, double mass_kg, double friction, double breakaway)
{
  return (struct sb_vehicle_obstacle){distance_m, mass_kg, friction, breakaway};
}

/* Slip and grip ---------------------------------------------------------------------------------------------------------- */

/* Motor and wheels against a constant traction: w = wi (1 - exp(-t / tau)) of the motor. */
struct spin {
  double settled_rad_s, tau_s, ratio, vehicle_rad_s2;
};

static double lead_at(double t, void *context)
{
  const struct spin *spin = context;
  return spin->settled_rad_s / spin->ratio * -expm1(-t / spin->tau_s) - spin->vehicle_rad_s2 * t;
}

static double grip_time_s(struct spin *spin)
{
  gsl_function lead = {lead_at, spin};
  gsl_root_fsolver *solver = gsl_root_fsolver_alloc(gsl_root_fsolver_brent);
  assert_non_null(solver);
  assert_int_equal(gsl_root_fsolver_set(solver, &lead, spin->tau_s, 100.0), GSL_SUCCESS);
  for (int i = 0; i < 100; i++) gsl_root_fsolver_iterate(solver);
  const double root = gsl_root_fsolver_root(solver);
  gsl_root_fsolver_free(solver);
  return root;
}

static void wheels_spin_up_by_the_motors_line_against_the_traction_and_grip_where_they_meet_the_vehicle(void **state)
{
  (void)state;
  struct sb_model model = puller();
  struct sb_vehicle vehicle = vehicle_of(10.0, 0.5, 0.4);
  vehicle.rolling_resistance_ratio = 0.02;
  put(&model, &vehicle);
  const double traction_nm = 0.4 * 10.0 * 9.81 * 0.1, n = 10.0, eta = 0.9, slope = 1.0 / 100.0;
  struct spin spin = {.settled_rad_s = (1.0 - traction_nm / (n * eta)) / slope,
                      .tau_s = (5e-4 + 0.01 / (n * n * eta)) / slope,
                      .ratio = n,
                      .vehicle_rad_s2 = (0.4 - 0.02) * 9.81 / 0.1};
  const double meet_s = grip_time_s(&spin);

  const struct ride early = ride_of(&model, 0, NAN, 0.05);
  assert_true(early.row.is_slipping);
  assert_near_rel(early.row.motor_speed_rad_s, spin.settled_rad_s * -expm1(-0.05 / spin.tau_s), 1e-6);
  assert_near_rel(early.row.vehicle_speed_rad_s, spin.vehicle_rad_s2 * 0.05, rounding);
  const struct ride late = ride_of(&model, 0, NAN, 6.0);
  const size_t gripped = find(&late, SB_EVENT_GRIPPED, 0);
  assert_near(late.events[gripped].time_s, meet_s, 1e-7);
  assert_near_rel(late.events[gripped].vehicle_rad_s, spin.vehicle_rad_s2 * meet_s, 1e-7);
  assert_near(late.sums.slip_s, meet_s, 1e-7);
  assert_near_rel(late.row.motor_speed_rad_s, 100.0 * (1.0 - 0.02 * 10.0 * 9.81 * 0.1 / 9.0), 1e-6); /* settled */
}

/* At the ground's limit the push is mu m g, whatever the gear, by which stretches differ in length: sums of theirs in roundings. */
static void lower_gear_of_slipping_wheels_pushes_no_harder(void **state)
{
  (void)state;
  struct sb_model model = puller();
  struct sb_vehicle vehicle = vehicle_of(5.0, 0.3, 0.25);
  vehicle.driven_share = 0.6;
  vehicle.wheel_inertia_kg_m2 = 0.001;
  put(&model, &vehicle);
  const struct ride low = ride_of(&model, 0, NAN, 0.1), high = ride_of(&model, 1, NAN, 0.1);
  assert_true(low.row.is_slipping && high.row.is_slipping);
  assert_near_rel(low.row.vehicle_speed_rad_s, 0.25 * 0.6 * 9.81 / 0.1 * 0.1, rounding);
  assert_near_rel(low.row.vehicle_speed_rad_s, high.row.vehicle_speed_rad_s, 4.0 * DBL_EPSILON);
  assert_true(low.row.output_torque_nm > 0.0 && low.row.output_speed_rad_s != high.row.output_speed_rad_s);
}

static void wheels_let_go_where_the_push_exceeds_the_weight_across_the_slope(void **state)
{
  (void)state;
  static const double grades[] = {-0.15, 0.0, 0.1, 0.3};
  for (int i = 0; i < 4; i++) {
    struct sb_model model = puller();
    struct sb_vehicle vehicle = vehicle_of(12.0, 0.6, 0.5);
    vehicle.grade_fraction = grades[i];
    vehicle.rolling_resistance_ratio = 0.01;
    put(&model, &vehicle);
    const double tilt = atan(grades[i]), rise = sin(tilt) + 0.01 * cos(tilt);
    /* Gripping, the low gear's 90 N less what spins motor and wheels; the share of it that reaches the vehicle. */
    const double spinning = (5e-4 * 100.0 * 0.9 + 0.01) / 0.01, rate = (90.0 - 12.0 * 9.81 * rise) / (12.0 + spinning);
    const double asked_n = 12.0 * (9.81 * rise + rate), most_n = 0.6 * 12.0 * 9.81 * cos(tilt);
    const struct ride start = ride_of(&model, 0, NAN, 0.01);
    assert_int_equal(start.row.is_slipping, asked_n > most_n);
    if (!start.row.is_slipping) continue;
    assert_near_rel(start.row.vehicle_speed_rad_s, (0.5 * cos(tilt) - rise) * 9.81 / 0.1 * 0.01, rounding);
  }
  /* The same slope just on either side of the limit, and at it, where wheels hold. */
  for (int side = -1; side <= 1; side++) {
    struct sb_model model = puller();
    const double tilt = atan(0.1), rise = sin(tilt), spinning = (5e-4 * 100.0 * 0.9 + 0.01) / 0.01;
    const double asked_n = 12.0 * (9.81 * rise + (90.0 - 12.0 * 9.81 * rise) / (12.0 + spinning));
    struct sb_vehicle vehicle = vehicle_of(12.0, asked_n / (12.0 * 9.81 * cos(tilt)) * (1.0 + 1e-9 * side), 0.1);
    vehicle.grade_fraction = 0.1;
    put(&model, &vehicle);
    assert_int_equal(ride_of(&model, 0, NAN, 0.001).row.is_slipping, side < 0);
  }
}

/* An engagement is a greater force than wheels carry: the wheels alone join, then drag the vehicle along. */
static void engagement_jolts_the_wheels_alone_where_they_can_slip(void **state)
{
  (void)state;
  struct sb_model model = puller();
  struct sb_vehicle vehicle = vehicle_of(10.0, 0.9, 0.8);
  put(&model, &vehicle);
  model.shifter.travel_time_s = 0.2;
  const struct ride one = ride_of(&model, 0, 1.0, 1.3);
  const size_t engaged = find(&one, SB_EVENT_ENGAGED, 0);
  /* Loss-free meanwhile: the vehicle rolls on in neutral, the motor runs up to its line. */
  const double before = one.events[find(&one, SB_EVENT_COMMAND, 0)].wheel_rad_s;
  const double motor = 100.0 - (100.0 - 10.0 * before) * exp(-0.2 / 0.05);
  const double joined = (5e-4 * motor + 0.01 / 4.0 * before) / (5e-4 + 0.01 / 16.0);
  assert_near_rel(one.events[engaged].wheel_rad_s, joined / 4.0, rounding);
  assert_near_rel(one.events[engaged].vehicle_rad_s, before, rounding);
  assert_true(one.events[find(&one, SB_EVENT_GRIPPED, 0)].time_s > one.events[engaged].time_s);
}

/* Bodies ----------------------------------------------------------------------------------------------------------------- */

/* Khurmi and Gupta, Theory of Machines, ex. 3.19: 50 kg at 3 m/s and 25 kg at 1.5 m/s go on at 2.5 m/s, 18.75 J lost. Seen
 * from the second: 50 kg at 1.5 m/s meets it at rest and both go on at 1 m/s. */
static void meeting_of_the_worked_example_loses_what_the_book_says(void **state)
{
  (void)state;
  for (int can_slip = 0; can_slip < 2; can_slip++) {
    struct sb_model model = puller();
    model_set_line_motor(&model, 100.0, 1e-15, 1e-15); /* next to no motor */
    model_finish(&model);
    struct sb_vehicle vehicle = vehicle_of(50.0, 0.5 * can_slip, 0.5 * can_slip);
    vehicle.wheel_inertia_kg_m2 = can_slip ? 1e-9 : 0.0;
    vehicle.obstacle_count = 1;
    vehicle.obstacles[0] = stands(1.0, 25.0, 0.0, 0.0);
    put(&model, &vehicle);
    model.run.initial_output_speed_rad_s = 1.5 / 0.1;
    const struct ride met = ride_of(&model, 1, NAN, 1.5);
    assert_near(met.events[find(&met, SB_EVENT_MET, 0)].time_s, 1.0 / 1.5, 1e-9);
    assert_near(met.row.vehicle_speed_rad_s * 0.1, 1.0, 1e-8);
    assert_near(met.sums.energy.impact_loss, 18.75, 18.75 * 1e-8);
    assert_near(met.sums.impact_greatest_nms / 0.1, 25.0, 25.0 * 1e-8); /* N s: 25 kg from rest to 1 m/s */
  }
}

/* Without slip the whole machine strikes: 1/2 J Jb / (J + Jb) v^2 with the motor's inertia through the gear. */
static void wheels_that_cannot_slip_strike_with_the_motor_behind_them(void **state)
{
  (void)state;
  struct sb_model model = puller();
  struct sb_vehicle vehicle = vehicle_of(10.0, 0.0, 0.0);
  vehicle.obstacle_count = 1;
  vehicle.obstacles[0] = stands(2.0, 6.0, 0.1, 0.1);
  put(&model, &vehicle);
  const struct ride met = ride_of(&model, 1, NAN, 40.0);
  const size_t at = find(&met, SB_EVENT_MET, 0);
  const double whole = 10.0 * 0.01 + 0.01 + 5e-4 * 16.0, body = 6.0 * 0.01;
  const double before = met.events[at].wheel_rad_s * (whole + body) / whole;
  assert_near_rel(met.sums.energy.impact_loss, 0.5 * whole * body / (whole + body) * before * before, 1e-9);
  assert_true(before > 20.0); /* of 25 rad/s */
  /* Then pushed at the speed that the motor's line leaves: 25 rad/s less the share of the gear's 3.6 N m. */
  assert_near_rel(met.row.output_speed_rad_s, 25.0 * (1.0 - 0.1 * 6.0 * 9.81 * 0.1 / 3.6), 1e-5);
}

static void bodies_are_pushed_one_after_the_other_at_the_speed_the_line_leaves(void **state)
{
  (void)state;
  struct sb_model model = puller();
  struct sb_vehicle vehicle = vehicle_of(10.0, 0.9, 0.9);
  vehicle.obstacle_count = 2;
  vehicle.obstacles[0] = stands(3.0, 2.0, 0.3, 0.3);
  vehicle.obstacles[1] = stands(50.0, 3.0, 0.4, 0.4);
  vehicle.finish_m = 90.0;
  put(&model, &vehicle);
  const struct ride whole = ride_of(&model, 1, NAN, 120.0);
  assert_int_equal(count_of(&whole, SB_EVENT_MET), 2);
  const double first_nm = 0.3 * 2.0 * 9.81 * 0.1, both_nm = first_nm + 0.4 * 3.0 * 9.81 * 0.1;
  const size_t second = find(&whole, SB_EVENT_MET, 1);
  const double before = 25.0 * (1.0 - first_nm / 3.6), striking = 12.0, body = 3.0;
  assert_near_rel(whole.events[second].vehicle_rad_s, before * striking / (striking + body), 1e-6);
  assert_near_rel(whole.row.vehicle_speed_rad_s, 25.0 * (1.0 - both_nm / 3.6), 1e-6);
  assert_near_rel(whole.row.vehicle_angle_rad, 90.0 / 0.1, rounding);
  assert_int_equal(whole.state.far.is_finished, 1);
  assert_near(whole.events[find(&whole, SB_EVENT_FINISHED, 0)].time_s, whole.row.time_s, 0.0);
  assert_near(whole.sums.energy.load_work, (first_nm * 87.0 + (both_nm - first_nm) * 40.0) / 0.1,
              1e-6); /* all sliding */
}

/* In neutral on a slope: up with the body, back without it; and met again where it was left. */
static void body_is_left_where_the_vehicle_turns_back_and_met_again_there(void **state)
{
  (void)state;
  struct sb_model model = puller();
  struct sb_vehicle vehicle = vehicle_of(6.0, 0.9, 0.9);
  vehicle.grade_fraction = 0.1;
  vehicle.obstacle_count = 1;
  vehicle.obstacles[0] = stands(0.5, 2.0, 0.2, 0.2);
  put(&model, &vehicle);
  model.shifter.travel_time_s = 1.5;
  const double tilt = atan(0.1), slide_n = 0.2 * 2.0 * 9.81;
  const struct ride back = ride_of(&model, 0, 2.0, 3.4);
  const size_t command = find(&back, SB_EVENT_COMMAND, 0);
  const double v = back.events[command].vehicle_rad_s * 0.1;
  /* Decelerated by slope and sliding body with the mass of both and of the wheels, then accelerated by the slope alone. */
  const double up_m_s2 = (8.0 * 9.81 * sin(tilt) + slide_n * cos(tilt)) / (8.0 + 1.0), up_s = v / up_m_s2;
  const double down_m_s2 = 6.0 * 9.81 * sin(tilt) / (6.0 + 1.0), down_s = 1.4 - up_s;
  assert_true(up_s > 0.1 && up_s < 1.2);
  assert_near_rel(back.row.vehicle_speed_rad_s * 0.1, -down_m_s2 * down_s, 1e-8);
  assert_near_rel(back.state.far.left_rad * 0.1 - back.row.vehicle_angle_rad * 0.1, 0.5 * down_m_s2 * down_s * down_s,
                  1e-8);
  const double left_rad = back.state.far.left_rad;
  const struct ride again = ride_of(&model, 0, 2.0, 12.0);
  assert_int_equal(again.sums.impact_count, 2);
  assert_true(isinf(again.state.far.left_rad));
  assert_true(again.row.vehicle_angle_rad > left_rad);
}

/*
 * The fast gear, 36 N, stops on the slope with the body before it and holds there. In neutral the vehicle would roll back and
 * leave the body, but a shift that takes no time leaves it no way to go: the slow gear, 90 N at 1 m/s, pushes both on.
 */
static void body_is_still_touched_where_a_shift_without_delay_goes_on_from_rest(void **state)
{
  (void)state;
  struct sb_model model = puller();
  struct sb_vehicle vehicle = vehicle_of(10.0, 0.0, 0.0);
  vehicle.grade_fraction = 0.1;
  vehicle.obstacle_count = 1;
  vehicle.obstacles[0] = stands(0.5, 10.0, 0.4, 0.4);
  put(&model, &vehicle);
  model.shifter.travel_time_s = 0.0;
  const double tilt = atan(0.1), load_n = 9.81 * (20.0 * sin(tilt) + 0.4 * 10.0 * cos(tilt));
  const struct ride held = ride_of(&model, 1, NAN, 5.0);
  assert_near(held.row.output_speed_rad_s, 0.0, 0.0);
  assert_true(held.row.vehicle_angle_rad > 0.5 / 0.1); /* it has pushed the body */
  const struct ride way = ride_of(&model, 1, 5.0, 15.0);
  assert_true(isinf(way.state.far.left_rad));
  assert_int_equal(way.sums.impact_count, 1);
  assert_near_rel(0.1 * way.row.output_speed_rad_s, 1.0 - load_n / 90.0, 1e-9);
}

/*
 * A road from g down to g up over a metre: along it the integral of its angle's sine is sqrt(1 + g^2) over the change of the
 * grade a metre, that of the cosine asinh(g). Bodies count with their own weight, so that (by the work done from x1 to x2)
 * (m + mb) (v2^2 - v1^2) / 2 = (F - fb mb g) (integral of the cosine) - (m + mb) g (integral of the sine), where v1 is what
 * the meeting leaves.
 */
static const double bowl_grade = 0.0013, bowl_m[] = {0.0, 1.0}, bowl_grades[] = {-0.0013, 0.0013};

static double bowl_grade_at(double place_m)
{
  return bowl_grade * (2.0 * place_m - 1.0);
}

static double bowl_j_kg(double from_m, double to_m)
{
  const double from = bowl_grade_at(from_m), to = bowl_grade_at(to_m);
  return 9.81 * (to * to - from * from) / (sqrt(1.0 + to * to) + sqrt(1.0 + from * from)) / (2.0 * bowl_grade);
}

static double bowl_press_j_kg(double from_m, double to_m)
{
  return 9.81 * (asinh(bowl_grade_at(to_m)) - asinh(bowl_grade_at(from_m))) / (2.0 * bowl_grade);
}

static void body_pushed_by_slipping_wheels_is_carried_up_the_rising_slope(void **state)
{
  (void)state;
  struct sb_model model = puller();
  struct sb_vehicle vehicle = vehicle_of(10.0, 0.12, 0.1);
  vehicle.grade = (struct sb_table){2, bowl_m, bowl_grades};
  vehicle.obstacle_count = 1;
  vehicle.obstacles[0] = stands(0.1, 8.0, 0.02, 0.02);
  put(&model, &vehicle);
  const struct ride way = ride_of(&model, 1, NAN, 1.7);
  assert_true(way.row.is_slipping);
  const double at_m = 0.1 * way.row.vehicle_angle_rad;
  const double before_j = 0.1 * 10.0 * bowl_press_j_kg(0.0, 0.1) - 10.0 * bowl_j_kg(0.0, 0.1);
  const double met_j = before_j * 10.0 / 18.0; /* both at 10/18 of the speed */
  const double net_j = (0.1 * 10.0 - 0.02 * 8.0) * bowl_press_j_kg(0.1, at_m);
  const double end_j = met_j + net_j - 18.0 * bowl_j_kg(0.1, at_m);
  assert_true(at_m > 0.6 && at_m < 1.0);
  assert_near_rel(0.5 * 18.0 * pow(0.1 * way.row.vehicle_speed_rad_s, 2), end_j, rounding);
}

static void body_pushed_by_wheels_that_cannot_slip_is_carried_up_the_rising_slope(void **state)
{
  (void)state;
  struct sb_model model = puller();
  model_set_line_motor(&model, 100.0, 1e-15, 1e-15); /* next to no motor */
  model_finish(&model);
  struct sb_vehicle vehicle = vehicle_of(10.0, 0.0, 0.0);
  vehicle.grade = (struct sb_table){2, bowl_m, bowl_grades};
  vehicle.obstacle_count = 1;
  vehicle.obstacles[0] = stands(0.1, 8.0, 0.005, 0.005);
  put(&model, &vehicle);
  model.run.initial_output_speed_rad_s = 5.0;
  const struct ride way = ride_of(&model, 1, NAN, 3.0);
  const double at_m = 0.1 * way.row.vehicle_angle_rad, wheels_kg = 1.0; /* 0.01 kg.m2 on 0.1 m */
  const double before_j = 0.5 * (10.0 + wheels_kg) * 0.25 - 10.0 * bowl_j_kg(0.0, 0.1);
  const double met_j = before_j * (10.0 + wheels_kg) / (18.0 + wheels_kg);
  const double end_j = met_j - 0.005 * 8.0 * bowl_press_j_kg(0.1, at_m) - 18.0 * bowl_j_kg(0.1, at_m);
  assert_true(at_m > 0.6 && at_m < 1.0);
  assert_near_rel(0.5 * (18.0 + wheels_kg) * pow(0.1 * way.row.vehicle_speed_rad_s, 2), end_j, rounding);
}

/*
 * Air drag takes the place of what speeds the vehicle up: of the push To (1 - W / W0) at the wheels the contact carries
 * k To (1 - W / W0) + (1 - k) c W^2, where k is the vehicle's share of all inertia. It lets go where that is the grip.
 */
static void wheels_let_go_at_the_speed_at_which_drag_and_the_rest_of_the_pull_exceed_the_grip(void **state)
{
  (void)state;
  struct sb_model model = puller();
  model_set_line_motor(&model, 1000.0, 1.0, 5e-4);
  model_finish(&model);
  struct sb_vehicle vehicle = vehicle_of(10.0, 0.255, 0.25);
  vehicle.wheel_inertia_kg_m2 = 0.1;
  vehicle.air_density_kg_m3 = 1.2;
  vehicle.drag_area_m2 = 1.0;
  put(&model, &vehicle);
  const double stall_nm = 4.0 * 0.9, no_load = 1000.0 / 4.0, share = 0.1 / (0.1 + 0.1 + 16.0 * 0.9 * 5e-4);
  const double c = 0.5 * 1.2 * 1.0 * pow(0.1, 3), a = (1.0 - share) * c, b = -share * stall_nm / no_load;
  const double left = share * stall_nm - 0.255 * 10.0 * 9.81 * 0.1;
  const double want = (-b + sqrt(b * b - 4.0 * a * left)) / (2.0 * a);
  const struct ride way = ride_of(&model, 1, NAN, 8.0);
  const size_t slipped = find(&way, SB_EVENT_SLIPPED, 0);
  assert_true(want > 40.0 && want < 100.0);
  assert_near_rel(way.events[slipped].wheel_rad_s, want, 10.0 * rounding); /* a grip holds 2e-12 more than it says */
}

/* Out of gear the wheels' share of the drag, c W^2 Jw / (m r^2 + Jw), has to pass the contact to brake the wheels. */
static void wheels_let_go_out_of_gear_where_the_drag_that_brakes_them_exceeds_the_grip(void **state)
{
  (void)state;
  struct sb_model model = puller();
  struct sb_vehicle vehicle = vehicle_of(10.0, 0.9, 0.2);
  vehicle.wheel_inertia_kg_m2 = 0.3;
  vehicle.air_density_kg_m3 = 1.2;
  vehicle.drag_area_m2 = 2.0;
  model.run.initial_output_speed_rad_s = 50.0; /* the motor brakes, until it is taken out of gear */
  put(&model, &vehicle);
  const struct ride grips = ride_of(&model, 1, 0.001, 0.002);
  const double speed = grips.events[find(&grips, SB_EVENT_COMMAND, 0)].wheel_rad_s;
  const double asked_nm = 0.5 * 1.2 * 2.0 * pow(0.1, 3) * speed * speed * 0.3 / 0.4;
  for (int side = -1; side <= 1; side += 2) {
    vehicle.static_friction_ratio = asked_nm / (10.0 * 9.81 * 0.1) * (1.0 + 1e-9 * side);
    put(&model, &vehicle);
    assert_int_equal(ride_of(&model, 1, 0.001, 0.002).row.is_slipping, side < 0);
  }
}

/* A body without friction weighs nothing on the flat, and its share from the foot of the slope on. */
static void body_without_friction_weighs_from_the_foot_of_the_slope_on(void **state)
{
  (void)state;
  static const double places_m[] = {0.0, 0.2, 1.2}, grades[] = {0.0, 0.0, 0.0028};
  struct sb_model model = puller();
  model_set_line_motor(&model, 100.0, 1e-15, 1e-15); /* next to no motor */
  model_finish(&model);
  struct sb_vehicle vehicle = vehicle_of(10.0, 0.0, 0.0);
  vehicle.grade = (struct sb_table){3, places_m, grades};
  vehicle.obstacle_count = 1;
  vehicle.obstacles[0] = stands(0.1, 8.0, 0.0, 0.0);
  put(&model, &vehicle);
  model.run.initial_output_speed_rad_s = 5.0;
  const struct ride way = ride_of(&model, 1, NAN, 3.5);
  const double risen_m = 0.1 * way.row.vehicle_angle_rad - 0.2, wheels_kg = 1.0;
  const double met_j = 0.5 * 11.0 * 0.25 * 11.0 / 19.0, grade = 0.0028 * risen_m;
  assert_true(risen_m > 0.5 && risen_m < 1.0);
  assert_near_rel(0.5 * (18.0 + wheels_kg) * pow(0.1 * way.row.vehicle_speed_rad_s, 2),
                  met_j - 18.0 * 9.81 * risen_m * grade / (sqrt(1.0 + grade * grade) + 1.0), rounding);
}

static void road_of_one_point_is_a_road_of_one_grade(void **state)
{
  (void)state;
  static const double place_m[] = {3.0}, grade[] = {0.25};
  struct sb_model one = puller(), other = puller();
  struct sb_vehicle vehicle = vehicle_of(10.0, 0.5, 0.4);
  vehicle.grade_fraction = 0.25;
  put(&one, &vehicle);
  const double press_nm = 10.0 * 9.81 * 0.1 * cos(atan(0.25));
  assert_near_rel(sb_road_press_nm(&one.load.road, 0.0, +1), press_nm, rounding);
  vehicle.grade_fraction = 0.0;
  vehicle.grade = (struct sb_table){1, place_m, grade};
  put(&other, &vehicle);
  for (double angle_rad = -10.0; angle_rad < 100.0; angle_rad += 10.0) {
    assert_near_rel(sb_road_press_nm(&other.load.road, angle_rad, +1), press_nm, rounding);
  }
}

/* Ballast and adhesion --------------------------------------------------------------------------------------------------- */

/* The advice that a run gives, followed with a little more and a little less. */
static void little_more_than_the_advised_ballast_moves_it_and_a_little_less_does_not(void **state)
{
  (void)state;
  static const double grades[] = {0.0, 0.08, 0.14}, slidings[] = {0.5, 0.4};
  for (int i = 0; i < 6; i++) {
    struct sb_model model = puller();
    struct sb_vehicle vehicle = vehicle_of(6.0, 0.5, slidings[i % 2]);
    vehicle.driven_share = 0.7;
    vehicle.rolling_resistance_ratio = 0.02;
    vehicle.grade_fraction = grades[i / 2];
    vehicle.obstacle_count = 1;
    vehicle.obstacles[0] = stands(0.05, 3.0, 0.8, 0.8);
    put(&model, &vehicle);
    const struct ride slips = ride_of(&model, 0, NAN, 4.0);
    assert_true(slips.row.is_slipping && slips.row.vehicle_speed_rad_s == 0.0);
    const struct sb_road_need *need = &slips.sums.slip_need;
    const double tilt = atan(grades[i / 2]), own_n = 6.0 * 9.81 * (sin(tilt) + 0.02 * cos(tilt));
    const double body_n = 3.0 * 9.81 * (0.8 * cos(tilt) + sin(tilt));
    assert_near_rel(need->whole_nm, 0.1 * (own_n + body_n), rounding);
    assert_near_rel(need->press_nm, 0.1 * 0.7 * 6.0 * 9.81 * cos(tilt), rounding);
    const double advised_kg = sb_road_ballast_kg(&model.load.road, need);
    assert_true(advised_kg > 0.5 && isfinite(advised_kg));
    for (int side = -1; side <= 1; side += 2) {
      const double ballast_kg = advised_kg * (1.0 + 0.01 * side);
      struct sb_vehicle heavier = vehicle;
      heavier.mass_kg = 6.0 + ballast_kg;
      heavier.driven_share = (0.7 * 6.0 + ballast_kg) / heavier.mass_kg;
      put(&model, &heavier);
      const struct ride tried = ride_of(&model, 0, NAN, 150.0);
      const bool is_moving = !tried.row.is_slipping && tried.row.vehicle_speed_rad_s > 0.0;
      assert_int_equal(is_moving, side > 0);
    }
  }
}

/* Slipping wheels push just as hard as the road resists, but for roundings: no start. A trillionth more is one. */
static void vehicle_starts_only_where_the_push_exceeds_the_resistance_by_more_than_roundings(void **state)
{
  (void)state;
  static const double less[] = {2e-15, 1e-12};
  for (int k = 0; k < 2; k++) {
    struct sb_model model = puller();
    struct sb_vehicle vehicle = vehicle_of(6.0, 0.6, 0.5);
    vehicle.rolling_resistance_ratio = 0.5 * (1.0 - less[k]);
    put(&model, &vehicle);
    const struct ride ride = ride_of(&model, 0, NAN, 1.0);
    assert_true(ride.row.is_slipping);
    assert_int_equal(ride.state.far.direction, k);
  }
}

static void no_ballast_helps_where_it_asks_for_more_than_it_grips(void **state)
{
  (void)state;
  struct sb_model model = puller();
  struct sb_vehicle vehicle = vehicle_of(4.0, 0.2, 0.2);
  vehicle.grade_fraction = 0.25;
  put(&model, &vehicle);
  const double tilt = atan(0.25);
  const struct sb_road_need need = {.whole_nm = 0.1 * 4.0 * 9.81 * sin(tilt),
                                    .own_nm = 0.1 * 4.0 * 9.81 * sin(tilt),
                                    .press_nm = 0.1 * 4.0 * 9.81 * cos(tilt)};
  assert_true(isinf(sb_road_ballast_kg(&model.load.road, &need)));
}

/* A train at the limit of adhesion: driven weight, whole mass (kg), gradient, resistance (N/t), in km/h/s after 1 s. */
static double adhesion_km_h_s(double driven_kg, double mass_kg, double adhesion, double sine, double n_per_t)
{
  struct sb_model model = puller();
  model_set_line_motor(&model, 1000.0, 1e6, 1.0); /* strong enough to slip in any case */
  model_finish(&model);
  const double cosine = sqrt(1.0 - sine * sine), rotary = 1.1;
  struct sb_vehicle vehicle = {.mass_kg = rotary * mass_kg,
                               .wheel_radius_m = 0.5,
                               .wheel_inertia_kg_m2 = 10.0,
                               .gravity_m_s2 = 9.81 / rotary,
                               .grade_fraction = sine / cosine,
                               .rolling_resistance_ratio = n_per_t / 1000.0 / 9.81 / cosine,
                               .static_friction_ratio = adhesion,
                               .kinetic_friction_ratio = adhesion,
                               .driven_share = driven_kg / mass_kg / cosine};
  put(&model, &vehicle);
  return ride_of(&model, 0, NAN, 1.0).row.vehicle_speed_rad_s * 0.5 * 3.6;
}

/* G. K. Dubey, Fundamentals of Electrical Drives, ex. 10.5: 2.2366 and 3.326 km/h/s, worked out again 2.23676, 3.32640. */
static void train_of_the_worked_example_gains_speed_as_adhesion_allows(void **state)
{
  (void)state;
  assert_near(adhesion_km_h_s(40e3, 110e3, 0.2, 0.0, 30.0), 2.23676, 5e-6);
  assert_near(adhesion_km_h_s(40e3, 75e3, 0.2, 0.0, 30.0), 3.32640, 5e-6);
}

/* B. L. Theraja, A Textbook of Electrical Technology III, ex. 43.8: a locomotive of 142 t, worked out again 141.77 t. */
static void locomotive_of_the_worked_example_is_just_heavy_enough(void **state)
{
  (void)state;
  const double just = adhesion_km_h_s(141.77e3, 641.77e3, 0.25, 0.02, 40.0);
  assert_near(just, 1.0, 1e-4); /* 0.005 t of 642 t in a difference of two forces of 350 kN and 150 kN */
  assert_true(adhesion_km_h_s(140e3, 640e3, 0.25, 0.02, 40.0) < 0.99);
}

/* J. B. Gupta, Utilization of Electrical Energy and Traction, ex. 7.27: four motors of 7805 N m, 3:1 at 95 %, wheels of 0.95 m,
 * need a locomotive of 102 t of which 75 % is driven at an adhesion of 0.25; worked out again 7804.28 N m and 101.83 t. */
static void motors_of_the_worked_example_slip_a_lighter_locomotive_only(void **state)
{
  (void)state;
  for (int side = -1; side <= 1; side += 2) {
    struct sb_model model = model_blank();
    model_set_line_motor(&model, 1e6, 4.0 * 7804.28, 1e-3); /* a torque that stays */
    model_add_gear(&model, 3.0, 0.95, false);
    model_finish(&model);
    struct sb_vehicle vehicle = {.mass_kg = 250e3,
                                 .wheel_radius_m = 0.475,
                                 .wheel_inertia_kg_m2 = 1e-3,
                                 .gravity_m_s2 = 9.81,
                                 .rolling_resistance_ratio = 0.04 / 9.81,
                                 .static_friction_ratio = 0.25,
                                 .kinetic_friction_ratio = 0.25,
                                 .driven_share = 0.75 * (101.83e3 + 30.0 * side) / 250e3};
    put(&model, &vehicle);
    assert_int_equal(ride_of(&model, 0, NAN, 0.002).row.is_slipping, side < 0);
  }
}

/* Location --------------------------------------------------------------------------------------------------------------- */

enum { WATCHED = 5 };

/* The grip after an engagement, a body met, the grip after that, a slip on a slope that steepens, and the way. */
static void events_of_a_hard_way(double step_s, double times[WATCHED])
{
  struct sb_model model = puller();
  static const double places_m[] = {0.0, 1.0, 3.0}, grades[] = {0.0, 0.0, 1.2};
  struct sb_vehicle vehicle = vehicle_of(6.0, 0.75, 0.6);
  vehicle.grade = (struct sb_table){3, places_m, grades};
  vehicle.rolling_resistance_ratio = 0.01;
  vehicle.air_density_kg_m3 = 1.2;
  vehicle.drag_area_m2 = 2.0; /* so that nothing is straight */
  vehicle.obstacle_count = 1;
  vehicle.obstacles[0] = stands(0.9, 2.0, 0.2, 0.2);
  put(&model, &vehicle);
  model.run.step_s = step_s;
  model.shifter.travel_time_s = 0.1;
  const struct ride way = ride_of(&model, 1, 0.48, 3.2);
  times[0] = way.events[find(&way, SB_EVENT_GRIPPED, 0)].time_s; /* after the engagement */
  times[1] = way.events[find(&way, SB_EVENT_MET, 0)].time_s;
  times[2] = way.events[find(&way, SB_EVENT_GRIPPED, 1)].time_s;                                    /* after the body */
  times[3] = way.events[find(&way, SB_EVENT_SLIPPED, count_of(&way, SB_EVENT_SLIPPED) - 1)].time_s; /* on the slope */
  times[4] = way.row.vehicle_angle_rad;
  assert_true(times[3] > times[2]);
}

static void slip_grip_and_meeting_are_found_at_the_same_instants_at_any_step(void **state)
{
  (void)state;
  double fine[WATCHED];
  events_of_a_hard_way(1e-4, fine);
  for (int k = 0; k < 3; k++) {
    double times[WATCHED];
    events_of_a_hard_way(8e-3 / (1 << k), times);
    for (int i = 0; i < WATCHED; i++) {
      print_message("%d: %.9g, differs by %.2e\n", i, fine[i], times[i] - fine[i]);
      assert_near_rel(times[i], fine[i], 1e-12);
    }
  }
}

/* In neutral back down a slope, then up again past where it turned: without bodies on its way there is nothing to strike. */
static void a_vehicle_that_rolled_back_meets_nothing_where_there_is_nothing(void **state)
{
  (void)state;
  for (int can_slip = 0; can_slip < 2; can_slip++) {
    struct sb_model model = puller();
    struct sb_vehicle vehicle = vehicle_of(6.0, 0.9 * can_slip, 0.9 * can_slip);
    vehicle.grade_fraction = 0.1;
    vehicle.finish_m = 1000.0;
    put(&model, &vehicle);
    model.shifter.travel_time_s = 4.0;
    const struct ride ride = ride_of(&model, 1, 0.5, 12.0);
    const size_t command = find(&ride, SB_EVENT_COMMAND, 0);
    assert_true(ride.events[find(&ride, SB_EVENT_ENGAGED, 0)].vehicle_rad_s < 0.0);
    assert_true(ride.row.vehicle_speed_rad_s > 0.0 && ride.row.vehicle_angle_rad > 10.0);
    assert_true(ride.events[command].vehicle_rad_s > 0.0);
    assert_int_equal(ride.sums.impact_count, 0);
    assert_near(ride.sums.energy.impact_loss, 0.0, 0.0);
  }
}

/* A self-locking gear and a motor of much friction stop the wheels at once, the vehicle slides on: v^2 / (2 mu g). */
static void a_vehicle_slides_on_where_its_wheels_are_locked(void **state)
{
  (void)state;
  static const double from_s[] = {0.0}, off[] = {SB_COMMAND_STOP};
  struct sb_model model = puller();
  model_set_currents(&model, 3.0, 1.0, 0.0);
  model_finish(&model);
  model.gearbox.gears[0].back_efficiency = 0.0;
  model.drive.schedule = (struct sb_table){1, from_s, off};
  model.drive.off = SB_OFF_COAST;
  model.drive.period_s = 0.01;
  struct sb_vehicle vehicle = vehicle_of(10.0, 0.4, 0.3);
  put(&model, &vehicle);
  model.run.initial_output_speed_rad_s = 10.0;
  const struct ride sliding = ride_of(&model, 0, NAN, 0.3);
  assert_near(sliding.row.output_speed_rad_s, 0.0, 0.0);
  assert_near_rel(sliding.row.vehicle_speed_rad_s, 10.0 - 0.3 * 9.81 / 0.1 * 0.3, 1e-12);
  const struct ride stopped = ride_of(&model, 0, NAN, 2.0);
  assert_near(stopped.row.vehicle_speed_rad_s, 0.0, 0.0);
  assert_near_rel(0.1 * stopped.row.vehicle_angle_rad, 1.0 / (2.0 * 0.3 * 9.81), 1e-12);
}

/* Between two slopes of a fifth a vehicle whose wheels spin swings to and fro until its rolling resistance has taken all: it comes to
 * rest at the foot of both, for the traction is less than either slope. At the origin no rounding of the place ends it. */
static void a_vehicle_beside_its_spinning_wheels_comes_to_rest_in_a_valley(void **state)
{
  (void)state;
  for (double foot_m = 0.0; foot_m < 0.5; foot_m += 0.2) {
    const double places_m[] = {foot_m - 1.0, foot_m, foot_m, foot_m + 1.0}, grades[] = {-0.2, -0.2, 0.2, 0.2};
    struct sb_model model = puller();
    struct sb_vehicle vehicle = vehicle_of(10.0, 0.06, 0.05);
    vehicle.rolling_resistance_ratio = 0.05;
    vehicle.grade = (struct sb_table){4, places_m, grades};
    put(&model, &vehicle);
    model.run.initial_output_speed_rad_s = 5.0;
    const struct ride ride = ride_of(&model, 1, NAN, 10.0);
    assert_true(ride.row.is_slipping);
    assert_near(ride.row.vehicle_speed_rad_s, 0.0, 0.0);
    assert_near(ride.row.vehicle_angle_rad, foot_m / 0.1, foot_m == 0.0 ? 0.0 : 1e-9);
  }
}

/* A part that follows speed beyond the wheels: what they are asked for is its torque and what slows the vehicle down. */
static void wheels_are_asked_for_what_follows_the_vehicles_speed(void **state)
{
  (void)state;
  for (int side = -1; side <= 1; side += 2) {
    struct sb_model model = puller();
    /* 20 rad/s: the motor brings 9 (1 - 2) N m, overrun is lossless in a gear that is. */
    model.gearbox.gears[0].efficiency = model.gearbox.gears[0].back_efficiency = 1.0;
    const double viscous = 1.5, speed = 20.0, motor_nm = 10.0 * (1.0 - 2.0), vehicle_inertia = 10.0 * 0.01;
    const double whole = vehicle_inertia + 0.01 + 5e-4 * 100.0;
    const double asked_nm = viscous * speed + vehicle_inertia * (motor_nm - viscous * speed) / whole;
    const double grip = asked_nm / (10.0 * 9.81 * 0.1) * (1.0 + 1e-9 * side);
    const struct sb_vehicle vehicle = vehicle_of(10.0, grip, grip);
    put(&model, &vehicle);
    model_add_viscous(&model, viscous);
    model.load.parts[model.load.part_count - 1].is_beyond = true;
    model.run.initial_output_speed_rad_s = speed;
    assert_true(asked_nm > 1.0);
    assert_int_equal(ride_of(&model, 0, NAN, 0.0).row.is_slipping, side < 0);
  }
}

/* A motor that brings to the wheels, to the last bit or so, what the slope takes does not move the vehicle. */
static void a_vehicle_stands_where_its_motor_balances_the_slope_but_for_roundings(void **state)
{
  (void)state;
  for (int k = 1; k <= 100; k++) {
    struct sb_model model = puller();
    model_set_line_motor(&model, 100.0, 0.01 * k, 5e-4);
    model.gearbox.gears[0].efficiency = model.gearbox.gears[0].back_efficiency = 1.0;
    model_finish(&model);
    struct sb_vehicle vehicle = vehicle_of(1.0, 0.9, 0.9);
    vehicle.wheel_inertia_kg_m2 = 0.001 * k;
    vehicle.grade_fraction = 0.1;
    vehicle.mass_kg = 0.01 * k * 10.0 / (9.81 * 0.1 * sin(atan(0.1)));
    put(&model, &vehicle);
    const struct ride ride = ride_of(&model, 0, NAN, 0.5);
    assert_near(ride.sums.standstill_time_s, 0.5, 1e-12);
    assert_int_equal(ride.row.phase, SB_PHASE_STANDSTILL);
  }
}

/* Gears that lock themselves pass no torque back: down a slope their friction asks the motor for |eta_back| of what the vehicle's weight
 * brings, 10 kg 9.81 m/s^2 sin(atan(0.1)) 0.1 m / 10. */
static void a_vehicle_on_gears_that_lock_themselves_is_driven_down_a_slope(void **state)
{
  (void)state;
  const double needed_nm = 0.5 * 10.0 * 9.81 * sin(atan(0.1)) * 0.1 / 10.0;
  for (int is_stronger = 0; is_stronger <= 1; is_stronger++) {
    struct sb_model model = puller();
    model_set_line_motor(&model, 100.0, needed_nm * (is_stronger ? 1.0 + 1e-6 : 1.0 - 1e-6), 5e-3); /* no jam */
    model.gearbox.gears[0].meshes[0].efficiency = 0.4;
    model.gearbox.gears[0].back_efficiency = -0.5;
    struct sb_vehicle vehicle = vehicle_of(10.0, 0.9, 0.9);
    vehicle.grade_fraction = -0.1;
    model_finish(&model);
    put(&model, &vehicle);
    const struct ride ride = ride_of(&model, 0, NAN, 0.5);
    assert_int_equal(ride.row.phase, is_stronger ? SB_PHASE_ENGAGED : SB_PHASE_STANDSTILL);
    assert_near(ride.sums.standstill_time_s, is_stronger ? 0.0 : 0.5, rounding);
  }
}

/* A gear engages that turns a light vehicle back at once: the body before it, which moved with what was joined, is left with that
 * energy, and none of it is missing or counted twice. */
static void a_vehicle_that_is_turned_back_at_once_leaves_its_body_behind(void **state)
{
  (void)state;
  static const double times_s[] = {0.0, 1.0}, commands[] = {SB_COMMAND_FORWARD, SB_COMMAND_REVERSE};
  struct sb_model model = puller();
  struct sb_vehicle vehicle = vehicle_of(1.0, 0.0, 0.0);
  vehicle.obstacle_count = 1;
  vehicle.obstacles[0] = stands(0.1, 1.0, 0.05, 0.05);
  put(&model, &vehicle);
  model.motor.rotor_inertia_kg_m2 = 2e-3;
  model.drive.schedule = (struct sb_table){2, times_s, commands};
  model.drive.period_s = 0.01;
  const struct ride ride = ride_of(&model, 1, 1.0, 1.6);
  const size_t engaged = find(&ride, SB_EVENT_ENGAGED, 0), met = find(&ride, SB_EVENT_MET, 0);
  const double joined = ride.events[engaged].vehicle_rad_s, hit = ride.events[met].vehicle_rad_s;
  assert_true(ride.events[find(&ride, SB_EVENT_COMMAND, 0)].vehicle_rad_s > 0.0 && joined < 0.0);
  /* All that strikes: vehicle, wheels and motor in 4:1. */
  const double striking = 0.01 + 0.01 + 2e-3 * 16.0, body = 0.01, before = hit * (striking + body) / striking;
  const double met_j = 0.5 * striking * body / (striking + body) * before * before;
  assert_near_rel(ride.sums.energy.impact_loss, met_j + 0.5 * body * joined * joined, 1e-9);
  assert_near(sb_energy_residual_ratio(&ride.sums.energy), 0.0, 1e-12);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(wheels_spin_up_by_the_motors_line_against_the_traction_and_grip_where_they_meet_the_vehicle),
      cmocka_unit_test(lower_gear_of_slipping_wheels_pushes_no_harder),
      cmocka_unit_test(wheels_let_go_where_the_push_exceeds_the_weight_across_the_slope),
      cmocka_unit_test(engagement_jolts_the_wheels_alone_where_they_can_slip),
      cmocka_unit_test(meeting_of_the_worked_example_loses_what_the_book_says),
      cmocka_unit_test(wheels_that_cannot_slip_strike_with_the_motor_behind_them),
      cmocka_unit_test(bodies_are_pushed_one_after_the_other_at_the_speed_the_line_leaves),
      cmocka_unit_test(body_is_left_where_the_vehicle_turns_back_and_met_again_there),
      cmocka_unit_test(body_is_still_touched_where_a_shift_without_delay_goes_on_from_rest),
      cmocka_unit_test(body_without_friction_weighs_from_the_foot_of_the_slope_on),
      cmocka_unit_test(road_of_one_point_is_a_road_of_one_grade),
      cmocka_unit_test(body_pushed_by_slipping_wheels_is_carried_up_the_rising_slope),
      cmocka_unit_test(body_pushed_by_wheels_that_cannot_slip_is_carried_up_the_rising_slope),
      cmocka_unit_test(wheels_let_go_at_the_speed_at_which_drag_and_the_rest_of_the_pull_exceed_the_grip),
      cmocka_unit_test(wheels_let_go_out_of_gear_where_the_drag_that_brakes_them_exceeds_the_grip),
      cmocka_unit_test(little_more_than_the_advised_ballast_moves_it_and_a_little_less_does_not),
      cmocka_unit_test(vehicle_starts_only_where_the_push_exceeds_the_resistance_by_more_than_roundings),
      cmocka_unit_test(no_ballast_helps_where_it_asks_for_more_than_it_grips),
      cmocka_unit_test(train_of_the_worked_example_gains_speed_as_adhesion_allows),
      cmocka_unit_test(locomotive_of_the_worked_example_is_just_heavy_enough),
      cmocka_unit_test(motors_of_the_worked_example_slip_a_lighter_locomotive_only),
      cmocka_unit_test(slip_grip_and_meeting_are_found_at_the_same_instants_at_any_step),
      cmocka_unit_test(a_vehicle_that_rolled_back_meets_nothing_where_there_is_nothing),
      cmocka_unit_test(a_vehicle_slides_on_where_its_wheels_are_locked),
      cmocka_unit_test(a_vehicle_beside_its_spinning_wheels_comes_to_rest_in_a_valley),
      cmocka_unit_test(wheels_are_asked_for_what_follows_the_vehicles_speed),
      cmocka_unit_test(a_vehicle_stands_where_its_motor_balances_the_slope_but_for_roundings),
      cmocka_unit_test(a_vehicle_on_gears_that_lock_themselves_is_driven_down_a_slope),
      cmocka_unit_test(a_vehicle_that_is_turned_back_at_once_leaves_its_body_behind),
  };
  return cmocka_run_group_tests_name("contact", tests, NULL, NULL);
}
