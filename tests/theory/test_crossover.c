// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Where one of two gears begins to be the better one: textbook statement and its closed forms on a line motor, a run up to speed by
 * GSL's integrator, and definitions tried on random boxes.
 *
 * Textbook: the shift for best acceleration is where the curves of excess traction of neighbouring gears cross (lecture on vehicle
 * dynamics, euromotor.org, presentation 7, slide 16). Figures for a motor of w0 = 500 rad/s, Ts = 1 N m and reductions 20 and 10
 * follow from T = Ts (1 - w / w0) with pen and paper.
 */
#include <gsl/gsl_errno.h>
#include <gsl/gsl_odeiv2.h>
#include <math.h>

#include "help/box.h"
#include "help/dice.h"
#include "help/near.h"
#include "help/plane.h"
#include "oracle/brent.h"
#include "shiftband/closed_form.h"
#include "shiftband/crossover.h"
#include "theory/steady.h"
#include "theory/torque_balance.h"

static struct sb_model line_box(double rotor_kg_m2, double slow_efficiency, double fast_efficiency)
{
  struct sb_model model = box_line(500.0, 1.0, rotor_kg_m2, 10.0);
  box_add_gear(&model, 20.0, slow_efficiency);
  box_add_gear(&model, 10.0, fast_efficiency);
  return model;
}

/* W = w0 / (Ns + Nf) = 16.666667 rad/s; the motor at 2/3 of w0 in the slower gear, at 1/3 in the faster one. */
static void gears_of_equal_efficiency_meet_where_the_sum_of_reductions_says(void **state)
{
  (void)state;
  const struct sb_model model = line_box(1e-9, 1.0, 1.0);
  const struct sb_crossover crossover = sb_crossover_solve(&model, 0);
  assert_near(crossover.output_speed_rad_s, 500.0 / 30.0, 1e-10);
  assert_near(crossover.slower_reading, 2.0 / 3.0, 1e-12);
  assert_near(crossover.faster_reading, 1.0 / 3.0, 1e-12);
  assert_near(crossover.load_nm, 20.0 / 3.0, 1e-10);
  assert_near(crossover.acceleration_speed_rad_s, 500.0 / 30.0, 1e-6); /* a rotor without inertia */
  assert_int_equal(crossover.ahead, SB_AHEAD_NEITHER);
}

/* W = w0 (e1 N1 - e2 N2) / (e1 N1^2 - e2 N2^2) = 16.037736 rad/s for 0.9 and 0.95: loss moves the point down. */
static void losses_move_the_meeting_down(void **state)
{
  (void)state;
  const struct sb_model model = line_box(1e-9, 0.9, 0.95);
  assert_near(sb_crossover_solve(&model, 0).output_speed_rad_s, 500.0 * (18.0 - 9.5) / (360.0 - 95.0), 1e-10);
  assert_near(sb_crossover_solve(&model, 0).output_speed_rad_s, 16.037736, 5e-7);
}

/* A rotor of 0.005 kg m2 before an output of 10 kg m2, 2 N m of load: accelerations cross at 15.5 rad/s, without load at 15; with
 * load and no rotor at 16.666667. */
static void the_rotors_inertia_moves_the_place_of_best_acceleration_down(void **state)
{
  (void)state;
  struct sb_model model = line_box(0.005, 1.0, 1.0);
  assert_near(sb_crossover_solve(&model, 0).acceleration_speed_rad_s, 15.0, 1e-9);
  box_add_constant(&model, 2.0, true);
  assert_near(sb_crossover_solve(&model, 0).acceleration_speed_rad_s, 15.5, 1e-9);
  assert_near(sb_crossover_solve(&model, 0).output_speed_rad_s, 500.0 / 30.0, 1e-10); /* that of steady states stays */
  struct sb_model light = line_box(1e-9, 1.0, 1.0);
  box_add_constant(&light, 2.0, true);
  assert_near(sb_crossover_solve(&light, 0).acceleration_speed_rad_s, 500.0 / 30.0, 1e-6);
}

/* Of gears of 0.9 and 0.95 each accelerates with (N eta (1 - N W / 500) - 2) / (10 + eta N^2 Jm): they cross where both lines do. The lightest
 * load counts, and a speed control that holds the motor below its place there leaves none. */
static void losses_and_the_lightest_load_move_the_place_of_best_acceleration(void **state)
{
  (void)state;
  static const double x[] = {0.0, 5.0}, torque_nm[] = {2.0, 5.0};
  struct sb_model model = line_box(0.005, 0.9, 0.95);
  box_add_part(&model, "profile", (struct sb_load_part){.is_resisting = true, .table = {2, x, torque_nm}});
  double push[2], slope[2];
  for (int k = 0; k < 2; k++) {
    const double n = k == 0 ? 20.0 : 10.0, eta = k == 0 ? 0.9 : 0.95, inertia = 10.0 + eta * n * n * 0.005;
    push[k] = (n * eta - 2.0) / inertia;
    slope[k] = n * n * eta / 500.0 / inertia;
  }
  const double want_rad_s = (push[0] - push[1]) / (slope[0] - slope[1]);
  assert_near(sb_crossover_solve(&model, 0).acceleration_speed_rad_s, want_rad_s, 1e-9);
  model.drive.mode = SB_DRIVE_SPEED_CONTROL;
  model.drive.target_rad_s = 20.0 * want_rad_s + 1.0;
  assert_near(sb_crossover_solve(&model, 0).acceleration_speed_rad_s, want_rad_s, 1e-9);
  model.drive.target_rad_s = 20.0 * want_rad_s - 1.0;
  assert_true(isnan(sb_crossover_solve(&model, 0).acceleration_speed_rad_s));
}

