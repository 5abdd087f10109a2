// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Closed forms under an inner loop on speed, and of readings of duty and current: against published worked examples,
 * against the roots of the loop's polynomial found by the GNU Scientific Library, against the loop itself, and against
 * each other on seeded random boxes.
 */
#include <math.h>

#include <gsl/gsl_poly.h>
#include <gsl/gsl_rng.h>

#include "help/box.h"
#include "help/dice.h"
#include "help/near.h"
#include "help/plane.h"
#include "shiftband/closed_form.h"
#include "theory/steady.h"
#include "theory/torque_balance.h"

static const double rad_s_per_rpm = 3.14159265358979323846 / 30.0;

static void hold(struct sb_model *model, double target_rad_s, double limit)
{
  model->drive.mode = SB_DRIVE_SPEED_CONTROL;
  model->drive.limit_fraction = limit;
  model->drive.target_rad_s = target_rad_s;
  model->drive.gain_per_rad_s = 5.0 / model->motor.no_load_speed_rad_s;
  model->drive.integral_per_rad = 10.0 * model->drive.gain_per_rad_s;
  model->drive.period_s = 5e-3;
}

static double settled_as(struct sb_model model, enum sb_sensor_quantity quantity, double external_nm)
{
  model.control.sensor.quantity = quantity;
  const struct sb_motor_line line = sb_torque_balance_line(&model);
  return sb_steady_reading(&model, &line, 0, external_nm);
}

/* ---- worked examples ---- */

/*
 * A. R. Hambley, Electrical Engineering, example 16.3, p. 721: 145 V at 1200 rpm, 0.3 ohm; at 800 rpm and 30 A it gives
 * 34.62 N.m and needs 105.67 V. From 240 V that is a duty of 105.67 / 240.
 */
static void the_duty_is_the_terminal_voltage_of_the_worked_example(void **state)
{
  (void)state;
  struct sb_model model = box_constants(240.0, 145.0 / (1200.0 * rad_s_per_rpm), 0.3, 0.0, 1.0, 1.0);
  box_add_gear(&model, 1.0, 1.0);
  model.control.sensor.reference_a = 100.0;
  hold(&model, 800.0 * rad_s_per_rpm, 1.0);
  const double torque_nm = 2900.0 / (800.0 * rad_s_per_rpm); /* printed 34.62 N.m */
  assert_near(settled_as(model, SB_SENSES_DUTY, torque_nm), 1.0 - 105.67 / 240.0, 0.005 / 240.0);
  assert_near(settled_as(model, SB_SENSES_CURRENT, torque_nm), 0.7, 1e-12);
  assert_near(settled_as(model, SB_SENSES_SPEED, torque_nm) * model.control.sensor.reference_rad_s,
              800.0 * rad_s_per_rpm, 1e-12);
}

/*
 * A. E. Fitzgerald, C. Kingsley, S. D. Umans, Electric Machinery, example 11.6, p. 575: k = 1.91009, 0.084 ohm, a load
 * of 285 N.m at 2500 rpm in proportion to the speed: 410.075 V and 119.366 A at 2000 rpm, 512.594 V and 149.207 A at
 * 2500 rpm. From 600 V.
 */
static void duty_and_current_follow_a_load_as_in_the_worked_example(void **state)
{
  (void)state;
  struct sb_model model = box_constants(600.0, 1.91009, 0.084, 0.0, 0.92, 1e-9);
  box_add_gear(&model, 1.0, 1.0);
  box_add_viscous(&model, 285.0 / (2500.0 * rad_s_per_rpm));
  model.control.sensor.reference_a = 200.0;
  static const double rpm[] = {2000.0, 2500.0}, volts[] = {410.075, 512.594}, amperes[] = {119.366, 149.207};
  for (int k = 0; k < 2; k++) {
    hold(&model, rpm[k] * rad_s_per_rpm, 1.0);
    /* Half a unit of the last digit, and k has five digits behind the point: 3e-6 of the current. */
    assert_near(settled_as(model, SB_SENSES_DUTY, 0.0), 1.0 - volts[k] / 600.0, (5e-4 + 3e-6 * volts[k]) / 600.0);
    assert_near(settled_as(model, SB_SENSES_CURRENT, 0.0), 1.0 - amperes[k] / 200.0, (5e-4 + 3e-6 * 150.0) / 200.0);
  }
}

