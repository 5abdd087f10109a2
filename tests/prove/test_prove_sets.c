// SPDX-License-Identifier: GPL-3.0-or-later
/* Sets of states in one gear, and the greatest of what they deliver, by hand. */
#include <math.h>

#include "help/games.h"
#include "help/near.h"
#include "help/proof.h"
#include "prove/edge_course.h"
#include "prove/play.h"
#include "prove/reach.h"
#include "shiftband/prove.h"

static struct sb_span span_of(const double low[3], const double high[3])
{
  return (struct sb_span){{low[0], low[1], low[2]}, {high[0], high[1], high[2]}, false, false};
}

/* The same between two numbers in speeds and reading. */
static struct sb_span between(double low, double high)
{
  return span_of((double[]){low, low, low}, (double[]){high, high, high});
}

static void expect_corner(const struct sb_corner *got, double motor_rad_s, double output_rad_s, double filtered)
{
  assert_near(got->motor_rad_s, motor_rad_s, 0.0);
  assert_near(got->output_rad_s, output_rad_s, 0.0);
  assert_near(got->filtered, filtered, 0.0);
}

static void a_hull_has_the_lower_of_all_lows_and_the_higher_of_all_highs(void **state)
{
  (void)state;
  struct sb_span a = span_of((double[]){1.0, 5.0, 0.25}, (double[]){2.0, 9.0, 0.5});
  struct sb_span b = span_of((double[]){0.0, 6.0, 0.125}, (double[]){3.0, 8.0, 0.75});
  a.is_leading = true;
  b.is_lagging = true;
  for (int order = 0; order < 2; order++) {
    const struct sb_span hull = order == 0 ? sb_span_hull(&a, &b) : sb_span_hull(&b, &a);
    expect_corner(&hull.low, 0.0, 5.0, 0.125);
    expect_corner(&hull.high, 3.0, 9.0, 0.75);
    assert_true(hull.is_leading && hull.is_lagging);
  }
  const struct sb_spans set = {2, {a, b}};
  const struct sb_span all = sb_span_set_hull(&set);
  expect_corner(&all.low, 0.0, 5.0, 0.125);
  expect_corner(&all.high, 3.0, 9.0, 0.75);
}

/* Speeds that differ by 0.5, readings that differ by 0.25 are the same; all three have to be so. */
static void spans_touch_where_they_come_as_near_as_what_is_the_same(void **state)
{
  (void)state;
  static const double apart[3] = {0.5, 0.5, 0.25};
  const struct sb_span_sizes sizes = {0.5, 0.25};
  const struct sb_span one = between(1.0, 2.0);
  for (int k = 0; k < 3; k++) {
    for (int is_beyond = 0; is_beyond < 2; is_beyond++) {
      double low[3] = {2.0, 2.0, 2.0}, high[3] = {3.0, 3.0, 3.0};
      low[k] += apart[k] + (is_beyond ? 0.125 : 0.0);
      const struct sb_span other = span_of(low, high);
      assert_int_equal(sb_span_touches(&one, &other, &sizes), !is_beyond);
      assert_int_equal(sb_span_touches(&other, &one, &sizes), !is_beyond);
    }
  }
}

static void a_span_contains_what_is_between_its_ends_and_slips_no_other_way(void **state)
{
  (void)state;
  const struct sb_span_sizes none = {0.0, 0.0};
  const struct sb_span outer = between(1.0, 4.0);
  assert_true(sb_span_contains(&outer, &outer, &none));
  for (int k = 0; k < 3; k++) {
    double low[3] = {1.0, 1.0, 1.0}, high[3] = {4.0, 4.0, 4.0};
    low[k] = 0.5;
    const struct sb_span lower = span_of(low, high);
    assert_false(sb_span_contains(&outer, &lower, &none));
    low[k] = 1.0;
    high[k] = 4.5;
    const struct sb_span higher = span_of(low, high);
    assert_false(sb_span_contains(&outer, &higher, &none));
  }
  struct sb_span leading = outer, lagging = outer;
  leading.is_leading = true;
  lagging.is_lagging = true;
  assert_false(sb_span_contains(&outer, &leading, &none) || sb_span_contains(&outer, &lagging, &none));
  assert_false(sb_span_contains(&leading, &lagging, &none) || sb_span_contains(&lagging, &leading, &none));
  assert_true(sb_span_contains(&leading, &leading, &none) && sb_span_contains(&lagging, &lagging, &none));
  assert_true(sb_span_contains(&leading, &outer, &none) && sb_span_contains(&lagging, &outer, &none));
}

