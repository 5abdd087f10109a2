// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Verdicts that no other sees, each brought about by a small machine whose figures follow by hand, and absent in one beside it;
 * and hunting, which keeps its verdict whatever comes later. The two-gear machine of models.h: 0.4 N m at stall, Td = 0.76 N m
 * in its fast gear at 50 %, Tu = 1.08 N m in its slow gear at 75 %, so a band of 0.76 to 1.08 N m (test_run.c).
 */
#include <gsl/gsl_rng.h>
#include <stdlib.h>

#include "help/dice.h"
#include "help/models.h"
#include "help/near.h"
#include "help/runs.h"
#include "sim/feed.h"

static struct sb_model plain(const char *shifter)
{
  struct sb_model model = model_two_gears(shifter);
  model.control.start_gear = 2;
  model.control.start_delay_s = 1.0;
  model.control.dwell_s = 1.0;
  model.run.duration_s = 15.0;
  return model;
}

/* Reversed output --------------------------------------------------------------------------------------------------------- */

static void a_gear_with_one_idler_too_many_drives_backwards(void **state)
{
  (void)state;
  struct sb_model model = plain("selector");
  model_add_constant(&model, 0.9, true); /* beyond what the fast gear carries: it shifts down */
  model_finish(&model);
  assert_false(has_verdict(&model, SB_VERDICT_REVERSED));
  model.gearbox.gears[0].meshes[0].is_internal = !model.gearbox.gears[0].meshes[0].is_internal;
  model_finish(&model);
  /* Two gears, one each way: forward is what gear 1 does, so gear 2 is the reversed one, from the start on. */
  struct sb_run_result result = run(&model);
  const struct sb_verdict *reversed = find(&result, SB_VERDICT_REVERSED);
  assert_non_null(reversed);
  assert_int_equal(reversed->gear, 2);
  assert_near(reversed->first_s, 0.0, 0.0);
  sb_run_result_clear(&result);
}

/* Runs back --------------------------------------------------------------------------------------------------------------- */

/*
 * A hoist without losses on a selector that takes 1 s: in neutral the load M on the output's inertia J slows it from W to rest in
 * W J / M and then takes it back for the rest of the time, by 1/2 M/J (1 s - W J / M)^2. It shifts down at 50 % of the reading.
 */
static struct sb_model lift(double travel_s, double load_nm)
{
  struct sb_model model = plain("selector");
  model_drive_forward(&model);
  model.shifter.travel_time_s = travel_s;
  model.control.downshift_fraction[0] = 0.5;
  model_add_constant(&model, load_nm, false);
  model.run.duration_s = 2.0; /* the command comes at 1 s */
  model_finish(&model);
  return model;
}

static void a_load_that_nothing_holds_in_neutral_runs_back(void **state)
{
  (void)state;
  const double load_nm = 0.9;
  struct sb_model model = lift(1.0, load_nm);
  struct sb_run_result result = run(&model);
  assert_int_equal(result.monitor.shift_count, 1);
  const struct sb_verdict *back = find(&result, SB_VERDICT_RUNS_BACK);
  assert_non_null(back);
  /* The speed of the fast gear, 4 : 1 at 0.95, in steady state under this load: it has long come to rest. */
  const double motor_share = 1.0 - load_nm / (4.0 * 0.95) / 0.4;
  const double speed = model.motor.no_load_speed_rad_s * motor_share / 4.0,
               slowing = load_nm / model.load.inertia_kg_m2;
  const double rest_s = 1.0 - speed / slowing;
  assert_near_rel(back->found, 0.5 * slowing * rest_s * rest_s,
                  1e-3); /* the steady state has come within exp(-1 s / tau) */
  assert_near(back->limit, model_pi / 4.0, 1e-15);
  assert_near(back->first_s, result.monitor.shifts[0].command_s + speed / slowing, 1e-3);
  sb_run_result_clear(&result);

  model.limits.run_back_rad = 0.9 * 0.5 * slowing * rest_s * rest_s;
  assert_true(has_verdict(&model, SB_VERDICT_RUNS_BACK));
  model.limits.run_back_rad = 1.2 * 0.5 * slowing * rest_s * rest_s;
  assert_false(has_verdict(&model, SB_VERDICT_RUNS_BACK));
  model.limits.run_back_rad = 0.0;
  model.load.brake_nm = 1.01 * load_nm; /* a holding brake, closed in neutral */
  assert_false(has_verdict(&model, SB_VERDICT_RUNS_BACK));
}