/*
 * The same machine on 512.594 V: at a target of 2500 rpm its duty is just at the limit under the load of the example, so
 * beyond that the speed hides nothing more: no torque from outside is left over.
 */
static void what_is_hidden_ends_where_the_duty_is_full(void **state)
{
  (void)state;
  struct sb_model model = box_constants(512.594, 1.91009, 0.084, 0.0, 0.92, 1e-9);
  box_add_gear(&model, 1.0, 1.0);
  box_add_viscous(&model, 285.0 / (2500.0 * rad_s_per_rpm));
  hold(&model, 2500.0 * rad_s_per_rpm, 1.0);
  const struct sb_motor_line line = sb_torque_balance_line(&model);
  /* Half a unit of the last digit of V and k, by k / R. */
  assert_near(sb_steady_hidden_nm(&model, &line, 0), 0.0, (5e-4 + 5e-6 * 262.0) * 1.91 / 0.084);
  model.drive.mode = SB_DRIVE_OPEN_LOOP;
  assert_true(isnan(sb_steady_hidden_nm(&model, &line, 0)));
}

/* G. K. Dubey, Fundamentals of Electrical Drives, example 5.3, p. 70: 0.06 ohm, 220 V and 200 A at 800 rpm; at 600 rpm a
 * load that regenerates 160 A leaves 156 - 160 (0.06 + 0.04) = 140 V for the source behind 0.04 ohm. Held at 600 rpm by
 * a duty, the terminals see 156 - 9.6 = 146.4 V; from 440 V without a resistance that is a duty of a third. */
static void a_load_that_drives_the_motor_takes_duty_off_as_in_the_worked_example(void **state)
{
  (void)state;
  const double k = 208.0 / (800.0 * rad_s_per_rpm);
  struct sb_model model = box_constants(440.0, k, 0.06, 0.0, 1.0, 1.0);
  box_add_gear(&model, 1.0, 1.0);
  model.control.sensor.reference_a = 200.0;
  hold(&model, 600.0 * rad_s_per_rpm, 1.0);
  assert_near(settled_as(model, SB_SENSES_DUTY, -160.0 * k), 1.0 - 146.4 / 440.0, 1e-12);
  assert_near(settled_as(model, SB_SENSES_CURRENT, -160.0 * k), 0.2, 1e-12); /* its size counts */
}

/* ---- the loop ---- */

/* The greatest size of the two roots, from the loop written as a matrix of speed and integral. */
static double spectral_radius(double a, double g, double kp, double ki, double period_s)
{
  /* w+ = a w + g (Kp e + Ki s), s+ = s + Ts e, e = -w */
  const double m11 = a - g * kp, m12 = g * ki, m21 = -period_s, m22 = 1.0;
  double re[2], im = 0.0;
  const int real_roots = gsl_poly_solve_quadratic(1.0, -(m11 + m22), m11 * m22 - m12 * m21, &re[0], &re[1]);
  if (real_roots > 0) return fmax(fabs(re[0]), fabs(re[1]));
  gsl_complex roots[2];
  gsl_poly_complex_solve_quadratic(1.0, -(m11 + m22), m11 * m22 - m12 * m21, &roots[0], &roots[1]);
  re[0] = GSL_REAL(roots[0]);
  im = GSL_IMAG(roots[0]);
  return hypot(re[0], im);
}

/* How steeply a load that follows speed rises, by its torque on either side. */
static double load_slope(const struct sb_load *load, double output_rad_s)
{
  double sum = 0.0;
  for (int side = -1; side <= 1; side += 2) {
    const double speed = output_rad_s * (1.0 + 1e-4 * side);
    for (int i = 0; i < load->part_count; i++) {
      const struct sb_load_part *part = &load->parts[i];
      sum += side * (part->viscous_nms_rad * speed + part->quadratic_nms2_rad2 * speed * speed);
    }
  }
  return sum / (2e-4 * output_rad_s);
}

