// SPDX-License-Identifier: GPL-3.0-or-later
/* brent.h - a root of a function between two points of opposite sign, by GSL's Brent solver, to the last digits. */
#ifndef SHIFTBAND_TESTS_BRENT_H
#define SHIFTBAND_TESTS_BRENT_H

#include <gsl/gsl_errno.h>
#include <gsl/gsl_roots.h>

#include "help/near.h"

static inline double brent(double (*function)(double, void *), void *params, double low, double high)
{
  gsl_root_fsolver *solver = gsl_root_fsolver_alloc(gsl_root_fsolver_brent);
  gsl_function f = {function, params};
  assert_int_equal(gsl_root_fsolver_set(solver, &f, low, high), GSL_SUCCESS);
  for (int k = 0; k < 200; k++) {
    assert_int_equal(gsl_root_fsolver_iterate(solver), GSL_SUCCESS);
    const double x0 = gsl_root_fsolver_x_lower(solver);
    const double x1 = gsl_root_fsolver_x_upper(solver);
    if (gsl_root_test_interval(x0, x1, 0.0, 1e-15) == GSL_SUCCESS) break;
  }
  const double root = gsl_root_fsolver_root(solver);
  gsl_root_fsolver_free(solver);
  return root;
}

#endif
