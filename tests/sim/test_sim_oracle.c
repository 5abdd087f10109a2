// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The simulator against the oracle (oracle.h): the same equations written out afresh and integrated by GSL's rk8pd.
 * Most tests say how many events of which kind they must see, so that two machines at rest do not agree about nothing.
 */
#include "help/dice.h"
#include "help/driven.h"

#include <gsl/gsl_randist.h>

/* GSL works to 1e-13 a step and 1e-15 s in an event. */
static const double step_s = 2.5e-4;
static const double time_limit_s = 1e-10;
static const double speed_limit = 1e-10; /* of the greatest speed, relative */

static void compare(const struct oracle_result *got, const struct oracle_result *want, double motor_scale,
                    double output_scale)
{
  for (size_t i = 0; i < want->event_count && i < got->event_count; i++) {
    if (got->events[i].event != want->events[i].event) {
      fail_msg("event %zu: kind %d at %.9g s, want kind %d at %.9g s", i, (int)got->events[i].event,
               got->events[i].time_s, (int)want->events[i].event, want->events[i].time_s);
    }
    assert_near(got->events[i].time_s, want->events[i].time_s, time_limit_s);
    assert_near(got->events[i].motor_speed_rad_s, want->events[i].motor_speed_rad_s, speed_limit * motor_scale);
    assert_near(got->events[i].output_speed_rad_s, want->events[i].output_speed_rad_s, speed_limit * output_scale);
  }
  assert_int_equal(got->event_count, want->event_count);
  assert_near(got->motor_speed_rad_s, want->motor_speed_rad_s, speed_limit * motor_scale);
  assert_near(got->output_speed_rad_s, want->output_speed_rad_s, speed_limit * output_scale);
  assert_near(got->output_angle_rad, want->output_angle_rad, speed_limit * output_scale);
}

/* Runs both, compares, and returns what the simulator did. */
static struct driven both(struct sb_model *model, int gear, const struct oracle_command *commands, size_t command_count,
                          double end_s)
{
  model->run.step_s = step_s;
  const struct driven got = drive(model, gear, commands, command_count, end_s);
  static struct oracle_result want;
  assert_int_equal(oracle_run(model, gear, commands, command_count, end_s, &want), 0);
  compare(&got.seen, &want, fabs(got.sums.motor_speed_rad_s.value), fabs(got.sums.output_speed_rad_s.value));
  return got;
}

/* In mesh ---------------------------------------------------------------------------------------------------------- */

static const double ramp_s[] = {0.0, 0.5, 1.2, 1.2, 2.0}, ramp_nm[] = {0.2, 0.2, 0.9, 0.5, 0.3};

static void a_driven_load_follows_the_equations(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_add_viscous(&model, 0.01);
  model_add_quadratic(&model, 0.002);
  model_add_constant(&model, 0.1, true);
  model_add_profile(&model, SB_OVER_TIME, true, 5, ramp_s, ramp_nm);
  model_add_sine(&model, SB_OVER_TIME, false, 0.05, 0.1, 0.37)->phase_rad = 0.4;
  model_add_sine(&model, SB_OVER_TURNS, true, 0.06, 0.05, 2.0);
  model_finish(&model);
  both(&model, 1, NULL, 0, 2.5);
  both(&model, 0, NULL, 0, 2.5);
}

static void a_motor_with_currents_brush_friction_and_a_soft_supply_follows_the_equations(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_set_currents(&model, 2.6, 0.14, 0.8);
  model.drive.limit_fraction = 0.8;
  model.gearbox.gears[1].drag_nm = 0.01;
  model_add_viscous(&model, 0.01);
  model_add_profile(&model, SB_OVER_TIME, true, 5, ramp_s, ramp_nm);
  model_finish(&model);
  const struct driven got = both(&model, 1, NULL, 0, 2.5);
  assert_true(got.row.motor_current_a > 0.5);
}

/* A weight that helps more and more, then less: driving, overrun, driving. */
static const double helping_s[] = {0.0, 0.3, 0.6, 1.2, 1.6}, helping_nm[] = {0.3, 0.3, -2.0, -2.0, 0.3};

static void overrun_with(double back_efficiency)
{
  struct sb_model model = model_two_gears("selector");
  model.gearbox.gears[1].back_efficiency = back_efficiency;
  model.gearbox.gears[1].drag_nm = 0.005;
  model_add_profile(&model, SB_OVER_TIME, false, 5, helping_s, helping_nm);
  model_add_viscous(&model, 0.004);
  model_finish(&model);
  const struct driven got = both(&model, 1, NULL, 0, 2.0);
  /* A path that carries back lets the weight push the motor beyond its no-load speed. */
  if (!(back_efficiency <= 0.0)) assert_true(fabs(got.sums.motor_speed_rad_s.value) > model.motor.no_load_speed_rad_s);
}

