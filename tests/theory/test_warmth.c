// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * How warm a motor gets at stall and under a load, and how soon: against the closed solutions that special cases have,
 * quadrature, and an explicit integration. The warm motor: against the definitions of its constants.
 */
#include <gsl/gsl_errno.h>
#include <gsl/gsl_integration.h>
#include <gsl/gsl_odeiv2.h>
#include <string.h>

#include "help/models.h"
#include "help/near.h"
#include "shiftband/closed_form.h"
#include "theory/warmth.h"

static const double copper_per_k = 0.00393;

/* Roots are found to 1e-14 of some hundred degrees, through sums of as many roundings. */
static const double found = 1e-11;

/* 12 V, 3 A, 4 ohm at 25 C; 20 C around. */
static struct sb_model warm_model(void)
{
  struct sb_model model = model_two_gears("selector");
  model_set_currents(&model, 3.0, 0.2, 0.0);
  model_set_winding(&model, 12.0, 3.0);
  model_finish(&model);
  return model;
}

static struct sb_model housed_model(void)
{
  struct sb_model model = warm_model();
  model_add_housing(&model, 90.0, 5.0);
  return model;
}

/* Copper's coefficient for the reference of 25 C. */
static double slope_per_k(void)
{
  return copper_per_k / (1.0 + copper_per_k * 5.0);
}

/* Blocked at 12 V: (T - 20) R0 (1 + a (T - 25)) = 144 Rth, a quadratic in T. */
static void a_blocked_motor_settles_at_the_root_of_its_quadratic(void **state)
{
  (void)state;
  const struct sb_model model = housed_model();
  const double a = slope_per_k(), through = 144.0 / 4.0 * 8.0;
  /* With x = T - 20: a x^2 + (1 - 5 a) x - through = 0. */
  const double b = 1.0 - 5.0 * a;
  const double rise_k = (-b + sqrt(b * b + 4.0 * a * through)) / (2.0 * a);
  const struct sb_warmth settled = sb_warmth_steady(&model, SB_WARMTH_BLOCKED, 0.0);
  assert_near_rel(settled.winding_c, 20.0 + rise_k, found);
  assert_near_rel(settled.housing_c, 20.0 + rise_k * 5.0 / 8.0, found);
}

/* A constant torque asks for the same current whatever the resistance: T - 20 = I^2 R(T) Rth is a straight line. */
static void a_constant_torque_settles_at_the_root_of_its_line(void **state)
{
  (void)state;
  struct sb_model model = warm_model();
  const double torque_nm = 0.9, a = slope_per_k();
  const double current_a = (torque_nm / (12.0 * 0.9) + model.motor.friction_nm) / model.motor.kt_nm_a;
  const double cold_k = current_a * current_a * 4.0 * 3.0; /* at R0 */
  const double rise_k = cold_k * (1.0 - 5.0 * a) / (1.0 - a * cold_k);
  const struct sb_warmth at_80 = {80.0, 20.0};
  assert_true(rise_k > 5.0);
  assert_near_rel(sb_warmth_steady(&model, 0, torque_nm).winding_c, 20.0 + rise_k, found);
  assert_near_rel(sb_warmth_loss_w(&model, 0, torque_nm, &at_80), current_a * current_a * 4.0 * (1.0 + a * 55.0),
                  1e-12);
}

/* A load beyond the gear's stall torque is a blocked shaft. */
static void a_load_beyond_stall_is_a_blocked_shaft(void **state)
{
  (void)state;
  const struct sb_model model = housed_model();
  const struct sb_warmth blocked = sb_warmth_steady(&model, SB_WARMTH_BLOCKED, 0.0);
  assert_near_rel(sb_warmth_steady(&model, 1, 50.0).winding_c, blocked.winding_c, found);
}

/* Held back by an overrunning load the current follows the torque alone: above a loss that grows faster than it flows
 * out, a I^2 R0 Rth > 1, nothing settles. */
static void a_current_that_the_load_forces_runs_away(void **state)
{
  (void)state;
  struct sb_model model = warm_model();
  model.winding.resistance_k_w = 60.0;
  const double driven_a = 2.2; /* a I^2 R0 Rth = 4.5 */
  const double torque_nm = -(driven_a * model.motor.kt_nm_a + model.motor.friction_nm) * 4.0 / 0.95;
  assert_true(isinf(sb_warmth_steady(&model, 1, torque_nm).winding_c));
  const struct sb_warmth_reach reach = sb_warmth_reached(&model, 1, torque_nm, 120.0);
  assert_true(reach.time_s > 0.0 && isfinite(reach.time_s));
}