/* What the cells give, the loss in them, too: I = (TL / N + Tf) / k, w = (V - (R + Ri) I) / k, and Voc I 2 pi N / w for a turn of the
 * output. Two gears of equal losses and 24 V, k 0.2, R 2 ohm, Ri 0.5 ohm, Tf 0.01 N m. */
static void a_turn_takes_what_kirchhoff_says(void **state)
{
  (void)state;
  struct sb_model model = box_constants(24.0, 0.2, 2.0, 0.01, 1e-4, 1e-3);
  model.supply.internal_resistance_ohm = 0.5;
  box_add_gear(&model, 10.0, 1.0);
  box_add_gear(&model, 4.0, 1.0);
  for (int gear = 0; gear < 2; gear++) {
    const double n = gear == 0 ? 10.0 : 4.0, current_a = (1.2 / n + 0.01) / 0.2;
    const double speed_rad_s = (24.0 - 2.5 * current_a) / 0.2;
    const double turn_j = 24.0 * current_a * 2.0 * acos(-1.0) * n / speed_rad_s;
    assert_near_rel(sb_crossover_turn_j(&model, gear, 1.2), turn_j, 1e-12);
  }
}

/* ---- a run up to speed, shifted at an output speed ---- */

struct run_up {
  double reduction, load_nm, rotor_kg_m2;
};

/* The time is integrated over the speed: dt/dW = J / (N T - TL). */
static int slowness(double output_rad_s, const double *y, double *dt_dw, void *context)
{
  const struct run_up *up = context;
  (void)y;
  const double n = up->reduction, motor_nm = 1.0 - n * output_rad_s / 500.0;
  dt_dw[0] = (10.0 + n * n * up->rotor_kg_m2) / (n * motor_nm - up->load_nm);
  return GSL_SUCCESS;
}

static double run_up_s(struct run_up up, double from_rad_s, double to_rad_s)
{
  gsl_odeiv2_system system = {slowness, NULL, 1, &up};
  gsl_odeiv2_driver *driver = gsl_odeiv2_driver_alloc_y_new(&system, gsl_odeiv2_step_rk8pd, 1e-3, 1e-10, 1e-12);
  double time_s = 0.0;
  assert_int_equal(gsl_odeiv2_driver_apply(driver, &from_rad_s, to_rad_s, &time_s), GSL_SUCCESS);
  gsl_odeiv2_driver_free(driver);
  return time_s;
}

static double shifted_s(double load_nm, double rotor_kg_m2, double shift_rad_s, double to_rad_s)
{
  return run_up_s((struct run_up){20.0, load_nm, rotor_kg_m2}, 0.0, shift_rad_s) +
         run_up_s((struct run_up){10.0, load_nm, rotor_kg_m2}, shift_rad_s, to_rad_s);
}

/* From rest to 40 rad/s: 73.931294 s when shifted at 16.6667 rad/s, 73.959412 s at 16, 73.939052 s at 17, 80.471896 s in the faster
 * gear alone. With a rotor and load to 35 rad/s: 100.948926 s when shifted at 15.5 rad/s, 100.950006 s at 15.4, 100.950033 s at 15.6. */
static void no_other_shift_point_brings_an_output_to_speed_sooner(void **state)
{
  (void)state;
  const struct sb_model light = line_box(1e-9, 1.0, 1.0);
  struct sb_model heavy = line_box(0.005, 1.0, 1.0);
  box_add_constant(&heavy, 2.0, true);
  const double light_rad_s = sb_crossover_solve(&light, 0).acceleration_speed_rad_s;
  const double heavy_rad_s = sb_crossover_solve(&heavy, 0).acceleration_speed_rad_s;
  assert_near(shifted_s(0.0, 0.0, light_rad_s, 40.0), 73.931294, 5e-7);
  assert_near(shifted_s(0.0, 0.0, 16.0, 40.0), 73.959412, 5e-7);
  assert_near(shifted_s(0.0, 0.0, 17.0, 40.0), 73.939052, 5e-7);
  assert_near(run_up_s((struct run_up){10.0, 0.0, 0.0}, 0.0, 40.0), 80.471896, 5e-7);
  assert_near(shifted_s(2.0, 0.005, heavy_rad_s, 35.0), 100.948926, 5e-7);
  assert_near(shifted_s(2.0, 0.005, 15.4, 35.0), 100.950006, 5e-7);
  assert_near(shifted_s(2.0, 0.005, 15.6, 35.0), 100.950033, 5e-7);
}