static void overrun_with_the_efficiency_of_driving_follows_the_equations(void **state)
{
  (void)state;
  overrun_with(NAN);
}

static void overrun_with_a_back_efficiency_of_its_own_follows_the_equations(void **state)
{
  (void)state;
  overrun_with(0.6);
}

static void overrun_of_a_path_that_cannot_be_driven_backwards_follows_the_equations(void **state)
{
  (void)state;
  overrun_with(0.0);
}

/* A load over the stall torque stops the output, releases it, and grows again. */
static const double stall_s[] = {0.0, 0.4, 0.7, 1.3, 1.8}, stall_nm[] = {0.4, 0.4, 2.2, 2.2, 0.5};

static void a_load_that_grows_stops_the_output_and_a_falling_one_releases_it(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_set_currents(&model, 2.6, 0.14, 0.3);
  model_add_profile(&model, SB_OVER_TIME, true, 5, stall_s, stall_nm);
  model_finish(&model);
  const struct driven got = both(&model, 1, NULL, 0, 2.0);
  assert_int_equal(driven_count(&got.seen, SB_EVENT_STOPPED), 1);
  assert_int_equal(driven_count(&got.seen, SB_EVENT_STARTED), 2); /* the run's start, and the release */
}

static void breakaway_above_the_sliding_value_holds_longer(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_add_profile(&model, SB_OVER_TIME, true, 5, stall_s, stall_nm)->breakaway_nm = 1.0;
  model_add_constant(&model, 0.1, true)->breakaway_nm = 0.3;
  model_finish(&model);
  const struct driven got = both(&model, 1, NULL, 0, 2.0);
  assert_int_equal(driven_count(&got.seen, SB_EVENT_STARTED), 2);
  /* 4 x 0.95 x 0.4 N m = 1.52: released on the ramp of 2.2 to 0.5 over 0.5 s, less the 0.3 N m held beside it. */
  assert_near(driven_time_s(&got.seen, SB_EVENT_STARTED, 1), 1.3 + 0.5 * (2.2 - (1.52 - 0.3)) / 1.7, 1e-12);
}

static void the_least_hold_of_all_parts_together_counts_too(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_add_profile(&model, SB_OVER_TIME, true, 5, stall_s, stall_nm);
  model_add_sine(&model, SB_OVER_TIME, false, 0.0, 0.3, 0.2);
  model.load.breakaway_nm = 1.3;
  model_finish(&model);
  const struct driven got = both(&model, 1, NULL, 0, 2.0);
  assert_true(driven_count(&got.seen, SB_EVENT_STARTED) >= 2);
}

static void a_resisting_sine_with_breakaway_stops_and_releases_the_output_again_and_again(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_add_sine(&model, SB_OVER_TIME, true, 1.2, 1.1, 0.7)->breakaway_nm = 0.9;
  model_finish(&model);
  const struct driven got = both(&model, 1, NULL, 0, 3.0);
  assert_true(driven_count(&got.seen, SB_EVENT_STOPPED) >= 4);
}

/* A weight that outdoes the motor turns it back through zero and lets it climb again. */
static const double pulling_s[] = {0.0, 0.3, 0.5, 0.9, 1.1}, pulling_nm[] = {0.5, 0.5, 3.0, 3.0, 0.5};

static void roll_back_with(double back_efficiency, bool has_dry_friction, size_t stops)
{
  struct sb_model model = model_two_gears("selector");
  model_set_currents(&model, 2.6, 0.14, 0.0);
  model.gearbox.gears[1].back_efficiency = back_efficiency;
  model.gearbox.gears[1].drag_nm = 0.004;
  model_add_profile(&model, SB_OVER_TIME, false, 5, pulling_s, pulling_nm);
  if (has_dry_friction) model_add_constant(&model, 0.3, true)->breakaway_nm = 0.6;
  model_add_viscous(&model, 0.01);
  model_finish(&model);
  const struct driven got = both(&model, 1, NULL, 0, 2.0);
  assert_int_equal(driven_count(&got.seen, SB_EVENT_STOPPED), stops);
  if (back_efficiency == 0.0) {
    assert_true(got.sums.least_output_speed_rad_s == 0.0);
  } else {
    assert_true(got.sums.least_output_speed_rad_s < -1.0);
  }
}

static void an_acting_load_rolls_the_output_back_in_mesh(void **state)
{
  (void)state;
  roll_back_with(0.8, false, 0);
  roll_back_with(NAN, true, 2);
}