/* Forward for 3 s, then back. */
static struct sb_model reversed_by_order(void)
{
  static const double at_s[] = {0.0, 3.0}, command[] = {SB_COMMAND_FORWARD, SB_COMMAND_REVERSE};
  struct sb_model model = plain("selector");
  model_drive_forward(&model);
  model_add_constant(&model, 0.1, true);
  model.drive.schedule = (struct sb_table){2, at_s, command};
  model.drive.period_s = 0.02;
  model_finish(&model);
  return model;
}

/* Driven back by order it does not run back, though it brakes a while in the old direction. */
static void a_machine_that_is_reversed_by_order_does_not_run_back(void **state)
{
  (void)state;
  const struct sb_model model = reversed_by_order();
  struct sb_run_result result = run(&model);
  assert_true(result.end.output_speed_rad_s < 0.0);
  assert_null(find(&result, SB_VERDICT_RUNS_BACK));
  sb_run_result_clear(&result);
}

/* Nor where somebody asks for the sums just when the order comes. */
static void a_look_at_the_sums_makes_no_run_back(void **state)
{
  (void)state;
  const struct sb_model model = reversed_by_order();
  struct sb_sim sim;
  struct sb_error err;
  assert_int_equal(sb_sim_init(&sim, &model, 1, &err), SB_OK);
  assert_int_equal(sb_sim_advance(&sim, 3000, &err), SB_OK);
  assert_int_equal(sb_feed_direction(&sim), -1);
  assert_true(sb_sim_sums(&sim)->way_rad > 1.0);
  assert_int_equal(sb_sim_advance(&sim, 6000, &err), SB_OK);
  assert_true(sim.state.output_speed_rad_s < 0.0);
  assert_near(sb_sim_sums(&sim)->back.value, 0.0, 0.0);
  sb_sim_clear(&sim);
}

/* Stuck low --------------------------------------------------------------------------------------------------------------- */

/* A slow gear whose upshift threshold no load lets it reach; the verdict tells all of the loads meanwhile. */
static void a_gear_that_is_stuck_low_tells_between_which_loads(void **state)
{
  (void)state;
  static const double at_s[] = {0.0, 4.0, 6.0, 8.0, 10.0}, torque_nm[] = {0.3, 0.2, 0.5, 0.3, 0.3};
  struct sb_model model = plain("selector");
  model.control.start_gear = 1;
  model.control.upshift_fraction[0] = 0.99;
  model_add_profile(&model, SB_OVER_TIME, true, 5, at_s, torque_nm);
  model_finish(&model);
  struct sb_run_result result = run(&model);
  const struct sb_verdict *low = find(&result, SB_VERDICT_STUCK_LOW);
  assert_non_null(low);
  assert_int_equal(low->gear, 1);
  assert_near_rel(low->least_nm, 0.2, 1e-12);
  assert_near_rel(low->greatest_nm, 0.5, 1e-12);
  sb_run_result_clear(&result);
}

/* Overspeed --------------------------------------------------------------------------------------------------------------- */

