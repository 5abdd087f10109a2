// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Gears that lock themselves: what keeps the order of courses, and that no run exceeds a bound. SB_PROVE_MACHINES in the environment
 * tries more machines.
 */
#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "help/dice.h"
#include "help/games.h"
#include "help/near.h"
#include "help/proof.h"
#include "help/slow.h"
#include "prove/any_load.h"
#include "prove/reach.h"

static struct sb_model tried; /* large, hence not on the stack */
static struct sb_prove prove;
static const char is_driven[] = "gearbox.back_efficiency: a gear locks itself, and there are loads under which its";

/* One gear or both of them lock themselves, with thresholds about which the slower gear often engages below the no-load speed, and often
 * above. */
static struct sb_model locking_random(gsl_rng *dice)
{
  struct sb_model model;
  do {
    model = proof_random(dice);
  } while (model.shifter.ops->has_clutch);
  const int which = (int)gsl_rng_uniform_int(dice, 3);
  for (int g = 0; g < 2; g++) {
    struct sb_gear *gear = &model.gearbox.gears[g];
    if (which == 1 - g) continue;
    gear->meshes[0].efficiency = gsl_ran_flat(dice, 0.3, 0.6);
    gear->back_efficiency = -gsl_ran_flat(dice, 0.01, 1.2);
    if (gsl_rng_uniform(dice) < 0.3) gear->drag_nm = 0.05 * model.motor.stall_torque_nm;
    if (gsl_rng_uniform(dice) < 0.2) gear->meshes[0].inertia_kg_m2 = 0.5 * model.motor.rotor_inertia_kg_m2;
  }
  struct sb_load_bounds *bounds = &model.load.bounds;
  if (gsl_rng_uniform(dice) < 0.8) bounds->least_nm = fabs(bounds->least_nm);
  if (gsl_rng_uniform(dice) < 0.6) { /* a heavy output that little slows down drives its motor after a downshift */
    bounds->least_nm *= 0.1;
    model.load.inertia_kg_m2 *= gsl_ran_flat(dice, 1.0, 8.0);
  }
  bounds->greatest_nm = fmax(0.7 * bounds->greatest_nm, 1.2 * bounds->least_nm);
  const double extra = gsl_rng_uniform(dice); /* what sticks at rest, or changes slowly */
  if (extra < 0.2 && bounds->manner == SB_BOUNDS_RESISTS) {
    model.load.breakaway_nm = bounds->greatest_nm * gsl_ran_flat(dice, 1.05, 1.5);
  } else if (extra > 0.85) {
    bounds->rate_nm_s = (bounds->greatest_nm - bounds->least_nm) / gsl_ran_flat(dice, 0.1, 2.0);
  }
  model.control.downshift_fraction[0] = gsl_ran_flat(dice, 0.1, 0.6);
  model.control.upshift_fraction[0] = model.control.downshift_fraction[0] + gsl_ran_flat(dice, 0.05, 0.35);
  model_finish(&model);
  return model;
}

/* Machines that are proved never jam, and keep within their bounds; some of those that are left out do jam. */
static void no_run_of_a_machine_with_gears_that_lock_exceeds_a_bound(void **state)
{
  (void)state;
  const char *asked = getenv("SB_PROVE_MACHINES");
  const int machines = asked != NULL ? atoi(asked) : IS_SLOW ? 10 : 60;
  int proved = 0, driven = 0;
  long jams = 0;
  for (int k = 0; k < machines; k++) {
    struct sb_error err;
    gsl_rng *dice = dice_of(9100 + (unsigned long)k);
    tried = locking_random(dice);
    assert_int_equal(sb_prove_solve(&tried, &prove, &err), SB_OK);
    const long jammed = game_play_within(&tried, &prove, dice, k, 30);
    if (prove.outside == NULL) {
      proved++;
      if (jammed > 0) fail_msg("machine %d jams", k);
      if (k % 8 == 0) {
        assert_int_equal(sb_prove_search(&prove, &err), SB_OK);
        for (int b = 0; b < SB_PROVE_BOUNDS; b++) {
          if (b != SB_PROVE_SWING) game_expect_within(&prove, b, prove.reached[b], k);
        }
      }
    } else if (strncmp(prove.outside, is_driven, strlen(is_driven)) == 0) {
      driven++;
      jams += jammed;
    }
    gsl_rng_free(dice);
  }
  printf("locking: %d of %d machines proved, %d whose output drives, %ld jams\n", proved, machines, driven, jams);
  assert_in_range(proved, machines / 5, machines);
  assert_in_range(driven, 1, machines);
  assert_true(IS_SLOW || jams > 0); /* the few machines with sanitizers may meet none */
}