static void a_path_that_cannot_be_driven_backwards_holds_the_acting_load(void **state)
{
  (void)state;
  roll_back_with(0.0, true, 1);
}

static void a_machine_that_starts_backwards_comes_round(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_add_constant(&model, 0.3, true);
  model.run.initial_output_speed_rad_s = -6.0;
  model_finish(&model);
  const struct driven got = both(&model, 1, NULL, 0, 0.6);
  assert_true(got.state.output_speed_rad_s > 5.0);
}

static const double bumps_rad[] = {0.0, 4.0, 6.0, 6.0, 10.0}, bumps_nm[] = {0.2, 0.2, 0.9, 0.1, 0.8};

static void a_load_over_turns_follows_the_equations(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_add_profile(&model, SB_OVER_TURNS, true, 5, bumps_rad, bumps_nm);
  model_add_sine(&model, SB_OVER_TURNS, false, 0.1, 0.3, 3.0);
  model_finish(&model);
  const struct driven got = both(&model, 1, NULL, 0, 3.0);
  assert_true(got.state.output_angle_rad > 11.0);
}

static const double hill_rad[] = {0.0, 3.0, 5.0, 8.0}, hill_nm[] = {0.2, 0.2, 2.5, 2.5};

static void a_hill_over_turns_is_not_passed_and_the_machine_stands_in_balance(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_add_profile(&model, SB_OVER_TURNS, false, 4, hill_rad, hill_nm);
  model_add_constant(&model, 0.1, true);
  model_finish(&model);
  const struct driven got = both(&model, 1, NULL, 0, 2.0);
  assert_true(driven_count(&got.seen, SB_EVENT_STOPPED) >= 1);
  assert_true(got.state.output_angle_rad > 3.0 && got.state.output_angle_rad < 5.0);
}

/* Shifts ----------------------------------------------------------------------------------------------------------- */

static const struct oracle_command to_and_fro[] = {{0.6, 0}, {1.2, 1}, {1.8, 0}};

static struct driven shifts_with(const char *kind, bool is_forward, double acting_nm, double resisting_nm)
{
  struct sb_model model = model_two_gears(kind);
  if (is_forward) model_drive_forward(&model);
  model_set_currents(&model, 2.6, 0.14, 0.3);
  model_add_viscous(&model, 0.01);
  model_add_quadratic(&model, 0.001);
  if (acting_nm != 0.0) model_add_constant(&model, acting_nm, false);
  if (resisting_nm != 0.0) model_add_constant(&model, resisting_nm, true);
  model_finish(&model);
  return both(&model, 1, to_and_fro, 3, 2.5);
}

static void a_swing_arm_engages_after_its_turns(void **state)
{
  (void)state;
  const struct driven got = shifts_with("swing arm", false, 0.0, 0.3);
  assert_int_equal(driven_count(&got.seen, SB_EVENT_ENGAGED), 3);
}

static void a_selector_engages_after_its_travel(void **state)
{
  (void)state;
  struct driven got = shifts_with("selector", false, 0.0, 0.3);
  assert_int_equal(driven_count(&got.seen, SB_EVENT_ENGAGED), 3);
  got = shifts_with("selector", true, 0.0, 0.3);
  assert_int_equal(driven_count(&got.seen, SB_EVENT_ENGAGED), 3);
}

static void a_clutch_slips_until_the_speeds_meet(void **state)
{
  (void)state;
  struct driven got = shifts_with("clutch", true, 0.0, 0.3);
  assert_int_equal(driven_count(&got.seen, SB_EVENT_ENGAGED), 3);
  got = shifts_with("clutch", false, 0.0, 0.3); /* the sides meet, part the other way, and meet again */
  assert_int_equal(driven_count(&got.seen, SB_EVENT_ENGAGED), 3);
  got = shifts_with("clutch", false, 0.5, 0.2);
  assert_int_equal(driven_count(&got.seen, SB_EVENT_ENGAGED), 3);
}

/* In 100 ms or more of neutral the output stops under friction, or rolls back under a weight. */
static struct driven long_neutral(bool is_cut, double acting_nm, double resisting_nm, double breakaway_nm)
{
  struct sb_model model = model_two_gears("selector");
  model_drive_forward(&model);
  model_set_currents(&model, 2.6, 0.14, 0.3);
  model.shifter.travel_time_s = 0.3;
  model.shifter.is_drive_cut = is_cut;
  model_add_constant(&model, resisting_nm, true)->breakaway_nm = breakaway_nm;
  if (acting_nm != 0.0) model_add_constant(&model, acting_nm, false);
  model_add_viscous(&model, 0.005);
  model_finish(&model);
  return both(&model, 1, to_and_fro, 3, 2.5);
}

