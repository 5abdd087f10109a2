// SPDX-License-Identifier: GPL-3.0-or-later
/* place.h - where tests run whose files are named from tests/. */
#ifndef SHIFTBAND_TESTS_PLACE_H
#define SHIFTBAND_TESTS_PLACE_H

#include <unistd.h>

/* Goes there; group setup of cmocka. */
static inline int place_in_tests(void **state)
{
  (void)state;
  return chdir(SB_SOURCE_DIR "/tests");
}

#endif
