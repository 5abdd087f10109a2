// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Bounds that hold for every load profile, against closed forms of a motor that is a straight line T = Ts (1 - x / w0) in two
 * gears without drag: steady states x = w0 (1 - L / (Ts K)), K = N eta, and time constants J / m, J = Jm + Jo / (N^2 eta).
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "help/near.h"
#include "help/proof.h"
#include "help/runs.h"
#include "prove/answer.h"
#include "prove/any_load.h"
#include "prove/edge_course.h"
#include "prove/reach.h"
#include "shiftband/prove.h"

/* Thresholds are counts of 1e-8 of the reference, ends of sets the same to 1e-10 of it. */
static const double rounding = 1e-6;

static const double least = 0.25, greatest = 1.75, travel = 0.137;
static struct sb_model proved; /* large, hence not on the stack */
static struct sb_prove prove;

static void solve(const char *shifter, double mesh, double dwell_s, double least_nm, double greatest_nm)
{
  struct sb_error err;
  proved = proof_machine(shifter, mesh, dwell_s, least_nm, greatest_nm);
  assert_int_equal(sb_prove_solve(&proved, &prove, &err), SB_OK);
  assert_null(prove.outside);
}

static double k_of(int gear)
{
  return proved.gearbox.gears[gear].ratio * proved.gearbox.gears[gear].efficiency;
}

static double steady(int gear, double load_nm)
{
  return 1.0 - load_nm / (proof_stall * k_of(gear));
}

static double inertia(int gear)
{
  return proof_rotor + proof_output / (proved.gearbox.gears[gear].ratio * k_of(gear));
}

static double tau(int gear)
{
  return inertia(gear) * proof_w0 / proof_stall;
}

/* How long a gear in steady state at one load is still beyond a threshold after the load has become another one. */
static double still(int gear, double from_nm, double to_nm, double threshold)
{
  return tau(gear) * log((steady(gear, from_nm) - steady(gear, to_nm)) / (threshold - steady(gear, to_nm)));
}

static double torque_from_rest(int gear, double load_nm)
{
  const double rate = (proof_stall - load_nm / k_of(gear)) / inertia(gear);
  return k_of(gear) * (proof_stall - proof_rotor * rate);
}

/* The impulse that takes a motor at its no-load speed into a gear at rest. */
static double impulse_into(double ratio)
{
  return proof_w0 * (proof_rotor * proof_output / ratio) / (proof_rotor + proof_output / (ratio * ratio));
}

static void commands_lie_between_the_thresholds_and_the_steady_states(void **state)
{
  (void)state;
  solve("selector", 0.95, 1.5, least, greatest);
  assert_near(prove.commands[1].downshift_from, steady(1, greatest), 2e-6); /* not quite, within a dwell */
  assert_near(prove.commands[1].downshift_to, proof_down, rounding);
  assert_near(prove.commands[0].upshift_from, proof_up, rounding);
  assert_near(prove.commands[0].upshift_to, steady(0, least), rounding);
  assert_near(100.0 * prove.commands[1].downshift_from, 46.137, 5e-4);
  assert_near(100.0 * prove.commands[0].upshift_to, 96.760, 5e-4);
  assert_true(isnan(prove.commands[0].downshift_from));
}

static void a_selector_is_bounded_by_closed_forms(void **state)
{
  (void)state;
  solve("selector", 0.95, 1.5, least, greatest);
  const double *bounds = prove.bounds;
  assert_near(bounds[SB_PROVE_CYCLE_ONCE], 3.0, 1e-12);
  assert_near(bounds[SB_PROVE_CYCLE_LASTING], 3.0, 1e-12);
  const double swing = (1.0 - proof_down) * proof_stall * k_of(1) - (1.0 - proof_up) * proof_stall * k_of(0);
  assert_near(bounds[SB_PROVE_SWING], swing, 1e-6);
  assert_near(swing, 0.304594, 5e-7);
  assert_in_range((int)(1e6 * prove.least_swing_proved_nm), (int)(0.99e6 * swing), (int)(1e6 * swing));
  /* The output comes from the upshift threshold, stops under the heaviest load and waits for the selector. */
  const double standstill = travel - proof_up * proof_w0 / 10.0 * proof_output / greatest;
  assert_near(bounds[SB_PROVE_STANDSTILL], standstill, 1e-6);
  assert_near(standstill, 0.11602, 5e-6);
  assert_near(bounds[SB_PROVE_SHIFT], travel, 1e-9);
  assert_near(prove.shock_nms[1], impulse_into(4.0), 1e-6);
  assert_near(prove.shock_nms[0], impulse_into(10.0), 1e-6);
  assert_near(prove.shock_nms[1], 0.03158, 5e-6);
  assert_near(prove.shock_nms[0], 0.03114, 5e-6);
  assert_near(bounds[SB_PROVE_TORQUE], torque_from_rest(1, greatest), 1e-6);
  assert_near(bounds[SB_PROVE_TORQUE], 2.8417, 5e-5);
  assert_near(bounds[SB_PROVE_OUTPUT], 0.0, 0.0);
  /* In neutral the motor comes to its speed without load, from the greatest at which a shift begins. */
  const double neutral_s = proof_rotor * proof_w0 / proof_stall;
  assert_near(bounds[SB_PROVE_SPEED], proof_w0 * (1.0 - (1.0 - steady(0, least)) * exp(-travel / neutral_s)), 1e-6);
  assert_true(isnan(bounds[SB_PROVE_CURRENT]));
}

/*
 * With the drive cut in a shift the motor keeps its speed x, and the output comes from x / 4 to x / 4 - TL t / Jo, or to rest. Into 10:1 they differ by x
 * where it has stopped, and by 10 TL t / Jo - 1.5 x where it has not: most where it just stops, which is at 19 rad/s here, between the steady
 * state under 1.6 N.m, 18.3 rad/s, and the threshold, 19.8 rad/s.
 */
