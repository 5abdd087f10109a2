// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * least_squares.h - linear and nonlinear least squares as the fits of this library use them: GSL's solvers behind plain
 * arrays.
 *
 *   linear      minimize sum (y - X c)^2; by singular values of the column-scaled X (gsl_multifit_linear)
 *   robust      the same with Tukey's bisquare in place of the square (gsl_multifit_robust)
 *   nonlinear   minimize sum w_i f_i(x)^2; trust region with Levenberg-Marquardt steps, geodesic acceleration where the
 *               plain steps fail, Jacobian by central differences (gsl_multifit_nlinear)
 *
 * Checked in tests/fit/test_least_squares.c against certified regression problems of NIST.
 */
#ifndef SHIFTBAND_FIT_LEAST_SQUARES_H
#define SHIFTBAND_FIT_LEAST_SQUARES_H

#include <stdbool.h>
#include <stddef.h>

#include "shiftband/status.h"

/*
 * Linear: rows[count * terms] row by row, y[count], count > terms >= 1, all finite. Fills c[terms], covariance[terms *
 * terms] with the residual variance at count - terms degrees of freedom in it, and *square_sum. covariance and square_sum
 * may be NULL. SB_ERR_NUMERICS when it is no such problem; SB_ERR_MEMORY.
 */
enum sb_status sb_least_squares_linear(size_t count, size_t terms, const double *rows, const double *y, double *c,
                                       double *covariance, double *square_sum, struct sb_error *err);

/*
 * The same by Tukey's bisquare: up to nearly half of the y may be far off. residual_sd gets the spread that the good ones
 * have (from the median absolute deviation; may be NULL).
 */
enum sb_status sb_least_squares_robust(size_t count, size_t terms, const double *rows, const double *y, double *c,
                                       double *residual_sd, struct sb_error *err);

/* f[count] at x[terms]; returns 0, or anything else where x makes no sense: the solver then steps back. */
struct sb_residuals {
  size_t count, terms; /* count >= terms >= 1 */
  int (*f)(void *context, const double *x, double *f);
  void *context;
  double x_tolerance; /* relative, of the answer; 0: as fine as doubles allow */
};

/*
 * Nonlinear: from start x[terms] to the minimum, weights[count] or NULL for ones. On success x is the minimum,
 * jacobian[count * terms] (may be NULL) its derivatives df_i/dx_j without weights, row by row, f[count] (may be NULL) the
 * residuals there. Precise where the x are of order one to a few powers of ten apart. SB_ERR_NUMERICS where no minimum is
 * reached.
 */
enum sb_status sb_least_squares_nonlinear(const struct sb_residuals *problem, const double *weights, double *x,
                                          double *jacobian, double *f, struct sb_error *err);

/* Before GSL takes memory for so many rows and terms: whether it is there (base/shortage.h; ends with sb_shortage_relax()). */
bool sb_least_squares_brace(size_t rows, size_t terms);

#endif