/* A machine of one selector and two gears that lock themselves; it starts in the faster one. */
static struct sb_model locking_machine(double least_nm, double greatest_nm)
{
  struct sb_model model = proof_machine("selector", 0.95, 0.3, least_nm, greatest_nm);
  for (int g = 0; g < 2; g++) {
    struct sb_gear *gear = &model.gearbox.gears[g];
    gear->meshes[0].efficiency = 0.45;
    gear->back_efficiency = -0.2;
    gear->drag_nm = 0.02;
  }
  model_finish(&model);
  return model;
}

/* From a speed above that without a load on, the motor brakes the output with m (x - x0), x0 less by the drag; the output drives unless
 * the load takes more than its own inertia would then give: TL >= m (x - x0) Jo / (N Jm) (Newton, with no force at the teeth). */
static void the_output_drives_where_it_is_braked_by_the_motor_alone(void **state)
{
  (void)state;
  static const double shares[] = {1.1, 1.3};
  for (int k = 0; k < 2; k++) {
    const double speed = shares[k] * proof_w0, slope = proof_stall / proof_w0, drag_nm = 0.02;
    const double load_nm = (slope * (speed - proof_w0) + drag_nm) * proof_output / (4.0 * proof_rotor);
    for (int side = -1; side <= 1; side += 2) {
      struct sb_error err;
      tried = locking_machine(load_nm * (1.0 + 1e-3 * side), 1.5 * load_nm);
      tried.run.initial_output_speed_rad_s = speed / 4.0;
      assert_int_equal(sb_prove_solve(&tried, &prove, &err), SB_OK);
      if (side < 0) proof_expect_outside(&tried, is_driven);
      if (side > 0) assert_null(prove.outside);
    }
  }
}

/* The fastest of all downshifts engages the slower gear at its highest speed, from where it only slows down. */
static void the_highest_speed_of_a_gear_is_that_of_its_engagement(void **state)
{
  (void)state;
  static struct sb_reach reach;             /* large */
  static struct sb_reach_commands commands; /* large */
  struct sb_error err;
  tried = locking_machine(0.05, 1.2);
  tried.load.inertia_kg_m2 *= 4.0;
  model_finish(&tried);
  assert_int_equal(sb_reach_init(&reach, &tried, &err), SB_OK);
  sb_reach_all(&reach, &commands);
  const double most_rad_s = reach.edges.meshes.most_rad_s[0];
  const struct sb_spans *set = &commands.sets[1][SB_REACH_DOWN];
  assert_true(set->count > 0 && most_rad_s > 1.05 * proof_w0);
  const struct sb_span hull = sb_span_set_hull(set);
  struct sb_edge_shift shift;
  (void)sb_edge_shift(&reach.edges, SB_EDGE_FAST, 1, 0, &hull.high, reach.dwell, &shift);
  assert_near(most_rad_s, shift.joined_rad_s, 1e-9 * proof_w0);
  assert_non_null(reach.trouble);
  sb_reach_clear(&reach);
}

