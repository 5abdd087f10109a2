// SPDX-License-Identifier: GPL-3.0-or-later
#include "fit/estimate.h"

#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/gsl_quiet.h"
#include "base/shortage.h"
#include "fit/least_squares.h"

/* A direction without any effect gets this deviation, so that nothing becomes infinite. */
static const double sd_max = 1e6;

/* What is held first when several would do: what can well be zero, and what scales with the rest. */
static const int hold_order[] = {SB_FIT_P_VISCOUS,       SB_FIT_P_FRICTION_SHARE, SB_FIT_P_LOAD_FRICTION,
                                 SB_FIT_P_LOAD_INERTIA,  SB_FIT_P_ROTOR_INERTIA,  SB_FIT_P_MESH_EFFICIENCY,
                                 SB_FIT_P_STALL_CURRENT, SB_FIT_P_STALL_TORQUE,   SB_FIT_P_NO_LOAD_SPEED};

int sb_identify_parameter(const struct sb_bench *bench, size_t unknown, int *test, int *own)
{
  size_t j = 0;
  for (int k = 0; k < SB_FIT_PARAMETER_COUNT; k++) {
    if (bench->is_free[k] && j++ == unknown) return k;
  }
  for (int t = 0; t < bench->test_count; t++) {
    for (int k = 0; k < SB_OWN_COUNT; k++) {
      if (!bench->tests[t].is_own_free[k] || j++ != unknown) continue;
      *test = t;
      *own = k;
    }
  }
  return -1;
}

/* The right singular vectors with a deviation above sd_min, one a row of out; returns how many, or -1 without memory. */
static int undetermined_vectors(const struct sb_estimate *estimate, double sd_min, double *out, double *sds)
{
  SB_GSL_QUIET;
  const size_t terms = estimate->terms, rows = estimate->rows > terms ? estimate->rows : terms;
  if (!sb_least_squares_brace(rows, terms)) return -1;
  gsl_matrix *a = gsl_matrix_calloc(rows, terms), *v = gsl_matrix_alloc(terms, terms);
  gsl_vector *s = gsl_vector_alloc(terms), *work = gsl_vector_alloc(terms);
  int count = -1;
  if (a != NULL && v != NULL && s != NULL && work != NULL) {
    for (size_t i = 0; i < estimate->rows; i++) {
      const double root = sqrt(estimate->weights[i]);
      for (size_t j = 0; j < terms; j++) gsl_matrix_set(a, i, j, root * estimate->jacobian[i * terms + j]);
    }
    gsl_linalg_SV_decomp(a, v, s, work);
    count = 0;
    for (size_t k = 0; k < terms; k++) {
      const double sd = fmin(1.0 / fmax(gsl_vector_get(s, k), 1e-300), sd_max);
      if (!(sd > sd_min)) continue;
      for (size_t j = 0; j < terms; j++) out[(size_t)count * terms + j] = gsl_matrix_get(v, j, k);
      sds[count++] = sd;
    }
  }
  gsl_matrix_free(a);
  gsl_matrix_free(v);
  gsl_vector_free(s);
  gsl_vector_free(work);
  sb_shortage_relax();
  return count;
}

/* Where unknown j stands in the order of being held: a log's own unknowns come first, but for instants of events, which
 * the rows around them hold already. */
static size_t hold_rank(const struct sb_bench *bench, size_t unknown)
{
  int test = 0, own = 0;
  const int parameter = sb_identify_parameter(bench, unknown, &test, &own);
  for (size_t k = 0; k < sizeof hold_order / sizeof *hold_order; k++) {
    if (hold_order[k] == parameter) return k + 1;
  }
  return own < SB_OWN_EVENT ? 0 : sizeof hold_order / sizeof *hold_order + 1;
}

/* The unknown of lowest rank that has a fair part in one of the rows from `first` on. */
static bool find_pivot(const struct sb_identify *directions, const struct sb_bench *bench, size_t first, size_t *row,
                       size_t *pivot)
{
  size_t best_rank = 100;
  for (size_t j = 0; j < directions->terms; j++) {
    const size_t rank = hold_rank(bench, j);
    for (size_t k = first; k < directions->count; k++) {
      const double *direction = directions->directions + k * directions->terms;
      double greatest = 0.0;
      for (size_t i = 0; i < directions->terms; i++) greatest = fmax(greatest, fabs(direction[i]));
      if (fabs(direction[j]) < 0.2 * greatest || rank >= best_rank) continue;
      best_rank = rank;
      *row = k;
      *pivot = j;
    }
  }
  return best_rank < 100;
}

/* Gauss and Jordan: the same plane, spanned by directions as sparse as they can be. */
static void reduce(struct sb_identify *directions, const struct sb_bench *bench)
{
  const size_t terms = directions->terms;
  for (size_t first = 0; first < directions->count; first++) {
    size_t row = first, pivot = 0;
    if (!find_pivot(directions, bench, first, &row, &pivot)) {
      directions->count = first;
      break;
    }
    double *here = directions->directions + first * terms, *there = directions->directions + row * terms;
    for (size_t j = 0; j < terms && row != first; j++) {
      const double swap = here[j];
      here[j] = there[j];
      there[j] = swap;
    }
    const double swap = directions->sds[first];
    directions->sds[first] = directions->sds[row];
    directions->sds[row] = swap;
    const double unit = here[pivot];
    for (size_t j = 0; j < terms; j++) here[j] /= unit;
    for (size_t k = 0; k < directions->count; k++) {
      double *other = directions->directions + k * terms;
      const double part = other[pivot];
      for (size_t j = 0; j < terms && k != first; j++) other[j] -= part * here[j];
    }
    directions->pivots[first] = pivot;
  }
}

enum sb_status sb_identify_find(const struct sb_estimate *estimate, double sd_min, struct sb_identify *out,
                                struct sb_error *err)
{
  const size_t terms = estimate->terms;
  struct sb_identify directions = {.terms = terms};
  *out = directions;
  if (terms == 0) return SB_OK;
  directions.directions = calloc(terms * terms, sizeof *directions.directions);
  directions.pivots = calloc(terms, sizeof *directions.pivots);
  directions.sds = calloc(terms, sizeof *directions.sds);
  int count = -1;
  if (directions.directions != NULL && directions.pivots != NULL && directions.sds != NULL) {
    count = undetermined_vectors(estimate, sd_min, directions.directions, directions.sds);
  }
  if (count < 0) {
    sb_identify_clear(&directions);
    return sb_bench_no_memory(err);
  }
  directions.count = (size_t)count;
  reduce(&directions, estimate->bench);
  *out = directions;
  return SB_OK;
}

void sb_identify_clear(struct sb_identify *directions)
{
  free(directions->directions);
  free(directions->pivots);
  free(directions->sds);
  *directions = (struct sb_identify){0};
}

void sb_identify_hold(const struct sb_identify *directions, struct sb_bench *bench)
{
  int parameters[64], tests[64], owns[64];
  for (size_t k = 0; k < directions->count; k++) {
    parameters[k] = sb_identify_parameter(bench, directions->pivots[k], &tests[k], &owns[k]);
  }
  for (size_t k = 0; k < directions->count; k++) {
    if (parameters[k] >= 0) {
      bench->is_free[parameters[k]] = false;
    } else {
      bench->tests[tests[k]].is_own_free[owns[k]] = false;
    }
  }
}
