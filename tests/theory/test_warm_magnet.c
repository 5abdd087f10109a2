// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * A motor whose magnets weaken, in the closed forms of a warm motor: by hand, against an explicit integration, and against runs.
 */
#include <gsl/gsl_errno.h>
#include <gsl/gsl_odeiv2.h>

#include "help/driven.h"
#include "help/models.h"
#include "help/near.h"
#include "shiftband/closed_form.h"
#include "theory/warmth.h"

/* Roots are found to 1e-14 of some hundred degrees, through sums of as many roundings. */
static const double found = 1e-11;

static void set_magnet(struct sb_model *model, double per_k)
{
  model->magnet = (struct sb_magnet){.is_present = true, .per_k = per_k, .reference_c = model->winding.reference_c};
}

/* 12 V, 3 A, 4 ohm and ferrite at 25 C; 20 C around. */
static struct sb_model housed_model(void)
{
  struct sb_model model = model_two_gears("selector");
  model_set_currents(&model, 3.0, 0.2, 0.0);
  model_set_winding(&model, 12.0, 3.0);
  model_add_housing(&model, 90.0, 5.0);
  set_magnet(&model, -0.002);
  model_finish(&model);
  return model;
}

/* Of 4 ohm and of the constants at 25 C. */
static double ohm_at(double winding_c)
{
  return 4.0 * (1.0 + 0.00393 * (winding_c - 20.0)) / (1.0 + 0.00393 * 5.0);
}

static double left_at(double magnet_c)
{
  return 1.0 - 0.002 * (magnet_c - 25.0);
}

/* Worked by hand: 24 V, 0.8 ohm, 0.05 N.m/A at 20 C; at 0.5 N.m 10 A and 80 W, and hot 11.363636 A and 135.7851 W. */
static void half_a_newton_metre_asks_for_135_8_w_of_a_hot_motor(void **state)
{
  (void)state;
  struct sb_model model = model_blank();
  model_set_line_motor(&model, 480.0, 1.5, 1e-4);
  model.motor.nominal_voltage_v = model.supply.open_circuit_voltage_v = 24.0;
  model_set_currents(&model, 30.0, 0.0, 0.0);
  model_add_gear(&model, 1.0, 1.0, false);
  model.load.inertia_kg_m2 = 0.01;
  model_set_winding(&model, 12.0, 3.0)->reference_c = 20.0;
  model_add_housing(&model, 90.0, 5.0);
  set_magnet(&model, -0.002);
  model_finish(&model);
  const struct sb_warmth cold = {20.0, 20.0}, hot = {100.0, 80.0};
  assert_near(sb_warmth_loss_w(&model, 0, 0.5, &cold), 80.0, 1e-11);
  assert_near(sb_warmth_loss_w(&model, 0, 0.5, &hot), 135.7851, 5e-5);
  /* Blocked, the current asks nothing of the magnets: 24 V on 1.05152 ohm. */
  assert_near_rel(sb_warmth_loss_w(&model, SB_WARMTH_BLOCKED, 0.0, &hot), 24.0 * 24.0 / 1.05152, 1e-12);
}

/* T = 20 + I^2 R(T) (3 + 5), I = torque / k(Th), Th = 20 + 5/8 (T - 20), on either side of the root. */
static double surplus_k(const struct sb_model *model, double torque_nm, double winding_c)
{
  const double housing_c = 20.0 + 0.625 * (winding_c - 20.0);
  const double current_a =
      (torque_nm / (12.0 * 0.9) + model->motor.friction_nm) / (model->motor.kt_nm_a * left_at(housing_c));
  return 20.0 + current_a * current_a * ohm_at(winding_c) * 8.0 - winding_c;
}

static void a_constant_torque_settles_where_its_growing_loss_flows_out(void **state)
{
  (void)state;
  const struct sb_model model = housed_model();
  struct sb_model strong = model;
  strong.magnet.is_present = false;
  for (double torque_nm = 0.6; torque_nm < 1.5; torque_nm += 0.2) { /* warmer than the 25 C of the figures */
    const struct sb_warmth settled = sb_warmth_steady(&model, 0, torque_nm);
    assert_near(surplus_k(&model, torque_nm, settled.winding_c), 0.0, 1e-9);
    assert_near_rel(settled.housing_c, 20.0 + 0.625 * (settled.winding_c - 20.0), found);
    assert_true(settled.winding_c > sb_warmth_steady(&strong, 0, torque_nm).winding_c);
  }
}

