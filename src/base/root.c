// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/root.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_roots.h>
#include <math.h>
#include <stddef.h>

#include "base/gsl_quiet.h"

double sb_root_between(double (*function)(double x, void *context), void *context, double low, double high,
                       const struct sb_root_wanted *wanted)
{
  SB_GSL_QUIET;
  static const struct sb_root_wanted usual = {0.0, 1e-14, 100};
  const struct sb_root_wanted *until = wanted != NULL ? wanted : &usual;
  _Alignas(max_align_t) char state[512]; /* of Brent's method: a few numbers (88 bytes in GSL 2.7) */
  gsl_function called = {function, context};
  gsl_root_fsolver solver = {.type = gsl_root_fsolver_brent, .state = state};
  if (solver.type->size > sizeof state) return NAN;
  int status = gsl_root_fsolver_set(&solver, &called, low, high);
  for (int k = 0; k < until->rounds && status == GSL_SUCCESS; k++) {
    status = gsl_root_fsolver_iterate(&solver);
    if (gsl_root_test_interval(solver.x_lower, solver.x_upper, until->absolute, until->relative) == GSL_SUCCESS) break;
  }
  return status == GSL_SUCCESS ? solver.root : NAN;
}
