// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/series.h"

#include <assert.h>
#include <float.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_roots.h>

#include "base/gsl_quiet.h"

/* 1 / k. */
#define SHARE(k) 1.0 / (k)
const double sb_series_shares[SB_SERIES_DEGREE_MAX + 2] = {
    0.0,       SHARE(1),  SHARE(2),  SHARE(3),  SHARE(4),  SHARE(5),  SHARE(6),  SHARE(7),  SHARE(8),  SHARE(9),
    SHARE(10), SHARE(11), SHARE(12), SHARE(13), SHARE(14), SHARE(15), SHARE(16), SHARE(17), SHARE(18), SHARE(19),
    SHARE(20), SHARE(21), SHARE(22), SHARE(23), SHARE(24), SHARE(25), SHARE(26), SHARE(27), SHARE(28), SHARE(29)};
#undef SHARE
static_assert(SB_SERIES_DEGREE_MAX == 28, "a share for each order, and one more");

/* At eight places. */
static void take_lanes(const struct sb_series *p, int degree, const double *places, double *values)
{
  const sb_pair s0 = sb_pair_at(places), s1 = sb_pair_at(places + 2), s2 = sb_pair_at(places + 4),
                s3 = sb_pair_at(places + 6);
  sb_pair sum0 = {p->c[degree], p->c[degree]}, sum1 = sum0, sum2 = sum0, sum3 = sum0;
  for (int k = degree - 1; k >= 0; k--) {
    const sb_pair c = {p->c[k], p->c[k]};
    sum0 = sum0 * s0 + c;
    sum1 = sum1 * s1 + c;
    sum2 = sum2 * s2 + c;
    sum3 = sum3 * s3 + c;
  }
  const sb_pair sums[] = {sum0, sum1, sum2, sum3};
  static_assert(sizeof sums == SB_SERIES_LANES * sizeof *values, "all lanes");
  memcpy(values, sums, sizeof sums);
}

void sb_series_at_all(const struct sb_series *p, int degree, int count, const double *places, double *values)
{
  int first = 0;
  for (; count - first > 1; first += SB_SERIES_LANES) take_lanes(p, degree, places + first, values + first);
  if (first < count) values[first] = sb_series_at(p, degree, places[first]);
}

struct sb_series sb_series_scaled(const struct sb_series *p, int degree, double gain, double constant)
{
  struct sb_series out;
  out.c[0] = gain * p->c[0] + constant;
  for (int k = 1; k <= degree; k++) out.c[k] = gain * p->c[k];
  return out;
}

void sb_series_add(struct sb_series *sum, const struct sb_series *p, int degree, double gain)
{
  for (int k = 0; k <= degree; k++) sum->c[k] += gain * p->c[k];
}

struct sb_series sb_series_slope(const struct sb_series *p, int degree)
{
  struct sb_series out;
  for (int k = 0; k < degree; k++) out.c[k] = (k + 1) * p->c[k + 1];
  out.c[degree] = 0.0;
  return out;
}

bool sb_series_is_monotone(const struct sb_series *p, int degree)
{
  double rest = 0.0;
  for (int k = 2; k <= degree; k++) rest += k * fabs(p->c[k]);
  return degree < 2 || fabs(p->c[1]) >= rest;
}

/* Roots -------------------------------------------------------------------------------------------------------------- */

/* Bernstein coefficients over an interval. */
struct bernstein {
  double b[SB_SERIES_DEGREE_MAX + 1];
};

/* What a search for roots carries along. */
struct search {
  const struct sb_series *p;
  int degree;
  gsl_root_fsolver *solver;
  double *roots;
  int max, count;
};

