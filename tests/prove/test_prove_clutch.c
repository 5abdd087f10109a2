// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Clutches that slip in gear, or join only after a sample that may decide: the order that the proofs count on, what they say in closed
 * form, and that no run exceeds a bound. SB_PROVE_MACHINES in the environment tries more machines.
 */
#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "help/dice.h"
#include "help/games.h"
#include "help/near.h"
#include "help/proof.h"
#include "help/slow.h"
#include "prove/edge_clutch.h"
#include "prove/reach.h"

static struct sb_model tried; /* large, hence not on the stack */
static struct sb_prove prove;

/* A random machine with a clutch that is too weak for some of its loads, or holds; a third have next to no dwell. */
static struct sb_model weak_random(gsl_rng *dice)
{
  struct sb_model model;
  do {
    model = proof_random(dice);
  } while (!model.shifter.ops->has_clutch);
  model.shifter.clutch_nm = model.motor.stall_torque_nm * gsl_ran_flat(dice, 0.25, 1.1);
  if (gsl_rng_uniform(dice) < 0.3) model.control.dwell_s = gsl_ran_flat(dice, 0.0, 0.1);
  if (gsl_rng_uniform(dice) < 0.3) model.gearbox.gears[0].drag_nm = 0.05 * model.motor.stall_torque_nm;
  return model;
}

static struct sb_model clutch_machine(double clutch_nm, double mesh, double dwell_s)
{
  struct sb_model model = proof_machine("clutch", mesh, dwell_s, 0.25, 1.75);
  model.shifter.clutch_nm = clutch_nm;
  return model;
}

/* The order -------------------------------------------------------------------------------------------------------------- */

/* The shares of a load's bounds between two. */
static struct sb_edge_load load_between(const struct sb_edge_load *full, double from, double to)
{
  struct sb_edge_load load = *full;
  const double shares[2] = {from, to};
  for (int end = 0; end < 2; end++) {
    load.acting_nm[end] = full->acting_nm[0] + shares[end] * (full->acting_nm[1] - full->acting_nm[0]);
    load.resisting_nm[end] = full->resisting_nm[0] + shares[end] * (full->resisting_nm[1] - full->resisting_nm[0]);
  }
  return load;
}

static struct sb_corner random_corner(const struct sb_edges *edges, int gear, gsl_rng *dice)
{
  const double top = 1.3 * edges->model->motor.no_load_speed_rad_s;
  struct sb_corner corner = sb_edge_corner(edges, gear, gsl_ran_flat(dice, -0.2 * top, top));
  if (gsl_rng_uniform(dice) < 0.7) corner.output_rad_s *= gsl_ran_flat(dice, 0.0, 1.3);
  return corner;
}

/* A box, and a state of it. */
struct watched {
  struct sb_corner low, high, between;
};

static struct watched random_box(const struct sb_edges *edges, int gear, gsl_rng *dice)
{
  const struct sb_corner a = random_corner(edges, gear, dice), b = random_corner(edges, gear, dice);
  const double w = gsl_rng_uniform(dice), v = gsl_rng_uniform(dice);
  struct watched box = {{fmin(a.motor_rad_s, b.motor_rad_s), fmin(a.output_rad_s, b.output_rad_s), 0.0},
                        {fmax(a.motor_rad_s, b.motor_rad_s), fmax(a.output_rad_s, b.output_rad_s), 0.0},
                        {a.motor_rad_s + w * (b.motor_rad_s - a.motor_rad_s),
                         a.output_rad_s + v * (b.output_rad_s - a.output_rad_s), 0.0}};
  return box;
}

static bool is_below(const struct sb_corner *a, const struct sb_corner *b, double near)
{
  return a->motor_rad_s <= b->motor_rad_s + near && a->output_rad_s <= b->output_rad_s + near;
}

