// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Closed forms of a motor whose driver limits the current, against figures worked out by hand and against the simulator. The
 * run-up: 24 V, k = 0.05, 0.5 ohm, J = 0.01 kg m^2, 20 A, a load of 0.2 N m. 0.8 N m speed it up by 80 rad/s^2 to the corner at 280
 * rad/s, in 3.5 s; from there with a time constant of J R / k^2 = 2 s towards 440 rad/s: 400 rad/s after 2 ln 4 s more.
 */
#include "help/driven.h"

#include <gsl/gsl_math.h>

#include "help/dice.h"
#include "help/plane.h"
#include "shiftband/closed_form.h"
#include "theory/shift.h"
#include "theory/steady.h"
#include "theory/torque_balance.h"

static const double rounding = 1e-12;

static struct sb_model run_up_model(void)
{
  struct sb_model model = model_blank();
  model.motor = (struct sb_motor){.nominal_voltage_v = 24.0,
                                  .has_currents = true,
                                  .no_load_speed_rad_s = 480.0,
                                  .stall_torque_nm = 2.4,
                                  .stall_current_a = 48.0,
                                  .rotor_inertia_kg_m2 = 0.01};
  model.supply = (struct sb_supply){.open_circuit_voltage_v = 24.0, .current_limit_a = 20.0};
  model_add_gear(&model, 1.0, 1.0, true);
  model_add_constant(&model, 0.2, true);
  model.load.inertia_kg_m2 = 1e-12;
  model_finish(&model);
  return model;
}

static struct sb_load_moment moment_of(double resisting_nm)
{
  return (struct sb_load_moment){.resisting_nm = resisting_nm, .hold_nm = resisting_nm};
}

static void a_run_up_has_two_phases(void **state)
{
  (void)state;
  struct sb_model model = run_up_model();
  const struct sb_load_moment load = moment_of(0.2);
  const struct sb_motor_line line = sb_torque_balance_line(&model);
  assert_near(sb_theory_climb_s(&model, &line, 0, &load, 0.0, 280.0), 3.5, 1e-8);
  assert_near(sb_theory_climb_s(&model, &line, 0, &load, 0.0, 400.0), 6.272588722, 1e-8);
  model.supply.current_limit_a = 0.0;
  const struct sb_motor_line free = sb_torque_balance_line(&model);
  assert_near(sb_theory_climb_s(&model, &free, 0, &load, 0.0, 400.0), 4.795790546, 1e-8);
}

/*
 * Before an arm engages the motor turns alone: 1 N m speeds it up by 100 rad/s^2, 50 rad in 1 s, to the corner at 280 rad/s after 392 rad and
 * 2.8 s. From there it nears 480 rad/s; half of the gap is gone after 2 ln 2 s and another 960 ln 2 - 200 rad.
 */
static void an_arm_swings_in_two_phases(void **state)
{
  (void)state;
  const double turned_rad[] = {0.0, 50.0, 192.0 + 960.0 * M_LN2};
  const double want_s[] = {0.0, 1.0, 2.8 + 2.0 * M_LN2}, want_rad_s[] = {0.0, 100.0, 380.0};
  const struct sb_load_moment nothing = {0};
  for (int k = 0; k < 3; k++) {
    struct sb_model model = run_up_model();
    model_add_gear(&model, 2.0, 1.0, false);
    model.shifter.ops = sb_shifter_kind_find("swing arm");
    model.shifter.swing_turns = turned_rad[k] / (2.0 * M_PI);
    model_finish(&model);
    const struct sb_motor_line line = sb_torque_balance_line(&model);
    const struct sb_shift_figures shift = sb_theory_shift(&model, &line, 0, 1, &nothing, 0.0);
    assert_near(shift.time_s, want_s[k], 1e-9);
    assert_near(shift.motor_speed_rad_s, want_rad_s[k], 1e-7);
  }
}

/* 1190 J to the corner: 490 J are at the shaft, 700 J heat. */
static void its_energy_closes_by_the_chopper_rule(void **state)
{
  (void)state;
  const struct sb_model model = run_up_model();
  const struct driven at_corner = drive(&model, 0, NULL, 0, 3.5);
  assert_near(at_corner.row.motor_speed_rad_s, 280.0, 1e-7);
  assert_near(at_corner.sums.energy.given, 1190.0, 1e-6);
  assert_near(at_corner.sums.energy.winding_loss, 700.0, 1e-9);
  assert_near(at_corner.sums.energy.load_work + at_corner.sums.energy.kinetic, 490.0, 1e-6);
  assert_near(at_corner.sums.current_held_s, 3.5, 1e-7);
  assert_near(at_corner.sums.motor_current_a.value, 20.0, rounding);
  assert_true(sb_energy_residual_ratio(&at_corner.sums.energy) < 1e-13);
}