/* Stopped to coast, a load of M on J and the motor's rotor through N, without friction: N M / (J + N^2 Jm) t. */
static void a_load_that_drives_a_motor_that_coasts_takes_it_beyond_its_speed(void **state)
{
  (void)state;
  static const double at_s[] = {0.0, 1.0}, command[] = {SB_COMMAND_FORWARD, SB_COMMAND_STOP};
  struct sb_model model = plain("selector");
  model_drive_forward(&model);
  model.control.start_gear = 1;
  model.control.start_delay_s = 100.0;
  model.drive.schedule = (struct sb_table){2, at_s, command};
  model.drive.period_s = 0.02;
  model.drive.off = SB_OFF_COAST;
  model_add_constant(&model, 0.5, false);
  model.run.duration_s = 20.0;
  model_finish(&model);
  struct sb_run_result result = run(&model);
  const struct sb_verdict *fast = find(&result, SB_VERDICT_OVERSPEED);
  assert_non_null(fast);
  assert_near_rel(fast->limit, 1.5 * model.motor.no_load_speed_rad_s, 1e-12);
  assert_near_rel(fast->found, fabs(result.sums.motor_speed_rad_s.value), 1e-12);
  assert_true(fast->found > 3.0 * model.motor.no_load_speed_rad_s);
  sb_run_result_clear(&result);
  model.drive.off = SB_OFF_BRAKE; /* the short circuit holds it at m w = its torque */
  assert_false(has_verdict(&model, SB_VERDICT_OVERSPEED));
}

static void the_limit_of_the_motor_speed_is_met_between_rows_too(void **state)
{
  (void)state;
  struct sb_model model = plain("selector");
  model_finish(&model);
  struct sb_run_result result = run(&model);
  const double greatest = fabs(result.sums.motor_speed_rad_s.value);
  sb_run_result_clear(&result);
  model.limits.motor_speed_rad_s = greatest * (1.0 - 1e-9);
  assert_true(has_verdict(&model, SB_VERDICT_OVERSPEED));
  model.limits.motor_speed_rad_s = greatest * (1.0 + 1e-9);
  assert_false(has_verdict(&model, SB_VERDICT_OVERSPEED));
}

/* Clutch ------------------------------------------------------------------------------------------------------------------ */

/* In steady state the clutch transmits what the load asks of the motor: 2 N m / (12 x 0.9) = 0.185 N m in the slow gear. */
static void a_clutch_below_what_the_load_asks_for_slips(void **state)
{
  (void)state;
  struct sb_model model = plain("clutch");
  model_drive_forward(&model);
  model.control.start_gear = 1;
  model_add_constant(&model, 2.0, true);
  const double asked_nm = 2.0 / (12.0 * 0.9);
  model.run.duration_s = 8.0;
  model.shifter.clutch_nm = 0.98 * asked_nm;
  model_finish(&model);
  struct sb_run_result result = run(&model);
  const struct sb_verdict *slips = find(&result, SB_VERDICT_CLUTCH_SLIPS);
  assert_non_null(slips);
  assert_near(slips->limit, model.shifter.clutch_nm, 0.0);
  assert_true(slips->last_s == result.end.time_s);
  sb_run_result_clear(&result);
  /* At stall from rest it would have to transmit the motor's 0.4 N m: one that can never slips. */
  model.shifter.clutch_nm = 0.4 * (1.0 + 1e-6);
  assert_false(has_verdict(&model, SB_VERDICT_CLUTCH_SLIPS));
}

/* Pulses of a load beyond what the clutch passes on, each so long and so long apart, from 1 s on; below it the machine turns. */
static struct sb_model pulsed(double length_s, double apart_s, double *x, double *torque_nm)
{
  struct sb_model model = plain("clutch");
  const double end_s = model.run.duration_s;
  size_t count = 1;
  model_drive_forward(&model);
  model.control.start_gear = 1;
  model.control.start_delay_s = 100.0;
  model.shifter.clutch_nm = 0.25; /* 2.7 N m at the output */
  x[0] = 0.0;
  torque_nm[0] = 1.0;
  for (double t = 1.0; t < end_s - length_s; t += apart_s) {
    const double places[] = {t, t + 1e-3, t + length_s, t + length_s + 1e-3}, loads[] = {1.0, 3.6, 3.6, 1.0};
    for (int k = 0; k < 4; k++, count++) {
      x[count] = places[k];
      torque_nm[count] = loads[k];
    }
  }
  model_add_profile(&model, SB_OVER_TIME, true, count, x, torque_nm);
  model_finish(&model);
  return model;
}