/* With no way out for the heat C R0 (1 + a (T - 25)) dT = 144 dt: elementary. */
static void without_cooling_a_blocked_motor_warms_by_the_integral_of_its_resistance(void **state)
{
  (void)state;
  struct sb_model model = warm_model();
  model.winding.resistance_k_w = 1e12;
  const double a = slope_per_k();
  const double want_s = 12.0 * 4.0 / 144.0 * (90.0 + 0.5 * a * (85.0 * 85.0 - 5.0 * 5.0));
  const struct sb_warmth_reach reach = sb_warmth_reached(&model, SB_WARMTH_BLOCKED, 0.0, 110.0);
  assert_near_rel(reach.time_s, want_s, 1e-9); /* the integrator's 1e-11 a step, some steps */
  assert_near(reach.at.winding_c, 110.0, 1e-8);
}

struct blocked {
  double volt, ohm, internal_ohm;
};

/* dt / dT of one node from the definitions, without any function of the library. */
static double slowness(double winding_c, void *context)
{
  const struct blocked *b = context;
  const double ohm = b->ohm * (1.0 + copper_per_k * (winding_c - 20.0)) / (1.0 + copper_per_k * 5.0);
  const double current_a = b->volt / (ohm + b->internal_ohm);
  return 12.0 / (current_a * current_a * ohm - (winding_c - 20.0) / 3.0);
}

/* One node is a quadrature over temperature; behind internal resistances below and above the winding's. */
static void one_node_reaches_a_temperature_after_the_integral_of_its_slowness(void **state)
{
  (void)state;
  gsl_integration_workspace *workspace = gsl_integration_workspace_alloc(200);
  const double internals_ohm[] = {0.0, 1.5, 9.0};
  for (int i = 0; i < 3; i++) {
    struct sb_model model = warm_model();
    model.supply.internal_resistance_ohm = internals_ohm[i];
    model.drive.limit_fraction = i == 2 ? 0.8 : 1.0; /* 9.6 V behind 0.64 of the internal resistance */
    const double duty = model.drive.limit_fraction;
    struct blocked blocked = {12.0 * duty, 4.0, internals_ohm[i] * duty * duty};
    const double settled_c = sb_warmth_steady(&model, SB_WARMTH_BLOCKED, 0.0).winding_c;
    const double limits_c[] = {20.5, 0.5 * (20.0 + settled_c), settled_c - 0.5};
    for (int k = 0; k < 3; k++) {
      double want_s = 0.0, error_s = 0.0;
      gsl_function function = {slowness, &blocked};
      assert_int_equal(
          gsl_integration_qags(&function, 20.0, limits_c[k], 0.0, 1e-12, 200, workspace, &want_s, &error_s),
          GSL_SUCCESS);
      const struct sb_warmth_reach reach = sb_warmth_reached(&model, SB_WARMTH_BLOCKED, 0.0, limits_c[k]);
      /* Close to the end an error in T of 1e-10 K, which the integrator may make, is 1e-10 / 0.5 of a time constant. */
      assert_near_rel(reach.time_s, want_s, 1e-9);
    }
  }
  gsl_integration_workspace_free(workspace);
}

/* Two nodes of a blocked motor from the definitions. */
static int blocked_rates(double t, const double y[], double dydt[], void *context)
{
  (void)t;
  const struct blocked *b = context;
  const double ohm = b->ohm * (1.0 + copper_per_k * (y[0] - 20.0)) / (1.0 + copper_per_k * 5.0);
  const double current_a = b->volt / (ohm + b->internal_ohm);
  dydt[0] = (current_a * current_a * ohm - (y[0] - y[1]) / 3.0) / 12.0;
  dydt[1] = ((y[0] - y[1]) / 3.0 - (y[1] - 20.0) / 5.0) / 90.0;
  return GSL_SUCCESS;
}