static void an_output_in_neutral_coasts_stops_or_rolls_back(void **state)
{
  (void)state;
  struct driven got = long_neutral(false, 0.0, 1.0, 1.2); /* stops */
  assert_int_equal(driven_count(&got.seen, SB_EVENT_ENGAGED), 3);
  assert_true(got.sums.least_output_speed_rad_s == 0.0);
  got = long_neutral(true, 0.0, 0.1, 0.0); /* coasts, drive cut */
  assert_true(got.sums.least_output_speed_rad_s == 0.0);
  got = long_neutral(true, 0.5, 0.1, 0.2); /* rolls back */
  assert_true(got.sums.least_output_speed_rad_s < -1.0);
  got = long_neutral(false, 0.5, 0.1, 0.7); /* stops and is held */
  assert_true(got.sums.least_output_speed_rad_s == 0.0);
}

/* At rest in neutral until the weight grows over the hold. */
static const double growing_s[] = {0.0, 0.6, 1.0}, growing_nm[] = {0.3, 0.3, 2.0};

static void an_output_at_rest_in_neutral_is_released_by_a_growing_weight(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model.shifter.travel_time_s = 0.5;
  model_add_profile(&model, SB_OVER_TIME, false, 3, growing_s, growing_nm);
  model_add_constant(&model, 0.5, true)->breakaway_nm = 1.5;
  model_finish(&model);
  const struct driven got = both(&model, 1, to_and_fro, 1, 1.6);
  assert_true(got.sums.least_output_speed_rad_s < -1.0);
}

/* A gear that turns the output against gear 1 joins against the motion, and the load turns over with it. */
static void gears_whose_output_directions_disagree_follow_the_equations(void **state)
{
  (void)state;
  static const char *const kinds[] = {"selector", "swing arm", "clutch"};
  for (size_t i = 0; i < 3; i++) {
    struct sb_model model = model_two_gears(kinds[i]);
    model.gearbox.gears[1].meshes[0].is_internal = true; /* its motor turns in reverse: so does the output now */
    model_add_constant(&model, 0.2, true);
    model_add_constant(&model, 0.1, false);
    model_add_viscous(&model, 0.01);
    model_finish(&model);
    assert_int_equal(model.gearbox.gears[1].output_direction, -1);
    const struct driven got = both(&model, 0, (struct oracle_command[]){{0.6, 1}, {1.4, 0}}, 2, 2.4);
    assert_int_equal(driven_count(&got.seen, SB_EVENT_ENGAGED), 2);
    assert_true(got.sums.least_output_speed_rad_s < -1.0);
  }
}

/* Everything at once, seeded --------------------------------------------------------------------------------------- */

/* What the random machines have met. */
struct met {
  size_t engaged, stopped, limited;
};