/* What lifts a hung mass is driven by the motor; what lowers one is not, however slowly. No load at all, or next to none, is. */
static void a_load_that_helps_is_left_out(void **state)
{
  (void)state;
  static const double least_nm[] = {-0.01, 1e-6, 0.0};
  for (int k = 0; k < 3; k++) {
    struct sb_error err;
    tried = locking_machine(least_nm[k], 0.5);
    tried.load.bounds.manner = SB_BOUNDS_ACTS;
    assert_int_equal(sb_prove_solve(&tried, &prove, &err), SB_OK);
    if (k == 0) proof_expect_outside(&tried, is_driven);
    if (k > 0) assert_null(prove.outside);
  }
}

/* A gear that pulls along a load does not start under it where |eta_back| TL / N exceeds the motor's torque, and does so under a heavier
 * one, although moving it would drive: 12 N.m x 1.0 / 10 against 0.9 N.m. */
static void a_load_that_helps_and_holds_is_left_out(void **state)
{
  (void)state;
  tried = locking_machine(-12.0, 0.5);
  tried.load.bounds.manner = SB_BOUNDS_ACTS;
  tried.load.inertia_kg_m2 *= 10.0;
  tried.gearbox.gears[0].back_efficiency = -1.0;
  tried.gearbox.gears[1].back_efficiency = 0.3;
  tried.control.start_gear = 1;
  tried.control.downshift_fraction[0] = 0.2;
  tried.control.upshift_fraction[0] = 0.4; /* so soon that the motor drives up to there */
  tried.control.start_delay_s = 0.0;
  model_finish(&tried);
  proof_expect_outside(&tried, is_driven);
}

/* A driver that holds the torque at 0.02 N.m lets a drag of 0.05 N.m stop an output that turns, which then drives. */
static void the_output_drives_where_the_current_is_too_small_for_the_drag(void **state)
{
  (void)state;
  for (int k = 0; k < 2; k++) {
    struct sb_error err;
    tried = locking_machine(0.2, 0.9);
    model_set_currents(&tried, 5.0, 0.0, 0.0);
    tried.supply.current_limit_a = k == 0 ? 5.0 * 0.02 / proof_stall : 0.0;
    tried.gearbox.gears[1].drag_nm = 0.05;
    tried.run.initial_output_speed_rad_s = 0.3 * proof_w0 / 4.0;
    model_finish(&tried);
    assert_int_equal(sb_prove_solve(&tried, &prove, &err), SB_OK);
    if (k == 0) proof_expect_outside(&tried, is_driven);
    if (k == 1) assert_null(prove.outside);
  }
}

/* A mass that falls while the selector is in neutral is caught by a gear that turns backwards with it, and does not jam: the
 * order is another one there. One that the heavier rotor turns on with all the way is lifted by the motor. */
static void a_gear_that_is_joined_backwards_is_left_out(void **state)
{
  (void)state;
  static const double travel_s[] = {0.12, 0.002};
  for (int k = 0; k < 2; k++) {
    struct sb_error err;
    tried = locking_machine(0.2, 0.9);
    tried.load.bounds.manner = SB_BOUNDS_ACTS;
    for (int g = 0; g < 2; g++) tried.gearbox.gears[g].back_efficiency = -0.02;
    tried.shifter.travel_time_s = travel_s[k];
    model_finish(&tried);
    assert_true(sb_model_overrun_inertia_kg_m2(&tried, 1, tried.load.inertia_kg_m2) > 0.0);
    assert_int_equal(sb_prove_solve(&tried, &prove, &err), SB_OK);
    if (k == 0) proof_expect_outside(&tried, is_driven);
    if (k == 1) assert_null(prove.outside);
  }
}

static void a_clutch_that_slips_before_a_gear_that_locks_is_left_out(void **state)
{
  (void)state;
  tried = locking_machine(0.2, 0.9);
  assert_null(sb_prove_outside(&tried));
  model_set_shifter(&tried, "clutch");
  proof_expect_outside(&tried, "gearbox.back_efficiency: a gear locks itself, and a clutch slips");
}

