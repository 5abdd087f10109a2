// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Closed forms of shifting: joining, coasting, slipping and climbing against published worked examples, against
 * integration by the GNU Scientific Library, and against the simulator. Limits as in test_closed_form.c.
 */
#include <math.h>
#include <string.h>

#include <gsl/gsl_errno.h>
#include <gsl/gsl_odeiv2.h>

#include "help/box.h"
#include "help/near.h"
#include "oracle/brent.h"
#include "shiftband/closed_form.h"
#include "shiftband/sim.h"
#include "theory/shift.h"
#include "theory/steady.h"
#include "theory/torque_balance.h"

static const double pi = 3.14159265358979323846;
static const double rad_s_per_rpm = 3.14159265358979323846 / 30.0;

/* ---- worked examples: joining and coasting ---- */

/*
 * R. S. Khurmi, J. K. Gupta, example 3.12, p. 47: 60 kg of radius of gyration 0.14 m at 750 rpm meet 20 kg of 0.08 m at
 * rest through 150 N.m: 70.8304 rad/s after 0.0604419 s, 356.032 J lost.
 */
static void two_rotors_join_as_in_the_worked_example(void **state)
{
  (void)state;
  struct sb_model model = box_joining(60.0 * 0.14 * 0.14, 20.0 * 0.08 * 0.08, 1e12);
  const struct sb_motor_line open = sb_motor_line_open(&model.motor);
  const struct sb_load_moment nothing = {0};
  const double start = 750.0 * rad_s_per_rpm;
  const struct sb_shift_figures hit = sb_theory_shift(&model, &open, 0, 1, &nothing, start);
  assert_near(hit.time_s, 0.0, 0.0);
  assert_near(hit.joined_speed_rad_s, 70.8304, 5e-5);
  assert_near(hit.lost_j, 356.032, 5e-4);

  model.shifter.ops = sb_shifter_kind_find("clutch");
  model.shifter.clutch_nm = 150.0;
  const struct sb_shift_figures rub = sb_theory_shift(&model, &open, 0, 1, &nothing, start);
  assert_near(rub.time_s, 0.0604419, 5e-8);
  assert_near(rub.joined_speed_rad_s, 70.8304, 5e-5);
}

/* The same book, example 3.19, p. 65, as turning masses: 50 at 3 and 25 at 1.5 join at 2.5 and lose 18.75 J. */
static void two_moving_masses_join_as_in_the_worked_example(void **state)
{
  (void)state;
  struct sb_model model = box_joining(50.0, 25.0, 2.0);
  const struct sb_motor_line open = sb_motor_line_open(&model.motor);
  const struct sb_load_moment nothing = {0};
  const struct sb_shift_figures hit = sb_theory_shift(&model, &open, 0, 1, &nothing, 3.0);
  assert_near(hit.joined_speed_rad_s, 2.5, 1e-14);
  assert_near(hit.lost_j, 18.75, 1e-13);
}

/*
 * Coast-down under f0 + f2 v^2 (Physics Stack Exchange, question 334654, the data set of an answer): 1 kg, rolling
 * coefficient 0.1, drag area 0.05 m2 in 1.2 kg/m3, from 10 m/s: 3.40206 m/s after 3 s, at rest after 6.12842 s.
 */
static void the_output_coasts_down_under_quadratic_drag_as_published(void **state)
{
  (void)state;
  struct sb_model model = box_joining(1e-9, 1.0, 1.0);
  box_add_quadratic(&model, 0.5 * 1.2 * 0.05);
  const struct sb_motor_line open = sb_motor_line_open(&model.motor);
  const struct sb_load_moment rolling = {.resisting_nm = 0.1 * 9.81, .hold_nm = 0.1 * 9.81};
  model.shifter.travel_time_s = 3.0;
  assert_near(sb_theory_shift(&model, &open, 0, 1, &rolling, 10.0).output_speed_rad_s, 3.40206, 5e-6);
  model.shifter.travel_time_s = 6.12842 - 5e-6;
  assert_true(sb_theory_shift(&model, &open, 0, 1, &rolling, 10.0).output_speed_rad_s > 0.0);
  model.shifter.travel_time_s = 6.12842 + 5e-6;
  assert_near(sb_theory_shift(&model, &open, 0, 1, &rolling, 10.0).output_speed_rad_s, 0.0, 0.0);
}