static struct bernstein bernstein_of(const struct sb_series *p, int degree, double low, double high)
{
  struct bernstein out;
  double back[SB_SERIES_DEGREE_MAX + 1]; /* from the highest order down, so that sums run upwards */
  /* The polynomial in u, s = low + (high - low) u: shifted by Horner's scheme, then stretched. */
  for (int k = 0; k <= degree; k++) out.b[k] = p->c[k];
  if (low != 0.0) {
    for (int j = 0; j < degree; j++) {
      for (int k = degree - 1; k >= j; k--) out.b[k] += low * out.b[k + 1];
    }
  }
  double power = 1.0, binomial = 1.0;
  for (int k = 0; k <= degree; k++) {
    back[degree - k] = out.b[k] * power / binomial;
    power *= high - low;
    binomial = binomial * (degree - k) * sb_series_shares[k + 1];
  }
  for (int j = degree; j > 0; j--) {
#pragma omp simd
    for (int k = 0; k < j; k++) back[k] += back[k + 1];
  }
  for (int k = 0; k <= degree; k++) out.b[k] = back[degree - k];
  return out;
}

/* Splits an interval at a share of it (de Casteljau): *all keeps the upper part. */
static struct bernstein lower_part(struct bernstein *all, int degree, double share)
{
  struct bernstein low = {{0.0}};
  for (int j = 0; j <= degree; j++) {
    low.b[j] = all->b[0];
    for (int k = 0; k < degree - j; k++) all->b[k] += share * (all->b[k + 1] - all->b[k]);
  }
  return low;
}

/* Changes of sign among the coefficients; zeros count as the sign before them. */
static int sign_changes(const struct bernstein *poly, int degree)
{
  int changes = 0;
  double last = poly->b[0];
  for (int k = 1; k <= degree; k++) {
    if (poly->b[k] == 0.0) continue;
    changes += last * poly->b[k] < 0.0;
    last = poly->b[k];
  }
  return changes;
}

static double value_at(double s, void *context)
{
  const struct search *search = context;
  return sb_series_at(search->p, search->degree, s);
}

/* The only root between two places of different signs, on its far side. */
static double polished(struct search *search, double low, double high)
{
  SB_GSL_QUIET;
  gsl_function function = {value_at, search};
  const double far_sign = value_at(high, search) < 0.0 ? -1.0 : 1.0;
  if (gsl_root_fsolver_set(search->solver, &function, low, high) != GSL_SUCCESS) return high;
  for (int i = 0; i < 200; i++) {
    if (gsl_root_fsolver_iterate(search->solver) != GSL_SUCCESS) break;
    const double width = gsl_root_fsolver_x_upper(search->solver) - gsl_root_fsolver_x_lower(search->solver);
    if (width <= DBL_EPSILON || value_at(gsl_root_fsolver_root(search->solver), search) == 0.0) break;
  }
  const double root = gsl_root_fsolver_root(search->solver);
  return value_at(root, search) * far_sign >= 0.0 ? root : gsl_root_fsolver_x_upper(search->solver);
}

/* Whether the values at both ends have the signs that the coefficients say; at a root they are rounding. */
static bool is_sure(struct search *search, const struct bernstein *poly, double low, double high)
{
  return poly->b[0] * value_at(low, search) > 0.0 && poly->b[search->degree] * value_at(high, search) > 0.0;
}

static void find_roots(struct search *search, struct bernstein poly, double low, double high)
{
  const int changes = sign_changes(&poly, search->degree);
  if (changes == 0 || search->count == search->max) return;
  const bool is_odd = poly.b[0] * poly.b[search->degree] < 0.0;
  if (high - low <= 4.0 * DBL_EPSILON) {
    if (is_odd) search->roots[search->count++] = high;
    return;
  }
  if (changes == 1 && is_odd && is_sure(search, &poly, low, high)) {
    search->roots[search->count++] = polished(search, low, high);
    return;
  }
  /* Beside the middle where that is a root itself. */
  struct bernstein upper = poly;
  double share = 0.5;
  struct bernstein lower = lower_part(&upper, search->degree, share);
  while (upper.b[0] == 0.0) {
    share *= 0.875;
    upper = poly;
    lower = lower_part(&upper, search->degree, share);
  }
  const double middle = low + share * (high - low);
  find_roots(search, lower, low, middle);
  find_roots(search, upper, middle, high);
}