/* As if the gears did not lock: as long as the motor drives, the loss of the other way does not matter. */
static void what_never_drives_back_has_the_bounds_of_a_gear_that_does_not_lock(void **state)
{
  (void)state;
  static const double back[] = {-0.2, 0.4};
  double bounds[2][SB_PROVE_BOUNDS];
  for (int k = 0; k < 2; k++) {
    struct sb_error err;
    tried = locking_machine(0.2, 0.9);
    for (int g = 0; g < 2; g++) tried.gearbox.gears[g].back_efficiency = back[k];
    model_finish(&tried);
    assert_int_equal(sb_prove_solve(&tried, &prove, &err), SB_OK);
    assert_null(prove.outside);
    memcpy(bounds[k], prove.bounds, sizeof bounds[k]);
  }
  for (int b = 0; b < SB_PROVE_BOUNDS; b++) {
    assert_int_equal(isnan(bounds[0][b]), isnan(bounds[1][b]));
    if (isfinite(bounds[0][b])) assert_near(bounds[0][b], bounds[1][b], 1e-9 * fmax(fabs(bounds[1][b]), 1.0));
  }
}

/* A plane of thresholds asks `prove` for each of its points. */
static void a_plane_of_gears_that_lock_is_told_by_sets(void **state)
{
  (void)state;
  struct sb_any_load_point point;
  struct sb_error err;
  tried = locking_machine(0.2, 0.9);
  assert_false(sb_any_load_is_quick(&tried));
  assert_int_equal(sb_any_load_look_at(&tried, 0, 0.4, 0.7, &point, &err), SB_OK);
  assert_true(point.is_by_sets);
  tried.control.downshift_fraction[0] = 0.4;
  tried.control.upshift_fraction[0] = 0.7;
  assert_int_equal(sb_prove_solve(&tried, &prove, &err), SB_OK);
  assert_int_equal(point.class, sb_any_load_class_of(&prove));
  assert_true(point.class != SB_ANY_LOAD_UNDECIDED);
}

/* Machines that differ are not taken together, although each is proved alone. */
static void machines_of_a_spread_are_left_out(void **state)
{
  (void)state;
  static struct sb_model faster; /* large */
  struct sb_error err;
  tried = locking_machine(0.2, 0.9);
  faster = tried;
  faster.supply.open_circuit_voltage_v *= 1.05;
  model_finish(&faster);
  const struct sb_prove_machines machines = {.slowest = &tried, .fastest = &faster};
  assert_int_equal(sb_prove_solve_between(&tried, &machines, &prove, &err), SB_OK);
  assert_non_null(prove.outside);
  assert_non_null(strstr(prove.outside, "machines within the tolerances differ"));
  assert_int_equal(sb_prove_solve(&faster, &prove, &err), SB_OK);
  assert_null(prove.outside);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_output_drives_where_it_is_braked_by_the_motor_alone),
      cmocka_unit_test(the_highest_speed_of_a_gear_is_that_of_its_engagement),
      cmocka_unit_test(a_load_that_helps_is_left_out),
      cmocka_unit_test(a_load_that_helps_and_holds_is_left_out),
      cmocka_unit_test(the_output_drives_where_the_current_is_too_small_for_the_drag),
      cmocka_unit_test(a_gear_that_is_joined_backwards_is_left_out),
      cmocka_unit_test(a_clutch_that_slips_before_a_gear_that_locks_is_left_out),
      cmocka_unit_test(what_never_drives_back_has_the_bounds_of_a_gear_that_does_not_lock),
      cmocka_unit_test(a_plane_of_gears_that_lock_is_told_by_sets),
      cmocka_unit_test(machines_of_a_spread_are_left_out),
      cmocka_unit_test(no_run_of_a_machine_with_gears_that_lock_exceeds_a_bound),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