/* Counter-rotating rotors rub off the sum of their speeds: t = Jr (w + N W) / Tcl, and what is left is the difference. */
static void rotors_that_turn_against_each_other_join_by_their_sum(void **state)
{
  (void)state;
  struct sb_model model = box_joining(2.0, 6.0, 1.0);
  model.gearbox.gears[1].meshes[0].is_internal = true;
  sb_gearbox_derive(&model.gearbox);
  model.shifter.ops = sb_shifter_kind_find("clutch");
  model.shifter.clutch_nm = 3.0;
  const struct sb_motor_line open = sb_motor_line_open(&model.motor);
  const struct sb_load_moment nothing = {0};
  const struct sb_shift_figures rub = sb_theory_shift(&model, &open, 0, 1, &nothing, 10.0);
  assert_near(rub.time_s, 2.0 * 6.0 / 8.0 * 20.0 / 3.0, 1e-13);
  assert_near(rub.joined_speed_rad_s, (2.0 * 10.0 - 6.0 * 10.0) / 8.0, 1e-13);
}

/* s - 1 + exp(-s) = a has s = r (1 + r / 6 + r^2 / 36) with r = sqrt(2 a), up to r^4 of it: the free fall of a motor. */
static void a_tiny_swing_is_timed_to_many_digits(void **state)
{
  (void)state;
  struct sb_model model = box_swing();
  model.shifter.swing_turns = 1e-9;
  const struct sb_motor_line line = sb_torque_balance_line(&model);
  const struct sb_load_moment nothing = {0};
  const double tau = model.motor.rotor_inertia_kg_m2 / line.slope_nms_rad;
  const double r = sqrt(2.0 * 2.0 * pi * 1e-9 / (sb_motor_no_load_speed_rad_s(&line) * tau));
  const double got = sb_theory_shift(&model, &line, 0, 1, &nothing, 1e-300).time_s;
  assert_near_rel(got, tau * r * (1.0 + r / 6.0 + r * r / 36.0), 1e-11); /* rounding of 1e-16 over r = 1e-4 */
}

/* ---- against numeric solution ---- */

/* Integrates with the eighth-order Prince-Dormand pair; relative and absolute tolerance 1e-13. */
static void integrate(int (*rhs)(double, const double *, double *, void *), size_t dim, void *params, double time_s,
                      double *y)
{
  if (time_s <= 0.0) return;
  gsl_odeiv2_system system = {rhs, NULL, dim, params};
  gsl_odeiv2_driver *driver =
      gsl_odeiv2_driver_alloc_y_new(&system, gsl_odeiv2_step_rk8pd, time_s * 1e-3, 1e-13, 1e-13);
  double t = 0.0;
  assert_int_equal(gsl_odeiv2_driver_apply(driver, &t, time_s, y), GSL_SUCCESS);
  gsl_odeiv2_driver_free(driver);
}

/* A motion y(t) from y0, and the value whose zero is an event. */
struct motion {
  int (*rhs)(double, const double *, double *, void *);
  size_t dim;
  const void *params;
  double y0[3];
  double (*event)(const double *y);
};

static void motion_at(const struct motion *motion, double time_s, double *y)
{
  memcpy(y, motion->y0, sizeof motion->y0);
  integrate(motion->rhs, motion->dim, (void *)(uintptr_t)motion->params, time_s, y);
}

static double event_at(double time_s, void *params)
{
  const struct motion *motion = params;
  double y[3];
  motion_at(motion, time_s, y);
  return motion->event(y);
}

