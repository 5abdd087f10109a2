// SPDX-License-Identifier: GPL-3.0-or-later
#include "fit/least_squares.h"

#include <gsl/gsl_blas.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_multifit.h>
#include <gsl/gsl_multifit_nlinear.h>
#include <math.h>
#include <stdbool.h>
#include <string.h>

#include "base/gsl_quiet.h"
#include "base/shortage.h"

/* Central differences are best at the cube root of the rounding: their own error is then near its square. */
static const double difference_step = 1e-5;
static const double x_tolerance = 1e-12;
static const double gradient_tolerance = 1e-14;
static const double nonsense = 1e10; /* residual where x makes no sense */
static const double creep = 1e-7;    /* a sum of squares that falls by less of itself in a few steps is at its least */
enum { ITERATION_MAX = 500, CREEP_STEPS = 4, PATIENCE_MAX = 60 };

static enum sb_status no_memory(struct sb_error *err)
{
  sb_shortage_note();
  return sb_fail(err, SB_ERR_MEMORY, "least squares: out of memory");
}

/* Workspaces, decompositions, a few vectors. */
bool sb_least_squares_brace(size_t rows, size_t terms)
{
  return sb_shortage_brace((8 * (rows + terms + 8) * (terms + 8) + 64) * sizeof(double));
}

static void copy_matrix(const gsl_matrix *from, double *to)
{
  for (size_t i = 0; to != NULL && i < from->size1; i++) {
    for (size_t j = 0; j < from->size2; j++) to[i * from->size2 + j] = gsl_matrix_get(from, i, j);
  }
}

static enum sb_status check_linear(size_t count, size_t terms, struct sb_error *err)
{
  if (terms >= 1 && count > terms) return SB_OK;
  return sb_fail(err, SB_ERR_NUMERICS, "least squares: needs more than %zu points, found %zu", terms, count);
}

enum sb_status sb_least_squares_linear(size_t count, size_t terms, const double *rows, const double *y, double *c,
                                       double *covariance, double *square_sum, struct sb_error *err)
{
  SB_GSL_QUIET;
  if (check_linear(count, terms, err) != SB_OK) return SB_ERR_NUMERICS;
  if (!sb_least_squares_brace(count, terms)) return no_memory(err);
  gsl_multifit_linear_workspace *work = gsl_multifit_linear_alloc(count, terms);
  gsl_matrix *found = gsl_matrix_alloc(terms, terms);
  enum sb_status status = SB_OK;
  if (work == NULL || found == NULL) {
    status = no_memory(err);
  } else {
    const gsl_matrix_const_view x = gsl_matrix_const_view_array(rows, count, terms);
    const gsl_vector_const_view right = gsl_vector_const_view_array(y, count);
    gsl_vector_view left = gsl_vector_view_array(c, terms);
    double sum = 0.0;
    const int code = gsl_multifit_linear(&x.matrix, &right.vector, &left.vector, found, &sum, work);
    if (code != GSL_SUCCESS || !isfinite(sum)) {
      status = sb_fail(err, SB_ERR_NUMERICS, "linear least squares: %s", gsl_strerror(code));
    } else {
      copy_matrix(found, covariance);
      if (square_sum != NULL) *square_sum = sum;
    }
  }
  if (work != NULL) gsl_multifit_linear_free(work);
  gsl_matrix_free(found);
  sb_shortage_relax();
  return status;
}

