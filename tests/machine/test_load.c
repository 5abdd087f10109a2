// SPDX-License-Identifier: GPL-3.0-or-later
/* The load's curves: every kind against a direct evaluation written another way, and two published resistances. */
#include "help/dice.h"
#include "help/near.h"
#include "oracle/direct_load.h"
#include "shiftband/load.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_odeiv2.h>
#include <gsl/gsl_rng.h>

/*
 * 20000 random sums of up to 16 parts; each curve is compared where it was taken and at places up to its next corners.
 * Values reach some 100 N m over places up to 20: 1e-11 leaves room for the roundings of both ways.
 */
static void a_curve_is_the_direct_sum_up_to_the_next_corner(void **state)
{
  (void)state;
  gsl_rng *rng = dice_of(31);
  static struct random_load made;
  long at_rest_count = 0;
  for (int round = 0; round < 20000; round++) {
    make_random(rng, &made);
    const struct sb_load_at at = {
        .time_s = between(rng, 0.0, 20.0),
        .angle_rad = between(rng, -20.0, 20.0),
        .direction = gsl_rng_uniform_int(rng, 2) == 0 ? 1 : -1,
        .is_at_rest = gsl_rng_uniform_int(rng, 2) == 0,
    };
    const double to_time_s = fmin(sb_load_next_time_s(&made.load, at.time_s), at.time_s + 5.0);
    double to_angle_rad = sb_load_next_angle_rad(&made.load, SB_SIDE_BOTH, at.angle_rad, at.direction);
    assert_true(to_time_s > at.time_s);
    assert_true(at.direction * (to_angle_rad - at.angle_rad) > 0.0);
    if (fabs(to_angle_rad - at.angle_rad) > 5.0) to_angle_rad = at.angle_rad + 5.0 * at.direction;
    at_rest_count += at.is_at_rest;

    for (enum sb_load_share share = SB_SHARE_ALL; share <= SB_SHARE_RESISTING; share++) {
      const struct sb_load_curve curve = sb_load_curve_at(&made.load, &at, share);
      for (int i = 0; i < 4; i++) {
        const double part = i / 4.0;
        const struct direct_at here = {
            .time_s = at.time_s + part * (to_time_s - at.time_s),
            .angle_rad = at.angle_rad + part * (to_angle_rad - at.angle_rad),
            .speed_rad_s = at.is_at_rest ? 0.0 : at.direction * between(rng, 0.0, 5.0),
            .direction = at.direction,
            .is_at_rest = at.is_at_rest,
        };
        assert_near(sb_load_curve_nm(&curve, here.time_s, here.angle_rad, here.speed_rad_s),
                    direct_nm(&made.load, &here, share), 1e-11);
      }
    }
  }
  gsl_rng_free(rng);
  assert_in_range(at_rest_count, 9500, 10500);
}

static void the_external_part_leaves_out_what_follows_speed(void **state)
{
  (void)state;
  struct sb_load load = {.part_count = 4};
  load.parts[0] = part_of("viscous");
  load.parts[0].viscous_nms_rad = 0.5;
  load.parts[0].is_resisting = true;
  load.parts[1] = part_of("quadratic");
  load.parts[1].quadratic_nms2_rad2 = 0.25;
  load.parts[2] = part_of("viscous");
  load.parts[2].viscous_nms_rad = 0.125; /* told to act: the speed has its sign all the same */
  load.parts[3] = part_of("constant");
  load.parts[3].torque_nm = 0.75;
  for (int direction = -1; direction <= 1; direction += 2) {
    const struct sb_load_at at = {.direction = direction};
    const struct sb_load_curve curve = sb_load_curve_at(&load, &at, SB_SHARE_ALL);
    assert_near(sb_load_curve_external_nm(&curve, 3.0, 4.0), 0.75, 0.0);
    assert_near(sb_load_curve_nm(&curve, 3.0, 4.0, 2.0 * direction), 0.75 + direction * (1.25 + 1.0), 0.0);
  }
  double viscous = 0.0;
  double quadratic = 0.0;
  sb_load_speed_terms(&load, &viscous, &quadratic);
  assert_near(viscous, 0.625, 0.0);
  assert_near(quadratic, 0.25, 0.0);
}