/* It slips as long as the load is beyond it, and until the speeds meet again: less than 0.1 s more. */
static void a_clutch_slips_too_long_or_too_often(void **state)
{
  (void)state;
  enum { POINTS_MAX = 200 };
  double x[POINTS_MAX], torque_nm[POINTS_MAX];
  struct sb_model model = pulsed(0.4, 100.0, x, torque_nm); /* once, 3 % of the run */
  model.limits.clutch_slip_time_s = 0.35;
  assert_true(has_verdict(&model, SB_VERDICT_CLUTCH_SLIPS));
  model.limits.clutch_slip_time_s = 0.55;
  assert_false(has_verdict(&model, SB_VERDICT_CLUTCH_SLIPS));
  model = pulsed(0.1, 1.0, x, torque_nm); /* 10 % of the run, and more */
  model.limits.clutch_slip_time_s = 0.55;
  assert_true(has_verdict(&model, SB_VERDICT_CLUTCH_SLIPS));
  model = pulsed(0.1, 6.0, x, torque_nm); /* three times: 2 % to 4 % */
  model.limits.clutch_slip_time_s = 0.55;
  assert_false(has_verdict(&model, SB_VERDICT_CLUTCH_SLIPS));
}

/* Overheated -------------------------------------------------------------------------------------------------------------- */

/*
 * A motor that its load blocks, with a winding that gives off no heat: C T' = V^2 / R, with copper's R = R20 (1 + a (T - 20 C)), a = 0.00393 / K
 * (IEC 60028), so that it comes from 20 C to T after C R20 / V^2 ((T - 20) + a (T - 20)^2 / 2). R is given at 25 C.
 */
static void a_blocked_motor_is_too_hot_from_when_its_loss_has_filled_it(void **state)
{
  (void)state;
  const double stall_a = 3.0, ohm = 12.0 / stall_a, limit_c = 60.0, capacity_j_k = 5.0, copper = 0.00393;
  struct sb_model model = plain("selector");
  model_set_currents(&model, stall_a, 0.0, 0.0);
  model_set_winding(&model, capacity_j_k, 1e9);
  model_add_constant(&model, 10.0, true);
  model.control.start_delay_s = 100.0;
  model.limits.winding_c = limit_c;
  model.limits.stall_time_s = 100.0;
  model.drive.period_s = 0.01;
  model_finish(&model);
  struct sb_run_result result = run(&model);
  const struct sb_verdict *hot = find(&result, SB_VERDICT_OVERHEATED);
  assert_non_null(hot);
  const double rise_k = limit_c - 20.0, ohm_at_20 = ohm / (1.0 + 5.0 * copper);
  const double want_s = capacity_j_k * ohm_at_20 / 144.0 * (rise_k + 0.5 * copper * rise_k * rise_k);
  assert_near(hot->first_s, want_s, 0.01 + 1e-9); /* it is looked at every tick */
  assert_true(hot->last_s == result.end.time_s);
  assert_true(hot->found > limit_c);
  assert_near(hot->limit, limit_c, 0.0);
  const double greatest_c = hot->found;
  sb_run_result_clear(&result);
  model.limits.winding_c = greatest_c * (1.0 + 1e-12);
  assert_false(has_verdict(&model, SB_VERDICT_OVERHEATED));
}

/* The thermal switch of that motor, now with a way for its heat, opens at 100 C and closes at 90 C: as often as an integration by small steps
 * says, but for the ticks at which it is looked at. */