static void the_shock_is_greatest_where_the_output_just_stops(void **state)
{
  (void)state;
  struct sb_error err;
  const double kink_rad_s = 19.0, heaviest_nm = 1.6;
  proved = proof_machine("selector", 0.95, 1.5, 1.2, heaviest_nm);
  proved.shifter.is_drive_cut = true;
  proved.shifter.travel_time_s = 0.25 * kink_rad_s * proof_output / heaviest_nm;
  assert_int_equal(sb_prove_solve_quickly(&proved, &prove, &err), SB_OK);
  assert_near_rel(prove.shock_nms[0], impulse_into(10.0) * kink_rad_s / proof_w0, 1e-5);
}

/* A motor of 5 A at stall without friction draws 5 A times 1 - w / w0: all of it from rest, and as much more as it turned the other way when a
 * swing arm turns it round, at most from the steady state under the lightest load. */
static void the_greatest_current_is_that_of_rest_or_of_turning_round(void **state)
{
  (void)state;
  static const char *const shifters[] = {"selector", "swing arm"};
  for (int k = 0; k < 2; k++) {
    struct sb_error err;
    proved = proof_machine(shifters[k], 0.95, 1.5, least, greatest);
    model_set_currents(&proved, 5.0, 0.0, 0.0);
    model_finish(&proved);
    assert_int_equal(sb_prove_solve_quickly(&proved, &prove, &err), SB_OK);
    assert_near_rel(prove.bounds[SB_PROVE_CURRENT], 5.0 * (k == 0 ? 1.0 : 1.0 + steady(0, least)), 1e-6);
  }
}

static void return_and_reaction_count_the_opposite_command_that_still_comes(void **state)
{
  (void)state;
  solve("selector", 0.95, 1.5, least, greatest);
  const double back = still(1, greatest, least, proof_down) + 1.5 + travel;
  const double reaction = still(0, least, greatest, proof_up) + 1.5 + travel;
  assert_near(prove.bounds[SB_PROVE_RETURN_TIME], back, 1e-6);
  assert_near(prove.bounds[SB_PROVE_REACTION_TIME], reaction, 1e-6);
  assert_near(back, 1.6467, 5e-5);
  assert_near(reaction, 1.6537, 5e-5);
  assert_near(prove.return_up_to_nm, (1.0 - proof_up) * proof_stall * k_of(0), 1e-6);
}

static void all_is_proved_of_a_machine_whose_band_is_empty(void **state)
{
  (void)state;
  solve("selector", 0.95, 1.5, least, greatest);
  for (int k = 0; k < SB_PROVE_STATEMENTS; k++) assert_int_equal(prove.statements[k], SB_PROOF_PROVED);
  assert_false(prove.is_safe_only);
}

static void bounds_inside_the_gap_bring_no_command(void **state)
{
  (void)state;
  solve("selector", 0.95, 1.5, 1.2, 1.45);
  for (int g = 0; g < 2; g++) {
    assert_true(isnan(prove.commands[g].downshift_from));
    assert_true(isnan(prove.commands[g].upshift_from));
  }
  assert_true(isnan(prove.bounds[SB_PROVE_CYCLE_ONCE]));
  assert_true(isinf(prove.bounds[SB_PROVE_SWING]));
  assert_int_equal(prove.statements[SB_PROVE_CONSTANT], SB_PROOF_PROVED);
}

/* 0.1 s is too short a dwell: the gears have not come up yet when they are judged. Once, the cycle may be faster than for ever. */
static void a_short_dwell_hunts_under_a_constant_load(void **state)
{
  (void)state;
  solve("selector", 0.95, 0.1, least, greatest);
  assert_near(prove.bounds[SB_PROVE_CYCLE_ONCE], 0.28, 1e-12);
  assert_near(prove.bounds[SB_PROVE_CYCLE_LASTING], 0.30, 1e-12);
  assert_near(prove.bounds[SB_PROVE_SWING], 0.0, 0.0);
  assert_int_equal(prove.statements[SB_PROVE_CONSTANT], SB_PROOF_DISPROVED);
}

/* The motor passes zero in T = (Jm w0 / Ts) ln(1 + x / w0), and turns on by 0.4 turns in its new direction. */
static double swing_time(double motor_rad_s)
{
  const double lag = proof_rotor * proof_w0 / proof_stall, turn = 0.4 * 2.0 * model_pi;
  double low = 0.0, high = 1.0;
  for (int i = 0; i < 200; i++) {
    const double t = 0.5 * (low + high);
    *(proof_w0 * (t - lag * (1.0 - exp(-t / lag))) < turn ? &low : &high) = t;
  }
  return lag * log1p(motor_rad_s / proof_w0) + low;
}

static void a_swing_arm_engages_at_a_time_that_follows_from_the_speed(void **state)
{
  (void)state;
  solve("swing arm", 0.95, 1.5, least, greatest);
  const double longest = swing_time(steady(0, least) * proof_w0);
  assert_near(prove.bounds[SB_PROVE_SHIFT], longest, 1e-6);
  assert_near(longest, 0.09059, 5e-6);
  const double at_threshold = proof_up * proof_w0;
  const double standstill = swing_time(at_threshold) - at_threshold / 10.0 * proof_output / greatest;
  assert_near(prove.bounds[SB_PROVE_STANDSTILL], standstill, 1e-6);
  assert_near(standstill, 0.06884, 5e-6);
  const double back = still(1, greatest, least, proof_down) + 1.5 + longest;
  assert_near(prove.bounds[SB_PROVE_RETURN_TIME], back, 1e-5);
  assert_near(back, 1.6003, 5e-5);
}