/* For some samples, each with bounds and a load of its own. Returns whether any course slipped. */
static bool follow_box(struct sb_edges *edges, const struct sb_edge_load *full, int gear, gsl_rng *dice, int machine)
{
  struct watched box = random_box(edges, gear, dice);
  const double near = 1e-7 * edges->model->motor.no_load_speed_rad_s;
  bool has_slipped = false;
  for (int k = 0; k < 40; k++) {
    const double one = game_level(dice), other = game_level(dice), share = one + game_level(dice) * (other - one);
    const struct sb_edge_load bounds = load_between(full, fmin(one, other), fmax(one, other));
    const struct sb_edge_load load = load_between(full, share, share);
    sb_edge_bind(edges, &bounds);
    box.low = sb_edge_after(edges, SB_EDGE_SLOW, gear, &box.low, edges->sample_s);
    box.high = sb_edge_after(edges, SB_EDGE_FAST, gear, &box.high, edges->sample_s);
    sb_edge_bind(edges, &load);
    box.between = sb_edge_after(edges, SB_EDGE_SLOW, gear, &box.between, edges->sample_s);
    has_slipped = has_slipped || edges->lanes[SB_EDGE_SLOW].sim.state.link == SB_LINK_SLIP;
    if (!is_below(&box.low, &box.between, near) || !is_below(&box.between, &box.high, near)) {
      fail_msg("machine %d, sample %d: (%.9g, %.9g) leaves (%.9g, %.9g) to (%.9g, %.9g)", machine, k,
               box.between.motor_rad_s, box.between.output_rad_s, box.low.motor_rad_s, box.low.output_rad_s,
               box.high.motor_rad_s, box.high.output_rad_s);
    }
  }
  return has_slipped;
}

/* What is between two corners stays between their courses under the heaviest and the lightest load: slipping either way, joined, at rest,
 * turning backwards. */
static void courses_with_a_slipping_clutch_keep_their_order(void **state)
{
  (void)state;
  struct sb_error err;
  const char *asked = getenv("SB_PROVE_MACHINES");
  const int machines = asked != NULL ? atoi(asked) : IS_SLOW ? 10 : 60;
  gsl_rng *dice = dice_of(1433);
  int slipping = 0;
  for (int k = 0; k < machines; k++) {
    struct sb_edges edges;
    tried = weak_random(dice);
    assert_int_equal(sb_edge_init(&edges, &tried, &err), SB_OK);
    const struct sb_edge_load full = edges.load;
    for (int n = 0; n < 20; n++) slipping += follow_box(&edges, &full, n % 2, dice, k);
    sb_edge_clear(&edges);
  }
  assert_in_range(slipping, 5 * machines, 20 * machines);
  gsl_rng_free(dice);
}

/* Closed forms ----------------------------------------------------------------------------------------------------------- */

/* A clutch of 0.3 N.m that slips forward through 4:1 at 0.9025 passes on 1.083 N.m: the output's rate is what this leaves of the load over
 * its inertia, the motor goes to the speed at which it brings 0.3 N.m, with the rotor's time constant (Newton). */
static void a_clutch_that_slips_steadily_passes_on_its_capacity(void **state)
{
  (void)state;
  struct sb_error err;
  struct sb_reach reach;
  tried = clutch_machine(0.3, 0.95, 1.5);
  const struct sb_model *const ends[2] = {&tried, &tried};
  assert_int_equal(sb_reach_init_between(&reach, &tried, ends, &err), SB_OK);
  const double passed = 4.0 * 0.95 * 0.95 * 0.3, output = 2.0, motor = 30.0;
  const struct sb_span from = {{motor, output, 0.0}, {motor, output, 0.0}, true, false};
  const struct sb_span to = sb_edge_sample(&reach.edges, 1, &from);
  const double end = proof_w0 * (1.0 - 0.3 / proof_stall),
               decay = exp(-proof_stall / proof_w0 * proof_sample / proof_rotor);
  assert_near(to.low.output_rad_s, output + (passed - 1.75) / proof_output * proof_sample, 1e-9);
  assert_near(to.high.output_rad_s, output + (passed - 0.25) / proof_output * proof_sample, 1e-9);
  assert_near(to.low.motor_rad_s, end + (motor - end) * decay, 1e-9);
  assert_near(to.high.motor_rad_s, to.low.motor_rad_s, 1e-12);
  assert_true(to.is_leading && !to.is_lagging);
  assert_near(sb_edge_slip_torque_nm(&reach.edges, 1, &to, true, false), passed, 1e-12);
  assert_near(sb_edge_slip_torque_nm(&reach.edges, 1, &to, false, true), 4.0 * 0.3 / (0.95 * 0.95), 1e-12);
  const struct sb_span at_rest = {
      {motor, 0.0, 0.0}, {motor, 0.0, 0.0}, true, false}; /* held by the load: as much presses on it */
  assert_near(sb_edge_slip_torque_nm(&reach.edges, 1, &at_rest, true, false), passed, 1e-12);
  sb_reach_clear(&reach);
}