static void a_drive_that_is_cut_again_and_again_is_counted(void **state)
{
  (void)state;
  const double capacity_j_k = 0.5, out_k_w = 10.0, copper = 0.00393;
  struct sb_model model = plain("selector");
  model_set_currents(&model, 3.0, 0.0, 0.0);
  model_set_winding(&model, capacity_j_k, out_k_w);
  model.winding.cut_out_c = 100.0;
  model.winding.reset_c = 90.0;
  model_add_constant(&model, 10.0, true);
  model.control.start_delay_s = 100.0;
  model.drive.period_s = 0.002;
  model_finish(&model);
  struct sb_run_result result = run(&model);
  const struct sb_verdict *cut = find(&result, SB_VERDICT_DRIVE_CUT);
  assert_non_null(cut);
  int openings = 0;
  bool is_open = false;
  double winding_c = 20.0, first_s = NAN;
  const double step_s = 1e-5;
  for (long k = 0; (double)k * step_s < model.run.duration_s; k++) {
    const double loss_w = is_open ? 0.0 : 144.0 / (4.0 * (1.0 + copper * (winding_c - 20.0)) / (1.0 + 5.0 * copper));
    winding_c += step_s / capacity_j_k * (loss_w - (winding_c - 20.0) / out_k_w);
    if (!is_open && winding_c > 100.0) {
      if (openings++ == 0) first_s = (double)k * step_s;
      is_open = true;
    }
    if (winding_c < 90.0) is_open = false;
  }
  assert_true(openings > 8);
  assert_true(abs((int)cut->count - openings) <= 1); /* each spell is up to two ticks longer, 0.4 % */
  assert_near(cut->first_s, first_s, 0.002 + 1e-3);
  assert_true(cut->is_by_heat && !cut->is_by_battery);
  sb_run_result_clear(&result);
}

/* Out of reach ------------------------------------------------------------------------------------------------------------ */

static void a_threshold_above_the_reading_without_load_is_out_of_reach(void **state)
{
  (void)state;
  struct sb_model model = plain("selector");
  model_add_constant(&model, 0.2, true);
  model.control.upshift_fraction[0] = 0.999;
  model_finish(&model);
  assert_false(has_verdict(&model, SB_VERDICT_OUT_OF_REACH));
  model.control.upshift_fraction[0] = 1.001;
  struct sb_run_result result = run(&model);
  const struct sb_verdict *far = find(&result, SB_VERDICT_OUT_OF_REACH);
  assert_non_null(far);
  assert_int_equal(far->is_upshift, 1);
  assert_near_rel(far->found, (1.0 - 1.001) * 0.4 * 12.0 / 0.9, 1e-9); /* a load that drives the motor: 1 / 0.9 */
  sb_run_result_clear(&result);
}

/* Under speed control the speed stays at its target until the duty is at its limit: an upshift above the target never comes. */
static void speed_control_hides_the_load_from_a_threshold_above_its_target(void **state)
{
  (void)state;
  struct sb_model model = plain("selector");
  model_add_constant(&model, 0.2, true);
  model.drive.mode = SB_DRIVE_SPEED_CONTROL;
  model.drive.target_rad_s = 0.8 * model.motor.no_load_speed_rad_s;
  model.drive.gain_per_rad_s = 20.0 / model.motor.no_load_speed_rad_s;
  model.drive.integral_per_rad = 20.0 / model.motor.no_load_speed_rad_s;
  model.drive.period_s = 0.005;
  model.control.upshift_fraction[0] = 0.79;
  model_finish(&model);
  assert_false(has_verdict(&model, SB_VERDICT_OUT_OF_REACH));
  model.control.upshift_fraction[0] = 0.81;
  assert_true(has_verdict(&model, SB_VERDICT_OUT_OF_REACH));
}

/* Hunting ------------------------------------------------------------------------------------------------------------------ */