/* The speed of the fast gear 0.16 s after an upshift at the threshold through a slipping clutch. */
static double through_clutch(double load_nm)
{
  const double up = proof_up * proof_w0, m = proof_stall / proof_w0, torque = 0.8;
  const double end = (proof_stall - torque) / m;
  double low = 0.0, high = 0.05, motor = 0.0;
  for (int i = 0; i < 200; i++) {
    const double t = 0.5 * (low + high);
    motor = end + (up - end) * exp(-m * t / proof_rotor);
    const double output = up / 10.0 + (4.0 * torque - load_nm) / proof_output * t;
    *(motor > 4.0 * output ? &low : &high) = t;
  }
  const double at = steady(1, load_nm) * proof_w0;
  return at + (motor - at) * exp(-(0.16 - low) / tau(1));
}

static void a_clutch_is_bounded_through_its_slip(void **state)
{
  (void)state;
  solve("clutch", 1.0, 0.16, least, greatest);
  assert_near(100.0 * prove.commands[1].downshift_from, 51.245, 5e-4);
  assert_near(100.0 * prove.commands[0].upshift_to, 97.221, 5e-4);
  assert_near(prove.bounds[SB_PROVE_CYCLE_ONCE], 0.32, 1e-12);
  double low = 1.4, high = 1.62;
  for (int i = 0; i < 100; i++) {
    const double middle = 0.5 * (low + high);
    *(through_clutch(middle) > proof_down * proof_w0 ? &low : &high) = middle;
  }
  const double swing = low - (1.0 - proof_up) * proof_stall * k_of(0);
  assert_near(prove.bounds[SB_PROVE_SWING], swing, 2e-6);
  assert_near(swing, 0.261716, 5e-7);
  for (int way = 0; way < 2; way++) assert_true(isnan(prove.shock_nms[way])); /* its sides meet: there is no shock */
  assert_true(isnan(prove.bounds[SB_PROVE_SHOCK]));
}

/* 1.2 N.m is more than the slow gear passes its threshold with, 1.157 N.m, and 1.75 N.m brings it there: it never comes back. */
static void a_lightest_load_above_the_upshift_torque_keeps_the_box_low(void **state)
{
  (void)state;
  solve("selector", 0.95, 1.5, 1.2, greatest);
  assert_true(prove.return_up_to_nm < 1.2);
  assert_true(isinf(prove.bounds[SB_PROVE_RETURN_TIME]));
  assert_int_equal(prove.statements[SB_PROVE_RETURN], SB_PROOF_DISPROVED);
  assert_int_equal(prove.statements[SB_PROVE_REACTION], SB_PROOF_PROVED);
}

/* Nor does a box that begins in its slow gear under loads that never bring a command, 1.2 to 1.45 N.m; nor one in whose fast gear the lightest load
 * already calls for the slow one, in a band from 1.461 to 2.700 N.m. */
static void a_box_that_never_leaves_low_or_never_stays_high_does_not_return(void **state)
{
  (void)state;
  struct sb_error err;
  proved = proof_machine("selector", 0.95, 1.5, 1.2, 1.45);
  proved.control.start_gear = 1;
  assert_int_equal(sb_prove_solve_quickly(&proved, &prove, &err), SB_OK);
  assert_true(isnan(prove.commands[0].upshift_from));
  assert_int_equal(prove.statements[SB_PROVE_RETURN], SB_PROOF_DISPROVED);
  proved = proof_machine("selector", 0.95, 1.5, 1.5, greatest);
  proved.control.upshift_fraction[0] = 0.65;
  assert_int_equal(sb_prove_solve_quickly(&proved, &prove, &err), SB_OK);
  assert_true(prove.return_up_to_nm > 1.5);
  assert_int_equal(prove.statements[SB_PROVE_RETURN], SB_PROOF_DISPROVED);
}

/* 3.3 N.m holds the fast gear, in which it starts, at rest until the start delay of 0.6 s is over: longer than a dwell of 0.3 s after a shift. */
static void a_load_that_holds_it_at_the_start_is_left_after_the_start_delay(void **state)
{
  (void)state;
  struct sb_error err;
  proved = proof_machine("selector", 0.95, 0.3, least, 3.3);
  assert_int_equal(sb_prove_solve_quickly(&proved, &prove, &err), SB_OK);
  assert_near(prove.bounds[SB_PROVE_STANDING], 0.6, 1e-9);
}

/* Parts that resist 1.0 N.m in motion and hold 3.0 N.m at rest, and 0.3 N.m: together 3.3 N.m hold it, although 1.3 N.m would let it go. */
static void what_holds_it_at_rest_is_more_than_what_resists(void **state)
{
  (void)state;
  struct sb_error err;
  proved = proof_machine("selector", 0.95, 0.3, 0.0, 0.0);
  proved.load.bounds = (struct sb_load_bounds){.manner = SB_BOUNDS_NONE};
  model_add_constant(&proved, 1.0, true)->breakaway_nm = 3.0;
  model_add_constant(&proved, 0.3, true);
  const struct sb_edge_load load = sb_edge_load_of(&proved);
  assert_near(load.breakaway_nm, 3.3, 1e-12);
  assert_near(load.resisting_nm[1], 1.3, 1e-12);
  assert_int_equal(sb_prove_solve_quickly(&proved, &prove, &err), SB_OK);
  assert_near(prove.bounds[SB_PROVE_STANDING], 0.6, 1e-9);
  proved.load.parts[proved.load.part_count - 2].breakaway_nm =
      2.9; /* 3.2 N.m: below the 3.249 N.m that the gear gives */
  assert_int_equal(sb_prove_solve_quickly(&proved, &prove, &err), SB_OK);
  assert_near(prove.bounds[SB_PROVE_STANDING], 0.0, 1e-9);
}