/* Fitzgerald, Kingsley, Umans, Electric Machinery, example 11.6: 285 N m at 2500 rpm, in proportion to speed. */
static void a_viscous_load_is_in_proportion_to_speed(void **state)
{
  (void)state;
  struct sb_load_part part = part_of("viscous");
  part.viscous_nms_rad = 285.0 / (2500.0 * pi / 30.0);
  const struct sb_load load = load_of(part);
  const struct sb_load_at at = {.direction = 1};
  const struct sb_load_curve curve = sb_load_curve_at(&load, &at, SB_SHARE_ALL);
  assert_near_rel(sb_load_curve_nm(&curve, 0.0, 0.0, 2500.0 * pi / 30.0), 285.0, 1e-14);
  assert_near_rel(sb_load_curve_nm(&curve, 0.0, 0.0, 2000.0 * pi / 30.0), 228.0, 1e-14);
}

static int coast(double time_s, const double y[], double dydt[], void *params)
{
  const struct sb_load_curve *curve = params;
  dydt[0] = y[1];
  dydt[1] = -sb_load_curve_nm(curve, time_s, y[0], y[1]);
  return GSL_SUCCESS;
}

/*
 * Coast-down under f0 + f2 v^2, 1 kg from 10 m/s with f0 = 0.981 N and f2 = 0.03 kg/m, read at
 * physics.stackexchange.com/questions/334654 and worked out again from the closed form: v(3 s) = 3.40206 m/s, standing
 * after 6.12842 s and 23.3453 m. Force for torque; integrated by GSL's 8th-order stepper at 1e-12.
 */
static void constant_and_quadratic_resistance_stop_a_body_in_time(void **state)
{
  (void)state;
  struct sb_load load = {.part_count = 2};
  load.parts[0] = part_of("constant");
  load.parts[0].torque_nm = 0.1 * 9.81;
  load.parts[0].is_resisting = true;
  load.parts[1] = part_of("quadratic");
  load.parts[1].quadratic_nms2_rad2 = 0.5 * 1.2 * 0.05;
  load.parts[1].is_resisting = true;
  const struct sb_load_at at = {.direction = 1};
  struct sb_load_curve curve = sb_load_curve_at(&load, &at, SB_SHARE_ALL);

  gsl_odeiv2_system system = {coast, NULL, 2, &curve};
  gsl_odeiv2_driver *driver = gsl_odeiv2_driver_alloc_y_new(&system, gsl_odeiv2_step_rk8pd, 1e-3, 1e-12, 1e-12);
  assert_non_null(driver);
  double time_s = 0.0;
  double y[2] = {0.0, 10.0};
  assert_int_equal(gsl_odeiv2_driver_apply(driver, &time_s, 3.0, y), GSL_SUCCESS);
  assert_near(y[1], 3.40206, 5e-6);
  assert_int_equal(gsl_odeiv2_driver_apply(driver, &time_s, 6.12842, y), GSL_SUCCESS);
  assert_near(y[1], 0.0, 5e-6 * 0.981); /* half a digit in time at the last deceleration */
  assert_near(y[0], 23.3453, 5e-5);
  gsl_odeiv2_driver_free(driver);
}

static void a_resisting_part_turns_with_the_motion_and_an_acting_one_does_not(void **state)
{
  (void)state;
  struct sb_load load = {.part_count = 2};
  load.parts[0] = part_of("constant");
  load.parts[0].torque_nm = 0.5;
  load.parts[0].breakaway_nm = 0.75;
  load.parts[0].is_resisting = true;
  load.parts[1] = part_of("constant");
  load.parts[1].torque_nm = 2.0;
  load.parts[1].breakaway_nm = 9.0; /* no meaning for a part that acts */
  assert_near(value_at(&load, 0.0, 0.0, 1), 2.5, 0.0);
  assert_near(value_at(&load, 0.0, 0.0, -1), 1.5, 0.0);

  struct sb_load_at at = {.direction = -1, .is_at_rest = true};
  struct sb_load_curve curve = sb_load_curve_at(&load, &at, SB_SHARE_ALL);
  assert_near(sb_load_curve_nm(&curve, 0.0, 0.0, 0.0), 2.0 - 0.75, 0.0);
  curve = sb_load_curve_at(&load, &at, SB_SHARE_RESISTING);
  assert_near(sb_load_curve_nm(&curve, 0.0, 0.0, 0.0), 0.75, 0.0); /* positive either way */
  curve = sb_load_curve_at(&load, &at, SB_SHARE_ACTING);
  assert_near(sb_load_curve_nm(&curve, 0.0, 0.0, 0.0), 2.0, 0.0);

  /* A breakaway below the sliding value does not lower the hold. */
  load.parts[0].breakaway_nm = 0.25;
  curve = sb_load_curve_at(&load, &at, SB_SHARE_RESISTING);
  assert_near(sb_load_curve_nm(&curve, 0.0, 0.0, 0.0), 0.5, 0.0);
}