/* One inertia pair in neutral or slipping: y = motor speed, motor angle (both in the new sense), output speed (old). */
struct neutral {
  const struct sb_model *model;
  struct sb_motor_line line;
  struct sb_load_moment load;
  double motor_direction;  /* sense of the friction at the motor */
  double output_direction; /* sense of the resistance at the output */
  double clutch_nm;        /* at the motor, against it */
  double ratio;
  const struct sb_gear *path; /* that the clutch's torque goes through */
};

/* Of the clutch, at the output, along its motion. */
static double passed_nm(const struct neutral *at)
{
  if (at->clutch_nm == 0.0) return 0.0;
  const double net_nm = copysign(1.0, at->ratio) * at->clutch_nm - at->path->drag_nm;
  return fabs(at->ratio) * (net_nm > 0.0 ? net_nm * at->path->efficiency : net_nm / at->path->back_efficiency);
}

static int neutral_rhs(double t, const double *y, double *dydt, void *params)
{
  (void)t;
  const struct neutral *at = params;
  double viscous = 0.0;
  double quadratic = 0.0;
  sb_load_speed_terms(&at->model->load, &viscous, &quadratic);
  dydt[0] =
      (at->line.stall_nm - at->line.slope_nms_rad * y[0] - at->motor_direction * at->line.friction_nm - at->clutch_nm) /
      at->model->motor.rotor_inertia_kg_m2;
  dydt[1] = y[0];
  dydt[2] = (passed_nm(at) - at->load.acting_nm - at->output_direction * at->load.resisting_nm - viscous * y[2] -
             quadratic * y[2] * fabs(y[2])) /
            at->model->load.inertia_kg_m2;
  return GSL_SUCCESS;
}

static double motor_speed_of(const double *y)
{
  return y[0];
}

static double output_speed_of(const double *y)
{
  return y[2];
}

static double turn_left;
static double turned_over(const double *y)
{
  return y[1] - turn_left;
}

static double slip_ratio;
static double slip_of(const double *y)
{
  return y[0] - slip_ratio * y[2];
}

/* Upshift of a swing arm under a resisting, a speed-following and a quadratic load, phase by phase. */
static void a_swing_arm_takes_the_time_that_integration_gives(void **state)
{
  (void)state;
  struct sb_model model = box_swing();
  box_add_viscous(&model, 0.002);
  box_add_quadratic(&model, 1e-4);
  struct neutral at = {
      &model, sb_torque_balance_line(&model), {.resisting_nm = 0.02, .hold_nm = 0.02}, -1.0, 1.0, 0.0, 0.0, NULL};
  const double start = 0.9 * model.control.sensor.reference_rad_s;

  struct motion brake = {neutral_rhs, 3, &at, {-start, 0.0, start / 12.0}, motor_speed_of};
  const double stop_s = brent(event_at, &brake, 0.0, 1.0);
  double y[3];
  motion_at(&brake, stop_s, y);
  struct neutral forward = at;
  forward.motor_direction = 1.0;
  struct motion swing = {neutral_rhs, 3, &forward, {0.0, 0.0, y[2]}, turned_over};
  turn_left = 0.4 * 2.0 * pi;
  const double turn_s = brent(event_at, &swing, 0.0, 1.0);
  motion_at(&swing, turn_s, y);

  const struct sb_shift_figures got = sb_theory_shift(&model, &at.line, 0, 1, &at.load, start);
  /* The integrator's tolerance 1e-13 a step over some hundred steps, and speeds of up to 60 rad/s. */
  assert_near(got.time_s, stop_s + turn_s, 1e-10);
  assert_near(got.motor_speed_rad_s, y[0], 1e-8);
  assert_near(got.output_speed_rad_s, y[2], 1e-8);

  /* Shifts begin at the thresholds, and the motor knows nothing of the load. */
  const struct sb_closed_form form = sb_closed_form_solve(&model);
  assert_near(form.pairs[0].upshift_time_s, stop_s + turn_s, 1e-10);
  const double down = 0.6 * model.control.sensor.reference_rad_s;
  struct motion late = {neutral_rhs, 3, &at, {-down, 0.0, 0.0}, motor_speed_of};
  assert_near(form.pairs[0].downshift_time_s, brent(event_at, &late, 0.0, 1.0) + turn_s, 1e-10);

  /* Without the idler the new gear meets an output that turns the wrong way. */
  model.gearbox.gears[0].meshes[0].is_internal = false;
  sb_gearbox_derive(&model.gearbox);
  assert_near(sb_theory_shift(&model, &at.line, 0, 1, &at.load, start).output_speed_rad_s, -y[2], 1e-8);
}

