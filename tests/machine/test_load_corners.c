// SPDX-License-Identifier: GPL-3.0-or-later
/* The load's corners, listed and under rounding, and its range against brute force. */
#include "help/dice.h"
#include "help/near.h"
#include "oracle/direct_load.h"
#include "shiftband/load.h"

#include <gsl/gsl_rng.h>
#include <string.h>

static void corners_are_the_points_of_the_table(void **state)
{
  (void)state;
  static const double x[] = {0.5, 1.0, 1.0, 2.5, 2.5, 7.0};
  static const double torque_nm[] = {1.0, 2.0, 3.0, 3.0, 1.0, 0.0};
  const double places[] = {0.5, 1.0, 2.5, 7.0};
  struct sb_load load = load_of(table_part(x, torque_nm, 6));
  for (int is_held = 0; is_held <= 1; is_held++) {
    load.parts[0].is_held = is_held == 1;
    load.parts[0].axis = SB_OVER_TIME;
    double time_s = 0.0;
    for (size_t i = 0; i < 4; i++) {
      time_s = sb_load_next_time_s(&load, time_s);
      assert_near(time_s, places[i], 0.0);
    }
    assert_near(sb_load_next_time_s(&load, time_s), (double)INFINITY, 0.0);
    assert_near(sb_load_next_angle_rad(&load, SB_SIDE_BOTH, 0.0, 1), (double)INFINITY, 0.0);
    assert_near(sb_load_next_angle_rad(&load, SB_SIDE_BOTH, 0.0, -1), -(double)INFINITY, 0.0);

    load.parts[0].axis = SB_OVER_TURNS;
    assert_near(sb_load_next_time_s(&load, 0.0), (double)INFINITY, 0.0);
    double angle_rad = 0.0;
    for (size_t i = 0; i < 4; i++) {
      angle_rad = sb_load_next_angle_rad(&load, SB_SIDE_BOTH, angle_rad, 1);
      assert_near(angle_rad, places[i], 0.0);
    }
    assert_near(sb_load_next_angle_rad(&load, SB_SIDE_BOTH, angle_rad, 1), (double)INFINITY, 0.0);
    angle_rad = 8.0;
    for (size_t i = 4; i-- > 0;) {
      angle_rad = sb_load_next_angle_rad(&load, SB_SIDE_BOTH, angle_rad, -1);
      assert_near(angle_rad, places[i], 0.0);
    }
    assert_near(sb_load_next_angle_rad(&load, SB_SIDE_BOTH, angle_rad, -1), -(double)INFINITY, 0.0);
  }
}

static void the_first_corner_of_several_parts_comes_first(void **state)
{
  (void)state;
  static const double early[] = {1.0, 4.0};
  static const double late[] = {2.0, 3.0};
  static const double torque_nm[] = {1.0, 2.0};
  struct sb_load load = {.part_count = 3};
  load.parts[0] = table_part(late, torque_nm, 2);
  load.parts[1] = part_of("constant");
  load.parts[2] = table_part(early, torque_nm, 2);
  double place = 0.0;
  for (int i = 1; i <= 4; i++) {
    place = sb_load_next_time_s(&load, place);
    assert_near(place, i, 0.0);
  }
  load.parts[0].axis = load.parts[2].axis = SB_OVER_TURNS;
  place = 9.0;
  for (int i = 4; i >= 1; i--) {
    place = sb_load_next_angle_rad(&load, SB_SIDE_BOTH, place, -1);
    assert_near(place, i, 0.0);
  }
}