/* How far the loop of a gear is from its target in the end, a ten-thousandth off it at the start (a greater swing would
 * meet the bounds of the duty), with the plant's exact way from tick to tick. All that is against the motor at the target
 * and does not follow speed takes a tenth of the stall torque; what does has its slope there. */
static double last_error(const struct sb_model *model, const struct sb_motor_line *line, double slope)
{
  const struct sb_gear *gear = &model->gearbox.gears[0];
  const double inertia =
      model->motor.rotor_inertia_kg_m2 + model->load.inertia_kg_m2 / (gear->ratio * gear->ratio * gear->efficiency);
  const double a = exp(-model->drive.period_s * slope / inertia), target = model->drive.target_rad_s;
  const double held = slope * target / line->stall_nm + 0.1;
  struct sb_drive_state at = {held, held / model->drive.integral_per_rad, SB_COMMAND_FORWARD};
  double speed = 0.9999 * target, worst = 0.0;
  enum { TICKS = 20000, LAST = 200 };
  for (int k = 1; k <= TICKS; k++) {
    const double end = target + (at.duty - held) * line->stall_nm / line->duty / slope;
    speed = end + (speed - end) * a;
    at = sb_drive_tick(&model->drive, &at, model->drive.period_s * k, speed, false);
    if (k > TICKS - LAST) worst = fmax(worst, fabs(speed - target));
  }
  return worst;
}
static void a_loop_settles_where_its_roots_lie_in_the_unit_circle(void **state)
{
  (void)state;
  gsl_rng *random = dice_of(11);
  int settling = 0, swinging = 0;
  for (int k = 0; k < 600; k++) {
    struct sb_model model = box_line(plane_between(random, 10.0, 100.0), plane_between(random, 0.1, 2.0),
                                     plane_between(random, 1e-5, 1e-3), 1e-2);
    box_add_gear(&model, plane_between(random, 2.0, 10.0), 0.9);
    hold(&model, 0.5 * model.motor.no_load_speed_rad_s, 1.0);
    model.drive.gain_per_rad_s = exp(plane_between(random, log(0.5), log(50.0))) / model.motor.no_load_speed_rad_s;
    model.drive.integral_per_rad = model.drive.gain_per_rad_s / exp(plane_between(random, log(5e-4), log(1.0)));
    const struct sb_motor_line line = sb_torque_balance_line(&model);
    const struct sb_gear *gear = &model.gearbox.gears[0];
    const double n2e = gear->ratio * gear->ratio * 0.9, output_rad_s = model.drive.target_rad_s / gear->ratio;
    const double steep = plane_between(random, 0.1, 0.5) * line.slope_nms_rad * n2e; /* of a load that follows speed */
    if (k % 3 == 1) box_add_viscous(&model, steep);
    if (k % 3 == 2) box_add_quadratic(&model, 0.5 * steep / output_rad_s);
    const double slope = line.slope_nms_rad + load_slope(&model.load, output_rad_s) / n2e;
    const double inertia = model.motor.rotor_inertia_kg_m2 + 1e-2 / n2e;
    const double a = exp(-5e-3 * slope / inertia);
    const double g = (1.0 - a) * model.motor.stall_torque_nm / slope;
    const double radius =
        spectral_radius(a, g, model.drive.gain_per_rad_s, model.drive.integral_per_rad, model.drive.period_s);
    if (fabs(radius - 1.0) < 1e-2) continue; /* twenty thousand ticks would not tell */
    assert_int_equal(sb_steady_is_stable(&model, &line, 0), radius < 1.0);
    assert_int_equal(sb_closed_form_solve(&model).gears[0].is_stable, radius < 1.0);
    const double error = last_error(&model, &line, slope);
    if (radius < 1.0) {
      assert_true(error < 1e-9 * model.motor.no_load_speed_rad_s);
      settling++;
    } else {
      assert_true(error > 1e-3 * model.motor.no_load_speed_rad_s);
      swinging++;
    }
  }
  assert_true(settling > 100 && swinging > 100);
  gsl_rng_free(random);
}