static void a_load_beyond_the_limit_stalls_whatever_the_voltage(void **state)
{
  (void)state;
  struct sb_model model = run_up_model();
  const struct sb_motor_line line = sb_torque_balance_line(&model);
  assert_near_rel(sb_steady_stall_nm(&model, &line, 0), 1.0, rounding);
  assert_near_rel(sb_steady_speed_rad_s(&model, &line, 0, 0.999999), 280.0, 1e-3);
  assert_true(sb_steady_speed_rad_s(&model, &line, 0, 1.000001) == 0.0);
  model.load.parts[0].torque_nm = 1.2;
  assert_true(isinf(sb_closed_form_solve(&model).gears[0].least_voltage_v));
  model.load.parts[0].torque_nm = 0.5; /* 10 A through 0.5 ohm */
  assert_near_rel(sb_closed_form_solve(&model).gears[0].least_voltage_v, 5.0, rounding);
}

/*
 * At half the duty, 0.9 N m that drive the motor bring it to k w = 12 V + 0.5 ohm 18 A, 420 rad/s. 1.5 N m ask for 30 A back: the driver holds
 * 20 A by a greater duty, and the load runs away until the whole one lets 30 A flow, k w = 24 V + 0.5 ohm 30 A, 780 rad/s.
 */
static void a_load_that_drives_harder_than_the_limit_runs_away_to_the_full_duty(void **state)
{
  (void)state;
  static const double load_nm[] = {-0.9, -1.5}, want_rad_s[] = {420.0, 780.0};
  for (int k = 0; k < 2; k++) {
    struct sb_model model = run_up_model();
    model.drive.limit_fraction = 0.5;
    model.load.part_count = 0;
    model_add_constant(&model, load_nm[k], false);
    model_finish(&model);
    const struct sb_motor_line line = sb_torque_balance_line(&model);
    assert_near_rel(sb_steady_speed_rad_s(&model, &line, 0, load_nm[k]), want_rad_s[k], rounding);
    const struct driven late = drive(&model, 0, NULL, 0, 60.0); /* thirty time constants */
    assert_near_rel(fabs(late.row.motor_speed_rad_s), want_rad_s[k], 1e-9);
  }
}

/* A fan's torque grows with its speed: it finds its balance where the current is held. */
static void a_fan_settles_below_the_corner(void **state)
{
  (void)state;
  struct sb_model model = run_up_model();
  model.load.part_count = 0;
  model_add_quadratic(&model, 1.0 / (200.0 * 200.0));
  model_finish(&model);
  const struct sb_motor_line line = sb_torque_balance_line(&model);
  assert_near_rel(sb_steady_speed_rad_s(&model, &line, 0, 0.0), 200.0, rounding);
  model.run.step_s = 1e-2;
  const struct driven late = drive(&model, 0, NULL, 0, 60.0);
  assert_near_rel(late.row.motor_speed_rad_s, 200.0, 1e-9);
}

/* Below the corner the readings of duty and current stand still or turn back: no load is heavy enough for a threshold beyond. */
static void readings_end_at_the_corner(void **state)
{
  (void)state;
  struct sb_model model = run_up_model();
  model.control.sensor.quantity = SB_SENSES_CURRENT;
  model.control.sensor.reference_a = 48.0;
  const struct sb_motor_line line = sb_torque_balance_line(&model);
  assert_true(isinf(sb_steady_point(&model, &line, 1.0 - 21.0 / 48.0).motor_nm));
  assert_near_rel(sb_steady_point(&model, &line, 1.0 - 19.0 / 48.0).motor_nm, 0.95, rounding);
  model.control.sensor.quantity = SB_SENSES_DUTY;
  model.drive.mode = SB_DRIVE_SPEED_CONTROL;
  model.drive.target_rad_s = 200.0;
  /* At 200 rad/s 20 A take (10 + 10) V of 24. */
  assert_true(isinf(sb_steady_point(&model, &line, 1.0 - 0.84).motor_nm));
  assert_near_rel(sb_steady_point(&model, &line, 1.0 - 0.8).motor_nm, 0.05 * (0.8 * 24.0 - 10.0) / 0.5, rounding);
}

/* At a speed w the driver takes the duty u that brings I through R: u V = ke w + R I with V = Voc - Ri u I, a quadratic whose smaller
 * root counts. A reading against the voltage there is w / ref (Vn - drop) / (V - drop), and leads back to w. */