/* Tenths are no whole numbers in binary: rounding must neither lose a corner nor make one of no length. */
static void corners_of_a_repeating_table_neither_stick_nor_get_lost(void **state)
{
  (void)state;
  static const double x[] = {0.0, 0.1, 0.3};
  static const double torque_nm[] = {1.0, 2.0, 4.0};
  struct sb_load load = load_of(table_part(x, torque_nm, 3));
  load.parts[0].is_repeating = true;
  double time_s = 0.0;
  for (long n = 1; n <= 200000; n++) {
    const double next_s = sb_load_next_time_s(&load, time_s);
    const long rounds = n / 2;
    const double want_s = (double)rounds * 0.3 + (n % 2 == 1 ? 0.1 : 0.0);
    assert_near(next_s, want_s, 1e-14 * want_s + 1e-15);
    assert_true(next_s - time_s > 0.09);
    time_s = next_s;
    assert_near(value_at(&load, time_s, 0.0, 1), n % 2 == 1 ? 2.0 : 1.0, 1e-9); /* the piece ahead, on the seam too */
  }

  /* The same places reached by counting steps: the corner there is behind, not a rounding ahead. */
  for (int k = 1; k <= 100000; k++) {
    const double step_s = k * 0.1;
    const double next_s = sb_load_next_time_s(&load, step_s);
    assert_true(next_s - step_s > 0.09);
    assert_near(value_at(&load, step_s, 0.0, 1), k % 3 == 0 ? 1.0 : (k % 3) + 1.0, 1e-9);
  }

  load.parts[0].axis = SB_OVER_TURNS;
  double angle_rad = 3000.0;
  for (long n = 0; n < 20000; n++) {
    const double next_rad = sb_load_next_angle_rad(&load, SB_SIDE_BOTH, angle_rad, -1);
    assert_in_range((long)lround((angle_rad - next_rad) * 1000.0), 100, 200);
    angle_rad = next_rad;
  }
  assert_near(angle_rad, 0.0, 1e-9);
  assert_near(sb_load_next_angle_rad(&load, SB_SIDE_BOTH, angle_rad, -1), -(double)INFINITY, 0.0);
}

/* Where the axis begins a rounding has no size: the piece ahead counts there, too. */
static void a_jump_at_zero_is_read_on_the_side_that_lies_ahead(void **state)
{
  (void)state;
  static const double x[] = {-1.0, 0.0, 0.0, 1.0};
  static const double torque_nm[] = {1.0, 1.0, 2.0, 2.0};
  struct sb_load load = load_of(table_part(x, torque_nm, 4));
  load.parts[0].axis = SB_OVER_TURNS;
  assert_near(value_at(&load, 0.0, 0.0, +1), 2.0, 0.0);
  assert_near(value_at(&load, 0.0, 0.0, -1), 1.0, 0.0);
}

static void a_ramp_thinner_than_rounding_is_a_jump(void **state)
{
  (void)state;
  static const double x[] = {0.0, 1000.0, 1000.0000000003, 2000.0};
  static const double torque_nm[] = {1.0, 1.0, 5.0, 5.0};
  const struct sb_load load = load_of(table_part(x, torque_nm, 4));
  for (int k = -8; k <= 8; k++) {
    const double value_nm = value_at(&load, 1000.0 + k * 2.5e-10, 0.0, 1);
    assert_true(value_nm == 1.0 || value_nm == 5.0);
  }
  assert_near(value_at(&load, 999.9, 0.0, 1), 1.0, 0.0);
  assert_near(value_at(&load, 1000.0, 0.0, 1), 5.0, 0.0);
}

/* Backwards too, where the pieces on both sides of it slope: 0.01 N m each unit below the jump, 0.02 N m above. */
static void a_ramp_thinner_than_rounding_is_a_jump_on_the_way_back_too(void **state)
{
  (void)state;
  static const double x[] = {0.0, 500.0, 1000.0, 1000.0000000003, 2000.0};
  static const double torque_nm[] = {90.0, 1.0, 6.0, 20.0, 40.0};
  struct sb_load load = load_of(table_part(x, torque_nm, 5));
  load.parts[0].axis = SB_OVER_TURNS;
  for (int k = -8; k <= 8; k++) {
    const double angle_rad = 1000.0 + k * 2.5e-10, value_nm = value_at(&load, 0.0, angle_rad, -1);
    assert_near(value_nm, value_nm < 13.0 ? 6.0 : 20.0, 1e-9);
    assert_near(sb_load_next_angle_rad(&load, SB_SIDE_BOTH, angle_rad, -1), value_nm < 13.0 ? 500.0 : 1000.0, 1e-9);
  }
  assert_near(value_at(&load, 0.0, 1000.0, -1), 6.0, 1e-9);
  assert_near(value_at(&load, 0.0, 1000.1, -1), 20.002, 1e-9);
}