/* Joined, the clutch carries T - Jm w' = (1 - r) T + r TL / (N eta), r = Jm / (Jm + Jo / (N^2 eta)), the more the slower the motor is (Newton):
 * under 1.75 N.m it slips where that comes to its capacity, between two samples. The motor leads then, and nothing else. */
static void a_clutch_that_begins_to_slip_between_two_samples_is_led_by_the_motor(void **state)
{
  (void)state;
  const double capacity_nm = 0.4, eta = 0.95 * 0.95, seen_nm = 1.75 / (4.0 * eta);
  struct sb_error err;
  struct sb_reach reach;
  tried = clutch_machine(capacity_nm, 0.95, 1.5);
  const struct sb_model *const ends[2] = {&tried, &tried};
  assert_int_equal(sb_reach_init_between(&reach, &tried, ends, &err), SB_OK);
  const double r = proof_rotor / (proof_rotor + proof_output / (16.0 * eta));
  const double slip_nm = (capacity_nm - r * seen_nm) / (1.0 - r), slip_rad_s = proof_w0 * (1.0 - slip_nm / proof_stall);
  const struct sb_corner before = sb_edge_corner(&reach.edges, 1, slip_rad_s + 1e-3);
  const struct sb_span to = sb_edge_sample(&reach.edges, 1, &(struct sb_span){before, before, false, false});
  assert_true(to.low.output_rad_s < to.low.motor_rad_s / 4.0 * (1.0 - 1e-6)); /* it slips */
  assert_true(to.is_leading && !to.is_lagging);
  sb_reach_clear(&reach);
}

/* The motor stays at 2/3 of its no-load speed, above the threshold, while 1.75 N.m hold the output: for ever, in the fast gear, which a run
 * shows. Nothing is passed on beyond the clutch's capacity. */
static void an_overloaded_clutch_stalls_the_output_above_the_threshold(void **state)
{
  (void)state;
  struct sb_error err;
  tried = clutch_machine(0.3, 0.95, 1.5);
  assert_int_equal(sb_prove_solve(&tried, &prove, &err), SB_OK);
  assert_null(prove.outside);
  assert_true(prove.has_boxes && prove.is_safe_only);
  assert_true(isinf(prove.bounds[SB_PROVE_STANDING]));
  assert_int_equal(prove.statements[SB_PROVE_STALL], SB_PROOF_UNDECIDED);
  assert_int_equal(prove.statements[SB_PROVE_CONSTANT], SB_PROOF_PROVED);
  assert_near(prove.bounds[SB_PROVE_TORQUE], 4.0 * 0.95 * 0.95 * 0.3, 1e-9);
  assert_int_equal(sb_prove_search(&prove, &err), SB_OK);
  assert_int_equal(prove.statements[SB_PROVE_STALL], SB_PROOF_DISPROVED);
}

/* At 0.5 N.m it slips as the machine starts, and after no shift: all readings of commands are those of a clutch that holds. */
static void a_clutch_that_slips_at_the_start_alone_is_proved_as_one_that_holds(void **state)
{
  (void)state;
  struct sb_error err;
  tried = clutch_machine(0.5, 1.0, 1.5);
  assert_int_equal(sb_prove_solve(&tried, &prove, &err), SB_OK);
  assert_true(prove.outside == NULL && prove.has_boxes);
  assert_near(prove.commands[1].downshift_to, proof_down, 1e-6);
  assert_near(prove.commands[1].downshift_from, 1.0 - 1.75 / (proof_stall * 4.0), 1e-4);
  assert_near(prove.bounds[SB_PROVE_CYCLE_ONCE], 3.0, 1e-12);
  assert_true(prove.bounds[SB_PROVE_SWING] == prove.least_swing_proved_nm); /* no more than what is proved */
  assert_true(prove.bounds[SB_PROVE_RETURN_TIME] > 1.5 && prove.bounds[SB_PROVE_RETURN_TIME] < 4.0);
  assert_int_equal(prove.statements[SB_PROVE_STALL], SB_PROOF_PROVED);
  assert_int_equal(prove.statements[SB_PROVE_RETURN], SB_PROOF_PROVED);
  assert_int_equal(prove.statements[SB_PROVE_CONSTANT], SB_PROOF_PROVED);
  assert_int_equal(prove.statements[SB_PROVE_REACTION], SB_PROOF_PROVED);
}