/* The third span touches the second one alone; what they are together touches the first one, which neither of them does. */
static void spans_that_touch_become_one_and_so_does_what_that_touches(void **state)
{
  (void)state;
  const struct sb_span_sizes none = {0.0, 0.0};
  const struct sb_span first = span_of((double[]){0.0, 10.0, 0.0}, (double[]){1.0, 11.0, 1.0});
  const struct sb_span second = span_of((double[]){2.0, 0.0, 0.0}, (double[]){3.0, 12.0, 1.0});
  const struct sb_span third = span_of((double[]){1.0, 0.0, 0.0}, (double[]){2.0, 5.0, 1.0});
  struct sb_spans set = {.count = 0};
  assert_true(sb_span_set_add(&set, &first, &none) && sb_span_set_add(&set, &second, &none));
  assert_int_equal(set.count, 2);
  assert_false(sb_span_set_add(&set, &second, &none));
  assert_true(sb_span_set_add(&set, &third, &none));
  assert_int_equal(set.count, 1);
  expect_corner(&set.items[0].low, 0.0, 0.0, 0.0);
  expect_corner(&set.items[0].high, 3.0, 12.0, 1.0);
}

/* One more than fit are still all contained. */
static void a_set_that_is_full_joins_spans_and_loses_none(void **state)
{
  (void)state;
  const struct sb_span_sizes none = {0.0, 0.0};
  struct sb_spans set = {.count = 0};
  for (int k = 0; k <= SB_SPANS_MAX; k++) {
    const struct sb_span one = between(2.0 * k, 2.0 * k + 1.0);
    assert_true(sb_span_set_add(&set, &one, &none));
    assert_int_equal(set.count, k < SB_SPANS_MAX ? k + 1 : set.count);
  }
  assert_in_range(set.count, 1, SB_SPANS_MAX);
  for (int k = 0; k <= SB_SPANS_MAX; k++) {
    const struct sb_span one = between(2.0 * k, 2.0 * k + 1.0);
    assert_false(sb_span_set_add(&set, &one, &none));
  }
}

static void sets_are_the_same_whose_spans_each_lie_in_the_other(void **state)
{
  (void)state;
  const struct sb_span_sizes none = {0.0, 0.0};
  const struct sb_spans two = {2, {between(0.0, 1.0), between(2.0, 3.0)}};
  const struct sb_spans turned = {2, {between(2.0, 3.0), between(0.0, 1.0)}};
  const struct sb_spans one = {1, {between(2.0, 3.0)}}, nothing = {.count = 0};
  assert_true(sb_span_set_is_same(&two, &turned, &none) && sb_span_set_is_same(&nothing, &nothing, &none));
  assert_false(sb_span_set_is_same(&two, &one, &none) || sb_span_set_is_same(&one, &two, &none));
  assert_false(sb_span_set_is_same(&one, &nothing, &none) || sb_span_set_is_same(&nothing, &one, &none));
}

/*
 * A viscous load, 0.15 N.m.s/rad, on a rotor of 3 g.m2 that carries most of what turns: the output takes L + 0.15 W + Jo W' from the gear, and more of
 * it the faster it turns. So it is greatest where the fastest shift engages the fast gear, and the load becomes the heaviest in that instant.
 */
static const double viscous = 0.15, lightest = 0.25, heaviest = 1.75, begun_s = 0.6;
static struct sb_model delivering; /* large, hence not on the stack */
static struct sb_prove prove;

/* Starts in the slow gear, which is in steady state when the start delay is over. */
static void solve_viscous(const char *shifter, int manner, double least_nm)
{
  struct sb_error err;
  delivering = proof_machine(shifter, 1.0, 1.5, least_nm, heaviest);
  delivering.load.bounds.manner = manner;
  delivering.motor.rotor_inertia_kg_m2 = 3e-3;
  delivering.shifter.travel_time_s = 0.03;
  delivering.shifter.swing_turns = 2.0;
  delivering.control.start_gear = 1;
  model_add_viscous(&delivering, viscous);
  model_finish(&delivering);
  assert_int_equal(sb_prove_solve_quickly(&delivering, &prove, &err), SB_OK);
  assert_null(prove.outside);
}

/* The shift begins at the steady state of the slow gear under the lightest load, 9 (1 - x) = L + 0.15 * 3.6 x; in neutral the motor goes on to its
 * no-load speed and the output slows down; what they join at keeps their momentum (Newton). */