/* The same where a table begins, just before it. */
static void a_ramp_thinner_than_rounding_is_a_jump_at_the_first_point_too(void **state)
{
  (void)state;
  static const double x[] = {1000.0, 1000.0 + 8e-10, 2000.0};
  static const double torque_nm[] = {1.0, 5.0, 5.0};
  const struct sb_load load = load_of(table_part(x, torque_nm, 3));
  assert_near(value_at(&load, 1000.0 - 6e-10, 0.0, 1), 5.0, 1e-12);
  assert_near(value_at(&load, 999.9, 0.0, 1), 1.0, 0.0);
}

/* A ramp 0..4 over 4 s that holds at least 1: the hold ends at 1 s. A sine 2 + sin that holds at least 2.5: at pi/6. */
static void a_breakaway_value_makes_its_own_corners(void **state)
{
  (void)state;
  static const double x[] = {0.0, 4.0};
  static const double torque_nm[] = {0.0, 4.0};
  struct sb_load load = load_of(table_part(x, torque_nm, 2));
  load.parts[0].is_resisting = true;
  load.parts[0].breakaway_nm = 1.0;
  assert_near(sb_load_next_time_s(&load, 0.0), 1.0, 1e-15);
  assert_near(sb_load_next_time_s(&load, 1.0), 4.0, 0.0);

  struct sb_load_part sine = part_of("sine");
  sine.is_resisting = true;
  sine.mean_nm = 2.0;
  sine.amplitude_nm = 1.0;
  sine.period = 2.0 * pi;
  sine.breakaway_nm = 2.5;
  load = load_of(sine);
  double time_s = 0.0;
  for (int turn = 0; turn < 100; turn++) {
    time_s = sb_load_next_time_s(&load, time_s);
    assert_near(time_s, 2.0 * pi * turn + pi / 6.0, 1e-12);
    time_s = sb_load_next_time_s(&load, time_s);
    assert_near(time_s, 2.0 * pi * turn + 5.0 * pi / 6.0, 1e-12);
    struct sb_load_at at = {.time_s = time_s, .direction = 1, .is_at_rest = true};
    struct sb_load_curve curve = sb_load_curve_at(&load, &at, SB_SHARE_RESISTING);
    assert_near(sb_load_curve_nm(&curve, time_s + 2.0, 0.0, 0.0), 2.5, 0.0);
    at.time_s = 2.0 * pi * turn + pi / 6.0;
    curve = sb_load_curve_at(&load, &at, SB_SHARE_RESISTING);
    assert_near(sb_load_curve_nm(&curve, 2.0 * pi * turn + pi / 2.0, 0.0, 0.0), 3.0, 1e-12);
  }
  load.parts[0].breakaway_nm = 1.0; /* always below: no corners */
  assert_near(sb_load_next_time_s(&load, 0.0), (double)INFINITY, 0.0);
}

/* The hold at rest of a load over turns: the curve taken at one angle, read at another before the next corner. */
static double hold_at(const struct sb_load *load, double angle_rad, int direction, double read_rad)
{
  const struct sb_load_at at = {.angle_rad = angle_rad, .direction = direction, .is_at_rest = true};
  const struct sb_load_curve curve = sb_load_curve_at(load, &at, SB_SHARE_RESISTING);
  return sb_load_curve_nm(&curve, 0.0, read_rad, 0.0);
}

