// SPDX-License-Identifier: GPL-3.0-or-later
/* Logarithm, arctangent and arcsine against the mathematics library's in long double. */
#include <float.h>
#include <math.h>

#include "base/elementary.h"
#include "help/near.h"

/* By how many units in the last place of the wanted value it is off. */
static double units_off(double got, long double want)
{
  int exponent;
  if (want == 0.0L) return got == 0.0 ? 0.0 : (double)INFINITY;
  (void)frexpl(want, &exponent);
  return (double)(fabsl((long double)got - want) / ldexpl(1.0L, exponent - DBL_MANT_DIG));
}

/* Places that share no pattern with the ranges' ends: the golden section's multiples. */
static double spread(int i)
{
  const double place = i * 0.6180339887498949;
  return place - floor(place);
}

enum { PLACES = 200000 };

static void the_logarithm_is_within_two_units(void **state)
{
  (void)state;
  double worst = 0.0;
  for (int i = 0; i < PLACES; i++) {
    const double near_1 = 0.5 + 1.5 * spread(i), tiny = 1.0 + (spread(i) - 0.5) * 1e-6;
    const double wide = ldexp(near_1, i % 2000 - 1000);
    worst = fmax(worst, units_off(sb_elementary_log(near_1), logl((long double)near_1)));
    worst = fmax(worst, units_off(sb_elementary_log(tiny), logl((long double)tiny)));
    worst = fmax(worst, units_off(sb_elementary_log(wide), logl((long double)wide)));
  }
  assert_in_range((int)(100.0 * worst), 1, 200);
}

static void the_logarithm_has_its_ends(void **state)
{
  (void)state;
  assert_near(sb_elementary_log(1.0), 0.0, 0.0);
  assert_true(sb_elementary_log(0.0) == -INFINITY);
  assert_true(sb_elementary_log(INFINITY) == INFINITY);
  assert_true(isnan(sb_elementary_log(-1.0)) && isnan(sb_elementary_log(NAN)));
  assert_near_rel(sb_elementary_log(DBL_TRUE_MIN), log(DBL_TRUE_MIN), 4.0 * DBL_EPSILON);
  assert_near_rel(sb_elementary_log(DBL_MAX), log(DBL_MAX), 4.0 * DBL_EPSILON);
}

static void the_arctangent_is_within_five_units(void **state)
{
  (void)state;
  double worst = 0.0;
  for (int i = 0; i < PLACES; i++) {
    const double small = 2.0 * spread(i) - 1.0, wide = ldexp(small, i % 200 - 100);
    worst = fmax(worst, units_off(sb_elementary_atan(small), atanl((long double)small)));
    worst = fmax(worst, units_off(sb_elementary_atan(wide), atanl((long double)wide)));
  }
  assert_in_range((int)(100.0 * worst), 1, 500);
  assert_near(sb_elementary_atan(INFINITY), 2.0 * atan(1.0), 0.0);
  assert_near(sb_elementary_atan(-INFINITY), -2.0 * atan(1.0), 0.0);
  assert_true(isnan(sb_elementary_atan(NAN)));
}

static void the_arcsine_is_within_five_units(void **state)
{
  (void)state;
  double worst = 0.0;
  for (int i = 0; i < PLACES; i++) {
    const double x = 2.0 * spread(i) - 1.0, near_1 = 1.0 - ldexp(spread(i), -(i % 50));
    worst = fmax(worst, units_off(sb_elementary_asin(x), asinl((long double)x)));
    worst = fmax(worst, units_off(sb_elementary_asin(near_1), asinl((long double)near_1)));
  }
  assert_in_range((int)(100.0 * worst), 1, 500);
  assert_near(sb_elementary_asin(1.0), 2.0 * atan(1.0), DBL_EPSILON);
  assert_near(sb_elementary_asin(-1.0), -2.0 * atan(1.0), DBL_EPSILON);
  assert_near(sb_elementary_asin(0.0), 0.0, 0.0);
  assert_true(isnan(sb_elementary_asin(1.5)));
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_logarithm_is_within_two_units),
      cmocka_unit_test(the_logarithm_has_its_ends),
      cmocka_unit_test(the_arctangent_is_within_five_units),
      cmocka_unit_test(the_arcsine_is_within_five_units),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