/* ---- thresholds ---- */

static struct sb_model cart_held(void)
{
  struct sb_model model = box_cart();
  model.control.sensor.reference_a = model.motor.has_currents ? model.motor.stall_current_a : 0.0;
  hold(&model, 0.6 * model.motor.no_load_speed_rad_s, 1.0);
  return model;
}

static void a_target_below_up_never_lets_the_box_come_back(void **state)
{
  (void)state;
  struct sb_model model = cart_held();
  model.control.downshift_fraction[0] = 0.5;
  model.control.upshift_fraction[0] = 0.7; /* the target reads 60 % */
  struct sb_closed_form form = sb_closed_form_solve(&model);
  assert_true(form.pairs[0].is_stuck_low);
  assert_false(form.pairs[0].has_band);
  assert_true(isinf(form.pairs[0].upshift_torque_nm) && form.pairs[0].upshift_torque_nm < 0.0);
  assert_true(isinf(form.pairs[0].least_voltage_upshift_v));
  model.control.upshift_fraction[0] = 0.58;
  form = sb_closed_form_solve(&model);
  assert_true(isfinite(form.pairs[0].upshift_torque_nm));
  assert_false(form.pairs[0].is_stuck_low);
}

static void a_target_below_down_holds_the_fast_gear_under_no_load(void **state)
{
  (void)state;
  struct sb_model model = cart_held();
  model.control.downshift_fraction[0] = 0.65;
  model.control.upshift_fraction[0] = 0.9;
  const struct sb_closed_form form = sb_closed_form_solve(&model);
  assert_true(form.pairs[0].is_needless_downshift);
  assert_true(isnan(form.pairs[0].shortest_dwell_s));
}

/* The duty says at which load to shift long before the speed falls. */
static void a_reading_of_the_duty_shifts_below_what_the_speed_hides(void **state)
{
  (void)state;
  struct sb_model model = cart_held();
  model.control.downshift_fraction[0] = 0.1;
  model.control.upshift_fraction[0] = 0.58;
  const double by_speed = sb_closed_form_solve(&model).pairs[0].downshift_torque_nm;
  model.control.sensor.quantity = SB_SENSES_DUTY;
  const struct sb_closed_form form = sb_closed_form_solve(&model);
  const double hidden = form.gears[1].hidden_torque_nm;
  assert_true(form.pairs[0].downshift_torque_nm < hidden);
  assert_true(hidden < by_speed);
  /* Full duty reads 0 %: there the two meet. */
  model.control.downshift_fraction[0] = 1e-14;
  assert_near_rel(sb_closed_form_solve(&model).pairs[0].downshift_torque_nm, hidden, 1e-12);
  model.drive.limit_fraction = 0.8; /* a duty of 90 % is never reached */
  model.control.downshift_fraction[0] = 0.1;
  assert_true(isinf(sb_closed_form_solve(&model).pairs[0].downshift_torque_nm));
}

static struct sb_model random_held(gsl_rng *random)
{
  struct sb_model model = box_random(random, 0.5);
  model.control.sensor.reference_a = model.motor.stall_current_a * plane_between(random, 0.8, 1.2);
  hold(&model, model.motor.no_load_speed_rad_s * plane_between(random, 0.2, 0.7), plane_between(random, 0.85, 1.0));
  return model;
}