/* Going back over the same ramp and sine as above, now over turns: the hold lies behind the crossing. */
static void a_breakaway_value_makes_corners_both_ways(void **state)
{
  (void)state;
  static const double x[] = {0.0, 4.0};
  static const double torque_nm[] = {0.0, 4.0};
  struct sb_load load = load_of(table_part(x, torque_nm, 2));
  load.parts[0].is_resisting = true;
  load.parts[0].breakaway_nm = 1.0;
  load.parts[0].axis = SB_OVER_TURNS;
  assert_near(sb_load_next_angle_rad(&load, SB_SIDE_BOTH, 4.0, -1), 1.0, 1e-15);
  assert_near(sb_load_next_angle_rad(&load, SB_SIDE_BOTH, 1.0, -1), 0.0, 0.0);
  assert_near(hold_at(&load, 1.0, 1, 2.0), 2.0, 1e-15);
  assert_near(hold_at(&load, 1.0, -1, 0.5), 1.0, 0.0);
  assert_near(hold_at(&load, 4.0, -1, 2.0), 2.0, 1e-15);
  /* A rounding beside the crossing is on it. */
  assert_near(hold_at(&load, nextafter(1.0, 0.0), 1, 2.0), 2.0, 1e-15);
  assert_near(hold_at(&load, nextafter(1.0, 2.0), -1, 0.5), 1.0, 0.0);

  struct sb_load_part sine = part_of("sine");
  sine.is_resisting = true;
  sine.mean_nm = 2.0;
  sine.amplitude_nm = 1.0;
  sine.period = 2.0 * pi;
  sine.phase_rad = 2.0e6 * pi; /* a whole number of turns, which must cost no more than its own rounding, 1e-9 rad */
  sine.breakaway_nm = 2.5;
  sine.axis = SB_OVER_TURNS;
  load = load_of(sine);
  double angle_rad = pi;
  for (int turn = 0; turn > -100; turn--) {
    angle_rad = sb_load_next_angle_rad(&load, SB_SIDE_BOTH, angle_rad, -1);
    assert_near(angle_rad, 2.0 * pi * turn + 5.0 * pi / 6.0, 2e-9);
    assert_near(hold_at(&load, angle_rad, -1, 2.0 * pi * turn + pi / 2.0), 3.0, 1e-9);
    assert_near(hold_at(&load, angle_rad, 1, 2.0 * pi * turn + 3.0 * pi / 2.0), 2.5, 0.0);
    angle_rad = sb_load_next_angle_rad(&load, SB_SIDE_BOTH, angle_rad, -1);
    assert_near(angle_rad, 2.0 * pi * turn + pi / 6.0, 2e-9);
    assert_near(hold_at(&load, angle_rad, -1, 2.0 * pi * turn - pi / 2.0), 2.5, 0.0);
    assert_near(hold_at(&load, angle_rad, 1, 2.0 * pi * turn + pi / 2.0), 3.0, 1e-9);
  }
}

/* Brute force: both sides of every corner that any table has in the time, found by listing; 1e-9 s aside of each. */
static void brute_range(const struct sb_load *load, double duration_s, double *least, double *greatest)
{
  *least = INFINITY;
  *greatest = -INFINITY;
  struct direct_at at = {.direction = 1};
  for (int i = -1; i < load->part_count; i++) {
    const struct sb_table *table = i < 0 ? NULL : &load->parts[i].table;
    const double period = i < 0 || !load->parts[i].is_repeating ? 0.0 : table->x[table->count - 1] - table->x[0];
    const size_t count = i < 0 ? 2 : table->count;
    for (size_t k = 0; k < count; k++) {
      double corner_s = i < 0 ? (double)k * duration_s : table->x[k];
      do {
        for (int side = -1; side <= 1; side += 2) {
          at.time_s = corner_s + side * 1e-9;
          if (at.time_s < 0.0 || at.time_s > duration_s) at.time_s = corner_s - side * 1e-9;
          if (at.time_s < 0.0 || at.time_s > duration_s) continue;
          const double torque_nm = direct_nm(load, &at, SB_SHARE_ALL);
          *least = fmin(*least, torque_nm);
          *greatest = fmax(*greatest, torque_nm);
        }
        corner_s += period;
      } while (period > 0.0 && corner_s <= duration_s + 1e-6);
    }
  }
}