/* A load of 0.9 N m, in the band, then whatever: 24 courses at random. */
static void a_box_that_hunts_keeps_its_verdict_whatever_load_follows(void **state)
{
  (void)state;
  gsl_rng *rng = dice_of(0);
  for (int k = 0; k < 24; k++) {
    double at_s[8] = {0.0, 8.0}, torque_nm[8] = {0.9, 0.9};
    for (int i = 2; i < 8; i++) {
      at_s[i] = at_s[i - 1] + 0.1 + 2.0 * gsl_rng_uniform(rng);
      torque_nm[i] = 0.1 + 2.0 * gsl_rng_uniform(rng);
    }
    struct sb_model model = plain("selector");
    model.control.upshift_fraction[0] = 0.75;
    model_add_profile(&model, SB_OVER_TIME, true, 8, at_s, torque_nm);
    model.run.duration_s = 25.0;
    model_finish(&model);
    struct sb_run_result result = run(&model);
    const struct sb_verdict *hunting = find(&result, SB_VERDICT_HUNTING);
    assert_non_null(hunting);
    assert_int_equal(hunting->cause, SB_CAUSE_THRESHOLDS);
    assert_near(hunting->first_s, 1.0, 1e-9);
    sb_run_result_clear(&result);
  }
  gsl_rng_free(rng);
}

static void a_load_in_the_band_is_hunting_however_long_the_dwell(void **state)
{
  (void)state;
  static const double dwells_s[] = {0.5, 1.0, 2.0, 4.0, 7.0, 10.0};
  for (size_t k = 0; k < sizeof dwells_s / sizeof *dwells_s; k++) {
    struct sb_model model = plain("selector");
    model.control.upshift_fraction[0] = 0.75;
    model.control.dwell_s = dwells_s[k];
    model.run.duration_s = 2.0 + 4.0 * dwells_s[k];
    model_add_constant(&model, 0.9, true);
    model_finish(&model);
    assert_true(has_verdict(&model, SB_VERDICT_HUNTING));
  }
}

static void expect_hunting_by_thresholds(const struct sb_model *model)
{
  struct sb_run_result result = run(model);
  const struct sb_verdict *hunting = find(&result, SB_VERDICT_HUNTING);
  assert_non_null(hunting);
  assert_int_equal(hunting->cause, SB_CAUSE_THRESHOLDS);
  assert_null(find(&result, SB_VERDICT_BUSY_SHIFTING));
  sb_run_result_clear(&result);
}

/*
 * A battery falls from 12 V to 10.2 V within the first second. At 85 % of the voltage the fast gear still carries 0.35 of 1.52 N.m
 * at 50 %, the slow gear 0.25 of 4.32 N.m at 60 %: a band of 0.53 to 1.08 N.m. Fresh it would be one of 0.76 to 1.73 N.m, in
 * which 0.8 N.m on the tired motor is as 1.03 N.m in the fast gear and 1.45 N.m in the slow one: the load itself stays.
 */
static void a_constant_load_on_a_tired_battery_asks_for_no_shift(void **state)
{
  (void)state;
  static const double charges[] = {0.0, 0.99, 1.0}, volts[] = {10.2, 10.2, 12.0};
  struct sb_model model = plain("selector");
  model_set_currents(&model, 3.0, 0.0, 0.0);
  model.control.upshift_fraction[0] = 0.6;
  model.battery = (struct sb_battery){
      .is_present = true, .curve = {3, charges, volts}, .series_count = 1, .capacity_as = 80.0, .charge_fraction = 1.0};
  model.drive.period_s = 0.02;
  model_add_constant(&model, 0.8, true);
  model_finish(&model);
  expect_hunting_by_thresholds(&model);
}

/*
 * With 55 K more on the housing and -0.4 %/K the magnets have p = 0.78 left: at a reading u a gear carries p (1 - p u) of what it
 * carries at stall when cold. The fast gear shifts down below 50 % at 0.723 N.m in place of 0.76, the slow one up above 85 % at
 * 1.136 N.m in place of 0.648: the hot motor has a band where the cold one has none.
 */
