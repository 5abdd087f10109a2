// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The greatest is the greatest: no row of a trace shows more than a run's summary, however fine the trace, and what is
 * there for an instant only, just before an impact or a switch, counts.
 *
 * Closed form of a cart that runs up without load (plain exponential): any textbook on machine dynamics.
 */
#include <float.h>
#include <gsl/gsl_rng.h>
#include <stdlib.h>
#include <string.h>

#include "help/mix.h"
#include "help/models.h"
#include "help/near.h"
#include "help/slow.h"
#include "shiftband/run.h"

enum { CASE_COUNT = IS_SLOW ? 30 : 150, FINER = 16 };

/* What rows show at most. */
struct shown {
  double torque_nm, current_a, motor_rad_s, output_rad_s, least_rad_s, greatest_rad_s, winding_c;
  double torque_s, current_s, motor_s, output_s;
  long count;
};

static void take_greatest(double value, double time_s, double *greatest, double *at_s)
{
  if (!(fabs(value) > *greatest)) return;
  *greatest = fabs(value);
  *at_s = time_s;
}

static int look_at(void *context, const struct sb_row *row)
{
  struct shown *shown = context;
  take_greatest(row->output_torque_nm, row->time_s, &shown->torque_nm, &shown->torque_s);
  take_greatest(row->motor_current_a, row->time_s, &shown->current_a, &shown->current_s);
  take_greatest(row->motor_speed_rad_s, row->time_s, &shown->motor_rad_s, &shown->motor_s);
  take_greatest(row->output_speed_rad_s, row->time_s, &shown->output_rad_s, &shown->output_s);
  shown->least_rad_s = fmin(shown->least_rad_s, row->output_speed_rad_s);
  shown->greatest_rad_s = fmax(shown->greatest_rad_s, row->output_speed_rad_s);
  shown->winding_c = fmax(shown->winding_c, row->winding_c); /* fmax leaves a NaN out */
  shown->count++;
  return 0;
}

static struct shown rows_of(const struct sb_model *model, struct sb_sums *sums)
{
  struct shown shown = {.winding_c = -INFINITY, .least_rad_s = INFINITY, .greatest_rad_s = -INFINITY};
  struct sb_error err = {SB_OK, ""};
  struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  options.on_row = look_at;
  options.context = &shown;
  if (sb_run(model, &options, &result, &err) != SB_OK) fail_msg("%s", err.text);
  *sums = result.sums;
  sb_run_result_clear(&result);
  return shown;
}

static void take_case(unsigned long seed, struct mix_case *it)
{
  mix_seeded_case(seed, it);
  struct sb_run_setup *setup = &it->plane.model.run;
  setup->duration_s = setup->step_s * (double)sb_model_step_count(setup->duration_s, setup->step_s);
}

/* Counts and names a row that shows more than the greatest, beyond rounding. */
static int is_more(unsigned long seed, const char *what, double shown, double time_s, double greatest, double rounding)
{
  if (!(shown > greatest + rounding * fabs(greatest))) return 0;
  print_error("case %lu: %s of %.12g at %.9g s, greatest said to be %.12g\n", seed, what, shown, time_s, greatest);
  return 1;
}

/* The sums of the step as it is against rows of the same machine: those at each step, and those at each 16th of it, which
 * see what happens between. Runs at two steps agree to 1e-10 (test_any_step.c); what a run says of itself, to rounding. */
static int excesses_of(unsigned long seed, const struct sb_sums *sums, const struct shown *shown, double rounding)
{
  const double speed = fabs(sums->output_speed_rad_s.value);
  int count = 0;
  count += is_more(seed, "torque", shown->torque_nm, shown->torque_s, fabs(sums->output_torque_nm.value), rounding);
  count += is_more(seed, "current", shown->current_a, shown->current_s, fabs(sums->motor_current_a.value), rounding);
  count +=
      is_more(seed, "motor speed", shown->motor_rad_s, shown->motor_s, fabs(sums->motor_speed_rad_s.value), rounding);
  count += is_more(seed, "output speed", shown->output_rad_s, shown->output_s, speed, rounding);
  count += shown->greatest_rad_s > sums->greatest_output_speed_rad_s + rounding * speed;
  count += shown->least_rad_s < sums->least_output_speed_rad_s - rounding * speed;
  count += shown->winding_c > sums->winding_c.value + rounding * fabs(sums->winding_c.value);
  return count;
}