static void the_range_of_parts_over_time_is_exact(void **state)
{
  (void)state;
  gsl_rng *rng = dice_of(13);
  static struct random_load made;
  for (int round = 0; round < 3000; round++) {
    make_random(rng, &made);
    /* Parts over time only, and no sines. At most four tables: few enough that their extremes do miss each other. */
    int kept = 0;
    for (int i = 0; i < made.load.part_count && kept < 4; i++) {
      struct sb_load_part part = made.load.parts[i];
      if (strcmp(part.ops->name, "profile") != 0 && strcmp(part.ops->name, "constant") != 0) continue;
      part.axis = SB_OVER_TIME;
      made.load.parts[kept++] = part;
    }
    made.load.part_count = kept;
    const double duration_s = between(rng, 0.1, 30.0);
    double least = 0.0;
    double greatest = 0.0;
    sb_load_range_nm(&made.load, duration_s, &least, &greatest);
    double brute_least;
    double brute_greatest;
    brute_range(&made.load, duration_s, &brute_least, &brute_greatest);
    /* 1e-9 s aside on slopes of up to 4 N m in 0.05 s, four parts: 4e-7 */
    assert_near(least, brute_least, 4e-7);
    assert_near(greatest, brute_greatest, 4e-7);
  }
  gsl_rng_free(rng);
}

/* Whatever the parts: no sample of a dense sweep lies outside. 1e-9: roundings, as above. */
static void no_sample_lies_outside_the_range(void **state)
{
  (void)state;
  gsl_rng *rng = dice_of(14);
  static struct random_load made;
  for (int round = 0; round < 300; round++) {
    make_random(rng, &made);
    const double duration_s = between(rng, 0.1, 20.0);
    double least;
    double greatest;
    sb_load_range_nm(&made.load, duration_s, &least, &greatest);
    for (int n = 0; n <= 3000; n++) {
      const struct direct_at at = {.time_s = duration_s * n / 3000.0, .angle_rad = 0.007 * n, .direction = 1};
      const double torque_nm = direct_nm(&made.load, &at, SB_SHARE_ALL);
      assert_true(torque_nm >= least - 1e-9);
      assert_true(torque_nm <= greatest + 1e-9);
    }
  }
  gsl_rng_free(rng);
}

static void the_range_stops_at_the_duration(void **state)
{
  (void)state;
  static const double x[] = {0.0, 5.0, 6.0};
  static const double torque_nm[] = {0.1, 0.1, 0.8};
  const struct sb_load load = load_of(table_part(x, torque_nm, 3));
  const double durations_s[] = {3.0, 5.5, 60.0};
  const double greatest_nm[] = {0.1, 0.45, 0.8};
  for (size_t i = 0; i < 3; i++) {
    double least;
    double greatest;
    sb_load_range_nm(&load, durations_s[i], &least, &greatest);
    assert_near(least, 0.1, 1e-15);
    assert_near(greatest, greatest_nm[i], 1e-15);
  }
}

