// SPDX-License-Identifier: GPL-3.0-or-later
/* The machine on the bench: what parameters make of it, and what each reading of points should have been, by hand. */
#include <string.h>

#include "fit/bench.h"
#include "help/fit_data.h"
#include "help/loaded.h"

enum { INERTIA = SB_FIT_P_ROTOR_INERTIA, FRICTION = SB_FIT_P_FRICTION_SHARE, SPEED = SB_FIT_P_NO_LOAD_SPEED };

static struct sb_bench bench; /* large, hence not on the stack */
static struct sb_fit_setup bench_setup;
static struct sb_log bench_log;

static void take_log(const char *text)
{
  struct sb_error err = {0};
  bench_log = fit_read("points.csv", text, strlen(text));
  if (sb_bench_init(&bench, &bench_setup, &bench_log, 1, &err) != SB_OK) fail_msg("%s", err.text);
}

static void clear(void)
{
  sb_bench_clear(&bench);
  sb_log_clear(&bench_log);
}

/* 12 V, 300 rad/s, 0.1 N m, 2 A, of which 0.2 A run it free; 1e-5 N m s / rad of its friction are viscous. */
static void take_motor(void)
{
  bench.p[SPEED] = 300.0;
  bench.p[SB_FIT_P_STALL_TORQUE] = 0.1;
  bench.p[SB_FIT_P_STALL_CURRENT] = 2.0;
  bench.p[FRICTION] = 0.1;
  bench.p[INERTIA] = 1e-5;
  bench.p[SB_FIT_P_VISCOUS] = 1e-5;
}

/* Ts = kt Is - Tf and kt I0 = Tf + b w0: kt (Is - I0) = Ts - b w0. */
static double kt_of(void)
{
  return (0.1 - 1e-5 * 300.0) / (2.0 - 0.2);
}

static double figure(enum sb_fit_figure_kind kind)
{
  return sb_bench_figure(&bench, bench.p, kind);
}

static void figures_of_a_bare_motor_follow_from_its_parameters(void **state)
{
  (void)state;
  bench_setup = fit_setup();
  take_log("torque_nm,speed_rad_s,current_a\n0,300,0.2\n0.05,150,1.1\n");
  take_motor();
  const double friction_nm = kt_of() * 0.2 - 1e-5 * 300.0;
  assert_near_rel(figure(SB_FIT_NO_LOAD_SPEED), 300.0, 1e-15);
  assert_near_rel(figure(SB_FIT_STALL_TORQUE), 0.1, 1e-15);
  assert_near_rel(figure(SB_FIT_STALL_CURRENT), 2.0, 1e-15);
  assert_near_rel(figure(SB_FIT_NO_LOAD_CURRENT), 0.2, 1e-14);
  assert_near_rel(figure(SB_FIT_ROTOR_INERTIA), 1e-5, 1e-15);
  assert_near_rel(figure(SB_FIT_RESISTANCE), 6.0, 1e-14);
  assert_near_rel(figure(SB_FIT_KE), (12.0 - 0.2 * 6.0) / 300.0, 1e-14);
  assert_near_rel(figure(SB_FIT_KT), kt_of(), 1e-14);
  assert_near_rel(figure(SB_FIT_KT_OVER_KE), kt_of() / 0.036, 1e-14);
  assert_near_rel(figure(SB_FIT_MOTOR_FRICTION), friction_nm, 1e-12);
  assert_near_rel(figure(SB_FIT_MOTOR_VISCOUS), 1e-5, 1e-15);
  assert_near_rel(figure(SB_FIT_TIME_CONSTANT), 1e-5 * 300.0 / 0.1, 1e-14);
  assert_near_rel(figure(SB_FIT_TORQUE_OVER_INERTIA), 1e4, 1e-14);
  assert_near_rel(figure(SB_FIT_FRICTION_OVER_INERTIA), friction_nm / 1e-5, 1e-12);
  assert_near_rel(figure(SB_FIT_VISCOUS_OVER_INERTIA), 1.0, 1e-14);
  assert_true(isnan(figure(SB_FIT_MESH_EFFICIENCY)) && isnan(figure(SB_FIT_LOAD_FRICTION)));
  assert_true(isnan(figure(SB_FIT_LOAD_VISCOUS)) && isnan(figure(SB_FIT_LOAD_INERTIA)));
  clear();
}