/* limited: those with currents have a driver that limits them. */
static struct met move_random_machines(unsigned long seed, int count, bool is_limited)
{
  static const char *const kinds[] = {"selector", "swing arm", "clutch"};
  gsl_rng *dice = dice_of(seed);
  struct met met = {0};
  for (int run = 0; run < count; run++) {
    struct sb_model model = model_two_gears(kinds[run % 3]);
    if (run % 3 != 1 && gsl_ran_flat(dice, 0.0, 1.0) < 0.5) model_drive_forward(&model);
    if (is_limited || gsl_ran_flat(dice, 0.0, 1.0) < 0.5)
      model_set_currents(&model, 2.6, gsl_ran_flat(dice, 0.0, 0.2), gsl_ran_flat(dice, 0.0, 1.0));
    if (is_limited) {
      model.supply.current_limit_a = gsl_ran_flat(dice, 0.25, 2.2);
      if (run % 4 == 0) model.drive.limit_fraction = gsl_ran_flat(dice, 0.3, 1.0);
    }
    model.shifter.travel_time_s = 0.001 * floor(gsl_ran_flat(dice, 10.0, 300.0));
    model.shifter.is_drive_cut = gsl_ran_flat(dice, 0.0, 1.0) < 0.5;
    model.shifter.clutch_nm = gsl_ran_flat(dice, 0.1, 0.6);
    for (int g = 0; g < 2; g++) {
      model.gearbox.gears[g].back_efficiency = gsl_ran_flat(dice, -0.3, 1.0);
      if ((!is_limited || run % 3 == 2) && model.gearbox.gears[g].back_efficiency < 0.0)
        model.gearbox.gears[g].back_efficiency = 0.0;
      model.gearbox.gears[g].drag_nm = gsl_ran_flat(dice, 0.0, 0.03);
    }
    const double x[] = {0.0, gsl_ran_flat(dice, 0.1, 0.5), gsl_ran_flat(dice, 0.6, 1.0), gsl_ran_flat(dice, 1.1, 2.0)};
    const double acting[] = {gsl_ran_flat(dice, -1.0, 1.0), gsl_ran_flat(dice, -1.0, 1.0),
                             gsl_ran_flat(dice, -2.0, 3.0), gsl_ran_flat(dice, -2.0, 2.0)};
    const double resisting[] = {gsl_ran_flat(dice, 0.0, 1.0), gsl_ran_flat(dice, 0.0, 1.0),
                                gsl_ran_flat(dice, 0.0, 2.0), gsl_ran_flat(dice, 0.0, 1.0)};
    model_add_profile(&model, SB_OVER_TIME, false, 4, x, acting);
    model_add_profile(&model, SB_OVER_TIME, true, 4, x, resisting)->breakaway_nm = gsl_ran_flat(dice, 0.0, 1.0);
    model_add_sine(&model, SB_OVER_TURNS, false, 0.0, gsl_ran_flat(dice, 0.0, 0.3), gsl_ran_flat(dice, 2.0, 6.0));
    model_add_viscous(&model, gsl_ran_flat(dice, 0.0, 0.02));
    model_add_quadratic(&model, gsl_ran_flat(dice, 0.0, 0.002));
    model.load.breakaway_nm = gsl_ran_flat(dice, 0.0, 0.5);
    model_finish(&model);
    const struct driven got =
        both(&model, run & 1, (struct oracle_command[]){{0.4, !(run & 1)}, {1.2, run & 1}}, 2, 2.0);
    met.engaged += driven_count(&got.seen, SB_EVENT_ENGAGED);
    met.stopped += driven_count(&got.seen, SB_EVENT_STOPPED);
    met.limited += got.sums.current_held_s > 0.1 && got.sums.current_held_s < 1.9;
    assert_true(sb_energy_residual_ratio(&got.sums.energy) < 1e-11);
  }
  gsl_rng_free(dice);
  return met;
}

static void random_machines_follow_the_equations(void **state)
{
  (void)state;
  const struct met met = move_random_machines(20, 60, false);
  /* They did shift and stop. */
  assert_true(met.engaged > 80);
  assert_true(met.stopped > 20);
}

static void random_machines_with_a_limited_current_follow_the_equations(void **state)
{
  (void)state;
  const struct met met = move_random_machines(21, 200, true);
  assert_true(met.engaged > 160);
  assert_true(met.stopped > 40);
  assert_true(met.limited > 60); /* for a part of the time */
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_driven_load_follows_the_equations),
      cmocka_unit_test(a_motor_with_currents_brush_friction_and_a_soft_supply_follows_the_equations),
      cmocka_unit_test(overrun_with_the_efficiency_of_driving_follows_the_equations),
      cmocka_unit_test(overrun_with_a_back_efficiency_of_its_own_follows_the_equations),
      cmocka_unit_test(overrun_of_a_path_that_cannot_be_driven_backwards_follows_the_equations),
      cmocka_unit_test(a_load_that_grows_stops_the_output_and_a_falling_one_releases_it),
      cmocka_unit_test(breakaway_above_the_sliding_value_holds_longer),
      cmocka_unit_test(the_least_hold_of_all_parts_together_counts_too),
      cmocka_unit_test(a_resisting_sine_with_breakaway_stops_and_releases_the_output_again_and_again),
      cmocka_unit_test(an_acting_load_rolls_the_output_back_in_mesh),
      cmocka_unit_test(a_path_that_cannot_be_driven_backwards_holds_the_acting_load),
      cmocka_unit_test(a_machine_that_starts_backwards_comes_round),
      cmocka_unit_test(a_load_over_turns_follows_the_equations),
      cmocka_unit_test(a_hill_over_turns_is_not_passed_and_the_machine_stands_in_balance),
      cmocka_unit_test(a_swing_arm_engages_after_its_turns),
      cmocka_unit_test(a_selector_engages_after_its_travel),
      cmocka_unit_test(a_clutch_slips_until_the_speeds_meet),
      cmocka_unit_test(an_output_in_neutral_coasts_stops_or_rolls_back),
      cmocka_unit_test(an_output_at_rest_in_neutral_is_released_by_a_growing_weight),
      cmocka_unit_test(gears_whose_output_directions_disagree_follow_the_equations),
      cmocka_unit_test(random_machines_follow_the_equations),
      cmocka_unit_test(random_machines_with_a_limited_current_follow_the_equations),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
