// SPDX-License-Identifier: GPL-3.0-or-later
/* dice.h - a generator of its own for each test that draws. */
#ifndef SHIFTBAND_TESTS_DICE_H
#define SHIFTBAND_TESTS_DICE_H

#include <gsl/gsl_rng.h>

#include "help/near.h"

/* The same seed, the same draws. The caller frees. */
static inline gsl_rng *dice_of(unsigned long seed)
{
  gsl_rng *dice = gsl_rng_alloc(gsl_rng_mt19937);
  assert_non_null(dice);
  gsl_rng_set(dice, seed);
  return dice;
}

#endif