/* Each gauge reads so many times the truth; torques and voltages are then set right before they are used. */
static void readings_of_points_are_those_of_the_motors_line(void **state)
{
  (void)state;
  enum { COUNT = 4 };
  static const double torques[COUNT] = {0.0, 0.05, 0.02, 0.08}, volts[COUNT] = {12.0, 12.0, 6.0, 9.0};
  struct sb_bench_place place;
  double computed[2 * COUNT];
  bench_setup = fit_setup();
  take_log("torque_nm,speed_rad_s,current_a,voltage_v\n0,300,0.2,12\n0.05,150,1.1,12\n0.02,60,0.4,6\n0.08,10,1.5,9\n");
  take_motor();
  assert_int_equal(bench.reading_count, 2 * COUNT);
  for (int has_gains = 0; has_gains < 2; has_gains++) {
    const double torque_gain = has_gains ? 1.1 : 1.0, speed_gain = has_gains ? 0.9 : 1.0;
    const double current_gain = has_gains ? 1.2 : 1.0, voltage_gain = has_gains ? 0.8 : 1.0;
    bench.gains[SB_FIT_GAUGE_TORQUE] = torque_gain;
    bench.gains[SB_FIT_GAUGE_SPEED] = speed_gain;
    bench.gains[SB_FIT_GAUGE_CURRENT] = current_gain;
    bench.gains[SB_FIT_GAUGE_VOLTAGE] = voltage_gain;
    place = sb_bench_place_now(&bench);
    assert_int_equal(sb_predict(&bench, place.p, place.own, computed), 0);
    for (size_t i = 0; i < bench.reading_count; i++) {
      const struct sb_bench_reading *reading = &bench.readings[i];
      const double volt = volts[reading->row] / voltage_gain, torque = torques[reading->row] / torque_gain;
      /* (kt u / R - Tf - T) / (kt ke / R + b), and kt I = T + Tf + b w. */
      const double friction_nm = kt_of() * 0.2 - 1e-5 * 300.0;
      const double speed = (kt_of() * volt / 6.0 - friction_nm - torque) / (kt_of() * 0.036 / 6.0 + 1e-5);
      const double current = (torque + friction_nm + 1e-5 * speed) / kt_of();
      const bool is_current = reading->column == SB_LOG_MOTOR_CURRENT;
      assert_near_rel(computed[i], is_current ? current * current_gain : speed * speed_gain, 1e-11);
    }
  }
  clear();
}

static void take_cart(const char *set)
{
  const char *const sets[] = {"load.parts=[]", set};
  char path[256];
  snprintf(path, sizeof path, "%s/scenarios/tray-cart.yaml", SB_SOURCE_DIR);
  loaded_take(path, sets, set != NULL ? 2 : 1);
  bench_setup = fit_exact(sb_fit_setup_default(&loaded_scenario.model));
}

/* Meshes of 0.9 instead of 0.96: a back efficiency that follows them goes with them, one that is given stays. */
static void a_fitted_mesh_efficiency_takes_the_back_efficiency_with_it_where_that_follows(void **state)
{
  (void)state;
  static const char *const sets[] = {"gearbox.mesh_efficiency=0.96", "gearbox.back_efficiency=auto",
                                     "gearbox.back_efficiency=0.5"};
  for (int k = 0; k < 3; k++) {
    struct sb_model machine;
    take_cart(sets[k]);
    take_log("torque_nm,gear,output_speed_rad_s\n0.1,2,5\n0.2,2,4\n0.1,1,3\n");
    struct sb_error err = {0};
    assert_int_equal(sb_bench_start(&bench, &err), SB_OK);
    bench.p[SB_FIT_P_MESH_EFFICIENCY] = 0.9;
    assert_true(sb_bench_machine(&bench, bench.p, 0.0, &machine));
    for (int g = 0; g < 2; g++) {
      const double efficiency = pow(0.9, g == 0 ? 3.0 : 2.0); /* meshes of the gear */
      assert_near_rel(machine.gearbox.gears[g].efficiency, efficiency, 1e-12);
      assert_near_rel(machine.gearbox.gears[g].back_efficiency,
                      k == 0   ? efficiency
                      : k == 1 ? 2.0 - 1.0 / efficiency
                               : 0.5,
                      1e-12);
    }
    clear();
    sb_scenario_clear(&loaded_scenario);
  }
}