static void against_a_measured_supply_one_speed_below_the_corner_has_a_reading(void **state)
{
  (void)state;
  const double i_a = 20.0, r_ohm = 0.5, ri_ohm = 0.3, ke = 0.05, voc_v = 24.0, drop_v = 2.0, ref_rad_s = 400.0;
  struct sb_model model = run_up_model();
  model.supply.internal_resistance_ohm = ri_ohm;
  model.control.sensor.reference_rad_s = ref_rad_s;
  model.control.sensor.supply = (struct sb_supply_sensor){.is_present = true, .nominal_v = 24.0, .drop_v = drop_v};
  const struct sb_motor_line line = sb_torque_balance_line(&model);
  for (double speed = 40.0; speed < 160.0; speed += 7.0) { /* the corner: 24 - 0.8 x 20 V */
    const double need_v = ke * speed + r_ohm * i_a;
    const double duty = (voc_v - sqrt(voc_v * voc_v - 4.0 * ri_ohm * i_a * need_v)) / (2.0 * ri_ohm * i_a);
    const double seen_v = voc_v - ri_ohm * duty * i_a;
    const double reading = speed / ref_rad_s * (24.0 - drop_v) / (seen_v - drop_v);
    assert_near_rel(sb_steady_point(&model, &line, reading).speed_rad_s, speed, 1e-13);
    assert_near_rel(sb_steady_point(&model, &line, reading).motor_nm, 1.0, rounding);
  }
}

/* Shifts and climbs of random boxes take as long as in the simulator. */
static void closed_forms_and_simulator_agree(void **state)
{
  (void)state;
  static const char *const kinds[] = {"selector", "swing arm", "clutch"};
  gsl_rng *dice = dice_of(7);
  int compared = 0;
  for (int run = 0; run < 90; run++) {
    struct sb_model model = model_two_gears(kinds[run % 3]);
    model_set_currents(&model, 2.6, plane_between(dice, 0.0, 0.2), plane_between(dice, 0.0, 0.6));
    model.supply.current_limit_a = plane_between(dice, 0.4, 2.0);
    model.shifter.travel_time_s = 1e-3 * floor(plane_between(dice, 20.0, 200.0));
    model.shifter.clutch_nm = plane_between(dice, 0.6, 0.9); /* more than the motor's own torque: it never slips on */
    model.run.step_s = 1e-3;
    const double load_nm = plane_between(dice, 0.02, 0.3);
    model_add_constant(&model, load_nm, true);
    model_add_viscous(&model, plane_between(dice, 0.0, 0.01));
    model_finish(&model);
    const struct sb_load_moment load = moment_of(load_nm);
    const struct sb_motor_line line = sb_torque_balance_line(&model);
    const struct driven before = drive(&model, 0, NULL, 0, 0.3);
    const double start = fabs(before.row.motor_speed_rad_s);
    const struct sb_shift_figures shift = sb_theory_shift(&model, &line, 0, 1, &load, start);
    if (!(start > 1.0) || isinf(shift.time_s)) continue;
    const double end_s = 0.3 + 1e-3 * floor(1e3 * (shift.time_s + plane_between(dice, 0.02, 0.1)));
    const struct driven after = drive(&model, 0, (struct oracle_command[]){{0.3, 1}}, 1, end_s);
    const double engaged_s = driven_time_s(&after.seen, SB_EVENT_ENGAGED, 0);
    if (isnan(engaged_s)) continue;
    assert_near(engaged_s - 0.3, shift.time_s, 1e-8);
    const double speed = fabs(after.row.motor_speed_rad_s);
    if (!(speed > shift.joined_speed_rad_s * 1.001) || driven_count(&after.seen, SB_EVENT_STOPPED) > 0) continue;
    const double climb_s = sb_theory_climb_s(&model, &line, 1, &load, shift.joined_speed_rad_s, speed);
    assert_near(climb_s, end_s - engaged_s, 1e-7);
    compared++;
  }
  gsl_rng_free(dice);
  assert_true(compared > 30);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_run_up_has_two_phases),
      cmocka_unit_test(an_arm_swings_in_two_phases),
      cmocka_unit_test(its_energy_closes_by_the_chopper_rule),
      cmocka_unit_test(a_load_beyond_the_limit_stalls_whatever_the_voltage),
      cmocka_unit_test(a_load_that_drives_harder_than_the_limit_runs_away_to_the_full_duty),
      cmocka_unit_test(a_fan_settles_below_the_corner),
      cmocka_unit_test(readings_end_at_the_corner),
      cmocka_unit_test(against_a_measured_supply_one_speed_below_the_corner_has_a_reading),
      cmocka_unit_test(closed_forms_and_simulator_agree),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
