// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Sine, cosine and exponential of our own against the mathematics library in long double, which on this processor
 * family keeps 11 bits more, and against GSL.
 */
#include "base/elementary.h"

#include <float.h>
#include <gsl/gsl_math.h>
#include <gsl/gsl_rng.h>
#include <gsl/gsl_sf_exp.h>
#include <gsl/gsl_sf_trig.h>

#include "help/dice.h"
#include "help/near.h"
#include "help/plane.h"

enum { TRIALS = 200000 };

/* The header's promise: 2 units in the last place of 1. Long double's own errors are 2^-11 of that. */
static const double promised = 2.0 * DBL_EPSILON;

static double worst_of_angle(double angle_rad)
{
  double sine, cosine;
  sb_elementary_sin_cos(angle_rad, &sine, &cosine);
  const double s = (double)((long double)sine - sinl((long double)angle_rad));
  const double c = (double)((long double)cosine - cosl((long double)angle_rad));
  return fmax(fabs(s), fabs(c));
}

static void sine_and_cosine_are_right_over_a_million_radians(void **state)
{
  (void)state;
  gsl_rng *rng = dice_of(0);
  double worst = 0.0, worst_rad = 0.0;
  for (int i = 0; i < TRIALS; i++) {
    const double size = plane_between_log(rng, 1e-12, 1e6), angle_rad = plane_chance(rng, 0.5) ? size : -size;
    const double error = worst_of_angle(angle_rad);
    if (error <= worst) continue;
    worst = error;
    worst_rad = angle_rad;
  }
  print_message("worst %.2f units in the last place of 1, at %.17g rad\n", worst / DBL_EPSILON, worst_rad);
  assert_true(worst <= promised);
  gsl_rng_free(rng);
}

/* Where the reduction changes from one quarter to the next, and next to multiples of pi / 2, where most digits cancel. */
static void sine_and_cosine_are_right_beside_multiples_of_an_eighth_turn(void **state)
{
  (void)state;
  for (long k = -600000; k <= 600000; k += k > -2000 && k < 2000 ? 1 : 997) {
    double angle_rad = (double)k * M_PI_4;
    for (int i = 0; i < 3; i++) {
      assert_true(worst_of_angle(angle_rad) <= promised);
      angle_rad = nextafter(angle_rad, INFINITY);
    }
  }
}

/* A small angle is its own sine: relative, not absolute. */
static void the_sine_of_a_small_angle_keeps_its_digits(void **state)
{
  (void)state;
  for (double angle_rad = 1e-300; angle_rad < 0.5; angle_rad *= 1.7) {
    double sine, cosine;
    sb_elementary_sin_cos(angle_rad, &sine, &cosine);
    assert_near_rel(sine, (double)sinl((long double)angle_rad), promised);
  }
}

/* GSL's routines as a second source; its expm1 is itself 6 units in the last place off near 0.02 (against long double). */
static void gsl_says_the_same(void **state)
{
  (void)state;
  for (double angle_rad = -50.0; angle_rad < 50.0; angle_rad += 0.0371) {
    double sine, cosine;
    sb_elementary_sin_cos(angle_rad, &sine, &cosine);
    assert_near(sine, gsl_sf_sin(angle_rad), 4.0 * DBL_EPSILON);
    assert_near(cosine, gsl_sf_cos(angle_rad), 4.0 * DBL_EPSILON);
    assert_near(sine * sine + cosine * cosine, 1.0, 4.0 * DBL_EPSILON);
  }
  for (double x = -30.0; x < 30.0; x += 0.0371) {
    assert_near_rel(sb_elementary_exp_less_1(x), gsl_sf_expm1(x), 12.0 * DBL_EPSILON);
  }
}

/* "Within a few units in the last place": four. */
static void the_exponential_less_one_is_right_over_its_whole_range(void **state)
{
  (void)state;
  gsl_rng *rng = dice_of(0);
  double worst = 0.0, worst_x = 0.0;
  for (int i = 0; i < TRIALS; i++) {
    const double size = plane_between_log(rng, 1e-300, 700.0), x = plane_chance(rng, 0.5) ? size : -size;
    const long double want = expm1l((long double)x);
    const double error = (double)fabsl(((long double)sb_elementary_exp_less_1(x) - want) / want);
    if (error <= worst) continue;
    worst = error;
    worst_x = x;
  }
  print_message("worst %.2f units in the last place, at %.17g\n", worst / DBL_EPSILON, worst_x);
  assert_true(worst <= 4.0 * DBL_EPSILON);
  gsl_rng_free(rng);
}

/* Dense where factors use it, and beside the places where its reduction or its order changes. */
static void the_exponential_is_right_where_its_branches_meet(void **state)
{
  (void)state;
  static const double edges[] = {0.004, 0.35, 0.34657359027997264, 1.0397207708399179, 1.7328679513998633, 36.0, 38.0};
  for (size_t i = 0; i < sizeof edges / sizeof *edges; i++) {
    for (int sign = -1; sign <= 1; sign += 2) {
      for (int step = -2000; step <= 2000; step++) {
        const double x = sign * edges[i] * (1.0 + step * 1e-6);
        const double want = (double)expm1l((long double)x);
        assert_near_rel(sb_elementary_exp_less_1(x), want, 4.0 * DBL_EPSILON);
      }
    }
  }
}

static void the_exponential_ends_where_doubles_do(void **state)
{
  (void)state;
  assert_near(sb_elementary_exp_less_1(0.0), 0.0, 0.0);
  assert_near(sb_elementary_exp_less_1(-746.0), -1.0, 0.0);
  assert_near(sb_elementary_exp_less_1(-1e300), -1.0, 0.0);
  assert_near(sb_elementary_exp_less_1(-745.0), -1.0, 0.0);
  assert_true(isinf(sb_elementary_exp_less_1(710.0)));
  assert_near_rel(sb_elementary_exp_less_1(709.0), exp(709.0), 4.0 * DBL_EPSILON);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(sine_and_cosine_are_right_over_a_million_radians),
      cmocka_unit_test(sine_and_cosine_are_right_beside_multiples_of_an_eighth_turn),
      cmocka_unit_test(the_sine_of_a_small_angle_keeps_its_digits),
      cmocka_unit_test(gsl_says_the_same),
      cmocka_unit_test(the_exponential_less_one_is_right_over_its_whole_range),
      cmocka_unit_test(the_exponential_is_right_where_its_branches_meet),
      cmocka_unit_test(the_exponential_ends_where_doubles_do),
  };
  return cmocka_run_group_tests_name("elementary", tests, plane_quiet_gsl, NULL);
}
