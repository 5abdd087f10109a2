// SPDX-License-Identifier: GPL-3.0-or-later
/* root.h - internal: the root of a function between two places, without memory that could be refused. */
#ifndef SHIFTBAND_BASE_ROOT_H
#define SHIFTBAND_BASE_ROOT_H

/* How narrow the interval gets in which the root lies: as gsl_root_test_interval() has it, or after so many rounds. */
struct sb_root_wanted {
  double absolute, relative;
  int rounds;
};

/* The root between two places, low < high, at which a function is zero or has different signs, by Brent's method (GSL); NAN: the signs are the
 * same, or the function is not finite everywhere. wanted NULL: to 1e-14 of the root, in 100 rounds at most. */
double sb_root_between(double (*function)(double x, void *context), void *context, double low, double high,
                       const struct sb_root_wanted *wanted);

#endif