/* What a gear carries at a reading is what it settles at, whatever is read; Kirchhoff's voltages hold at the point. */
static void readings_and_torques_are_inverse_to_each_other(void **state)
{
  (void)state;
  gsl_rng *random = dice_of(5);
  int held = 0, fallen = 0;
  for (int k = 0; k < 3000; k++) {
    struct sb_model model = random_held(random);
    model.control.sensor.quantity = (enum sb_sensor_quantity)(k % 3);
    const struct sb_motor_line line = sb_torque_balance_line(&model);
    const double target = model.drive.target_rad_s / model.control.sensor.reference_rad_s;
    const double least = model.control.sensor.quantity == SB_SENSES_SPEED ? 0.05 : 1.0 - model.drive.limit_fraction;
    const double greatest = model.control.sensor.quantity == SB_SENSES_SPEED ? target : 1.0;
    const double reading = plane_between(random, least + 1e-6, greatest);
    const int gear = k % 2;
    const double torque = sb_steady_load_nm(&model, &line, gear, reading);
    if (isinf(torque)) continue; /* more than the supply's stall current */
    /* Ten roundings or so; a duty is the root of a difference, and the supply takes at most a half off it. */
    assert_near(sb_steady_reading(&model, &line, gear, torque), reading, 1e-11);
    const double speed = sb_steady_speed_rad_s(&model, &line, gear, torque);
    held += speed == model.drive.target_rad_s;
    fallen += speed < model.drive.target_rad_s;

    if (model.control.sensor.quantity != SB_SENSES_DUTY || speed != model.drive.target_rad_s) continue;
    const double duty = 1.0 - reading;
    model.control.sensor.quantity = SB_SENSES_CURRENT;
    const double current = (1.0 - sb_steady_reading(&model, &line, gear, torque)) * model.control.sensor.reference_a;
    const double left =
        duty * (model.supply.open_circuit_voltage_v - model.supply.internal_resistance_ohm * duty * current);
    const double right = model.motor.ke_vs_rad * speed + model.motor.resistance_ohm * current;
    const bool is_driving = model.motor.ke_vs_rad * speed < duty * model.supply.open_circuit_voltage_v;
    if (is_driving) assert_near(left, right, 1e-11 * model.supply.open_circuit_voltage_v);
  }
  assert_true(held > 500 && fallen > 500);
  gsl_rng_free(random);
}

static void the_speed_falls_beyond_what_it_hides_and_not_before(void **state)
{
  (void)state;
  gsl_rng *random = dice_of(6);
  for (int k = 0; k < 500; k++) {
    const struct sb_model model = random_held(random);
    const struct sb_motor_line line = sb_torque_balance_line(&model);
    const double hidden = sb_steady_hidden_nm(&model, &line, 1);
    const double step = 1e-6 * model.motor.stall_torque_nm;
    assert_near(sb_steady_speed_rad_s(&model, &line, 1, hidden - step), model.drive.target_rad_s, 0.0);
    assert_true(sb_steady_speed_rad_s(&model, &line, 1, hidden + step) < model.drive.target_rad_s);
    assert_near(settled_as(model, SB_SENSES_DUTY, 1e9), 1.0 - model.drive.limit_fraction, 1e-15);
  }
  gsl_rng_free(random);
}

/* A load that helps more than the motor's short circuit can brake takes the speed beyond the target. */
static void an_overhauling_load_runs_away_from_a_loop_that_only_drives(void **state)
{
  (void)state;
  struct sb_model model = box_constants(24.0, 0.2, 2.0, 0.0, 1e-4, 1e-3);
  box_add_gear(&model, 1.0, 1.0);
  model.control.sensor.reference_a = 12.0;
  hold(&model, 60.0, 1.0);
  const double brake_nm = 0.2 * 0.2 / 2.0 * 60.0; /* k^2 w / R */
  const struct sb_motor_line line = sb_torque_balance_line(&model);
  assert_near_rel(sb_steady_speed_rad_s(&model, &line, 0, -0.9 * brake_nm), 60.0, 1e-15);
  assert_near_rel(sb_steady_speed_rad_s(&model, &line, 0, -2.0 * brake_nm), 120.0, 1e-14);
  assert_near(settled_as(model, SB_SENSES_DUTY, -2.0 * brake_nm), 1.0, 0.0);
  assert_near(settled_as(model, SB_SENSES_CURRENT, -2.0 * brake_nm), 0.0, 1e-14); /* 12 A generated */
}