/* The faster gear gives 0.9 * 4 * 0.95^2 = 3.249 N.m: a breakaway torque of 5 N.m holds it at rest under any load. It is left all
 * the same by the first sample that may decide, for the slower gear gives 7.7 N.m. */
static void a_gear_that_the_breakaway_torque_holds_at_rest_is_left(void **state)
{
  (void)state;
  static const char *const shifters[] = {"selector", "swing arm"};
  struct sb_error err;
  for (int k = 0; k < 2; k++) {
    proved = proof_machine(shifters[k], 0.95, 0.5, -1.0, 2.0);
    proved.load.bounds.manner = SB_BOUNDS_ACTS;
    proved.load.breakaway_nm = 5.0;
    proved.control.downshift_fraction[0] = 0.3;
    proved.control.upshift_fraction[0] = 0.9;
    assert_int_equal(sb_prove_solve(&proved, &prove, &err), SB_OK);
    assert_null(prove.outside);
    assert_int_equal(prove.statements[SB_PROVE_RETURN], SB_PROOF_PROVED);
    assert_int_equal(sb_prove_search(&prove, &err), SB_OK);
    /* A run takes the start delay, the dwell and a shift; the bound has the sample that confirms besides. */
    if (k == 0) assert_near(prove.reached[SB_PROVE_RETURN_TIME], 0.6 + 0.5 + travel, 1e-6);
    assert_near(prove.bounds[SB_PROVE_RETURN_TIME], prove.reached[SB_PROVE_RETURN_TIME] + proof_sample, 1e-6);
  }
}

/* The bounds of two machines together are the wider ones, each by itself. */
static void bounds_of_machines_that_differ_are_the_wider_ones(void **state)
{
  (void)state;
  static const int manners[] = {SB_BOUNDS_ACTS, SB_BOUNDS_RESISTS};
  for (int k = 0; k < 2; k++) {
    struct sb_model one = proof_machine("selector", 0.95, 0.3, least, greatest), other = one;
    one.load.bounds = (struct sb_load_bounds){manners[k], 0.2, 2.0, INFINITY};
    other.load.bounds = (struct sb_load_bounds){manners[k], 0.1, 3.0, INFINITY};
    const struct sb_model *const ends[2][SB_EDGE_SIDES] = {{&one, &other}, {&other, &one}};
    for (int order = 0; order < 2; order++) {
      const struct sb_edge_load load = sb_edge_load_between(ends[order]);
      const double *range = k == 0 ? load.acting_nm : load.resisting_nm;
      assert_near(range[0], 0.1, 1e-12);
      assert_near(range[1], 3.0, 1e-12);
    }
  }
}

/* 40 N.m turn back the slower gear, too, whose stall torque is 7.7 N.m: it reads no more than its threshold, and there is no gear below it. */
static void a_load_that_turns_back_the_slowest_gear_is_bounded_as_any_other(void **state)
{
  (void)state;
  struct sb_error err;
  proved = proof_machine("selector", 0.95, 0.3, 0.0, 0.0);
  proved.load.bounds = (struct sb_load_bounds){SB_BOUNDS_ACTS, 1.0, 40.0, INFINITY};
  assert_int_equal(sb_prove_solve_quickly(&proved, &prove, &err), SB_OK);
  assert_null(prove.outside);
  assert_true(isinf(prove.bounds[SB_PROVE_STANDING]));
  assert_int_equal(prove.statements[SB_PROVE_STALL], SB_PROOF_DISPROVED);
  assert_true(prove.bounds[SB_PROVE_OUTPUT] < -proof_w0 / 10.0);
}

/* A motor at 12 of 36 rad/s when the run starts is brought to rest by 4 N.m, 1.108 N.m at the motor, and stands from there on until a sample may
 * decide: J w' = T - TL / (N eta) with T = 0.9 N.m (1 - w / w0) (Newton). */
static void an_output_that_turns_at_the_start_stands_for_the_rest_of_the_start_delay(void **state)
{
  (void)state;
  struct sb_error err;
  const double eta = 0.95 * 0.95, begin = 12.0, slope = proof_stall / proof_w0;
  const double towards = (proof_stall - 4.0 / (4.0 * eta)) / slope;
  const double joined_inertia = proof_rotor + proof_output / (16.0 * eta);
  proved = proof_machine("selector", 0.95, 0.1, 0.25, 4.0);
  proved.control.start_delay_s = 2.0;
  proved.run.initial_output_speed_rad_s = begin / 4.0;
  assert_int_equal(sb_prove_solve_quickly(&proved, &prove, &err), SB_OK);
  assert_null(prove.outside);
  assert_near(prove.bounds[SB_PROVE_STANDING], 2.0 - joined_inertia / slope * log((begin - towards) / -towards), 1e-6);
}

/* The least swing of this arm lies 3 % below the least one that the edges of the band show: it is found where a cell of loads is not quiet. That
 * lesser ones are is seen in cells as well, but from all loads at once. */