/* An explicit integrator up to the moment found must stand at the temperature asked for. */
static void two_nodes_stand_at_the_limit_at_the_time_found(void **state)
{
  (void)state;
  struct sb_model model = housed_model();
  model.supply.internal_resistance_ohm = 1.5;
  const double limits_c[] = {30.0, 80.0, 120.0};
  for (int k = 0; k < 3; k++) {
    struct blocked blocked = {12.0, 4.0, 1.5};
    gsl_odeiv2_system system = {blocked_rates, NULL, 2, &blocked};
    gsl_odeiv2_driver *driver = gsl_odeiv2_driver_alloc_y_new(&system, gsl_odeiv2_step_rk8pd, 1e-3, 1e-11, 1e-13);
    const struct sb_warmth_reach reach = sb_warmth_reached(&model, SB_WARMTH_BLOCKED, 0.0, limits_c[k]);
    double t = 0.0, y[2] = {20.0, 20.0};
    assert_int_equal(gsl_odeiv2_driver_apply(driver, &t, reach.time_s, y), GSL_SUCCESS);
    assert_near(y[0], limits_c[k], 1e-7); /* 1e-11 a step of some hundred, and the time's digits */
    assert_near(reach.at.winding_c, y[0], 1e-7);
    assert_near(reach.at.housing_c, y[1], 1e-7);
    gsl_odeiv2_driver_free(driver);
  }
}

static void what_lies_beyond_the_settled_temperature_is_never_reached(void **state)
{
  (void)state;
  struct sb_model model = housed_model();
  const double settled_c = sb_warmth_steady(&model, SB_WARMTH_BLOCKED, 0.0).winding_c;
  assert_true(isinf(sb_warmth_reached(&model, SB_WARMTH_BLOCKED, 0.0, settled_c + 0.01).time_s));
  assert_true(isfinite(sb_warmth_reached(&model, SB_WARMTH_BLOCKED, 0.0, settled_c - 0.01).time_s));
  assert_true(isinf(sb_warmth_reached(&model, SB_WARMTH_BLOCKED, 0.0, INFINITY).time_s));
  model.winding.start_c = 90.0;
  assert_near(sb_warmth_reached(&model, SB_WARMTH_BLOCKED, 0.0, 90.0).time_s, 0.0, 0.0);
  /* Starting warmer than it settles, the winding only cools. */
  model.winding.start_c = settled_c + 20.0;
  assert_true(isinf(sb_warmth_reached(&model, SB_WARMTH_BLOCKED, 0.0, settled_c + 30.0).time_s));
}

/* A housing hotter than it will stay lifts the winding above where it settles, for a while. */
static void a_hot_housing_lifts_a_cold_winding_beyond_where_it_settles(void **state)
{
  (void)state;
  struct sb_model model = housed_model();
  const double settled_c = sb_warmth_steady(&model, 0, 0.3).winding_c;
  model.winding.housing_start_c = settled_c + 100.0;
  const struct sb_warmth_reach reach = sb_warmth_reached(&model, 0, 0.3, settled_c + 20.0);
  assert_true(reach.time_s > 0.0 && isfinite(reach.time_s));
  assert_true(isinf(sb_warmth_reached(&model, 0, 0.3, settled_c + 101.0).time_s));
}

static void a_winding_alone_cools_by_the_logarithm(void **state)
{
  (void)state;
  const struct sb_model model = warm_model();
  const struct sb_warmth from = {110.0, 20.0};
  assert_near_rel(sb_warmth_cooling_s(&model.winding, &from, 80.0), 36.0 * log(90.0 / 60.0), 1e-12);
  assert_near(sb_warmth_cooling_s(&model.winding, &from, 115.0), 0.0, 0.0);
  assert_true(isinf(sb_warmth_cooling_s(&model.winding, &from, 20.0)));
}

static void a_winding_with_a_housing_cools_to_the_temperature_asked_for(void **state)
{
  (void)state;
  const struct sb_model model = housed_model();
  const struct sb_warmth from = {110.0, 70.0};
  const double cooling_s = sb_warmth_cooling_s(&model.winding, &from, 60.0);
  assert_near(sb_winding_warmed(&model.winding, &from, 0.0, cooling_s).winding_c, 60.0, 1e-11);
  assert_true(cooling_s > sb_warmth_cooling_s(&model.winding, &(struct sb_warmth){110.0, 20.0}, 60.0));
}