static void no_row_shows_more_than_the_greatest(void **state)
{
  (void)state;
  static struct mix_case it;
  int excesses = 0;
  long rows = 0;
  for (unsigned long seed = 1; seed <= CASE_COUNT; seed++) {
    if (!mix_is_wanted(seed)) continue;
    take_case(seed, &it);
    struct sb_model *model = &it.plane.model;
    struct sb_sums sums, finer;
    model->run.trace_interval_s = model->run.step_s;
    struct shown shown = rows_of(model, &sums);
    excesses += excesses_of(seed, &sums, &shown, 4.0 * DBL_EPSILON);
    rows += shown.count;
    model->run.step_s /= FINER;
    model->run.trace_interval_s = model->run.step_s;
    shown = rows_of(model, &finer);
    excesses += excesses_of(seed, &finer, &shown, 4.0 * DBL_EPSILON);
    excesses += excesses_of(seed, &sums, &shown, 1e-10);
    rows += shown.count;
  }
  print_message("%ld rows looked at\n", rows);
  assert_int_equal(excesses, 0);
}

/* What is there for an instant ------------------------------------------------------------------------------------------ */

static void run(const struct sb_model *model, struct sb_sums *sums)
{
  struct sb_error err = {SB_OK, ""};
  const struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  if (sb_run(model, &options, &result, &err) != SB_OK) fail_msg("%s", err.text);
  *sums = result.sums;
  sb_run_result_clear(&result);
}

/* A cart on one gear of 10:1 without losses; it runs up as 1 - exp(-t / tau) does. */
static struct sb_model cart(double column[MIX_ROOM], double crate_m, double crate_kg)
{
  struct sb_model model = model_blank();
  model_set_line_motor(&model, 30.0, 0.5, 1e-3);
  model_add_gear(&model, 10.0, 1.0, false);
  model.load.inertia_kg_m2 = 0.01;
  model.run.duration_s = 0.9;
  struct sb_body body = {.ops = sb_body_kind_find("vehicle")};
  body.as.vehicle =
      (struct sb_vehicle){.gravity_m_s2 = 9.80665, .mass_kg = 20.0, .wheel_radius_m = 0.05, .driven_share = 1.0};
  if (crate_kg > 0.0) {
    body.as.vehicle.obstacle_count = 1;
    body.as.vehicle.obstacles[0] = (struct sb_vehicle_obstacle){
        .distance_m = crate_m, .mass_kg = crate_kg, .static_friction_ratio = 0.05, .kinetic_friction_ratio = 0.05};
  }
  struct sb_error err = {SB_OK, ""};
  if (sb_body_lower(&body, column, &model.load, &err) != SB_OK) fail_msg("%s", err.text);
  model.bodies[model.body_count++] = body;
  model_finish(&model);
  return model;
}

/* The crate is so heavy that the cart is never again as fast as just before it, between two steps. */
static void a_cart_that_meets_a_crate_was_fastest_just_before(void **state)
{
  (void)state;
  static double column[MIX_ROOM];
  const double crate_m = 0.0613, radius_m = 0.05, no_load_rad_s = 30.0, ratio = 10.0;
  const struct sb_model model = cart(column, crate_m, 400.0);
  /* Inertia at the motor: rotor and load's over N^2, the cart's mass at the wheel's radius among it. */
  const double inertia = 1e-3 + (0.01 + 20.0 * radius_m * radius_m) / (ratio * ratio);
  const double tau_s = inertia * no_load_rad_s / 0.5;
  double meet_s = 0.5;
  for (int i = 0; i < 50; i++) { /* Newton: place(t) = r w0 / N (t - tau (1 - exp(-t / tau))) */
    const double rise = -expm1(-meet_s / tau_s);
    const double place_m = radius_m * no_load_rad_s / ratio * (meet_s - tau_s * rise);
    meet_s -= (place_m - crate_m) / (radius_m * no_load_rad_s / ratio * rise);
  }
  assert_true(fabs(meet_s * 1000.0 - round(meet_s * 1000.0)) > 0.1); /* between two steps */
  struct sb_sums sums;
  run(&model, &sums);
  assert_int_equal(sums.impact_count, 1);
  const double speed = no_load_rad_s * -expm1(-meet_s / tau_s);
  assert_near_rel(fabs(sums.motor_speed_rad_s.value), speed, 1e-13);
  assert_near_rel(fabs(sums.output_speed_rad_s.value), speed / ratio, 1e-13);
  assert_near_rel(sums.output_speed_rad_s.time_s, meet_s, 1e-13);
}