/* A hung weight stops the output during a long shift and rolls it back; friction helps the stop and hinders the roll. */
static void an_acting_load_rolls_the_output_back_as_integration_gives(void **state)
{
  (void)state;
  struct sb_model model = box_cart();
  model.shifter.travel_time_s = 0.25;
  model.shifter.is_drive_cut = true;
  box_add_viscous(&model, 0.003);
  box_add_quadratic(&model, 5e-4);
  const struct sb_motor_line line = sb_torque_balance_line(&model);
  struct neutral at = {.model = &model, .load = {0.2, 0.05, 0.06}, .line = sb_motor_line_open(&model.motor)};
  const double start = 50.0;
  at.motor_direction = 1.0;
  at.output_direction = 1.0;
  struct motion coast = {neutral_rhs, 3, &at, {start, 0.0, start / 12.0}, output_speed_of};
  const double stop_s = brent(event_at, &coast, 0.0, 0.25);
  double y[3];
  motion_at(&coast, stop_s, y);
  struct neutral back = at;
  back.output_direction = -1.0;
  struct motion roll = {neutral_rhs, 3, &back, {y[0], 0.0, 0.0}, output_speed_of};
  motion_at(&roll, 0.25 - stop_s, y);
  assert_true(y[2] < -1.0); /* it does roll */

  const struct sb_shift_figures got = sb_theory_shift(&model, &line, 0, 1, &at.load, start);
  assert_near(got.output_speed_rad_s, y[2], 1e-9);
  assert_near(got.motor_speed_rad_s, y[0], 1e-9);

  /* Held by more than the weight it stays where it stops. */
  const struct sb_load_moment held = {0.2, 0.05, 0.21};
  assert_near(sb_theory_shift(&model, &line, 0, 1, &held, start).output_speed_rad_s, 0.0, 0.0);
}

static void a_clutch_slips_for_the_time_that_integration_gives(void **state)
{
  (void)state;
  struct sb_model model = box_cart();
  model.shifter = (struct sb_shifter){.ops = sb_shifter_kind_find("clutch"), .clutch_nm = 0.8, .timeout_s = 5.0};
  box_add_viscous(&model, 0.004);
  box_add_quadratic(&model, 3e-4);
  struct neutral at = {&model, sb_torque_balance_line(&model), {0.05, 0.1, 0.1}, 1.0, 1.0, 0.8,
                       4.0,    &model.gearbox.gears[1]};
  const double start = 0.9 * model.control.sensor.reference_rad_s;
  struct motion slip = {neutral_rhs, 3, &at, {start, 0.0, start / 12.0}, slip_of};
  slip_ratio = 4.0;
  const double want_s = brent(event_at, &slip, 0.0, 0.1);
  double y[3];
  motion_at(&slip, want_s, y);
  const struct sb_shift_figures up = sb_theory_shift(&model, &at.line, 0, 1, &at.load, start);
  assert_near(up.time_s, want_s, 1e-11);
  assert_near(up.joined_speed_rad_s, y[0], 1e-8);

  /* Downshift: the clutch drags the motor up; a weak one leaves that to the drive, which does it a hundred times as soon. */
  static const double clutches_nm[] = {0.8, 3e-4};
  model.gearbox.gears[0].drag_nm = 0.02; /* the output feels it through the teeth, and so does what brakes it */
  for (int i = 0; i < 2; i++) {
    model.shifter.clutch_nm = clutches_nm[i];
    at.clutch_nm = -clutches_nm[i];
    at.ratio = slip_ratio = 12.0;
    at.path = &model.gearbox.gears[0];
    const double low = 0.6 * model.control.sensor.reference_rad_s;
    struct motion down = {neutral_rhs, 3, &at, {low, 0.0, low / 4.0}, slip_of};
    const double down_s = brent(event_at, &down, 0.0, 1.0);
    assert_near(sb_theory_shift(&model, &at.line, 1, 0, &at.load, low).time_s, down_s, 1e-11);
  }

  /* A clutch weaker than the motor on one side and the load on the other never gets there. */
  model.shifter.clutch_nm = 1e-3;
  assert_true(isinf(sb_theory_shift(&model, &at.line, 0, 1, &at.load, 1.0).time_s));
}