enum sb_status sb_least_squares_robust(size_t count, size_t terms, const double *rows, const double *y, double *c,
                                       double *residual_sd, struct sb_error *err)
{
  SB_GSL_QUIET;
  if (check_linear(count, terms, err) != SB_OK) return SB_ERR_NUMERICS;
  if (!sb_least_squares_brace(count, terms)) return no_memory(err);
  gsl_multifit_robust_workspace *work = gsl_multifit_robust_alloc(gsl_multifit_robust_bisquare, count, terms);
  gsl_matrix *covariance = gsl_matrix_alloc(terms, terms);
  enum sb_status status = SB_OK;
  if (work == NULL || covariance == NULL) {
    status = no_memory(err);
  } else {
    const gsl_matrix_const_view x = gsl_matrix_const_view_array(rows, count, terms);
    const gsl_vector_const_view right = gsl_vector_const_view_array(y, count);
    gsl_vector_view left = gsl_vector_view_array(c, terms);
    const int code = gsl_multifit_robust(&x.matrix, &right.vector, &left.vector, covariance, work);
    /* Not settled after its own limit of rounds: still a sound start, which is what robust fits are used for. */
    if ((code != GSL_SUCCESS && code != GSL_EMAXITER) || !isfinite(c[0])) {
      status = sb_fail(err, SB_ERR_NUMERICS, "robust least squares: %s", gsl_strerror(code));
    } else if (residual_sd != NULL) {
      *residual_sd = gsl_multifit_robust_statistics(work).sigma_mad;
    }
  }
  if (work != NULL) gsl_multifit_robust_free(work);
  gsl_matrix_free(covariance);
  sb_shortage_relax();
  return status;
}

/* What GSL hands back to us as its parameters; scale brings each x near one. */
struct bridge {
  const struct sb_residuals *problem;
  const double *scale; /* scale[terms] */
  double *x;           /* x[terms], scratch */
  double *f;           /* f[count], scratch */
  bool has_been_sound;
};

static bool is_finite_all(const double *f, size_t count)
{
  for (size_t i = 0; i < count; i++) {
    if (!isfinite(f[i])) return false;
  }
  return true;
}

static int call(const gsl_vector *z, void *params, gsl_vector *f)
{
  struct bridge *bridge = params;
  const size_t count = bridge->problem->count;
  for (size_t j = 0; j < bridge->problem->terms; j++) bridge->x[j] = gsl_vector_get(z, j) * bridge->scale[j];
  const bool is_sound =
      bridge->problem->f(bridge->problem->context, bridge->x, bridge->f) == 0 && is_finite_all(bridge->f, count);
  if (!is_sound && !bridge->has_been_sound) return GSL_EDOM;
  /* GSL would give up at an error, but steps back from residuals as bad as these. */
  for (size_t i = 0; i < count && !is_sound; i++) bridge->f[i] = nonsense;
  bridge->has_been_sound = true;
  for (size_t i = 0; i < count; i++) gsl_vector_set(f, i, bridge->f[i]); /* f may be a column, its elements apart */
  return GSL_SUCCESS;
}

/* Steps until they are small; or, where an approximate answer will do, until the sum of squares stands still: rounding and
 * corners in f may keep the steps from ever becoming small, and the caller will come again. */
static int iterate(gsl_multifit_nlinear_workspace *work, double asked)
{
  double before[CREEP_STEPS];
  for (int k = 0; k < ITERATION_MAX; k++) {
    int info = 0;
    const int code = gsl_multifit_nlinear_iterate(work);
    /* No step makes it better: it is the minimum as far as the differences can see. */
    if (code == GSL_ENOPROG) return GSL_SUCCESS;
    if (code != GSL_SUCCESS) return code;
    if (gsl_multifit_nlinear_test(asked > 0.0 ? asked : x_tolerance, gradient_tolerance, 0.0, &info, work) ==
        GSL_SUCCESS) {
      return GSL_SUCCESS;
    }
    const double norm = gsl_blas_dnrm2(work->f);
    if (asked > 0.0 && k >= CREEP_STEPS && before[k % CREEP_STEPS] - norm <= creep * norm) return GSL_SUCCESS;
    before[k % CREEP_STEPS] = norm;
    if (asked > 0.0 && k >= PATIENCE_MAX) return GSL_SUCCESS;
  }
  return GSL_EMAXITER;
}