/* A run-up from rest without load: the gear delivers r Jo w0 / tau exp(-t / tau), above half of its greatest for tau ln 2. */
static void the_time_above_the_limit_is_that_of_the_exponential(void **state)
{
  (void)state;
  const double no_load_rad_s = 30.0, stall_nm = 0.5, jm = 1e-3, jo = 0.05, r = 0.1;
  struct sb_model model = model_blank();
  model_set_line_motor(&model, no_load_rad_s, stall_nm, jm);
  model_add_gear(&model, 1.0 / r, 1.0, false);
  model.load.inertia_kg_m2 = jo;
  model.control.sample_period_s = 0.5;
  model.run.duration_s = 2.0;
  model_finish(&model);
  const double inertia = jm + jo * r * r, tau_s = inertia * no_load_rad_s / stall_nm;
  const double greatest_nm = r * jo * stall_nm / inertia;
  model.limits.output_torque_nm = 0.5 * greatest_nm;
  struct sb_sums sums;
  run(&model, &sums);
  assert_near_rel(sums.output_torque_nm.value, greatest_nm, 1e-14);
  assert_near_rel(sums.over_limit_s, tau_s * log(2.0), 1e-13);
  assert_near(sums.over_limit_first_s, 0.0, 0.0);
  assert_near_rel(sums.over_limit_last_s, tau_s * log(2.0), 1e-13);
}

/* At rest in a gear that nothing drives backwards: the gear bears what acts less what holds, two waves of one period that turn over at
 * other places than their difference does. With a load that pulls the other way the same with the other sign.
 *
 *   4 + 0.5 sin p - (0.5 + 0.4 cos p) = 3.5 + sqrt(0.41) sin(p - q): above 3.5 + sqrt(0.41) / 2 for a third of the time */
static void a_torque_at_rest_from_two_waves_is_greatest_where_their_sum_is(void **state)
{
  (void)state;
  for (int sign = -1; sign <= 1; sign += 2) {
    struct sb_model model = model_two_gears("selector");
    for (int g = 0; g < 2; g++) {
      model.gearbox.gears[g].back_efficiency = 0.0;
      model.gearbox.gears[g].drag_nm = 0.41; /* more than the motor has: it moves nothing either */
    }
    model_add_constant(&model, sign * 4.0, false);
    model_add_sine(&model, SB_OVER_TIME, false, 0.0, sign * 0.5, 0.06);
    model_add_sine(&model, SB_OVER_TIME, true, 0.5, 0.4, 0.06)->phase_rad = 0.5 * model_pi;
    model.control.start_gear = 2;
    model.control.start_delay_s = 100.0;
    model.run.duration_s = 0.6;
    model.limits.output_torque_nm = 3.5 + 0.5 * sqrt(0.41);
    model_finish(&model);
    struct sb_sums sums;
    run(&model, &sums);
    assert_near_rel(sums.standstill_time_s, 0.6, 1e-12);
    assert_near_rel(sums.output_torque_nm.value, sign * (3.5 + sqrt(0.41)), 1e-12);
    assert_near_rel(sums.over_limit_s, 0.2, 1e-9);
  }
}

/* The same with a hold of 0.5 N m at least, which the resisting wave passes at p = 60 deg, upward: 4 + 0.5 sin p - 0.5 rises up to there,
 * 4 + 0.5 sin p - (0.5 + 0.4 sin(p - 60 deg)) falls from there on. */