static void at_a_jump_the_piece_ahead_counts(void **state)
{
  (void)state;
  static const double x[] = {1.0, 2.0, 2.0, 3.0, 3.0};
  static const double torque_nm[] = {0.0, 1.0, 5.0, 6.0, 9.0};
  struct sb_load load = load_of(table_part(x, torque_nm, 5));
  assert_near(value_at(&load, nextafter(2.0, 0.0) - 1e-9, 0.0, 1), 1.0, 2e-9);
  assert_near(value_at(&load, 2.0, 0.0, 1), 5.0, 0.0);
  assert_near(value_at(&load, nextafter(2.0, 0.0), 0.0, 1), 5.0, 1e-12); /* a rounding short of the jump is on it */
  assert_near(value_at(&load, 3.0, 0.0, 1), 9.0, 0.0);
  assert_near(value_at(&load, 2.0, 0.0, -1), 5.0, 0.0); /* time goes one way only */

  load.parts[0].axis = SB_OVER_TURNS;
  assert_near(value_at(&load, 0.0, 2.0, 1), 5.0, 0.0);
  assert_near(value_at(&load, 0.0, 2.0, -1), 1.0, 0.0);
  assert_near(value_at(&load, 0.0, 3.0, 1), 9.0, 0.0);
  assert_near(value_at(&load, 0.0, 3.0, -1), 6.0, 0.0);
  assert_near(value_at(&load, 0.0, 4.0, -1), 9.0, 0.0);
  assert_near(value_at(&load, 0.0, 0.5, -1), 0.0, 0.0);
}

static void a_held_table_keeps_the_value_of_its_left_point(void **state)
{
  (void)state;
  static const double x[] = {1.0, 2.0, 4.0};
  static const double torque_nm[] = {3.0, 7.0, 5.0};
  struct sb_load load = load_of(table_part(x, torque_nm, 3));
  load.parts[0].is_held = true;
  const double places[] = {0.0, 1.0, 1.5, 2.0, 3.999, 4.0, 9.0};
  const double wanted[] = {3.0, 3.0, 3.0, 7.0, 7.0, 5.0, 5.0};
  for (size_t i = 0; i < 7; i++) assert_near(value_at(&load, places[i], 0.0, 1), wanted[i], 0.0);

  /* Going back, the piece behind is ahead. */
  load.parts[0].axis = SB_OVER_TURNS;
  assert_near(value_at(&load, 0.0, 4.0, -1), 7.0, 0.0);
  assert_near(value_at(&load, 0.0, 2.0, -1), 3.0, 0.0);
  assert_near(value_at(&load, 0.0, 1.0, -1), 3.0, 0.0);
}

static void a_repeating_table_starts_again_where_it_ends(void **state)
{
  (void)state;
  static const double x[] = {1.0, 2.0, 3.0};
  static const double torque_nm[] = {0.0, 4.0, 2.0};
  struct sb_load load = load_of(table_part(x, torque_nm, 3));
  load.parts[0].is_repeating = true;
  assert_near(value_at(&load, 0.25, 0.0, 1), 0.0, 0.0); /* before the first point: its value */
  for (int turn = 0; turn < 1000; turn++) {
    assert_near(value_at(&load, 1.0 + 2.0 * turn, 0.0, 1), 0.0, 1e-11); /* the seam is a jump from 2 to 0 */
    assert_near(value_at(&load, 1.5 + 2.0 * turn, 0.0, 1), 2.0, 1e-11);
    assert_near(value_at(&load, 2.75 + 2.0 * turn, 0.0, 1), 2.5, 1e-11);
  }
  load.parts[0].axis = SB_OVER_TURNS;
  assert_near(value_at(&load, 0.0, 5.0, 1), 0.0, 0.0);
  assert_near(value_at(&load, 0.0, 5.0, -1), 2.0, 1e-12);
  assert_near(value_at(&load, 0.0, 1.0, -1), 0.0, 0.0);
}