/* kt, ke and friction stay; the figures of the warm motor lead back to them. */
static void a_warm_motor_has_its_constants_and_more_resistance(void **state)
{
  (void)state;
  const struct sb_model cold = warm_model();
  const struct sb_warmth at_110 = {110.0, 20.0};
  const struct sb_model warm = sb_warmth_warm_model(&cold, &at_110);
  const double ratio = 1.0 + slope_per_k() * 85.0;
  assert_near_rel(warm.motor.resistance_ohm, 4.0 * ratio, 1e-14);
  struct sb_motor again = warm.motor;
  struct sb_error err = {SB_OK, ""};
  assert_int_equal(sb_motor_derive(&again, &err), SB_OK);
  assert_near_rel(again.kt_nm_a, cold.motor.kt_nm_a, 1e-13);
  assert_near_rel(again.ke_vs_rad, cold.motor.ke_vs_rad, 1e-13);
  assert_near_rel(again.friction_nm, cold.motor.friction_nm, 1e-13);
  assert_near_rel(again.resistance_ohm, warm.motor.resistance_ohm, 1e-13);
  assert_near(warm.control.sensor.reference_rad_s, cold.motor.no_load_speed_rad_s, 0.0);
  /* Its figures hold where it is warm: further warming starts from there. */
  assert_near_rel(sb_winding_resistance_ratio(&warm.winding, 110.0), 1.0, 1e-15);
  const struct sb_warmth at_25 = {25.0, 20.0};
  const struct sb_model back = sb_warmth_warm_model(&warm, &at_25);
  assert_near_rel(back.motor.resistance_ohm, 4.0, 1e-14);
}

/* The slow gear carries, at a reading u, K (kt (V - ke u w0) / R - Tf) : by hand from the warm resistance. */
static void the_thresholds_of_a_warm_motor_follow_from_its_resistance(void **state)
{
  (void)state;
  const struct sb_model cold = warm_model();
  const struct sb_warmth at_110 = {110.0, 20.0};
  const struct sb_model warm = sb_warmth_warm_model(&cold, &at_110);
  const struct sb_closed_form form = sb_closed_form_solve(&warm);
  const struct sb_motor *motor = &cold.motor;
  const double ohm = 4.0 * (1.0 + slope_per_k() * 85.0), w0 = motor->no_load_speed_rad_s;
  const double at_down = motor->kt_nm_a * (12.0 - motor->ke_vs_rad * 0.5 * w0) / ohm - motor->friction_nm;
  const double at_up = motor->kt_nm_a * (12.0 - motor->ke_vs_rad * 0.9 * w0) / ohm - motor->friction_nm;
  assert_near_rel(form.pairs[0].downshift_torque_nm, at_down * 4.0 * 0.95, 1e-12);
  assert_near_rel(form.pairs[0].upshift_torque_nm, at_up * 12.0 * 0.9, 1e-12);
  assert_near_rel(form.stall_torque_nm, motor->kt_nm_a * 12.0 / ohm - motor->friction_nm, 1e-12);
  assert_true(form.pairs[0].downshift_torque_nm < sb_closed_form_solve(&cold).pairs[0].downshift_torque_nm);
}

/* Idling, the motor warms by half a kelvin: its friction asks for a current of 0.2 A. */
static void the_least_loss_warms_too(void **state)
{
  (void)state;
  const struct sb_model model = warm_model();
  const double a = slope_per_k(), cold_k = 0.2 * 0.2 * 4.0 * 3.0;
  const double rise_k = cold_k * (1.0 - 5.0 * a) / (1.0 - a * cold_k);
  assert_true(rise_k < 0.5);
  assert_near_rel(sb_warmth_steady(&model, 0, 0.0).winding_c, 20.0 + rise_k, found);
}

/* The temperature at which it settles is come near to for ever. */
static void the_settled_temperature_itself_is_never_reached(void **state)
{
  (void)state;
  for (int k = 0; k < 20; k++) {
    const struct sb_model model = k % 2 == 0 ? warm_model() : housed_model();
    const double settled_c = sb_warmth_steady(&model, 0, 0.05 * k).winding_c;
    assert_true(isinf(sb_warmth_reached(&model, 0, 0.05 * k, settled_c).time_s));
  }
}

/* A housing of next to no capacity is a greater resistance between winding and ambient. */
static void a_housing_that_holds_nothing_is_a_resistance(void **state)
{
  (void)state;
  struct sb_model model = housed_model(), whole = warm_model();
  model.winding.housing_capacity_j_k = 1e-7;
  whole.winding.resistance_k_w = 8.0;
  const double time_s = sb_warmth_reached(&whole, SB_WARMTH_BLOCKED, 0.0, 80.0).time_s;
  assert_near_rel(sb_warmth_reached(&model, SB_WARMTH_BLOCKED, 0.0, 80.0).time_s, time_s, 1e-7);
}