static void a_torque_at_rest_is_greatest_where_a_wave_passes_the_least_hold(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  for (int g = 0; g < 2; g++) model.gearbox.gears[g].back_efficiency = 0.0;
  model_add_constant(&model, 4.0, false);
  model_add_sine(&model, SB_OVER_TIME, false, 0.0, 0.5, 0.0613);
  model_add_sine(&model, SB_OVER_TIME, true, 0.5, 0.4, 0.0613)->phase_rad = -model_pi / 3.0;
  model.load.breakaway_nm = 0.5;
  model.control.start_gear = 2;
  model.control.start_delay_s = 100.0;
  model.run.duration_s = 0.6;
  model_finish(&model);
  struct sb_sums sums;
  run(&model, &sums);
  assert_near_rel(sums.standstill_time_s, 0.6, 1e-12);
  assert_near_rel(sums.output_torque_nm.value, 3.5 + 0.5 * sin(model_pi / 3.0), 1e-12);
}

/* The row of an instant in a run without what comes then: its state is the one just before. */
struct at {
  double time_s;
  struct sb_row row;
};

static int keep_row(void *context, const struct sb_row *row)
{
  struct at *at = context;
  if (fabs(row->time_s - at->time_s) < 1e-9) at->row = *row;
  return 0;
}

static struct sb_row row_at(const struct sb_model *model, double time_s)
{
  struct at at = {.time_s = time_s, .row = {.time_s = NAN}};
  struct sb_error err = {SB_OK, ""};
  struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  options.on_row = keep_row;
  options.context = &at;
  if (sb_run(model, &options, &result, &err) != SB_OK) fail_msg("%s", err.text);
  sb_run_result_clear(&result);
  assert_near(at.row.time_s, time_s, 1e-9);
  return at.row;
}

/* Two gears under a load that grows with time. */
static struct sb_model loaded(void)
{
  static const double x[] = {0.0, 2.0}, nm[] = {0.1, 1.6};
  struct sb_model model = model_two_gears("selector");
  model_set_currents(&model, 1.1, 0.05, 0.2);
  model_add_profile(&model, SB_OVER_TIME, true, 2, x, nm);
  model.run.duration_s = 1.2;
  model.run.initial_output_speed_rad_s = 2.0; /* near its speed, so that no run-up makes the greatest current */
  model.control.start_delay_s = 100.0;
  model.drive.period_s = 0.02;
  model.drive.off = SB_OFF_COAST;
  model_finish(&model);
  return model;
}

/* Torque and current grow up to the switch, and are never so high again. */
static void what_a_switch_of_the_schedule_ends_was_greatest_just_before(void **state)
{
  (void)state;
  static const double at_s[] = {0.0, 0.5}, command[] = {SB_COMMAND_FORWARD, SB_COMMAND_STOP};
  struct sb_model model = loaded();
  model.run.initial_output_speed_rad_s = model.motor.no_load_speed_rad_s / model.gearbox.gears[0].ratio;
  const struct sb_row before = row_at(&model, 0.5);
  model.drive.schedule = (struct sb_table){2, at_s, command};
  struct sb_sums sums;
  run(&model, &sums);
  assert_near(fabs(sums.motor_current_a.value), fabs(before.motor_current_a),
              4.0 * DBL_EPSILON * before.motor_current_a);
  assert_near_rel(sums.motor_current_a.time_s, 0.5, DBL_EPSILON);
  assert_near_rel(fabs(sums.output_torque_nm.value), fabs(before.output_torque_nm), 1e-13);
}