static void a_constant_load_on_hot_magnets_hunts_in_a_band_that_the_cold_motor_does_not_have(void **state)
{
  (void)state;
  struct sb_model model = plain("selector");
  model_set_currents(&model, 3.0, 0.0, 0.0);
  model.control.upshift_fraction[0] = 0.85;
  model.drive.period_s = 0.02;
  model_set_winding(&model, 1e9, 1.0)->start_c = 25.0;
  model_add_housing(&model, 1e9, 1.0);
  model.winding.housing_start_c = 80.0;
  model_add_constant(&model, 0.9, true);
  model_finish(&model);
  assert_false(has_verdict(&model, SB_VERDICT_HUNTING));
  model.magnet = (struct sb_magnet){.is_present = true, .per_k = -0.004, .reference_c = 25.0};
  expect_hunting_by_thresholds(&model);
  /* Above the band nothing comes back, below it nothing leaves. */
  model.load.parts[0].torque_nm = 1.2;
  assert_false(has_verdict(&model, SB_VERDICT_HUNTING));
  model.load.parts[0].torque_nm = 0.7;
  assert_false(has_verdict(&model, SB_VERDICT_HUNTING));
}

/* The drive stops between the second command and the third. */
static void a_short_stop_of_the_drive_hides_no_hunting_and_a_long_one_ends_the_stretch(void **state)
{
  (void)state;
  double at_s[] = {0.0, 2.5, 2.6}, command[] = {SB_COMMAND_FORWARD, SB_COMMAND_STOP, SB_COMMAND_FORWARD};
  struct sb_model model = plain("selector");
  model_drive_forward(&model);
  model.control.upshift_fraction[0] = 0.75;
  model.drive.schedule = (struct sb_table){3, at_s, command};
  model.drive.period_s = 0.02;
  model_add_constant(&model, 0.9, true);
  model.control.start_delay_s = 0.5;
  model.run.duration_s = 3.9;
  model_finish(&model);
  struct sb_run_result result = run(&model);
  assert_int_equal(result.monitor.shift_count, 3);
  assert_non_null(find(&result, SB_VERDICT_HUNTING));
  sb_run_result_clear(&result);

  /* Longer than the window of 3 dwell, the shift's time and 5 tau: what comes behind it is another stretch. */
  at_s[1] = 6.9;
  at_s[2] = 14.9;
  model.run.duration_s = 24.0;
  result = run(&model);
  size_t count = 0;
  for (size_t i = 0; i < result.monitor.verdict_count; i++) {
    const struct sb_verdict *verdict = &result.monitor.verdicts[i];
    if (verdict->kind != SB_VERDICT_HUNTING) continue;
    assert_true(count == 0 ? fabs(verdict->stopped_s - 6.9) < 0.021 : isnan(verdict->stopped_s));
    count++;
  }
  assert_int_equal(count, 2);
  sb_run_result_clear(&result);
}

/* A load that goes up, down and up again within half a minute each asks for three shifts; where the drive stops in between for longer than the
 * window of hunting, the third one begins anew. */
static void a_long_stop_of_the_drive_ends_busy_shifting(void **state)
{
  (void)state;
  static const double load_s[] = {0.0, 3.0, 3.1, 6.0, 6.1, 17.0, 17.1}, load_nm[] = {0.2, 0.2, 1.2, 1.2, 0.2, 0.2, 1.2};
  static const double at_s[] = {0.0, 9.0, 18.0}, command[] = {SB_COMMAND_FORWARD, SB_COMMAND_STOP, SB_COMMAND_FORWARD};
  for (int is_stopped = 0; is_stopped < 2; is_stopped++) {
    struct sb_model model = plain("selector");
    model_drive_forward(&model);
    model.limits.shift_rate_per_s = 1.0 / 30.0;
    model.drive.schedule = (struct sb_table){is_stopped ? 3 : 1, at_s, command};
    model.drive.period_s = 0.02;
    model_add_profile(&model, SB_OVER_TIME, true, 7, load_s, load_nm);
    model.run.duration_s = 22.0;
    model_finish(&model);
    struct sb_run_result result = run(&model);
    assert_int_equal(result.monitor.shift_count, 3);
    assert_true(result.monitor.shifts[2].command_s > 17.0);
    assert_int_equal(find(&result, SB_VERDICT_BUSY_SHIFTING) != NULL, !is_stopped);
    sb_run_result_clear(&result);
  }
}