/* In open loop the current tells the torque on the line: half the stall current at half the no-load speed. */
static void the_current_tells_the_load_in_open_loop_too(void **state)
{
  (void)state;
  struct sb_model model = box_constants(24.0, 0.2, 2.0, 0.0, 1e-4, 1e-3);
  box_add_gear(&model, 3.0, 0.9);
  model.control.sensor.quantity = SB_SENSES_CURRENT;
  model.control.sensor.reference_a = 12.0;
  const struct sb_motor_line line = sb_torque_balance_line(&model);
  assert_near_rel(sb_steady_load_nm(&model, &line, 0, 0.5), 3.0 * 0.9 * 0.2 * 6.0, 1e-14);
  assert_near(sb_steady_reading(&model, &line, 0, 3.0 * 0.9 * 0.2 * 6.0), 0.5, 1e-14);
  assert_near_rel(sb_steady_speed_rad_s(&model, &line, 0, 3.0 * 0.9 * 0.2 * 6.0), 60.0, 1e-14);
  assert_near(sb_steady_greatest_reading(&model, &line), 1.0, 0.0);
}

/* The held speed itself is still read: there the motor gives what its line has left. */
static void the_held_speed_itself_is_a_reading(void **state)
{
  (void)state;
  struct sb_model model = box_constants(24.0, 0.2, 2.0, 0.0, 1e-4, 1e-3);
  box_add_gear(&model, 3.0, 0.9);
  model.control.sensor.reference_rad_s = 120.0;
  hold(&model, 60.0, 1.0);
  const struct sb_motor_line line = sb_torque_balance_line(&model);
  assert_near_rel(sb_steady_point(&model, &line, 0.5).motor_nm, 0.2 * (24.0 - 0.2 * 60.0) / 2.0, 1e-14);
  assert_near(sb_steady_point(&model, &line, 0.51).motor_nm, -(double)INFINITY, 0.0);
}

/* A speed is read up to the one that is held, or that of no load (24 V / 0.2 V.s/rad), in shares of the sensor's own; duty and
 * current read 100 % without load whatever speed is held. */
static void the_greatest_reading_of_a_speed_is_the_held_one(void **state)
{
  (void)state;
  struct sb_model model = box_constants(24.0, 0.2, 2.0, 0.0, 1e-4, 1e-3);
  box_add_gear(&model, 3.0, 0.9);
  model.control.sensor.reference_rad_s = 150.0;
  const struct sb_motor_line line = sb_torque_balance_line(&model);
  assert_near_rel(sb_steady_greatest_reading(&model, &line), 120.0 / 150.0, 1e-14);
  hold(&model, 60.0, 1.0);
  assert_near_rel(sb_steady_greatest_reading(&model, &line), 60.0 / 150.0, 1e-14);
  model.control.sensor.quantity = SB_SENSES_DUTY;
  assert_near(sb_steady_greatest_reading(&model, &line), 1.0, 0.0);
  model.control.sensor.quantity = SB_SENSES_CURRENT;
  assert_near(sb_steady_greatest_reading(&model, &line), 1.0, 0.0);
}

/*
 * A load that drives the motor: the settled reading falls again as it grows, and reaches a value at the torque of the
 * inverse. On the line of an open loop, at a held speed, and beyond it on the short circuit, each with what follows its speed.
 */
static void a_load_that_drives_the_motor_reads_like_a_heavy_one_beyond_the_inverse(void **state)
{
  (void)state;
  static const double targets[] = {0.0, 60.0, 60.0}, readings[] = {0.5, 0.8, 0.2};
  for (int k = 0; k < 3; k++) {
    struct sb_model model = box_constants(24.0, 0.2, 2.0, 0.01, 1e-4, 1e-3);
    box_add_gear(&model, 3.0, 0.9);
    model.control.sensor.reference_a = 12.0;
    model.control.sensor.quantity = SB_SENSES_CURRENT;
    box_add_part(&model, "viscous", (struct sb_load_part){.viscous_nms_rad = 0.01});
    if (targets[k] > 0.0) hold(&model, targets[k], 1.0);
    const struct sb_motor_line line = sb_torque_balance_line(&model);
    const double helping_nm = sb_steady_helping_nm(&model, &line, 0, readings[k]);
    assert_true(helping_nm < 0.0);
    assert_near(sb_steady_reading(&model, &line, 0, helping_nm), readings[k], 1e-12);
    assert_true(sb_steady_reading(&model, &line, 0, 1.1 * helping_nm) < readings[k]);
    assert_true(sb_steady_reading(&model, &line, 0, 0.9 * helping_nm) > readings[k]);
    model.control.sensor.quantity = SB_SENSES_SPEED;
    assert_true(isinf(sb_steady_helping_nm(&model, &line, 0, readings[k])));
  }
}