/* The loss of a torque grows as R / k^2: what settles with magnets that keep their strength runs away with those that do not. */
static void weak_magnets_run_away_where_strong_ones_settle(void **state)
{
  (void)state;
  struct sb_model weak = housed_model();
  weak.winding.resistance_k_w = 4.0;
  weak.winding.housing_resistance_k_w = 8.0;
  struct sb_model strong = weak;
  strong.magnet.is_present = false;
  const double torque_nm = 1.5, blocked_c = sb_warmth_steady(&weak, SB_WARMTH_BLOCKED, 0.0).winding_c;
  assert_true(sb_warmth_steady(&strong, 0, torque_nm).winding_c < 110.0);
  /* It stalls on the way, and ends as warm as a blocked motor. */
  assert_near_rel(sb_warmth_steady(&weak, 0, torque_nm).winding_c, blocked_c, found);
}

/* A constant torque through gear 1, from the definitions. */
static int loaded_rates(double t, const double y[], double dydt[], void *context)
{
  (void)t;
  const struct sb_model *model = context;
  const double current_a = (0.9 / (12.0 * 0.9) + model->motor.friction_nm) / (model->motor.kt_nm_a * left_at(y[1]));
  dydt[0] = (current_a * current_a * ohm_at(y[0]) - (y[0] - y[1]) / 3.0) / 12.0;
  dydt[1] = ((y[0] - y[1]) / 3.0 - (y[1] - 20.0) / 5.0) / 90.0;
  return GSL_SUCCESS;
}

/* An explicit integrator up to the moment found must stand at the temperature asked for. */
static void a_loaded_motor_stands_at_its_limit_at_the_time_found(void **state)
{
  (void)state;
  struct sb_model model = housed_model();
  const double settled_c = sb_warmth_steady(&model, 0, 0.9).winding_c;
  for (int k = 1; k < 5; k++) {
    const double limit_c = 20.0 + 0.2 * k * (settled_c - 20.0);
    gsl_odeiv2_system system = {loaded_rates, NULL, 2, &model};
    gsl_odeiv2_driver *driver = gsl_odeiv2_driver_alloc_y_new(&system, gsl_odeiv2_step_rk8pd, 1e-3, 1e-11, 1e-13);
    const struct sb_warmth_reach reach = sb_warmth_reached(&model, 0, 0.9, limit_c);
    double t = 0.0, y[2] = {20.0, 20.0};
    assert_int_equal(gsl_odeiv2_driver_apply(driver, &t, reach.time_s, y), GSL_SUCCESS);
    assert_near(y[0], limit_c, 1e-7); /* 1e-11 a step of some hundred, and the time's digits */
    assert_near(reach.at.winding_c, y[0], 1e-7);
    assert_near(reach.at.housing_c, y[1], 1e-7);
    gsl_odeiv2_driver_free(driver);
  }
  assert_true(isinf(sb_warmth_reached(&model, 0, 0.9, settled_c).time_s));
}

/* A load that drives the motor, and a viscous one that helps the motor to brake: as the magnets warm, the motor turns faster and
 * brakes less. Followed, a limit above the steady state is not reached here. */
static void a_braking_motor_is_followed_and_settles(void **state)
{
  (void)state;
  struct sb_model model = housed_model();
  model_add_viscous(&model, 0.5);
  const double settled_c = sb_warmth_steady(&model, 0, -3.0).winding_c;
  assert_true(settled_c > 20.5);
  assert_true(isinf(sb_warmth_reached(&model, 0, -3.0, settled_c + 1.0).time_s));
  assert_true(isfinite(sb_warmth_reached(&model, 0, -3.0, settled_c - 0.2).time_s));
}

/* Both constants have what the magnets have left, friction stays, and the figures lead back to them. */
static void a_warm_motor_has_weaker_constants(void **state)
{
  (void)state;
  const struct sb_model cold = housed_model();
  const struct sb_warmth at = {110.0, 80.0}, reference = {25.0, 25.0};
  const struct sb_model warm = sb_warmth_warm_model(&cold, &at);
  struct sb_motor again = warm.motor;
  struct sb_error err = {SB_OK, ""};
  assert_int_equal(sb_motor_derive(&again, &err), SB_OK);
  assert_near_rel(again.kt_nm_a, 0.89 * cold.motor.kt_nm_a, 1e-13);
  assert_near_rel(again.ke_vs_rad, 0.89 * cold.motor.ke_vs_rad, 1e-13);
  assert_near_rel(again.friction_nm, cold.motor.friction_nm, 1e-13);
  assert_near_rel(again.resistance_ohm, ohm_at(110.0), 1e-13);
  assert_near(warm.control.sensor.reference_rad_s, cold.motor.no_load_speed_rad_s, 0.0);
  /* Its figures hold where it is warm: further warming starts from there. */
  assert_near_rel(sb_magnet_ratio(&warm.magnet, 80.0), 1.0, 1e-15);
  assert_near_rel(0.89 * sb_magnet_ratio(&warm.magnet, 120.0), left_at(120.0), 1e-14);
  const struct sb_model back = sb_warmth_warm_model(&warm, &reference);
  assert_near_rel(back.motor.kt_nm_a, cold.motor.kt_nm_a, 1e-14);
  assert_near_rel(back.motor.ke_vs_rad, cold.motor.ke_vs_rad, 1e-14);
  assert_near_rel(back.motor.no_load_current_a, cold.motor.no_load_current_a, 1e-14);
  assert_near_rel(back.magnet.per_k, -0.002, 1e-14);
}