static void no_swing_below_the_one_proved_makes_a_swing_arm_shift_for_ever(void **state)
{
  (void)state;
  static struct sb_reach reach; /* large, as the next */
  static struct sb_reach_commands all;
  struct sb_error err;
  proved = proof_machine("swing arm", 1.0, 0.93, 0.354, 0.745);
  model_set_line_motor(&proved, 310.0, 0.373, 7.15e-5);
  model_set_currents(&proved, 5.0, 0.0383, 0.1);
  proved.gearbox.gear_count = 0;
  model_add_gear(&proved, 6.2, 0.735, false)->back_efficiency = 0.678;
  model_add_gear(&proved, 3.5, 0.861, false)->back_efficiency = 0.602;
  proved.shifter.swing_turns = 0.95;
  proved.load.inertia_kg_m2 = 0.00366;
  struct sb_control *control = &proved.control;
  control->sample_period_s = 0.015;
  control->start_delay_s = 0.47;
  control->debounce_count = 2;
  control->downshift_fraction[0] = 0.484;
  control->upshift_fraction[0] = 0.72;
  control->sensor.reference_rad_s = 310.0;
  control->sensor.resolution_fraction = 0.01;
  control->sensor.filter_s = 0.0771;
  model_finish(&proved);
  assert_int_equal(sb_prove_solve(&proved, &prove, &err), SB_OK);
  assert_true(prove.outside == NULL && isfinite(prove.bounds[SB_PROVE_SWING]));
  assert_int_equal(sb_reach_init(&reach, &proved, &err), SB_OK);
  sb_reach_all(&reach, &all);
  const struct sb_answer_range range = sb_answer_swinging(&reach);
  const double ends_nm[2] = {range.from_nm, range.to_nm}, narrow_nm = (range.to_nm - range.from_nm) / 1024;
  double left_nm[2];
  assert_true(sb_answer_is_quiet(&reach, &all, 0.98 * prove.least_swing_proved_nm, narrow_nm, ends_nm, left_nm));
  sb_reach_clear(&reach);
}

/* From 1 to 2 N.m within 4 s at 1 N.m/s at most: up for 2.5 s and down again; under a ceiling of 3 N.m along it from 2 s to 3 s. */
static void the_greatest_path_of_a_slow_load_goes_up_and_down_at_its_rate(void **state)
{
  (void)state;
  static const double tent[][2] = {{0.0, 1.0}, {2.5, 3.5}, {4.0, 2.0}};
  static const double cut[][2] = {{0.0, 1.0}, {2.0, 3.0}, {3.0, 3.0}, {4.0, 2.0}};
  const struct sb_edge_path free = sb_edge_path_above(1.0, 2.0, 10.0, 1.0, 4.0);
  const struct sb_edge_path under = sb_edge_path_above(1.0, 2.0, 3.0, 1.0, 4.0);
  const struct sb_edge_path below = sb_edge_path_below(-1.0, -2.0, -10.0, 1.0, 4.0);
  assert_int_equal(free.count, 3);
  assert_int_equal(under.count, 4);
  for (int k = 0; k < 4; k++) {
    assert_near(under.time_s[k], cut[k][0], 1e-12);
    assert_near(under.torque_nm[k], cut[k][1], 1e-12);
    if (k == 3) break;
    assert_near(free.time_s[k], tent[k][0], 1e-12);
    assert_near(free.torque_nm[k], tent[k][1], 1e-12);
    assert_near(below.torque_nm[k], -tent[k][1], 1e-12);
  }
}

/* Between two speeds that turn different ways there is rest, which reads 0. */
static void readings_between_two_speeds_are_bounded_by_theirs_and_rest(void **state)
{
  (void)state;
  struct sb_edges edges;
  struct sb_error err;
  proved = proof_machine("selector", 0.95, 0.3, least, greatest);
  assert_int_equal(sb_edge_init(&edges, &proved, &err), SB_OK);
  const double whole = proved.control.sensor.reference_rad_s;
  assert_near(sb_edge_least_reading(&edges, -0.25 * whole, 0.5 * whole), 0.0, 0.0);
  assert_near(sb_edge_greatest_reading(&edges, -0.75 * whole, 0.5 * whole), 0.75, 1e-15);
  assert_near(sb_edge_least_reading(&edges, 0.25 * whole, 0.5 * whole), 0.25, 1e-15);
  assert_near(sb_edge_least_reading(&edges, -0.5 * whole, -0.25 * whole), 0.25, 1e-15);
  sb_edge_clear(&edges);
}

/* Whether a run under a constant load still shifts in its last third. */
static bool runs_to_and_fro(double load_nm)
{
  struct sb_model model = proved;
  model.load.bounds = (struct sb_load_bounds){.manner = SB_BOUNDS_NONE};
  model_add_constant(&model, load_nm, true);
  model.run.duration_s = 9.0;
  struct sb_run_result result = run(&model);
  const bool goes_on = result.monitor.shift_count > 0 && result.monitor.last_shift.command_s > 6.0;
  sb_run_result_clear(&result);
  return goes_on;
}

/* With an upshift above 65 % there is a band, from 1.461 N.m to 2.700 N.m: a heaviest load in it, at which runs go to and fro, is none that
 * the box settles under. */
static void a_heaviest_load_in_the_band_does_not_settle(void **state)
{
  (void)state;
  static const double heaviest_nm[] = {1.3, 1.75, 2.4};
  for (int k = 0; k < 3; k++) {
    struct sb_error err;
    proved = proof_machine("selector", 0.95, 1.5, least, heaviest_nm[k]);
    proved.control.upshift_fraction[0] = 0.65;
    assert_int_equal(sb_prove_solve_quickly(&proved, &prove, &err), SB_OK);
    const bool is_in_band = k > 0;
    assert_int_equal(runs_to_and_fro(heaviest_nm[k]), is_in_band);
    assert_int_equal(prove.statements[SB_PROVE_REACTION], is_in_band ? SB_PROOF_DISPROVED : SB_PROOF_PROVED);
  }
}

/* 3.3 N.m is above what the fast gear moves, 3.249 N.m, 8 N.m above the slow gear's 7.716 N.m. */
static void a_load_that_stops_a_gear_is_left_after_the_delay_or_never(void **state)
{
  (void)state;
  solve("selector", 0.95, 1.5, least, 3.3);
  assert_near(prove.bounds[SB_PROVE_STANDING], 1.5 - travel, 0.2);
  assert_true(prove.statements[SB_PROVE_STALL] != SB_PROOF_PROVED);
  solve("selector", 0.95, 1.5, least, 8.0);
  assert_true(isinf(prove.bounds[SB_PROVE_STANDING]));
  assert_int_equal(prove.statements[SB_PROVE_STALL], SB_PROOF_DISPROVED);
}