/* In mesh: y[0] = motor speed, in the gear's sense. */
struct meshed {
  const struct sb_model *model;
  struct sb_motor_line line;
  int gear;
  struct sb_load_moment load;
  double sense;
};

static int meshed_rhs(double t, const double *y, double *dydt, void *params)
{
  (void)t;
  const struct meshed *at = params;
  const struct sb_gear *path = &at->model->gearbox.gears[at->gear];
  const double n = path->ratio;
  const double jm = at->model->motor.rotor_inertia_kg_m2;
  const double jo = at->model->load.inertia_kg_m2;
  double viscous = 0.0;
  double quadratic = 0.0;
  sb_load_speed_terms(&at->model->load, &viscous, &quadratic);
  const double w = y[0] / n;
  const double tl = at->load.acting_nm + at->sense * at->load.resisting_nm + viscous * w + quadratic * w * fabs(w);
  const double t_net =
      at->line.stall_nm - at->line.slope_nms_rad * y[0] - at->sense * (at->line.friction_nm + path->drag_nm);
  const double power = at->sense * (t_net * jo / n + jm * tl);
  const double e = power > 0.0 ? path->efficiency : 1.0 / path->back_efficiency;
  dydt[0] = (t_net - tl / (n * e)) / (jm + jo / (n * n * e));
  return GSL_SUCCESS;
}

static double climb_target;
static double climbed(const double *y)
{
  return y[0] - climb_target;
}

static void climbs_take_the_time_that_integration_gives(void **state)
{
  (void)state;
  struct sb_model model = box_cart();
  model.gearbox.gears[1].drag_nm = 0.01;
  model.gearbox.gears[1].back_efficiency = 0.6;
  box_add_viscous(&model, 0.003);
  box_add_quadratic(&model, 2e-4);
  const struct sb_motor_line line = sb_torque_balance_line(&model);
  const struct sb_load_moment loads[] = {{0.0, 0.0, 0.0},
                                         {0.0, 0.4, 0.4},
                                         {0.3, 0.2, 0.25},
                                         {-0.4, 0.05, 0.05},
                                         {-2.65, 0.05, 0.05}}; /* the last: a change of sign while moving backwards */
  for (size_t k = 0; k < sizeof loads / sizeof loads[0]; k++) {
    const double settled = sb_steady_reading(&model, &line, 1, loads[k].acting_nm + loads[k].resisting_nm) *
                           model.control.sensor.reference_rad_s;
    struct meshed at = {&model, line, 1, loads[k], 1.0};
    struct motion climb = {meshed_rhs, 1, &at, {0.0, 0.0, 0.0}, climbed};
    climb_target = 0.99 * settled;
    const double want_s = brent(event_at, &climb, 0.0, 2.0);
    const double got_s = sb_theory_climb_s(&model, &line, 1, &loads[k], 0.0, climb_target);
    /* The kink between driving and overrun costs the integrator a step or two; else 1e-13 a step. */
    assert_near(got_s, want_s, 1e-9);

    /* From a speed in the wrong sense: the stop first. */
    struct meshed wrong = at;
    wrong.sense = -1.0;
    struct motion brake = {meshed_rhs, 1, &wrong, {-9.0, 0.0, 0.0}, climbed};
    climb_target = 0.0;
    const double stop_s = brent(event_at, &brake, 0.0, 2.0);
    assert_near(sb_theory_climb_s(&model, &line, 1, &loads[k], -9.0, 0.99 * settled), stop_s + want_s, 1e-9);
  }
}

