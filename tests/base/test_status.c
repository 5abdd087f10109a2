// SPDX-License-Identifier: GPL-3.0-or-later
/* The list of results, the error text, and the comparisons that all other tests rest on. */
#include "help/near.h"
#include "shiftband/status.h"

#include <string.h>

static void every_status_has_its_text(void **state)
{
  (void)state;
#define EXPECT_TEXT(code, text) assert_string_equal(sb_status_text(code), text);
  SB_STATUS_LIST(EXPECT_TEXT)
#undef EXPECT_TEXT
  assert_string_equal(sb_status_text((enum sb_status)99), "unknown status");
}

static void a_failure_fills_status_and_text(void **state)
{
  (void)state;
  struct sb_error err = {0};
  assert_int_equal(sb_fail(&err, SB_ERR_IO, "%s: %d of %g", "name", 3, 0.5), SB_ERR_IO);
  assert_int_equal(err.status, SB_ERR_IO);
  assert_string_equal(err.text, "name: 3 of 0.5");
  assert_int_equal(sb_fail(NULL, SB_ERR_MEMORY, "%s", "nobody listens"), SB_ERR_MEMORY);
}

static void a_long_text_is_cut_to_its_size(void **state)
{
  (void)state;
  char longer[2 * SB_ERROR_TEXT_SIZE];
  memset(longer, 'x', sizeof longer);
  longer[sizeof longer - 1] = 0;
  struct sb_error err = {0};
  assert_int_equal(sb_fail(&err, SB_ERR_USAGE, "%s", longer), SB_ERR_USAGE);
  assert_int_equal(strlen(err.text), SB_ERROR_TEXT_SIZE - 1);
}

static void a_wrong_value_is_not_near(void **state)
{
  (void)state;
  char text[NEAR_TEXT_SIZE];
  assert_true(near_holds(1.5, 1.0, 0.5, "x", text));
  assert_true(near_holds((double)INFINITY, (double)INFINITY, 0.0, "x", text));
  assert_false(near_holds(1.0 + 1e-12, 1.0, 0.9e-12, "x", text)); /* a float could not tell these two */
  assert_non_null(strstr(text, "x: got 1.00000000000"));
  assert_non_null(strstr(text, "want 1,"));
  assert_non_null(strstr(text, "limit 9e-13"));
  assert_false(near_holds((double)NAN, 1.0, 1.0, "x", text));
  assert_false(near_holds(1.0, (double)NAN, 1.0, "x", text));
  assert_false(near_holds(1.0, 1.0, (double)NAN, "x", text));
  assert_false(near_holds((double)INFINITY, -(double)INFINITY, 1.0, "x", text));
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(every_status_has_its_text),
      cmocka_unit_test(a_failure_fills_status_and_text),
      cmocka_unit_test(a_long_text_is_cut_to_its_size),
      cmocka_unit_test(a_wrong_value_is_not_near),
  };
  return cmocka_run_group_tests_name("status", tests, NULL, NULL);
}