static struct sb_model sensing_current(void)
{
  struct sb_model model = box_constants(24.0, 0.2, 2.0, 0.01, 1e-4, 1e-3);
  box_add_gear(&model, 6.0, 0.9);
  box_add_gear(&model, 3.0, 0.9);
  model.control.sensor.reference_a = 12.0;
  model.control.sensor.quantity = SB_SENSES_CURRENT;
  return model;
}

/* A load that at its lightest drives the motor just as hard as the threshold reads: from there on no voltage holds the gear. */
static void a_load_that_helps_up_to_the_threshold_itself_is_not_held(void **state)
{
  (void)state;
  struct sb_model model = sensing_current();
  const struct sb_motor_line line = sb_torque_balance_line(&model);
  const double down_nm = sb_steady_helping_nm(&model, &line, 1, model.control.downshift_fraction[0]);
  const double up_nm = sb_steady_helping_nm(&model, &line, 0, model.control.upshift_fraction[0]);
  const double lightest_nm[] = {down_nm, nextafter(down_nm, 0.0), up_nm, nextafter(up_nm, 0.0)};
  for (int k = 0; k < 4; k++) {
    const double x[] = {0.0, 5.0}, torque_nm[] = {lightest_nm[k], 0.0};
    box_add_part(&model, "profile", (struct sb_load_part){.table = {2, x, torque_nm}});
    const struct sb_pair_figures pair = sb_closed_form_solve(&model).pairs[0];
    assert_false(pair.is_needless_downshift || pair.is_stuck_low);
    const double voltage_v = k < 2 ? pair.least_voltage_hold_v : pair.least_voltage_upshift_v;
    assert_true(k % 2 == 0 ? isinf(voltage_v) : isnan(voltage_v));
    model.load.part_count = 0;
  }
}

/* Nor is the reading above the threshold where the load never helps less: the box then stays low, or leaves the faster gear. */
static void a_load_that_always_helps_beyond_the_threshold_shifts_as_a_heavy_one(void **state)
{
  (void)state;
  for (int k = 0; k < 4; k++) {
    const bool is_up = k / 2 == 1, is_beyond = k % 2 == 1;
    struct sb_model model = sensing_current();
    const struct sb_motor_line line = sb_torque_balance_line(&model);
    const int gear = is_up ? 0 : 1;
    const double reading = is_up ? model.control.upshift_fraction[0] : model.control.downshift_fraction[0];
    const double load_nm = (is_beyond ? 1.01 : 0.99) * sb_steady_helping_nm(&model, &line, gear, reading);
    assert_int_equal(sb_steady_reading(&model, &line, gear, load_nm) < reading, is_beyond);
    box_add_constant(&model, load_nm, false);
    const struct sb_pair_figures pair = sb_closed_form_solve(&model).pairs[0];
    assert_int_equal(is_up ? pair.is_stuck_low : pair.is_needless_downshift, is_beyond);
  }
}

/*
 * A loop without an integral part has the one root z = a - g Kp, a = exp(-Ts m' / J), g = (1 - a) Ts / m' with the stall torque Ts and the
 * slopes of motor and load together, m'. Here Ts m / J = 1 for the motor's slope m alone, and a load c W^2 adds 2 c W / N^2 = m: z = -1 where
 * Kp = (1 + exp(-2)) 2 / ((1 - exp(-2)) w0) = 2.6261 / w0.
 */