static void every_kind_is_found_by_its_name(void **state)
{
  (void)state;
  const char *const names[] = {"constant", "viscous", "quadratic", "profile", "sine"};
  for (size_t i = 0; i < 5; i++) assert_string_equal(part_of(names[i]).ops->name, names[i]);
  size_t count = 0;
  while (sb_load_kinds[count] != NULL) count++;
  assert_int_equal(count, 5);
  assert_null(sb_load_kind_find("spring"));
}

/* What only follows speed gives nothing by itself, whatever stood in its place before. */
static void parts_that_follow_speed_add_nothing_to_the_range(void **state)
{
  (void)state;
  static const char *const kinds[] = {"viscous", "quadratic"};
  for (int i = 0; i < 2; i++) {
    struct sb_load_part part = part_of(kinds[i]);
    part.viscous_nms_rad = part.quadratic_nms2_rad2 = 3.0;
    double least = 7.0, greatest = 8.0;
    part.ops->range_nm(&part, &least, &greatest);
    assert_near(least, 0.0, 0.0);
    assert_near(greatest, 0.0, 0.0);
  }
}

/* Once wheels have slipped, a vehicle and the output stand at different angles: each part is read at that of its own side. */
static void parts_beyond_a_contact_are_read_where_the_vehicle_is(void **state)
{
  (void)state;
  static const double x[] = {0.0, 10.0, 20.0}, torque_nm[] = {0.0, 10.0, 50.0};
  struct sb_load load = load_of(table_part(x, torque_nm, 3));
  load.part_count = 2;
  load.parts[1] = load.parts[0];
  load.parts[0].axis = load.parts[1].axis = SB_OVER_TURNS;
  load.parts[1].is_beyond = true;
  const struct sb_load_at at = {.angle_rad = 3.0, .beyond_rad = 12.0, .direction = 1};
  const struct sb_load_curve near = sb_load_side_curve_at(&load, &at, SB_SHARE_ALL, SB_SIDE_NEAR);
  const struct sb_load_curve beyond = sb_load_side_curve_at(&load, &at, SB_SHARE_ALL, SB_SIDE_BEYOND);
  assert_near(sb_load_curve_nm(&near, 0.0, 3.0, 0.0), 3.0, 1e-14);
  assert_near(sb_load_curve_nm(&near, 0.0, 4.0, 0.0), 4.0, 1e-14);
  assert_near(sb_load_curve_nm(&beyond, 0.0, 12.0, 0.0), 18.0, 1e-14);
  assert_near(sb_load_curve_nm(&beyond, 0.0, 13.0, 0.0), 22.0, 1e-14);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_curve_is_the_direct_sum_up_to_the_next_corner),
      cmocka_unit_test(the_external_part_leaves_out_what_follows_speed),
      cmocka_unit_test(a_viscous_load_is_in_proportion_to_speed),
      cmocka_unit_test(constant_and_quadratic_resistance_stop_a_body_in_time),
      cmocka_unit_test(a_resisting_part_turns_with_the_motion_and_an_acting_one_does_not),
      cmocka_unit_test(at_a_jump_the_piece_ahead_counts),
      cmocka_unit_test(a_held_table_keeps_the_value_of_its_left_point),
      cmocka_unit_test(a_repeating_table_starts_again_where_it_ends),
      cmocka_unit_test(every_kind_is_found_by_its_name),
      cmocka_unit_test(parts_that_follow_speed_add_nothing_to_the_range),
      cmocka_unit_test(parts_beyond_a_contact_are_read_where_the_vehicle_is),
  };
  return cmocka_run_group_tests_name("load", tests, NULL, NULL);
}