/* One search from z; 0 when it ended where no step helps. */
static int search(struct bridge *bridge, const double *weights, const gsl_multifit_nlinear_trs *steps, gsl_vector *z,
                  double *jacobian, double *f)
{
  const size_t count = bridge->problem->count, terms = bridge->problem->terms;
  gsl_multifit_nlinear_parameters how = gsl_multifit_nlinear_default_parameters();
  how.trs = steps;
  how.fdtype = GSL_MULTIFIT_NLINEAR_CTRDIFF;
  how.h_df = difference_step;
  if (!sb_least_squares_brace(count, terms)) return GSL_ENOMEM;
  gsl_multifit_nlinear_workspace *work = gsl_multifit_nlinear_alloc(gsl_multifit_nlinear_trust, &how, count, terms);
  sb_shortage_relax();
  if (work == NULL) return GSL_ENOMEM;

  gsl_multifit_nlinear_fdf fdf = {.f = call, .n = count, .p = terms, .params = bridge};
  int code;
  if (weights != NULL) {
    const gsl_vector_const_view w = gsl_vector_const_view_array(weights, count);
    code = gsl_multifit_nlinear_winit(z, &w.vector, &fdf, work);
  } else {
    code = gsl_multifit_nlinear_init(z, &fdf, work);
  }
  if (code == GSL_SUCCESS) code = iterate(work, bridge->problem->x_tolerance);
  if (code == GSL_SUCCESS) {
    gsl_vector_memcpy(z, gsl_multifit_nlinear_position(work));
    const gsl_matrix *found = gsl_multifit_nlinear_jac(work);
    const gsl_vector *residuals = gsl_multifit_nlinear_residual(work);
    for (size_t i = 0; i < count; i++) {
      const double root = weights != NULL ? sqrt(weights[i]) : 1.0;
      const double back = root > 0.0 ? 1.0 / root : 0.0;
      for (size_t j = 0; jacobian != NULL && j < terms; j++) {
        jacobian[i * terms + j] = gsl_matrix_get(found, i, j) * back / bridge->scale[j];
      }
      if (f != NULL) f[i] = gsl_vector_get(residuals, i) * back;
    }
  }
  gsl_multifit_nlinear_free(work);
  return code;
}

enum sb_status sb_least_squares_nonlinear(const struct sb_residuals *problem, const double *weights, double *x,
                                          double *jacobian, double *f, struct sb_error *err)
{
  SB_GSL_QUIET;
  const size_t terms = problem->terms;
  if (terms < 1 || problem->count < terms) {
    return sb_fail(err, SB_ERR_NUMERICS, "least squares: needs at least %zu readings, found %zu", terms,
                   problem->count);
  }
  if (!sb_least_squares_brace(problem->count, terms)) return no_memory(err);
  gsl_vector *scratch = gsl_vector_alloc(3 * terms + problem->count);
  sb_shortage_relax();
  if (scratch == NULL) return no_memory(err);
  double *scale = scratch->data, *at = scratch->data + terms;
  gsl_vector_view z = gsl_vector_subvector(scratch, 2 * terms, terms);
  for (size_t j = 0; j < terms; j++) scale[j] = fabs(x[j]) > 0.0 ? fabs(x[j]) : 1.0;
  struct bridge bridge = {problem, scale, at, scratch->data + 3 * terms, false};

  enum { KIND_COUNT = 2 };
  const gsl_multifit_nlinear_trs *const kinds[KIND_COUNT] = {gsl_multifit_nlinear_trs_lm,
                                                             gsl_multifit_nlinear_trs_lmaccel};
  int code = GSL_FAILURE;
  for (size_t k = 0; k < KIND_COUNT && code != GSL_SUCCESS; k++) {
    for (size_t j = 0; j < terms; j++) gsl_vector_set(&z.vector, j, x[j] / scale[j]);
    code = search(&bridge, weights, kinds[k], &z.vector, jacobian, f);
  }
  enum sb_status status = SB_OK;
  if (code == GSL_SUCCESS) {
    for (size_t j = 0; j < terms; j++) x[j] = gsl_vector_get(&z.vector, j) * scale[j];
  } else if (code == GSL_ENOMEM) {
    status = no_memory(err);
  } else {
    status = sb_fail(err, SB_ERR_NUMERICS, "nonlinear least squares: %s", gsl_strerror(code));
  }
  gsl_vector_free(scratch);
  return status;
}