/* No reading is below a threshold that is as good as 0: the fast gear that 3.3 N.m stops is kept. */
static void a_threshold_below_all_readings_keeps_a_stopped_gear_for_ever(void **state)
{
  (void)state;
  for (int rated = 0; rated < 2; rated++) {
    struct sb_model model = proof_machine("selector", 0.95, 1.5, least, 3.3);
    struct sb_any_load_point point;
    struct sb_error err;
    model.control.sensor.resolution_fraction = 0.01;
    if (rated == 1) model.load.bounds.rate_nm_s = 1.0;
    model.control.downshift_fraction[0] = 1e-20;
    assert_int_equal(sb_prove_solve(&model, &prove, &err), SB_OK);
    assert_true(isinf(prove.bounds[SB_PROVE_STANDING]));
    assert_true(isinf(prove.bounds[SB_PROVE_REACTION_TIME]));
    assert_int_equal(prove.stopped_gear, 1);
    assert_int_equal(sb_prove_search(&prove, &err), SB_OK);
    assert_int_equal(prove.statements[SB_PROVE_STALL], SB_PROOF_DISPROVED);
    assert_true(prove.statements[SB_PROVE_REACTION] != SB_PROOF_PROVED);
    assert_int_equal(sb_any_load_look_at(&model, 0, 1e-20, proof_up, &point, &err), SB_OK);
    assert_int_equal(point.class, rated == 0 ? SB_ANY_LOAD_STALLS : SB_ANY_LOAD_UNDECIDED);
    model.control.downshift_fraction[0] = 0.004;
    assert_int_equal(sb_prove_solve(&model, &prove, &err), SB_OK);
    assert_true(isfinite(prove.bounds[SB_PROVE_STANDING]));
    assert_int_equal(prove.stopped_gear, -1);
  }
}

static void what_is_outside_is_named_by_its_key(void **state)
{
  (void)state;
  struct sb_error err;
  proved = proof_machine("selector", 0.95, 1.5, least, greatest);
  proved.drive.ramp_s = 0.5;
  assert_int_equal(sb_prove_solve(&proved, &prove, &err), SB_OK);
  assert_non_null(prove.outside);
  assert_int_equal(strncmp(prove.outside, "drive.ramp:", 11), 0);
  for (int k = 0; k < SB_PROVE_STATEMENTS; k++) assert_int_equal(prove.statements[k], SB_PROOF_UNDECIDED);
}

/* All that breaks the order of courses: what follows the past (control, heat, charge, angles, a shaft's twist), what is switched, what other
 * bodies do, what has no bounds, gears of which one turns back, or locks itself beside a clutch; and more samples than can be followed. */
static const char *const outside_keys[] = {"gearbox.gears: there is one gear",
                                           "drive.mode:",
                                           "drive.ramp:",
                                           "drive.schedule:",
                                           "supply.battery:",
                                           "motor.winding:",
                                           "gearbox.output_shaft:",
                                           "load.bodies: wheels can slip",
                                           "load.bodies: bodies stand in the way",
                                           "gearbox.back_efficiency:",
                                           "gearbox.gears: gears turn the output in different directions",
                                           "controller.reading:",
                                           "controller.pulses:",
                                           "controller.noise:",
                                           "controller.reference:",
                                           "controller.sample_period:",
                                           "controller.start_delay:",
                                           "controller.dwell:"};
enum { OUTSIDE_KEYS = sizeof outside_keys / sizeof outside_keys[0] };

static void take_outside(struct sb_model *model, int key)
{
  switch (key) {
    case 0: model->gearbox.gear_count = 1; break;
    case 1: model->drive.mode = SB_DRIVE_SPEED_CONTROL; break;
    case 2: model->drive.ramp_s = 0.5; break;
    case 3: model->drive.schedule.count = 2; break;
    case 4: model->battery.is_present = true; break;
    case 5: model->winding.is_present = true; break;
    case 6: model->driveshaft.is_present = true; break;
    case 7: model->load.road.can_slip = true; break;
    case 8: model->load.road.obstacle_count = 1; break;
    case 9:
      model_set_shifter(model, "clutch");
      model->gearbox.gears[1].back_efficiency = -0.2;
      break;
    case 10: model->gearbox.gears[1].output_direction = -1; break;
    case 11: model->control.sensor.quantity = SB_SENSES_CURRENT; break;
    case 12: model->control.sensor.pulses.per_turn = 6.0; break;
    case 13: model->control.sensor.noise_fraction = 0.01; break;
    case 14: model->control.sensor.supply.is_present = true; break;
    case 15: model->control.sample_period_s = 0.99e-4 * tau(1); break;
    case 16: model->control.start_delay_s = 100001.0 * proof_sample; break;
    default: model->control.dwell_s = 100001.0 * proof_sample; break;
  }
}

static void all_that_breaks_the_order_is_outside(void **state)
{
  (void)state;
  proved = proof_machine("selector", 0.95, 1.5, least, greatest);
  assert_null(sb_prove_outside(&proved));
  for (int key = 0; key < OUTSIDE_KEYS; key++) {
    proved = proof_machine("selector", 0.95, 1.5, least, greatest);
    take_outside(&proved, key);
    const char *said = sb_prove_outside(&proved);
    if (said == NULL || strncmp(said, outside_keys[key], strlen(outside_keys[key])) != 0) {
      fail_msg("%s: %s", outside_keys[key], said != NULL ? said : "inside");
    }
  }
}

/* A selector that takes longer than it may. */
static void a_shift_that_takes_too_long_takes_it_out_of_the_class(void **state)
{
  (void)state;
  proved = proof_machine("selector", 0.95, 1.5, least, greatest);
  proved.shifter.timeout_s = 0.1;
  proof_expect_outside(&proved, "gearbox.shifter.shift_timeout");
}