/* ---- definitions, on boxes with everything ---- */

static double output_rad_s(const struct sb_model *model, int gear, double external_nm)
{
  const struct sb_motor_line line = sb_torque_balance_line(model);
  return sb_steady_speed_rad_s(model, &line, gear, external_nm) / model->gearbox.gears[gear].ratio;
}

static void hold_definitions(const struct sb_model *model, int *met)
{
  static const double below = 1.0 - 1e-3, above = 1.0 + 1e-3;
  const struct sb_crossover crossover = sb_crossover_solve(model, 0);
  if (!isnan(crossover.load_nm)) {
    const double slow = output_rad_s(model, 0, crossover.load_nm), fast = output_rad_s(model, 1, crossover.load_nm);
    assert_near(slow, fast, 1e-9 * fast);
    assert_near(crossover.output_speed_rad_s, slow, 1e-9 * slow);
    assert_true(output_rad_s(model, 0, below * crossover.load_nm) < output_rad_s(model, 1, below * crossover.load_nm));
    const bool is_stalled = !(output_rad_s(model, 0, above * crossover.load_nm) > 0.0); /* and so is the faster one */
    assert_true(is_stalled ||
                output_rad_s(model, 0, above * crossover.load_nm) > output_rad_s(model, 1, above * crossover.load_nm));
    met[0]++;
  }
  if (!isnan(crossover.energy_load_nm)) {
    const double load_nm = crossover.energy_load_nm;
    if (isinf(sb_crossover_turn_j(model, 0, above * load_nm))) return; /* both stall */
    assert_near(sb_crossover_turn_j(model, 0, load_nm), sb_crossover_turn_j(model, 1, load_nm),
                1e-8 * crossover.energy_j);
    assert_true(sb_crossover_turn_j(model, 0, below * load_nm) > sb_crossover_turn_j(model, 1, below * load_nm));
    assert_true(sb_crossover_turn_j(model, 0, above * load_nm) < sb_crossover_turn_j(model, 1, above * load_nm));
    met[1]++;
  }
}

static void gears_meet_at_the_crossover_load_and_part_on_both_sides(void **state)
{
  (void)state;
  int met[2] = {0, 0};
  gsl_rng *dice = dice_of(14);
  for (int k = 0; k < 300; k++) {
    struct sb_model model = box_random(dice, 0.5);
    hold_definitions(&model, met);
    /* The same behind a driver that limits the current, where the line is bent. */
    const struct sb_motor_line line = sb_torque_balance_line(&model);
    model.supply.current_limit_a = 0.6 * line.stall_a;
    hold_definitions(&model, met);
  }
  gsl_rng_free(dice);
  assert_true(met[0] > 300 && met[1] > 50);
}

/* Without friction, drag and resistance of the supply both take K TL / speed: the motor nearer to its no-load speed takes less. */
static void without_friction_the_slower_gear_takes_less_energy_under_every_load(void **state)
{
  (void)state;
  struct sb_model model = box_constants(12.0, 0.04, 1.0, 0.0, 1e-5, 1e-3);
  box_add_gear(&model, 8.0, 0.9);
  box_add_gear(&model, 4.0, 0.9);
  const struct sb_crossover crossover = sb_crossover_solve(&model, 0);
  assert_true(isnan(crossover.energy_load_nm) && isnan(crossover.energy_j));
  assert_int_equal(crossover.cheaper, SB_AHEAD_SLOWER);
}

/* A lossy slower gear that stalls before the faster one is never the faster one. */
static void a_slower_gear_that_stalls_first_is_never_faster(void **state)
{
  (void)state;
  const struct sb_model model = line_box(1e-9, 0.45, 0.95);
  const struct sb_crossover crossover = sb_crossover_solve(&model, 0);
  assert_true(isnan(crossover.load_nm) && isnan(crossover.output_speed_rad_s));
  assert_int_equal(crossover.ahead, SB_AHEAD_FASTER);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(gears_of_equal_efficiency_meet_where_the_sum_of_reductions_says),
      cmocka_unit_test(losses_move_the_meeting_down),
      cmocka_unit_test(losses_and_the_lightest_load_move_the_place_of_best_acceleration),
      cmocka_unit_test(a_turn_takes_what_kirchhoff_says),
      cmocka_unit_test(the_rotors_inertia_moves_the_place_of_best_acceleration_down),
      cmocka_unit_test(no_other_shift_point_brings_an_output_to_speed_sooner),
      cmocka_unit_test(gears_meet_at_the_crossover_load_and_part_on_both_sides),
      cmocka_unit_test(without_friction_the_slower_gear_takes_less_energy_under_every_load),
      cmocka_unit_test(a_slower_gear_that_stalls_first_is_never_faster),
  };
  return cmocka_run_group_tests_name("crossover", tests, plane_quiet_gsl, NULL);
}