/* How long a winding without a loss stays above what it has reached at a time. */
static double until_s(const struct sb_winding *winding, double from_s)
{
  const struct sb_warmth start = sb_winding_start(winding);
  const double limit_c = sb_winding_warmed(winding, &start, 0.0, from_s).winding_c;
  double last_s = from_s;
  while (sb_winding_warmed(winding, &start, 0.0, 1.001 * last_s).winding_c >= limit_c) last_s *= 1.001;
  return last_s;
}

/* Without a loss a hot housing warms the winding and both cool: how far it is above a limit is known in closed form. The limit is
 * chosen so that the winding is above it from some time on until 1.4 times that. */
static void a_limit_that_is_passed_for_a_while_is_not_overlooked(void **state)
{
  (void)state;
  for (double capacity_j_k = 20.0; capacity_j_k < 1000.0; capacity_j_k *= 1.4) {
    struct sb_model model = housed_model();
    model_set_currents(&model, 3.0, 0.0, 0.0);
    model.winding.housing_capacity_j_k = capacity_j_k;
    model.winding.housing_start_c = 120.0;
    model_finish(&model);
    const struct sb_warmth start = sb_winding_start(&model.winding);
    /* The later, the shorter is the while above what is reached then. */
    double from_s = 1.0;
    while (until_s(&model.winding, from_s) > 1.4 * from_s) from_s *= 1.01;
    const double limit_c = sb_winding_warmed(&model.winding, &start, 0.0, from_s).winding_c;
    const struct sb_warmth_reach reach = sb_warmth_reached(&model, 0, 0.0, limit_c);
    assert_near_rel(reach.time_s, from_s, 1e-6); /* the peak is flat */
    assert_near(reach.at.winding_c, limit_c, 1e-8);
  }
}

static int gsl_errors;

static void count_error(const char *reason, const char *file, int line, int code)
{
  (void)reason, (void)file, (void)line, (void)code;
  gsl_errors++;
}

/* It is the caller's own, which is not called and in force again afterwards. */
static void times_are_found_without_the_handler_of_gsl(void **state)
{
  (void)state;
  gsl_errors = 0;
  gsl_error_handler_t *before = gsl_set_error_handler(count_error);
  for (int is_housed = 0; is_housed < 2; is_housed++) {
    const struct sb_model model = is_housed ? housed_model() : warm_model();
    assert_true(isfinite(sb_warmth_reached(&model, SB_WARMTH_BLOCKED, 0.0, 60.0).time_s));
    assert_true(isfinite(sb_warmth_reached(&model, 0, 0.9, 22.0).time_s));
  }
  assert_ptr_equal(gsl_set_error_handler(before), count_error);
  assert_int_equal(gsl_errors, 0);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_blocked_motor_settles_at_the_root_of_its_quadratic),
      cmocka_unit_test(a_constant_torque_settles_at_the_root_of_its_line),
      cmocka_unit_test(a_load_beyond_stall_is_a_blocked_shaft),
      cmocka_unit_test(a_current_that_the_load_forces_runs_away),
      cmocka_unit_test(without_cooling_a_blocked_motor_warms_by_the_integral_of_its_resistance),
      cmocka_unit_test(one_node_reaches_a_temperature_after_the_integral_of_its_slowness),
      cmocka_unit_test(two_nodes_stand_at_the_limit_at_the_time_found),
      cmocka_unit_test(what_lies_beyond_the_settled_temperature_is_never_reached),
      cmocka_unit_test(a_hot_housing_lifts_a_cold_winding_beyond_where_it_settles),
      cmocka_unit_test(a_winding_alone_cools_by_the_logarithm),
      cmocka_unit_test(a_winding_with_a_housing_cools_to_the_temperature_asked_for),
      cmocka_unit_test(a_warm_motor_has_its_constants_and_more_resistance),
      cmocka_unit_test(the_thresholds_of_a_warm_motor_follow_from_its_resistance),
      cmocka_unit_test(the_least_loss_warms_too),
      cmocka_unit_test(the_settled_temperature_itself_is_never_reached),
      cmocka_unit_test(a_housing_that_holds_nothing_is_a_resistance),
      cmocka_unit_test(a_limit_that_is_passed_for_a_while_is_not_overlooked),
      cmocka_unit_test(times_are_found_without_the_handler_of_gsl),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