/* Readings in steps of 2 %: below 56 % is at most 27 steps, so less than 27.5, 55 %; above 84 % is at least 43, so 42.5 or more, 85 %. Two
 * readings in a row: each command of the fastest cycle comes a sample later. */
static void a_coarse_reading_shifts_half_a_step_off_and_a_debounced_one_later(void **state)
{
  (void)state;
  struct sb_error err;
  proved = proof_machine("selector", 0.95, 1.5, least, greatest);
  proved.control.sensor.resolution_fraction = 0.02;
  proved.control.downshift_fraction[0] = 0.56;
  proved.control.upshift_fraction[0] = 0.84;
  assert_int_equal(sb_prove_solve_quickly(&proved, &prove, &err), SB_OK);
  assert_near(prove.commands[1].downshift_to, proof_down, rounding);
  assert_near(prove.commands[0].upshift_from, proof_up, rounding);
  assert_near(prove.bounds[SB_PROVE_CYCLE_ONCE], 3.0, 1e-12);
  proved.control.debounce_count = 2;
  assert_int_equal(sb_prove_solve_quickly(&proved, &prove, &err), SB_OK);
  assert_near(prove.bounds[SB_PROVE_CYCLE_ONCE], 3.0 + 2.0 * proof_sample, 1e-12);
}

/* The quick answer is the same but for the swing, and is what `check` says. */
static void a_line_says_the_most_of_it(void **state)
{
  (void)state;
  struct sb_error err;
  solve("selector", 0.95, 1.5, least, greatest);
  const double back = prove.bounds[SB_PROVE_RETURN_TIME];
  assert_int_equal(sb_prove_solve_quickly(&proved, &prove, &err), SB_OK);
  assert_near(prove.bounds[SB_PROVE_RETURN_TIME], back, 0.0);
  assert_true(isnan(prove.bounds[SB_PROVE_SWING]));
  assert_int_equal(prove.statements[SB_PROVE_CONSTANT], SB_PROOF_UNDECIDED);
  assert_string_equal(
      sb_prove_line(&prove).text,
      "Whatever the load profile between 0.25 and 1.75 N.m: the output never stands in gear; the box is "
      "back in fast at most 1.647 s after the load has come to its lightest.");
  proved.drive.ramp_s = 0.5;
  assert_int_equal(sb_prove_solve_quickly(&proved, &prove, &err), SB_OK);
  assert_string_equal(sb_prove_line(&prove).text, "");
}

/* Solves with a rate of the load. */
static void solve_slow(double dwell_s, double rate_nm_s)
{
  struct sb_error err;
  proved = proof_machine("selector", 0.95, dwell_s, least, greatest);
  proved.load.bounds.rate_nm_s = rate_nm_s;
  assert_int_equal(sb_prove_solve(&proved, &prove, &err), SB_OK);
  assert_null(prove.outside);
  assert_true(prove.is_rate_used);
}

/* From 1.461 N.m, where the fast gear falls below its threshold, to 1.157 N.m, where the slow one rises above, and back, at 0.3 N.m/s. */
static void a_slow_load_cannot_cycle_faster_than_it_moves(void **state)
{
  (void)state;
  solve_slow(0.3, 0.3);
  const double moves_s = 2.0 * 0.304594 / 0.3; /* but for what the gears lag behind */
  assert_near(prove.bounds[SB_PROVE_CYCLE_ONCE], 2.07, 0.0301);
  assert_near(prove.bounds[SB_PROVE_CYCLE_ONCE], moves_s, 0.05);
  assert_true(prove.bounds[SB_PROVE_RETURN_TIME] < 0.02); /* at 0.25 N.m the fast gear has long been engaged */
  assert_true(prove.is_safe_only);
  solve_slow(1.5, 1.0);
  assert_near(prove.bounds[SB_PROVE_CYCLE_ONCE], 3.0, 1e-9);
  assert_near(prove.bounds[SB_PROVE_CYCLE_LASTING], 3.0, 1e-9);
}

/* 3.3 N.m stops the fast gear; a load that comes to it slowly finds the slow one engaged. */
static void a_slow_load_stops_no_gear_that_a_fast_one_stops(void **state)
{
  (void)state;
  struct sb_error err;
  solve("selector", 0.95, 0.3, least, 3.3);
  assert_true(prove.bounds[SB_PROVE_STANDING] > 0.0);
  proved.control.start_gear = 1;
  proved.load.bounds.rate_nm_s = 0.5;
  assert_int_equal(sb_prove_solve(&proved, &prove, &err), SB_OK);
  assert_near(prove.bounds[SB_PROVE_STANDING], 0.0, 0.0);
  assert_int_equal(prove.statements[SB_PROVE_STALL], SB_PROOF_PROVED);
}

/* It starts in the slower gear under any load, and that stops for good beyond 7.716 N.m, however slowly the load comes there. */
static void a_slow_load_stops_for_good_what_it_can_stop(void **state)
{
  (void)state;
  struct sb_error err;
  proved = proof_machine("selector", 0.95, 0.3, least, 9.0);
  proved.control.start_gear = 1;
  proved.load.bounds.rate_nm_s = 4.0;
  assert_int_equal(sb_prove_solve(&proved, &prove, &err), SB_OK);
  assert_true(prove.is_rate_used);
  assert_true(isinf(prove.bounds[SB_PROVE_STANDING]));
  assert_true(prove.statements[SB_PROVE_STALL] != SB_PROOF_PROVED);
}