/* The slow gear carries, at a reading u, K (k (V - k u w0) / R - Tf): by hand from the warm figures. */
static void the_thresholds_of_a_warm_motor_follow_from_its_weaker_constants(void **state)
{
  (void)state;
  const struct sb_model cold = housed_model();
  const struct sb_warmth at = {110.0, 80.0};
  const struct sb_model warm = sb_warmth_warm_model(&cold, &at);
  const struct sb_closed_form form = sb_closed_form_solve(&warm);
  const double ohm = ohm_at(110.0), w0 = cold.motor.no_load_speed_rad_s, friction_nm = cold.motor.friction_nm;
  const double kt = 0.89 * cold.motor.kt_nm_a, ke = 0.89 * cold.motor.ke_vs_rad;
  assert_near_rel(form.pairs[0].downshift_torque_nm, (kt * (12.0 - ke * 0.5 * w0) / ohm - friction_nm) * 4.0 * 0.95,
                  1e-12);
  assert_near_rel(form.pairs[0].upshift_torque_nm, (kt * (12.0 - ke * 0.9 * w0) / ohm - friction_nm) * 12.0 * 0.9,
                  1e-12);
  assert_near_rel(form.stall_torque_nm, kt * 12.0 / ohm - friction_nm, 1e-12);
}

/* Heat capacities without end keep a machine as warm as it starts: a run of it is that of the warm model. */
static void a_warm_model_moves_as_the_machine_that_is_so_warm(void **state)
{
  (void)state;
  struct sb_model hot = housed_model();
  model_add_constant(&hot, 0.4, true);
  hot.winding.capacity_j_k = hot.winding.housing_capacity_j_k = 1e12;
  hot.winding.start_c = 110.0;
  hot.winding.housing_start_c = 80.0;
  hot.drive.period_s = hot.run.step_s;
  const struct sb_warmth at = {110.0, 80.0};
  struct sb_model warm = sb_warmth_warm_model(&hot, &at);
  warm.winding.is_present = warm.magnet.is_present = false;
  const struct oracle_command command = {0.7, 1};
  const struct driven one = drive(&hot, 0, &command, 1, 1.5), other = drive(&warm, 0, &command, 1, 1.5);
  assert_near_rel(one.state.motor_speed_rad_s, other.state.motor_speed_rad_s, 1e-9); /* 1e-10 K warmer, and roundings */
  assert_near_rel(one.state.output_angle_rad, other.state.output_angle_rad, 1e-9);
  assert_near_rel(one.sums.energy.winding_loss, other.sums.energy.winding_loss, 1e-9);
  assert_near_rel(one.sums.energy.motor_friction, other.sums.energy.motor_friction, 1e-9);
}

/* Small heat capacities settle within the run. */
static void a_long_run_ends_where_the_closed_form_settles(void **state)
{
  (void)state;
  for (int is_housed = 0; is_housed < 2; is_housed++) {
    struct sb_model model = housed_model();
    model.winding.capacity_j_k = 0.5;
    model.winding.housing_capacity_j_k = is_housed ? 0.5 : 0.0;
    model_add_constant(&model, 0.9, true);
    model.drive.period_s = model.run.step_s;
    const struct sb_warmth settled = sb_warmth_steady(&model, 0, 0.9);
    const struct driven end = drive(&model, 0, NULL, 0, 200.0);
    assert_true(settled.winding_c > (is_housed ? 35.0 : 25.0));
    assert_near(end.row.winding_c, settled.winding_c, 1e-7);
    assert_near(end.row.magnet_c, is_housed ? settled.housing_c : settled.winding_c, 1e-7);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(half_a_newton_metre_asks_for_135_8_w_of_a_hot_motor),
      cmocka_unit_test(a_constant_torque_settles_where_its_growing_loss_flows_out),
      cmocka_unit_test(weak_magnets_run_away_where_strong_ones_settle),
      cmocka_unit_test(a_loaded_motor_stands_at_its_limit_at_the_time_found),
      cmocka_unit_test(a_braking_motor_is_followed_and_settles),
      cmocka_unit_test(a_warm_motor_has_weaker_constants),
      cmocka_unit_test(the_thresholds_of_a_warm_motor_follow_from_its_weaker_constants),
      cmocka_unit_test(a_warm_model_moves_as_the_machine_that_is_so_warm),
      cmocka_unit_test(a_long_run_ends_where_the_closed_form_settles),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