/* From dwell to dwell in steps of a sample the same three shifts never gain or lose a verdict and get it back: no holes. */
static void verdicts_have_no_holes_between_dwells(void **state)
{
  (void)state;
  static const double at_s[] = {0.0, 4.0, 4.2, 8.0, 8.2}, torque_nm[] = {0.5, 0.5, 0.95, 0.95, 0.5};
  int changes = 0;
  bool last = true;
  for (int k = 1; k <= 150; k++) {
    struct sb_model model = plain("selector");
    model.control.upshift_fraction[0] = 0.75;
    model.control.dwell_s = 0.02 * k;
    model_add_profile(&model, SB_OVER_TIME, true, 5, at_s, torque_nm);
    model.run.duration_s = 12.0;
    model_finish(&model);
    const bool now = has_verdict(&model, SB_VERDICT_HUNTING);
    changes += now != last;
    last = now;
  }
  assert_true(changes <= 1);
}

/* Commands come under a constant load where both gears can't hold it: above Td in the faster one, below Tu in the slower one. At an edge itself
 * one of the two gears holds it for ever, and commands have another cause. */
static void a_load_on_an_edge_of_the_band_is_not_in_it(void **state)
{
  (void)state;
  static const struct {
    double load_nm;
    enum sb_cause cause;
  } cases[] = {{2.0, SB_CAUSE_DWELL}, {2.5, SB_CAUSE_THRESHOLDS}, {3.0, SB_CAUSE_DWELL}};
  const struct sb_band band = {.downshift_nm = 2.0, .upshift_nm = 3.0};
  for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
    struct sb_three three = {.time_s = {1.0, 2.0, 3.0}, .is_down_first = 1, .is_soon = 1, .is_quick = 1};
    for (int k = 0; k < 3; k++) three.load_nm[k] = three.faster_nm[k] = cases[i].load_nm;
    assert_int_equal(sb_three_cause(&three, &band), cases[i].cause);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_gear_with_one_idler_too_many_drives_backwards),
      cmocka_unit_test(a_load_that_nothing_holds_in_neutral_runs_back),
      cmocka_unit_test(a_machine_that_is_reversed_by_order_does_not_run_back),
      cmocka_unit_test(a_look_at_the_sums_makes_no_run_back),
      cmocka_unit_test(a_gear_that_is_stuck_low_tells_between_which_loads),
      cmocka_unit_test(a_load_that_drives_a_motor_that_coasts_takes_it_beyond_its_speed),
      cmocka_unit_test(the_limit_of_the_motor_speed_is_met_between_rows_too),
      cmocka_unit_test(a_clutch_below_what_the_load_asks_for_slips),
      cmocka_unit_test(a_clutch_slips_too_long_or_too_often),
      cmocka_unit_test(a_blocked_motor_is_too_hot_from_when_its_loss_has_filled_it),
      cmocka_unit_test(a_drive_that_is_cut_again_and_again_is_counted),
      cmocka_unit_test(a_threshold_above_the_reading_without_load_is_out_of_reach),
      cmocka_unit_test(speed_control_hides_the_load_from_a_threshold_above_its_target),
      cmocka_unit_test(a_box_that_hunts_keeps_its_verdict_whatever_load_follows),
      cmocka_unit_test(a_load_in_the_band_is_hunting_however_long_the_dwell),
      cmocka_unit_test(a_constant_load_on_a_tired_battery_asks_for_no_shift),
      cmocka_unit_test(a_constant_load_on_hot_magnets_hunts_in_a_band_that_the_cold_motor_does_not_have),
      cmocka_unit_test(a_short_stop_of_the_drive_hides_no_hunting_and_a_long_one_ends_the_stretch),
      cmocka_unit_test(a_long_stop_of_the_drive_ends_busy_shifting),
      cmocka_unit_test(verdicts_have_no_holes_between_dwells),
      cmocka_unit_test(a_load_on_an_edge_of_the_band_is_not_in_it),
  };
  return cmocka_run_group_tests_name("verdicts", tests, NULL, NULL);
}