/* The same with a switch that heat opens. */
static void what_a_cut_out_ends_was_greatest_just_before(void **state)
{
  (void)state;
  struct sb_model model = loaded();
  model.run.initial_output_speed_rad_s = model.motor.no_load_speed_rad_s / model.gearbox.gears[0].ratio;
  model_set_winding(&model, 0.5, 20.0)->reference_c = 20.0;
  model_finish(&model);
  struct sb_sums sums;
  const struct sb_row then = row_at(&model, 0.5);
  model.winding.cut_out_c = then.winding_c - 1e-9; /* opens at that tick */
  model.winding.reset_c = 0.0;
  run(&model, &sums);
  assert_int_equal(sums.cut_count, 1);
  assert_near(sums.cut_first_s, 0.5, 1e-9);
  struct sb_model endless = model;
  endless.winding.cut_out_c = INFINITY;
  endless.run.duration_s = 0.5; /* its end is the state just before: the sums of a whole run */
  struct sb_sums until;
  run(&endless, &until);
  assert_near_rel(fabs(sums.output_torque_nm.value), fabs(until.output_torque_nm.value), 1e-13);
  assert_near_rel(fabs(sums.motor_current_a.value), fabs(until.motor_current_a.value), 1e-13);
  assert_true(fabs(until.output_torque_nm.value) > 1.05 * fabs(row_at(&endless, 0.4).output_torque_nm));
}

/* Twice as fast as without load at the start: the torque rises as the motor brakes less, and falls with the load. A constant, a
 * straight line and one exponential, greatest where its slope is zero, between two samples:
 *
 *   x = xs + g t + (x0 - xs) exp(-t / tau),  torque = TL(t) + r Jo x',  x'' = (x0 - xs) / tau^2 exp(-t / tau)
 *   TL' + r Jo x''(t) = 0 */
static void a_torque_that_rises_and_falls_between_samples_is_greatest_there(void **state)
{
  (void)state;
  static const double x[] = {0.0, 2.0}, nm[] = {3.0, 2.0};
  const double no_load_rad_s = 30.0, stall_nm = 0.5, jm = 1e-3, jo = 0.05, r = 0.1, first_nm = 3.0, fall_nm_s = -0.5;
  struct sb_model model = model_blank();
  model_set_line_motor(&model, no_load_rad_s, stall_nm, jm);
  model_add_gear(&model, 1.0 / r, 1.0, false);
  model.load.inertia_kg_m2 = jo;
  model.control.sample_period_s = 0.05;
  model.run.duration_s = 0.9;
  model.run.initial_output_speed_rad_s = 2.0 * no_load_rad_s * r;
  model_add_profile(&model, SB_OVER_TIME, false, 2, x, nm);
  model_finish(&model);
  const double inertia = jm + jo * r * r, slope = stall_nm / no_load_rad_s, tau_s = inertia / slope;
  const double grow = -fall_nm_s * r / slope, rest = no_load_rad_s - first_nm * r / slope - grow * tau_s;
  const double over = 2.0 * no_load_rad_s - rest; /* x0 - xs */
  const double top_s = tau_s * log(r * jo * over / (tau_s * tau_s) / -fall_nm_s);
  const double top_nm = first_nm + fall_nm_s * top_s + r * jo * (grow - over / tau_s * exp(-top_s / tau_s));
  const double least_s = tau_s * log(over / (tau_s * grow)); /* of the speed, a few samples later */
  const double samples = top_s / model.control.sample_period_s;
  assert_true(least_s > top_s + model.control.sample_period_s && fabs(samples - round(samples)) > 0.1);
  struct sb_sums sums;
  run(&model, &sums);
  assert_near_rel(sums.output_torque_nm.value, top_nm, 1e-13);
  assert_near(sums.output_torque_nm.time_s, top_s, 1e-6); /* flat there: the root of rounding */
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(no_row_shows_more_than_the_greatest),
      cmocka_unit_test(a_torque_that_rises_and_falls_between_samples_is_greatest_there),
      cmocka_unit_test(the_time_above_the_limit_is_that_of_the_exponential),
      cmocka_unit_test(a_torque_at_rest_from_two_waves_is_greatest_where_their_sum_is),
      cmocka_unit_test(a_torque_at_rest_is_greatest_where_a_wave_passes_the_least_hold),
      cmocka_unit_test(a_cart_that_meets_a_crate_was_fastest_just_before),
      cmocka_unit_test(what_a_switch_of_the_schedule_ends_was_greatest_just_before),
      cmocka_unit_test(what_a_cut_out_ends_was_greatest_just_before),
  };
  return cmocka_run_group_tests_name("greatest", tests, plane_quiet_gsl, NULL);
}