static void torque_is_greatest_where_a_viscous_load_is_joined_at_its_fastest(void **state)
{
  (void)state;
  solve_viscous("selector", SB_BOUNDS_RESISTS, lightest);
  const double rotor = delivering.motor.rotor_inertia_kg_m2, time_s = delivering.shifter.travel_time_s;
  const double begin = proof_w0 * (10.0 * proof_stall - lightest) / (10.0 * proof_stall + viscous * proof_w0 / 10.0);
  const double motor = proof_w0 - (proof_w0 - begin) * exp(-time_s * proof_stall / proof_w0 / rotor);
  const double still = lightest / viscous;
  const double output = (begin / 10.0 + still) * exp(-time_s * viscous / proof_output) - still;
  const double whole = rotor + proof_output / 16.0, share = rotor / whole;
  const double joined = share * motor + (1.0 - share) * 4.0 * output, load = heaviest + viscous * joined / 4.0;
  const double rate = (proof_stall * (1.0 - joined / proof_w0) - load / 4.0) / whole;
  assert_near_rel(prove.bounds[SB_PROVE_TORQUE], load + proof_output * rate / 4.0, 1e-6);
}

/* Under the lightest load for a time, then under the heaviest. */
static struct sb_play_result play_jump(double time_s)
{
  static struct sb_play player; /* large, hence not on the stack */
  struct sb_play_game game = {.stage_count = 2, .duration_s = 2.0};
  struct sb_play_result result;
  struct sb_error err;
  game_set_level(&prove, &game.stages[0], 0.0);
  game_set_level(&prove, &game.stages[1], 1.0);
  game.stages[0].time_s = time_s;
  assert_int_equal(sb_play_init(&player, &delivering, &err), SB_OK);
  assert_int_equal(sb_play_run(&player, &game, &result, &err), SB_OK);
  sb_play_clear(&player);
  return result;
}

/* A run shows it: the load jumps at the first step after the engagement. */
static void no_jump_of_the_load_at_an_engagement_brings_more_torque_than_is_proved(void **state)
{
  (void)state;
  static const char *const shifters[] = {"selector", "swing arm"};
  static const int manners[] = {SB_BOUNDS_RESISTS, SB_BOUNDS_ACTS};
  static const double lights[] = {0.25, -0.1};
  for (int k = 0; k < 2; k++) {
    solve_viscous(shifters[k], manners[k], lights[k]);
    const struct sb_play_result calm = play_jump(1.9);
    const double engaged_s = begun_s + calm.bounds[SB_PROVE_SHIFT];
    const struct sb_play_result jump = play_jump(ceil(1e3 * engaged_s - 1e-6) / 1e3);
    assert_true(jump.bounds[SB_PROVE_TORQUE] > calm.bounds[SB_PROVE_TORQUE]);
    if (jump.bounds[SB_PROVE_TORQUE] > prove.bounds[SB_PROVE_TORQUE] * (1.0 + 1e-9)) {
      fail_msg("%s: a run comes to %.9g, the bound is %.9g", shifters[k], jump.bounds[SB_PROVE_TORQUE],
               prove.bounds[SB_PROVE_TORQUE]);
    }
  }
}

/* A run of 2 s begins no stage that a stage of 3 s stands before. */
static void a_stage_behind_the_end_of_a_run_never_starts(void **state)
{
  (void)state;
  solve_viscous("selector", SB_BOUNDS_RESISTS, 0.25);
  const struct sb_play_result whole = play_jump(1.0), short_of_it = play_jump(3.0);
  assert_near(whole.started_s[1], 1.0, 2e-3);
  assert_true(isfinite(whole.arrived_s[1]));
  assert_true(isinf(short_of_it.started_s[1]) && isinf(short_of_it.arrived_s[1]));
}

/* Machines of 97 %, 100 % and 103 % of the voltage, with samples so short that shifts end at several of them. */
static void draw_machines(struct sb_model machines[3], const char *shifter)
{
  for (int k = 0; k < 3; k++) {
    machines[k] = proof_machine(shifter, 0.95, 0.0, 0.25, 1.75);
    machines[k].supply.open_circuit_voltage_v *= 0.97 + 0.03 * k;
    machines[k].control.sample_period_s = 0.002;
  }
}

/* Whether what arrives at a sample contains a corner. */
static bool has_arrived(const struct sb_edge_arrivals *arrivals, int sample, const struct sb_corner *corner)
{
  const struct sb_span_sizes sizes = {1e-6, INFINITY};
  const struct sb_span at = {*corner, *corner, false, false};
  for (int i = 0; i < arrivals->count; i++) {
    if (arrivals->items[i].sample == sample && sb_span_contains(&arrivals->items[i].span, &at, &sizes)) return true;
  }
  return false;
}