/* Trailing terms that add nothing only cost. */
static int used_degree(const struct sb_series *p, int degree)
{
  int used = 0;
  for (int k = 1; k <= degree; k++) {
    if (p->c[k] != 0.0) used = k;
  }
  return used;
}

/*
 * Of one that rises or falls all the way so do the Bernstein coefficients: their changes are the signs' at its ends. Ends near zero are
 * left to those.
 */
static bool find_root_of_monotone(struct search *search, double from)
{
  const struct sb_series *p = search->p;
  if (!sb_series_is_monotone(p, search->degree)) return false;
  const double low = value_at(from, search), high = value_at(1.0, search);
  const double noise = 1e-12 * sb_series_size(p, search->degree);
  if (!(fabs(low) > noise && fabs(high) > noise)) return false;
  if (low * high < 0.0 && search->max > 0) search->roots[search->count++] = polished(search, from, 1.0);
  return true;
}

int sb_series_roots(const struct sb_series *p, int degree, double from, void *solver, double *roots, int max)
{
  struct search search = {p, used_degree(p, degree), solver, roots, max, 0};
  if (search.degree == 0 || !(from < 1.0)) return 0;
  if (find_root_of_monotone(&search, from)) return search.count;
  find_roots(&search, bernstein_of(p, search.degree, from, 1.0), from, 1.0);
  return search.count;
}

/* Falls -------------------------------------------------------------------------------------------------------------- */

/* A place from which on the polynomial, at zero or below at the start, has surely risen above it; INFINITY: it does not.
 * A body that has just started is at a guard's zero already. */
static double risen_at(const struct sb_series *p, int degree)
{
  const double noise = DBL_EPSILON * fabs(p->c[0]);
  for (double s = 0x1p-52; s <= 1.0; s *= 2.0) {
    if (sb_series_at(p, degree, s) > noise) return s;
  }
  return INFINITY;
}

/* The first place, not before `from`, at which the polynomial is below zero. */
static double next_below(const struct sb_series *p, int degree, double from, void *solver)
{
  double roots[SB_SERIES_DEGREE_MAX + 1];
  if (sb_series_at(p, degree, from) < 0.0) return from;
  const int count = sb_series_roots(p, degree, from, solver, roots, SB_SERIES_DEGREE_MAX);
  roots[count] = 1.0;
  /* Its sign between the roots: at one it is rounding. */
  for (int i = 0; i <= count; i++) {
    if (sb_series_at(p, degree, 0.5 * (from + roots[i])) < 0.0) return from;
    from = roots[i];
  }
  return INFINITY;
}

/* One polynomial alone: from where it has risen, if it starts at zero. */
static double single_fall(const struct sb_series *p, int degree, void *solver)
{
  double from = 0.0, root;
  if (sb_series_floor(p, degree) > 0.0) return INFINITY;
  if (!(p->c[0] > 0.0)) from = risen_at(p, degree);
  if (!isfinite(from)) return sb_series_at(p, degree, 1.0) < 0.0 ? 0.0 : (double)INFINITY;
  return sb_series_roots(p, degree, from, solver, &root, 1) > 0 ? root : (double)INFINITY;
}

double sb_series_first_fall(const struct sb_series *falls, int count, int degree, void *solver)
{
  enum { TURN_MAX = 32 };
  if (count == 1) return single_fall(falls, degree, solver);
  double s = 0.0;
  for (int turn = 0; turn < TURN_MAX && s <= 1.0; turn++) {
    double latest = s;
    for (int i = 0; i < count; i++) latest = fmax(latest, next_below(&falls[i], degree, latest, solver));
    if (latest == s && turn > 0) return s;
    s = latest;
  }
  return INFINITY;
}