/* A sine is bounded by mean and amplitude, a table over turns by its values; speed adds nothing from outside. */
static void sines_and_turns_are_bounded_by_their_extremes(void **state)
{
  (void)state;
  static const double x[] = {0.0, 1.0, 2.0};
  static const double torque_nm[] = {-1.0, 3.0, 0.5};
  struct sb_load load = {.part_count = 3};
  load.parts[0] = part_of("sine");
  load.parts[0].mean_nm = 0.5;
  load.parts[0].amplitude_nm = 0.25;
  load.parts[0].period = 1.0;
  load.parts[1] = table_part(x, torque_nm, 3);
  load.parts[1].axis = SB_OVER_TURNS;
  load.parts[2] = part_of("viscous");
  load.parts[2].viscous_nms_rad = 5.0;
  double least;
  double greatest;
  sb_load_range_nm(&load, 10.0, &least, &greatest);
  assert_near(least, -0.75, 1e-15);
  assert_near(greatest, 3.75, 1e-15);

  load.part_count = 0;
  sb_load_range_nm(&load, 10.0, &least, &greatest);
  assert_near(least, 0.0, 0.0);
  assert_near(greatest, 0.0, 0.0);
}

/* Repeating for a billion rounds: one table alone stays exact, several of different periods are bounded. */
static void a_range_over_very_many_rounds_is_found_at_once(void **state)
{
  (void)state;
  static const double x[] = {0.0, 0.001, 0.002};
  static const double odd[] = {0.0, 0.001, 0.0017};
  static const double torque_nm[] = {1.0, 3.0, 2.0};
  struct sb_load load = load_of(table_part(x, torque_nm, 3));
  load.parts[0].is_repeating = true;
  double least;
  double greatest;
  sb_load_range_nm(&load, 2e6, &least, &greatest);
  assert_near(least, 1.0, 1e-12);
  assert_near(greatest, 3.0, 1e-12);

  load.part_count = 2;
  load.parts[1] = table_part(odd, torque_nm, 3);
  load.parts[1].is_repeating = true;
  sb_load_range_nm(&load, 2e6, &least, &greatest);
  assert_near(least, 2.0, 1e-12);
  assert_near(greatest, 6.0, 1e-12);
}

/* One table rises as the other falls: their sum stays, however long the run lasts after both have ended. */
static void range_of_tables_that_cancel_is_that_of_their_sum(void **state)
{
  (void)state;
  static const double x[] = {0.0, 10.0}, rising_nm[] = {0.0, 5.0}, falling_nm[] = {5.0, 0.0};
  struct sb_load load = {.part_count = 2};
  load.parts[0] = table_part(x, rising_nm, 2);
  load.parts[1] = table_part(x, falling_nm, 2);
  for (double duration_s = 1.0; duration_s < 1e10; duration_s *= 10.0) {
    double least_nm, greatest_nm;
    sb_load_range_nm(&load, duration_s, &least_nm, &greatest_nm);
    assert_near(least_nm, 5.0, 1e-14);
    assert_near(greatest_nm, 5.0, 1e-14);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(corners_are_the_points_of_the_table),
      cmocka_unit_test(the_first_corner_of_several_parts_comes_first),
      cmocka_unit_test(corners_of_a_repeating_table_neither_stick_nor_get_lost),
      cmocka_unit_test(a_ramp_thinner_than_rounding_is_a_jump),
      cmocka_unit_test(a_ramp_thinner_than_rounding_is_a_jump_on_the_way_back_too),
      cmocka_unit_test(a_ramp_thinner_than_rounding_is_a_jump_at_the_first_point_too),
      cmocka_unit_test(range_of_tables_that_cancel_is_that_of_their_sum),
      cmocka_unit_test(a_jump_at_zero_is_read_on_the_side_that_lies_ahead),
      cmocka_unit_test(a_breakaway_value_makes_its_own_corners),
      cmocka_unit_test(a_breakaway_value_makes_corners_both_ways),
      cmocka_unit_test(the_range_of_parts_over_time_is_exact),
      cmocka_unit_test(no_sample_lies_outside_the_range),
      cmocka_unit_test(the_range_stops_at_the_duration),
      cmocka_unit_test(sines_and_turns_are_bounded_by_their_extremes),
      cmocka_unit_test(a_range_over_very_many_rounds_is_found_at_once),
  };
  return cmocka_run_group_tests_name("load corners", tests, NULL, NULL);
}