/* An overrunning load makes a climb start driving and end overrun; the test above must meet such a case. */
static void an_overrunning_climb_is_slower_with_a_lossier_way_back(void **state)
{
  (void)state;
  struct sb_model model = box_cart();
  const struct sb_load_moment helping = {.acting_nm = -0.4};
  const struct sb_motor_line line = sb_torque_balance_line(&model);
  const double target = 1.02 * sb_motor_no_load_speed_rad_s(&line);
  model.gearbox.gears[1].back_efficiency = 0.9;
  const double easy_s = sb_theory_climb_s(&model, &line, 1, &helping, 0.0, target);
  model.gearbox.gears[1].back_efficiency = 0.6;
  const double lossy_s = sb_theory_climb_s(&model, &line, 1, &helping, 0.0, target);
  assert_true(isfinite(easy_s) && lossy_s > easy_s);
  model.gearbox.gears[1].back_efficiency = 0.0;
  assert_true(isinf(sb_theory_climb_s(&model, &line, 1, &helping, 0.0, target)));
}

/* ---- against the simulator ---- */

struct witness {
  double engaged_s;
  struct sb_state before;
  struct sb_state after;
};

static void keep_before(void *context, const struct sb_sim *sim)
{
  ((struct witness *)context)->before = sim->state;
}

static void keep_engaged(void *context, const struct sb_sim *sim, enum sb_event event)
{
  struct witness *witness = context;
  if (event != SB_EVENT_ENGAGED) return;
  witness->engaged_s = sim->state.time_s;
  witness->after = sim->state;
}

/* Shifts up after half a second and down half a second later, and times both and the climbs between them. */
static void expect_simulated_shifts(const struct sb_model *model)
{
  struct witness witness;
  struct sb_sim sim;
  assert_int_equal(sb_sim_init(&sim, model, 0, NULL), SB_OK);
  sim.observer = (struct sb_sim_observer){&witness, keep_engaged, keep_before};
  const struct sb_motor_line line = sb_torque_balance_line(model);
  const struct sb_load_moment load = sb_closed_form_lightest(model);
  long long step = 0;
  for (int to = 1; to >= 0; to--) {
    step += 5000;
    assert_int_equal(sb_sim_advance(&sim, step, NULL), SB_OK);
    const double command_s = sim.state.time_s;
    const struct sb_shift_figures want = sb_theory_shift(model, &line, 1 - to, to, &load, sim.state.motor_speed_rad_s);
    witness.engaged_s = (double)NAN;
    sb_sim_command(&sim, to);
    assert_int_equal(sb_sim_advance(&sim, step + 4000, NULL), SB_OK);
    /* Fourth order at 0.1 ms against time constants of 10 ms and more: (1e-2)^4 / 120 of a speed of 60 rad/s. */
    assert_near(witness.engaged_s - command_s, want.time_s, 1e-8);
    assert_near(witness.after.motor_speed_rad_s, want.joined_speed_rad_s, 1e-6);

    /* The climb to where it is a few milliseconds after engaging; downshifts join above and settle, so only upshifts. */
    if (to == 0) continue;
    const double target = sim.state.motor_speed_rad_s * 0.97;
    const double climb = sb_theory_climb_s(model, &line, to, &load, witness.after.motor_speed_rad_s, target);
    struct sb_sim again;
    assert_int_equal(sb_sim_init(&again, model, 0, NULL), SB_OK);
    assert_int_equal(sb_sim_advance(&again, step, NULL), SB_OK);
    sb_sim_command(&again, to);
    const double reach_s = witness.engaged_s + climb;
    const long long before = (long long)(reach_s / model->run.step_s);
    assert_int_equal(sb_sim_advance(&again, before, NULL), SB_OK);
    const double low = again.state.motor_speed_rad_s;
    assert_int_equal(sb_sim_advance(&again, before + 1, NULL), SB_OK);
    assert_true(low <= target + 1e-6 && target <= again.state.motor_speed_rad_s + 1e-6);
    assert_true(climb > 0.0);
    sb_sim_clear(&again);
  }
  sb_sim_clear(&sim);
}

