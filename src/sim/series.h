// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * series.h - internal: a quantity over a stretch of motion, as a polynomial in the share s of the stretch, 0 to 1.
 *
 *   p(s) = c[0] + c[1] s + ... + c[n] s^n
 *
 * The degree n belongs to the stretch and is handed to each function; terms above it are not there.
 * Roots: the Bernstein coefficients of a polynomial over an interval bound it there, and it has no more roots in it than
 * they have changes of sign; the interval is halved until each root is alone (R. T. Farouki, The Bernstein polynomial
 * basis: a centennial retrospective, Computer Aided Geometric Design 29(6), 2012; from memory), then GSL's Brent solver
 * polishes it.
 */
#ifndef SHIFTBAND_SIM_SERIES_H
#define SHIFTBAND_SIM_SERIES_H

#include <math.h>
#include <stdbool.h>
#include <string.h>

enum { SB_SERIES_DEGREE_MAX = 28 };

struct sb_series {
  double c[SB_SERIES_DEGREE_MAX + 1];
};

/* sb_series_shares[k] = 1 / k; of 0: 0. */
extern const double sb_series_shares[SB_SERIES_DEGREE_MAX + 2];

/* Two numbers that one instruction adds or multiplies where the processor can; the same bits where it cannot. */
typedef double sb_pair __attribute__((vector_size(2 * sizeof(double))));

static inline sb_pair sb_pair_at(const double *c)
{
  sb_pair out;
  memcpy(&out, c, sizeof out);
  return out;
}

struct sb_range {
  double least, greatest;
};

static inline struct sb_range sb_range_sum(struct sb_range one, struct sb_range other)
{
  return (struct sb_range){one.least + other.least, one.greatest + other.greatest};
}

static inline struct sb_range sb_range_scaled(struct sb_range range, double gain)
{
  return gain < 0.0 ? (struct sb_range){gain * range.greatest, gain * range.least}
                    : (struct sb_range){gain * range.least, gain * range.greatest};
}

/* At the end, where most are asked for, a product with s = 1 would only take its time. */
static inline double sb_series_at(const struct sb_series *p, int degree, double s)
{
  double sum = p->c[degree];
  if (s == 1.0) {
    for (int k = degree - 1; k >= 0; k--) sum += p->c[k];
    return sum;
  }
  for (int k = degree - 1; k >= 0; k--) sum = sum * s + p->c[k];
  return sum;
}

/*
 * The values at many places, to the bits of sb_series_at(). Places are taken by SB_SERIES_LANES at once, so that they need not wait
 * for each other: both arrays have room for a multiple of that, whatever is in places beyond count.
 */
enum { SB_SERIES_LANES = 8 };
void sb_series_at_all(const struct sb_series *p, int degree, int count, const double *places, double *values);

/* By how much it rises from 0 to s. Pure. */
static inline double sb_series_rise(const struct sb_series *p, int degree, double s)
{
  double sum = 0.0;
  for (int k = degree; k > 0; k--) sum = sum * s + p->c[k];
  return sum * s;
}

/* Its integral from 0 to s. Pure. */
static inline double sb_series_integral(const struct sb_series *p, int degree, double s)
{
  double sum = p->c[degree] / (degree + 1);
  for (int k = degree - 1; k >= 0; k--) sum = sum * s + p->c[k] / (k + 1);
  return sum * s;
}

/* A bound: the polynomial is nowhere on the stretch below it. Pure. */
static inline double sb_series_floor(const struct sb_series *p, int degree)
{
  double sum = p->c[0];
  for (int k = 1; k <= degree; k++) sum += p->c[k] < 0.0 ? p->c[k] : 0.0;
  return sum;
}

/* Adds to the lower bound what is below zero, and to the upper one what is above: halves of exact differences, for signs follow no
 * rule that a processor could foresee. */
static inline void sb_range_widen(struct sb_range *range, double addend)
{
  const double size = fabs(addend);
  range->least += 0.5 * (addend - size);
  range->greatest += 0.5 * (addend + size);
}

/* Bounds: the polynomial is nowhere on the stretch beyond them. Pure. */
static inline struct sb_range sb_series_range(const struct sb_series *p, int degree)
{
  struct sb_range range = {p->c[0], p->c[0]};
  for (int k = 1; k <= degree; k++) sb_range_widen(&range, p->c[k]);
  return range;
}

/* Those of its derivative. Pure. */
static inline struct sb_range sb_series_slope_range(const struct sb_series *p, int degree)
{
  struct sb_range range = {p->c[1], p->c[1]};
  for (int k = 2; k <= degree; k++) sb_range_widen(&range, k * p->c[k]);
  return range;
}

/* A bound: the polynomial's size is nowhere on the stretch above it. Pure. */
static inline double sb_series_size(const struct sb_series *p, int degree)
{
  double sum = fabs(p->c[0]);
  for (int k = 1; k <= degree; k++) sum += fabs(p->c[k]);
  return sum;
}

/* gain * p + constant. Pure. */
struct sb_series sb_series_scaled(const struct sb_series *p, int degree, double gain, double constant);

/* Adds gain * p. */
void sb_series_add(struct sb_series *sum, const struct sb_series *p, int degree, double gain);

/* Its derivative by s, of the same degree with a zero at the top. Pure. */
struct sb_series sb_series_slope(const struct sb_series *p, int degree);

/* Whether it surely rises or falls throughout, or is constant: false says nothing. Pure. */
bool sb_series_is_monotone(const struct sb_series *p, int degree);

/*
 * Puts where the sign changes between `from` and 1 into roots[max], ascending, each on the side on which the new sign has
 * come; returns how many. What touches zero and turns back is no root. `solver` is a gsl_root_fsolver of Brent's method.
 */
int sb_series_roots(const struct sb_series *p, int degree, double from, void *solver, double *roots, int max);

/*
 * The first s from 0 to 1 from which on all of `count` polynomials are below zero; INFINITY: nowhere. One that starts
 * at zero, or below it by rounding, and rises is on its way to its next root.
 */
double sb_series_first_fall(const struct sb_series *falls, int count, int degree, void *solver);

#endif
