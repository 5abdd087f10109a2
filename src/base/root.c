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
  union {
    max_align_t aligned;
    char bytes[512];
  } state; /* of Brent's method: a few numbers (88 bytes in GSL 2.7) */
  gsl_function called = {function, context};
  gsl_root_fsolver solver = {.type = gsl_root_fsolver_brent, .state = &state};
  if (solver.type->size > sizeof state) return NAN;
  const double at_low = function(low, context), at_high = function(high, context);
  if (!isfinite(at_low) || !isfinite(at_high) || (at_low < 0.0 && at_high < 0.0) || (at_low > 0.0 && at_high > 0.0))
    return NAN;
  int status = gsl_root_fsolver_set(&solver, &called, low, high);
  for (int k = 0; k < until->rounds && status == GSL_SUCCESS; k++) {
    status = gsl_root_fsolver_iterate(&solver);
    if (gsl_root_test_interval(solver.x_lower, solver.x_upper, until->absolute, until->relative) == GSL_SUCCESS) break;
  }
  return status == GSL_SUCCESS ? solver.root : NAN;
}