/* From speeds between two, under loads that stay: at the first sample that sees the gear engaged. Returns how many such samples there are. */
static int expect_all_arrive(const struct sb_edge_arrivals *arrivals, const struct sb_model *machine, int gear, int to,
                             double low_rad_s, double high_rad_s)
{
  enum { SPEEDS = 40, LOADS = 3 };
  struct sb_edges one;
  struct sb_error err;
  int first = 1000, last = 0;
  assert_int_equal(sb_edge_init(&one, machine, &err), SB_OK);
  for (int k = 0; k < (SPEEDS + 1) * LOADS; k++) {
    const double load_nm = 0.25 + (1.75 - 0.25) * (k % LOADS) / (LOADS - 1);
    const struct sb_edge_load load = {{0.0, 0.0}, {load_nm, load_nm}, 0.0};
    const double speed = low_rad_s + (high_rad_s - low_rad_s) * (k / LOADS) / SPEEDS;
    const struct sb_corner from = sb_edge_corner(&one, gear, speed);
    sb_edge_bind(&one, &load);
    const double engaged_s = sb_edge_pass(&one, SB_EDGE_SLOW, gear, to, &from, one.shift_samples_max).engaged_s;
    const int sample = sb_edge_first_sample(&one, engaged_s, 1);
    const struct sb_corner at = sb_edge_pass(&one, SB_EDGE_SLOW, gear, to, &from, sample).corner;
    if (!has_arrived(arrivals, sample, &at)) {
      fail_msg("%g rad/s under %g N.m is not found at sample %d: %.9g rad/s", speed, load_nm, sample, at.motor_rad_s);
    }
    first = sample < first ? sample : first;
    last = sample > last ? sample : last;
  }
  sb_edge_clear(&one);
  return last - first + 1;
}

/* What arrives through a shift contains what becomes of each speed in each machine, at the sample that finds it engaged. */
static void all_that_is_shifted_arrives_at_its_sample(void **state)
{
  (void)state;
  static const char *const shifters[] = {"selector", "swing arm", "clutch"};
  static struct sb_model machines[3];
  int straddled = 0;
  for (int k = 0; k < 6; k++) {
    const bool is_spread = k % 2 == 1;
    struct sb_edges edges;
    struct sb_error err;
    draw_machines(machines, shifters[k / 2]);
    const struct sb_model *const ends[2] = {&machines[is_spread ? 0 : 1], &machines[is_spread ? 2 : 1]};
    assert_int_equal(sb_edge_init_between(&edges, &machines[1], ends, &err), SB_OK);
    for (int gear = 0; gear < 2; gear++) {
      const double low = (gear == 0 ? proof_up : 0.3) * proof_w0, high = (gear == 0 ? 1.0 : proof_down) * proof_w0;
      const struct sb_span from = {sb_edge_corner(&edges, gear, low), sb_edge_corner(&edges, gear, high), false, false};
      static struct sb_edge_arrivals arrivals;
      sb_edge_arrive(&edges, gear, 1 - gear, &from, 1, &arrivals);
      for (int m = is_spread ? 0 : 1; m < (is_spread ? 3 : 2); m++) {
        straddled += expect_all_arrive(&arrivals, &machines[m], gear, 1 - gear, low, high) > 1;
      }
    }
    sb_edge_clear(&edges);
  }
  assert_in_range(straddled, 12, 16); /* those of the swing arm and the clutch */
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_hull_has_the_lower_of_all_lows_and_the_higher_of_all_highs),
      cmocka_unit_test(spans_touch_where_they_come_as_near_as_what_is_the_same),
      cmocka_unit_test(a_span_contains_what_is_between_its_ends_and_slips_no_other_way),
      cmocka_unit_test(spans_that_touch_become_one_and_so_does_what_that_touches),
      cmocka_unit_test(a_set_that_is_full_joins_spans_and_loses_none),
      cmocka_unit_test(sets_are_the_same_whose_spans_each_lie_in_the_other),
      cmocka_unit_test(torque_is_greatest_where_a_viscous_load_is_joined_at_its_fastest),
      cmocka_unit_test(no_jump_of_the_load_at_an_engagement_brings_more_torque_than_is_proved),
      cmocka_unit_test(a_stage_behind_the_end_of_a_run_never_starts),
      cmocka_unit_test(all_that_is_shifted_arrives_at_its_sample),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