/* An upshift takes longest from the threshold, under 1.75 N.m: the motor goes from 30.6 rad/s towards 16, at which it brings the clutch's 0.5 N.m,
 * with the rotor's time constant, and the output rises evenly by what 4 times 0.5 N.m leave of the load, until both meet (Newton). */
static void a_clutch_that_slips_joins_no_later_than_both_sides_meet(void **state)
{
  (void)state;
  struct sb_error err;
  const double begin = proof_up * proof_w0, end = proof_w0 * (1.0 - 0.5 / proof_stall);
  const double constant_s = proof_rotor * proof_w0 / proof_stall, rate = 4.0 * (4.0 * 0.5 - 1.75) / proof_output;
  double early_s = 0.0, late_s = 1.0;
  tried = clutch_machine(0.5, 1.0, 1.5);
  assert_int_equal(sb_prove_solve_quickly(&tried, &prove, &err), SB_OK);
  assert_true(prove.outside == NULL && prove.has_boxes);
  for (int k = 0; k < 60; k++) {
    const double time_s = 0.5 * (early_s + late_s);
    const double lead = end + (begin - end) * exp(-time_s / constant_s) - (0.4 * begin + rate * time_s);
    *(lead > 0.0 ? &early_s : &late_s) = time_s;
  }
  assert_true(prove.bounds[SB_PROVE_SHIFT] >= early_s && prove.bounds[SB_PROVE_SHIFT] < 1.05 * early_s);
}

/* A command looks at the motor alone, so the output's ends stay; where the motor only leads, the output is no faster than it drives it. */
static void a_threshold_cuts_the_motor_and_leaves_the_output(void **state)
{
  (void)state;
  struct sb_error err;
  struct sb_reach reach;
  tried = clutch_machine(0.3, 1.0, 1.5);
  assert_int_equal(sb_reach_init(&reach, &tried, &err), SB_OK);
  const struct sb_reach_part part = {10.0, 20.0, -1};
  struct sb_span span = {{4.0, 1.0, 0.0}, {30.0, 7.0, 0.0}, true, true}, cut;
  assert_true(sb_reach_cut(&reach, 1, &span, &part, &cut));
  assert_true(cut.low.motor_rad_s == 10.0 && cut.high.motor_rad_s == 20.0);
  assert_true(cut.low.output_rad_s == 1.0 && cut.high.output_rad_s == 7.0);
  span.is_lagging = false;
  assert_true(sb_reach_cut(&reach, 1, &span, &part, &cut));
  assert_true(cut.low.output_rad_s == 1.0 && cut.high.output_rad_s == 5.0);
  span.low.output_rad_s = 6.0; /* turns the motor at 24 at least */
  assert_false(sb_reach_cut(&reach, 1, &span, &part, &cut));
  sb_reach_clear(&reach);
}

/* Runs ------------------------------------------------------------------------------------------------------------------- */

/* The worst profiles that a search finds; nothing that was proved is disproved by one. */
static void play_worst(int machine)
{
  struct sb_error err;
  const struct sb_prove before = prove;
  assert_int_equal(sb_prove_search(&prove, &err), SB_OK);
  for (int k = 0; k < SB_PROVE_BOUNDS; k++) {
    if (k != SB_PROVE_SWING) game_expect_within(&before, k, prove.reached[k], machine);
  }
  for (int k = 0; k < SB_PROVE_STATEMENTS; k++) {
    if (before.statements[k] == SB_PROOF_PROVED) assert_int_equal(prove.statements[k], SB_PROOF_PROVED);
  }
  if (!isnan(prove.reached[SB_PROVE_SWING]))
    assert_true(prove.reached[SB_PROVE_SWING] >= before.bounds[SB_PROVE_SWING]);
}