static void a_loop_without_an_integral_settles_where_its_root_is_above_minus_one(void **state)
{
  (void)state;
  struct sb_model model = box_line(50.0, 0.5, 3e-5, 8e-5); /* m = 0.01 N m s, J = 5e-5 kg m^2 through 2:1 */
  box_add_gear(&model, 2.0, 1.0);
  hold(&model, 20.0, 1.0);
  model.drive.integral_per_rad = 0.0;
  box_add_quadratic(&model, 0.01 * 4.0 / (2.0 * 10.0));
  const struct sb_motor_line line = sb_torque_balance_line(&model);
  const double edge = 2.0 * (1.0 + exp(-2.0)) / (1.0 - exp(-2.0)) / 50.0;
  assert_near(50.0 * edge, 2.6261, 5e-5);
  model.drive.gain_per_rad_s = 0.999 * edge;
  assert_true(sb_steady_is_stable(&model, &line, 0));
  model.drive.gain_per_rad_s = 1.001 * edge;
  assert_false(sb_steady_is_stable(&model, &line, 0));
}

/* A clutch passes on no more than its torque, be the motor ever so strong: N eta (Tc - D). */
static void a_gear_stalls_where_its_clutch_slips(void **state)
{
  (void)state;
  struct sb_model model = box_line(50.0, 0.5, 3e-5, 8e-5);
  box_add_gear(&model, 4.0, 0.9);
  model.gearbox.gears[0].drag_nm = 0.02;
  assert_near_rel(sb_closed_form_solve(&model).gears[0].stall_torque_nm, 4.0 * 0.9 * (0.5 - 0.02), 1e-14);
  model.shifter = (struct sb_shifter){.ops = sb_shifter_kind_find("clutch"), .clutch_nm = 0.3, .timeout_s = 5.0};
  assert_near_rel(sb_closed_form_solve(&model).gears[0].stall_torque_nm, 4.0 * 0.9 * (0.3 - 0.02), 1e-14);
  model.shifter.clutch_nm = 0.7;
  assert_near_rel(sb_closed_form_solve(&model).gears[0].stall_torque_nm, 4.0 * 0.9 * (0.5 - 0.02), 1e-14);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_duty_is_the_terminal_voltage_of_the_worked_example),
      cmocka_unit_test(duty_and_current_follow_a_load_as_in_the_worked_example),
      cmocka_unit_test(what_is_hidden_ends_where_the_duty_is_full),
      cmocka_unit_test(a_load_that_drives_the_motor_takes_duty_off_as_in_the_worked_example),
      cmocka_unit_test(a_loop_settles_where_its_roots_lie_in_the_unit_circle),
      cmocka_unit_test(a_target_below_up_never_lets_the_box_come_back),
      cmocka_unit_test(a_target_below_down_holds_the_fast_gear_under_no_load),
      cmocka_unit_test(a_reading_of_the_duty_shifts_below_what_the_speed_hides),
      cmocka_unit_test(readings_and_torques_are_inverse_to_each_other),
      cmocka_unit_test(the_speed_falls_beyond_what_it_hides_and_not_before),
      cmocka_unit_test(an_overhauling_load_runs_away_from_a_loop_that_only_drives),
      cmocka_unit_test(a_load_that_drives_the_motor_reads_like_a_heavy_one_beyond_the_inverse),
      cmocka_unit_test(the_current_tells_the_load_in_open_loop_too),
      cmocka_unit_test(the_held_speed_itself_is_a_reading),
      cmocka_unit_test(the_greatest_reading_of_a_speed_is_the_held_one),
      cmocka_unit_test(a_load_that_helps_up_to_the_threshold_itself_is_not_held),
      cmocka_unit_test(a_load_that_always_helps_beyond_the_threshold_shifts_as_a_heavy_one),
      cmocka_unit_test(a_loop_without_an_integral_settles_where_its_root_is_above_minus_one),
      cmocka_unit_test(a_gear_stalls_where_its_clutch_slips),
  };
  return cmocka_run_group_tests_name("closed forms under a held speed", tests, NULL, NULL);
}