static void the_simulator_shifts_and_climbs_in_the_times_given(void **state)
{
  (void)state;
  struct sb_model model = box_swing();
  model.run.step_s = 1e-4;
  box_add_viscous(&model, 0.002);
  box_add_constant(&model, 0.1, true);
  expect_simulated_shifts(&model);
  box_add_quadratic(&model, 1e-3);
  box_add_constant(&model, 0.15, false);
  expect_simulated_shifts(&model);

  model.gearbox.gears[0].motor_direction = 1;
  model.gearbox.gears[0].meshes[0].is_internal = false;
  sb_gearbox_derive(&model.gearbox);
  model.shifter =
      (struct sb_shifter){.ops = sb_shifter_kind_find("selector"), .travel_time_s = 0.1234, .timeout_s = 5.0};
  expect_simulated_shifts(&model);
  model.shifter.is_drive_cut = true;
  expect_simulated_shifts(&model);
  model.shifter = (struct sb_shifter){.ops = sb_shifter_kind_find("clutch"), .clutch_nm = 0.7, .timeout_s = 5.0};
  expect_simulated_shifts(&model);
}

/* The dwell is the shift's own time and the climb from where the joining left the motor. */
static void the_dwell_is_shift_joining_and_climb_together(void **state)
{
  (void)state;
  struct sb_model model = box_swing();
  box_add_constant(&model, 0.1, true);
  box_add_viscous(&model, 0.002);
  const struct sb_closed_form form = sb_closed_form_solve(&model);
  const struct sb_motor_line line = sb_torque_balance_line(&model);
  const struct sb_load_moment load = {.resisting_nm = 0.1, .hold_nm = 0.1};
  const double reference = model.control.sensor.reference_rad_s;
  const struct sb_shift_figures shift = sb_theory_shift(&model, &line, 0, 1, &load, 0.9 * reference);
  const double s_start = shift.joined_speed_rad_s / reference;
  const double s_f = form.gears[1].lightest_reading;
  assert_true(s_start < 0.6);
  assert_near(form.pairs[0].shortest_dwell_s,
              shift.time_s + form.gears[1].time_constant_s * log((s_f - s_start) / (s_f - 0.6)), 1e-12);
  assert_near(form.pairs[0].upshift_time_s, shift.time_s, 0.0);
  assert_true(form.pairs[0].shortest_dwell_steady_s != form.pairs[0].shortest_dwell_s);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(two_rotors_join_as_in_the_worked_example),
      cmocka_unit_test(two_moving_masses_join_as_in_the_worked_example),
      cmocka_unit_test(the_output_coasts_down_under_quadratic_drag_as_published),
      cmocka_unit_test(rotors_that_turn_against_each_other_join_by_their_sum),
      cmocka_unit_test(a_tiny_swing_is_timed_to_many_digits),
      cmocka_unit_test(a_swing_arm_takes_the_time_that_integration_gives),
      cmocka_unit_test(an_acting_load_rolls_the_output_back_as_integration_gives),
      cmocka_unit_test(a_clutch_slips_for_the_time_that_integration_gives),
      cmocka_unit_test(climbs_take_the_time_that_integration_gives),
      cmocka_unit_test(an_overrunning_climb_is_slower_with_a_lossier_way_back),
      cmocka_unit_test(the_simulator_shifts_and_climbs_in_the_times_given),
      cmocka_unit_test(the_dwell_is_shift_joining_and_climb_together),
  };
  return cmocka_run_group_tests_name("closed_form_shift", tests, NULL, NULL);
}