/* e to the tenth of an e-fold, a tenth of the scale, a tenth of the log's own. */
static void unknowns_are_factors_of_what_is_positive_and_steps_of_the_rest(void **state)
{
  (void)state;
  double x[4], p[SB_FIT_PARAMETER_COUNT], own[SB_FIT_LOG_MAX][SB_OWN_COUNT];
  bench_setup = fit_setup();
  take_log("torque_nm,speed_rad_s\n0,300\n0.05,150\n");
  take_motor();
  memset(bench.is_free, 0, sizeof bench.is_free);
  bench.is_free[SPEED] = bench.is_free[FRICTION] = true;
  bench.scale[FRICTION] = 0.2;
  bench.tests[0].is_own_free[SB_OWN_OFF] = true;
  bench.tests[0].own[SB_OWN_OFF] = 3.0;
  bench.tests[0].own_scale[SB_OWN_OFF] = 0.5;
  assert_int_equal(sb_bench_unknown_count(&bench), 3);
  sb_bench_pack(&bench, x);
  for (int j = 0; j < 3; j++) x[j] += 0.1;
  sb_bench_unpack(&bench, x, p, own);
  assert_near_rel(p[SPEED], 300.0 * exp(0.1), 1e-12);
  assert_near(p[FRICTION], 0.1 + 0.1 * 0.2, 1e-12);
  assert_near(p[INERTIA], 1e-5, 0.0);
  assert_near(own[0][SB_OWN_OFF], 3.05, 1e-12);
  clear();
}

/* The motor turns at 300 and 150 rad/s. To be off by 15 of 300 is 0.05; by 150 it is no worse than by 30. */
static void a_start_is_judged_by_deviations_cut_at_a_tenth(void **state)
{
  (void)state;
  double computed[4];
  bench_setup = fit_setup();
  take_log("torque_nm,speed_rad_s\n0,300\n0.05,165\n0.05,0.001\n");
  take_motor();
  assert_near_rel(sb_bench_cost(&bench, computed), 0.05 + 0.1, 1e-9);
  bench.p[FRICTION] = 1.5; /* no motor runs on more than its stall current */
  assert_true(isinf(sb_bench_cost(&bench, computed)));
  clear();
}

/* Gear 2 to gear 1 between 0.4 s and 0.5 s, as in any log of a controller. */
static void what_one_believes_of_a_machine_counts_in_units_of_what_is_common(void **state)
{
  (void)state;
  double off[16], weights[16];
  take_cart(NULL);
  take_log("time_s,gear,motor_speed_rpm\n0.0,2,200\n0.1,2,200\n0.2,2,200\n0.3,2,200\n0.4,2,200\n0.5,1,210\n0.6,1,220\n"
           "0.7,1,230\n0.8,1,240\n");
  struct sb_error err = {0};
  assert_int_equal(sb_bench_start(&bench, &err), SB_OK);
  struct sb_bench_place place = sb_bench_place_now(&bench);
  memcpy(place.p, bench.prior, sizeof place.p);
  place.p[INERTIA] *= 2.0;
  place.p[SB_FIT_P_MESH_EFFICIENCY] = 1.05;
  place.p[SB_FIT_P_LOAD_FRICTION] = -0.01;
  place.p[SB_FIT_P_VISCOUS] = 0.01;
  place.own[0][SB_OWN_EVENT] = 0.47;
  assert_int_equal(sb_bench_priors(&bench, place.p, place.own, off, weights), SB_FIT_PARAMETER_COUNT + 1);
  for (int j = 0; j < SB_FIT_PARAMETER_COUNT; j++) {
    assert_near(off[j],
                j == INERTIA                    ? log(2.0)
                : j == SB_FIT_P_MESH_EFFICIENCY ? hypot(log(1.05 / 0.96) / 0.25, log(1.05) / 0.05)
                : j == SB_FIT_P_LOAD_FRICTION   ? -0.01 / (0.1 * bench.scale[j])
                                                : 0.0,
                1e-9);
    assert_near(weights[j], 1.0, 0.0);
  }
  /* Two hundredths of a second behind the middle of a pause of a tenth. */
  assert_near(off[SB_FIT_PARAMETER_COUNT], 0.2, 1e-9);
  clear();
  sb_scenario_clear(&loaded_scenario);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(figures_of_a_bare_motor_follow_from_its_parameters),
      cmocka_unit_test(readings_of_points_are_those_of_the_motors_line),
      cmocka_unit_test(a_fitted_mesh_efficiency_takes_the_back_efficiency_with_it_where_that_follows),
      cmocka_unit_test(unknowns_are_factors_of_what_is_positive_and_steps_of_the_rest),
      cmocka_unit_test(a_start_is_judged_by_deviations_cut_at_a_tenth),
      cmocka_unit_test(what_one_believes_of_a_machine_counts_in_units_of_what_is_common),
  };
  return cmocka_run_group_tests_name("fit bench", tests, NULL, NULL);
}