static void no_run_of_a_slipping_clutch_exceeds_a_bound(void **state)
{
  (void)state;
  struct sb_error err;
  const char *asked = getenv("SB_PROVE_MACHINES");
  const int wanted = asked != NULL ? atoi(asked) : IS_SLOW ? 8 : 60;
  gsl_rng *dice = dice_of(1429);
  int boxes = 0, outside = 0;
  for (int k = 0; boxes < wanted; k++) {
    tried = weak_random(dice);
    assert_int_equal(sb_prove_solve_quickly(&tried, &prove, &err), SB_OK);
    outside += prove.outside != NULL;
    if (prove.outside != NULL || !prove.has_boxes) continue;
    game_play_within(&tried, &prove, dice, k, 30);
    if (boxes++ % 20 == 0) play_worst(k);
  }
  assert_in_range(outside, 0, wanted / 4); /* outputs that run away */
  gsl_rng_free(dice);
}

/* Without a dwell a shift may decide as soon as its sides meet, in as many samples as there are loads. */
static void no_run_of_a_late_clutch_exceeds_a_bound(void **state)
{
  (void)state;
  struct sb_error err;
  gsl_rng *dice = dice_of(1439);
  tried = clutch_machine(0.8, 0.95, 0.0);
  tried.load.inertia_kg_m2 *= 3.0;
  assert_int_equal(sb_prove_solve(&tried, &prove, &err), SB_OK);
  assert_true(prove.outside == NULL && prove.has_boxes);
  game_play_within(&tried, &prove, dice, 0, IS_SLOW ? 20 : 100);
  play_worst(0);
  gsl_rng_free(dice);
}

/* Were bounds a twentieth narrower, runs would exceed them: what is compared can fail. */
static void runs_exceed_bounds_that_are_a_twentieth_too_narrow(void **state)
{
  (void)state;
  struct sb_error err;
  int exceeded = 0;
  tried = clutch_machine(0.5, 1.0, 1.5);
  assert_int_equal(sb_prove_solve_quickly(&tried, &prove, &err), SB_OK);
  struct sb_prove narrow = prove;
  for (int k = 0; k < SB_PROVE_BOUNDS; k++) narrow.bounds[k] *= game_bounds[k].is_least ? 1.0 / 0.95 : 0.95;
  assert_int_equal(sb_prove_search(&prove, &err), SB_OK);
  for (int k = 0; k < SB_PROVE_BOUNDS; k++)
    exceeded += k != SB_PROVE_SWING && game_exceeds(&narrow, k, prove.reached[k]);
  assert_in_range(exceeded, 5, SB_PROVE_BOUNDS); /* cycles, shift, lowest output speed, torque, motor speed */
}

/* Outside ---------------------------------------------------------------------------------------------------------------- */

/* A load that acts with more than the clutch passes on turns the output backwards ever faster; gears that are not driven back stop what
 * slips at once; what holds at rest may be more than what has stopped it. */
static void what_no_box_holds_is_outside(void **state)
{
  (void)state;
  tried = clutch_machine(0.3, 1.0, 1.5);
  tried.load.bounds.manner = SB_BOUNDS_ACTS;
  proof_expect_outside(&tried, "gearbox.shifter.torque: ");
  tried = clutch_machine(0.3, 1.0, 1.5);
  tried.gearbox.gears[0].back_efficiency = 0.0;
  proof_expect_outside(&tried, "gearbox.back_efficiency: ");
  tried = clutch_machine(0.3, 1.0, 1.5);
  tried.load.breakaway_nm = 2.0;
  proof_expect_outside(&tried, "load.breakaway: ");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(courses_with_a_slipping_clutch_keep_their_order),
      cmocka_unit_test(a_clutch_that_slips_steadily_passes_on_its_capacity),
      cmocka_unit_test(a_clutch_that_begins_to_slip_between_two_samples_is_led_by_the_motor),
      cmocka_unit_test(an_overloaded_clutch_stalls_the_output_above_the_threshold),
      cmocka_unit_test(a_clutch_that_slips_at_the_start_alone_is_proved_as_one_that_holds),
      cmocka_unit_test(a_clutch_that_slips_joins_no_later_than_both_sides_meet),
      cmocka_unit_test(a_threshold_cuts_the_motor_and_leaves_the_output),
      cmocka_unit_test(no_run_of_a_slipping_clutch_exceeds_a_bound),
      cmocka_unit_test(no_run_of_a_late_clutch_exceeds_a_bound),
      cmocka_unit_test(runs_exceed_bounds_that_are_a_twentieth_too_narrow),
      cmocka_unit_test(what_no_box_holds_is_outside),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
