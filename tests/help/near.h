// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * near.h - comparisons in double for the tests; cmocka 1.1's own narrow to float.
 *
 *   assert_near(got, want, limit)     |got - want| <= limit
 *   assert_near_rel(got, want, rel)   |got - want| <= rel |want|
 *
 * A failure prints got, want, their difference and the limit. Anything with a NaN in it fails.
 */
#ifndef SHIFTBAND_TESTS_NEAR_H
#define SHIFTBAND_TESTS_NEAR_H

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include <cmocka.h>

enum { NEAR_TEXT_SIZE = 512 };

/* Whether got is within limit of want; if not, says so in text. Equal infinities are near. */
static inline bool near_holds(double got, double want, double limit, const char *name, char text[NEAR_TEXT_SIZE])
{
  if (fabs(got - want) <= limit || (isinf(got) && got == want)) return true;
  snprintf(text, NEAR_TEXT_SIZE, "%s: got %.17g, want %.17g, difference %.3g, limit %.3g", name, got, want, got - want,
           limit);
  return false;
}

#define assert_near(got, want, limit)                                                    \
  do {                                                                                   \
    char near_text[NEAR_TEXT_SIZE];                                                      \
    if (!near_holds((got), (want), (limit), #got, near_text)) fail_msg("%s", near_text); \
  } while (0)

#define assert_near_rel(got, want, rel)                   \
  do {                                                    \
    const double near_want = (want);                      \
    assert_near((got), near_want, (rel)*fabs(near_want)); \
  } while (0)

#endif
