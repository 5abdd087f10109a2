// SPDX-License-Identifier: GPL-3.0-or-later
/* Roots between two places, and memory that ran out. */
#include <gsl/gsl_roots.h>
#include <math.h>

#include "base/root.h"
#include "base/shortage.h"
#include "help/near.h"

static double cubic(double x, void *context)
{
  return x * x * x - *(const double *)context;
}

static double broken(double x, void *context)
{
  (void)context;
  return x < 2.0 ? (double)NAN : 1.0;
}

static void the_root_is_found_to_rounding(void **state)
{
  (void)state;
  double of = 5.0;
  assert_near_rel(sb_root_between(cubic, &of, 0.0, 3.0, NULL), cbrt(5.0), 1e-14);
  of = 27.0;
  assert_near_rel(sb_root_between(cubic, &of, 3.0, 4.0, NULL), 3.0, 1e-14); /* at an end */
}

static void as_near_as_asked(void **state)
{
  (void)state;
  double of = 5.0;
  const struct sb_root_wanted rough = {0.1, 0.0, 100}, once = {0.0, 1e-14, 1};
  const double found = sb_root_between(cubic, &of, 0.0, 3.0, &rough);
  assert_true(fabs(found - cbrt(5.0)) < 0.1);
  assert_true(fabs(sb_root_between(cubic, &of, 0.0, 3.0, &once) - cbrt(5.0)) > 1e-6);
}

static void no_root_is_none(void **state)
{
  (void)state;
  double of = 5.0;
  assert_true(isnan(sb_root_between(cubic, &of, 2.0, 3.0, NULL)));
  assert_true(isnan(sb_root_between(broken, &of, 1.0, 3.0, NULL)));
}

/* The state stands on the stack: no version of GSL may need more. */
static void the_state_is_small(void **state)
{
  (void)state;
  assert_true(gsl_root_fsolver_brent->size <= 512);
}

static void a_shortage_is_reported_once(void **state)
{
  (void)state;
  assert_false(sb_shortage_take());
  sb_shortage_note();
  assert_true(sb_shortage_take());
  assert_false(sb_shortage_take());
  assert_true(sb_shortage_brace(1000));
  sb_shortage_relax();
  assert_false(sb_shortage_take());
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_root_is_found_to_rounding),
      cmocka_unit_test(as_near_as_asked),
      cmocka_unit_test(no_root_is_none),
      cmocka_unit_test(the_state_is_small),
      cmocka_unit_test(a_shortage_is_reported_once),
  };
  return cmocka_run_group_tests_name("root", tests, NULL, NULL);
}