/* The bounds only become tighter; cells of another width may shift a bound by what one of them is worth. */
static void the_slower_the_load_the_tighter_the_bounds(void **state)
{
  (void)state;
  static const double rates[] = {20.0, 4.0, 1.0, 0.5, 0.3};
  solve("selector", 0.95, 0.3, least, greatest);
  struct sb_prove faster = prove;
  for (int k = 0; k < 5; k++) {
    solve_slow(0.3, rates[k]);
    for (int b = 0; b < SB_PROVE_BOUNDS; b++) {
      const bool is_least = b == SB_PROVE_CYCLE_ONCE || b == SB_PROVE_CYCLE_LASTING || b == SB_PROVE_OUTPUT;
      if (isnan(prove.bounds[b]) || b == SB_PROVE_SWING) continue;
      const double gain = is_least ? prove.bounds[b] - faster.bounds[b] : faster.bounds[b] - prove.bounds[b];
      if (gain < -2e-3 * fabs(prove.bounds[b])) fail_msg("rate %g, bound %d: %.9g", rates[k], b, gain);
    }
    faster = prove;
  }
}

static void what_a_rate_cannot_be_used_for_is_safe_only(void **state)
{
  (void)state;
  struct sb_error err;
  proved = proof_machine("selector", 0.95, 1.5, least, greatest);
  proved.load.bounds = (struct sb_load_bounds){SB_BOUNDS_ACTS, -4.0, 9.0, 0.3}; /* turns back */
  assert_int_equal(sb_prove_solve_quickly(&proved, &prove, &err), SB_OK);
  assert_false(prove.is_rate_used);
  assert_true(prove.is_safe_only);
  proved.load.bounds =
      (struct sb_load_bounds){SB_BOUNDS_RESISTS, least, greatest, 1e6}; /* from one end to the other in a sample */
  assert_int_equal(sb_prove_solve_quickly(&proved, &prove, &err), SB_OK);
  assert_false(prove.is_rate_used);
}

/* Nothing moves a load that is above the stall of both gears, 0.9 N.m * 10 * 0.95^3 the greater: 2e9 samples of it would take hours. */
static void what_has_come_to_rest_is_followed_no_further(void **state)
{
  (void)state;
  static struct sb_reach reach;
  static struct sb_reach_commands all;
  struct sb_error err;
  proved = proof_machine("selector", 0.95, 1.5, 8.0, 9.0);
  assert_int_equal(sb_reach_init(&reach, &proved, &err), SB_OK);
  sb_reach_all(&reach, &all);
  assert_int_equal(all.sets[1][SB_REACH_DOWN].count, 1);
  assert_true(sb_reach_follow(&reach, 1, SB_REACH_DOWN, &all.sets[1][SB_REACH_DOWN].items[0], 2000000000, NULL, NULL));
  sb_reach_clear(&reach);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(all_that_breaks_the_order_is_outside),
      cmocka_unit_test(commands_lie_between_the_thresholds_and_the_steady_states),
      cmocka_unit_test(a_selector_is_bounded_by_closed_forms),
      cmocka_unit_test(the_shock_is_greatest_where_the_output_just_stops),
      cmocka_unit_test(the_greatest_current_is_that_of_rest_or_of_turning_round),
      cmocka_unit_test(return_and_reaction_count_the_opposite_command_that_still_comes),
      cmocka_unit_test(all_is_proved_of_a_machine_whose_band_is_empty),
      cmocka_unit_test(bounds_inside_the_gap_bring_no_command),
      cmocka_unit_test(a_short_dwell_hunts_under_a_constant_load),
      cmocka_unit_test(a_lightest_load_above_the_upshift_torque_keeps_the_box_low),
      cmocka_unit_test(a_heaviest_load_in_the_band_does_not_settle),
      cmocka_unit_test(a_box_that_never_leaves_low_or_never_stays_high_does_not_return),
      cmocka_unit_test(a_shift_that_takes_too_long_takes_it_out_of_the_class),
      cmocka_unit_test(a_coarse_reading_shifts_half_a_step_off_and_a_debounced_one_later),
      cmocka_unit_test(a_load_that_holds_it_at_the_start_is_left_after_the_start_delay),
      cmocka_unit_test(what_holds_it_at_rest_is_more_than_what_resists),
      cmocka_unit_test(a_gear_that_the_breakaway_torque_holds_at_rest_is_left),
      cmocka_unit_test(bounds_of_machines_that_differ_are_the_wider_ones),
      cmocka_unit_test(a_load_that_turns_back_the_slowest_gear_is_bounded_as_any_other),
      cmocka_unit_test(an_output_that_turns_at_the_start_stands_for_the_rest_of_the_start_delay),
      cmocka_unit_test(no_swing_below_the_one_proved_makes_a_swing_arm_shift_for_ever),
      cmocka_unit_test(the_greatest_path_of_a_slow_load_goes_up_and_down_at_its_rate),
      cmocka_unit_test(readings_between_two_speeds_are_bounded_by_theirs_and_rest),
      cmocka_unit_test(a_swing_arm_engages_at_a_time_that_follows_from_the_speed),
      cmocka_unit_test(a_clutch_is_bounded_through_its_slip),
      cmocka_unit_test(a_load_that_stops_a_gear_is_left_after_the_delay_or_never),
      cmocka_unit_test(a_threshold_below_all_readings_keeps_a_stopped_gear_for_ever),
      cmocka_unit_test(what_has_come_to_rest_is_followed_no_further),
      cmocka_unit_test(a_slow_load_cannot_cycle_faster_than_it_moves),
      cmocka_unit_test(a_slow_load_stops_no_gear_that_a_fast_one_stops),
      cmocka_unit_test(a_slow_load_stops_for_good_what_it_can_stop),
      cmocka_unit_test(the_slower_the_load_the_tighter_the_bounds),
      cmocka_unit_test(what_a_rate_cannot_be_used_for_is_safe_only),
      cmocka_unit_test(a_line_says_the_most_of_it),
      cmocka_unit_test(what_is_outside_is_named_by_its_key),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
