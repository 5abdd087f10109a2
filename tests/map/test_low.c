// SPDX-License-Identifier: GPL-3.0-or-later
/* Stuck low for all thresholds at once, row by row: what makes a stretch long enough, and what a new stay begins with. */
#include <math.h>

#include "help/near.h"
#include "map/low.h"

static void pass(struct sb_low *low, double time_s, double load_nm)
{
  struct sb_error err;
  assert_int_equal(sb_low_pass(low, time_s, load_nm, &err), SB_OK);
}

/* As the monitor counts: longer than the patience, and not just as long. */
static void a_stretch_counts_when_it_is_longer_than_the_patience(void **state)
{
  (void)state;
  struct sb_low low = {.room = 0};
  sb_low_begin(&low, 1.0, 10.0, 0.5);
  pass(&low, 0.0, 3.0);
  pass(&low, 0.5, 4.0);
  pass(&low, 1.0, 2.0);
  assert_true(isinf(low.critical_nm));
  pass(&low, 1.25, 2.0);
  assert_near(low.critical_nm, 4.0, 0.0);
  pass(&low, 1.75, 2.0); /* from 0.5 s on it is still 4 */
  assert_near(low.critical_nm, 4.0, 0.0);
  pass(&low, 2.25, 2.0); /* from 1 s on it is 2 */
  assert_near(low.critical_nm, 2.0, 0.0);
  sb_low_clear(&low);
}

static void a_row_at_the_ceiling_ends_every_stretch(void **state)
{
  (void)state;
  struct sb_low low = {.room = 0};
  sb_low_begin(&low, 1.0, 10.0, 0.5);
  pass(&low, 0.0, 3.0);
  pass(&low, 0.9, 10.0);
  pass(&low, 1.0, 3.0);
  pass(&low, 1.9, 3.0);
  assert_true(isinf(low.critical_nm));
  pass(&low, 2.1, 3.0);
  assert_near(low.critical_nm, 3.0, 0.0);
  sb_low_clear(&low);
}

/* Below the floor no threshold is left to find; a new stay brings a floor of its own. */
static void a_new_stay_has_its_own_floor_and_no_rows(void **state)
{
  (void)state;
  struct sb_low low = {.room = 0};
  sb_low_begin(&low, 1.0, 10.0, 5.0);
  pass(&low, 0.0, 4.0);
  pass(&low, 2.0, 2.0);
  pass(&low, 4.0, 2.0);
  assert_near(low.critical_nm, 4.0, 0.0);
  sb_low_begin(&low, 1.0, 10.0, 0.5);
  assert_true(isinf(low.critical_nm));
  pass(&low, 6.0, 4.0);
  pass(&low, 8.0, 2.0);
  assert_near(low.critical_nm, 4.0, 0.0);
  pass(&low, 10.0, 2.0);
  assert_near(low.critical_nm, 2.0, 0.0);
  sb_low_clear(&low);
}

/* The rings grow, and hold what they held. */
static void many_rows_are_kept_in_order(void **state)
{
  (void)state;
  enum { ROWS = 1000 };
  struct sb_low low = {.room = 0};
  sb_low_begin(&low, (double)ROWS, 1e4, 0.5);
  for (int k = 0; k <= ROWS; k++) pass(&low, k, ROWS + 1.0 - k);
  assert_true(isinf(low.critical_nm));
  for (int k = 1; k <= ROWS; k++) {
    pass(&low, ROWS + k, 1.0);
    assert_near(low.critical_nm, ROWS + 2.0 - k, 0.0);
  }
  sb_low_clear(&low);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_stretch_counts_when_it_is_longer_than_the_patience),
      cmocka_unit_test(a_row_at_the_ceiling_ends_every_stretch),
      cmocka_unit_test(a_new_stay_has_its_own_floor_and_no_rows),
      cmocka_unit_test(many_rows_are_kept_in_order),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
