// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Where sliding and standing change between two readings, the squares are flat to one side and steep to the other, and no
 * straight line through them says how far a parameter may go. So it is held, ever further off, while all others follow.
 * Source: D. M. Bates, D. G. Watts, Nonlinear Regression Analysis and Its Applications, profile t (from memory).
 */
#include "fit/estimate.h"

#include <math.h>

static const double first_min = 1e-4; /* of an x: the least first step */
static const double x_most = 1.5;     /* further off, a parameter is as good as free */
static const double better = 0.5;     /* squares that a better answer has less */
static const double near = 2.0;       /* growth up to so many limits is told from the limit by its root */
enum { HALVING_COUNT = 4 };

/* A parameter's value so far from the answer, in x. */
static double moved(const struct sb_bench *bench, const struct sb_bench_place *answer, int parameter, double x)
{
  const double p = answer->p[parameter];
  return sb_bench_is_positive(parameter) ? p * exp(x) : p + x * bench->scale[parameter];
}

struct walk {
  struct sb_estimate *estimate;
  const struct sb_bench_place *answer;
  int parameter;
  double squares;             /* at the answer */
  struct sb_bench_place here; /* the furthest place within */
};

/* Growth of the squares with the parameter held so far off; INFINITY where there is no machine. */
static double growth_at(struct walk *walk, double x, struct sb_bench_place *place)
{
  struct sb_bench *bench = walk->estimate->bench;
  struct sb_error err;
  sb_bench_go_to(bench, &walk->here);
  bench->p[walk->parameter] = moved(bench, walk->answer, walk->parameter, x);
  bench->is_free[walk->parameter] = false;
  const enum sb_status status = sb_estimate_solve(walk->estimate, &err);
  bench->is_free[walk->parameter] = true;
  *place = sb_bench_place_now(bench);
  return status == SB_OK ? sb_estimate_squares(walk->estimate) - walk->squares : (double)INFINITY;
}

/* To one side, in steps that double, then between the last place within and the first without. Returns the end in x. */
static double walk_out(struct walk *walk, double step, double limit, bool *is_better)
{
  double within = 0.0, without = step, growth_within = 0.0, growth = 0.0;
  struct sb_bench_place place;
  walk->here = *walk->answer;
  for (;;) {
    growth = growth_at(walk, without, &place);
    if (growth < -better) {
      *is_better = true;
      return without;
    }
    if (!(growth < limit)) break;
    walk->here = place;
    within = without;
    growth_within = growth;
    if (fabs(without) > x_most) return copysign(INFINITY, step);
    without *= 2.0;
  }
  for (int k = 0; k < HALVING_COUNT && !(growth < near * limit); k++) {
    const double x = 0.5 * (within + without), between = growth_at(walk, x, &place);
    if (between < limit) {
      walk->here = place;
      within = x;
      growth_within = between;
    } else {
      without = x;
      growth = between;
    }
  }
  /* The squares grow as the square of the way, about. */
  const double low = sqrt(fmax(growth_within, 0.0)), high = sqrt(fmax(growth, 0.0)), aim = sqrt(limit);
  return isfinite(high) && high > low ? within + (without - within) * (aim - low) / (high - low) : without;
}

enum sb_status sb_profile(struct sb_estimate *estimate, int parameter, double error, double t, double *least,
                          double *greatest, bool *is_better, struct sb_error *err)
{
  struct sb_bench *bench = estimate->bench;
  const struct sb_bench_place answer = sb_bench_place_now(bench);
  enum sb_status status = sb_estimate_evaluate(estimate, err);
  struct walk walk = {estimate, &answer, parameter, sb_estimate_squares(estimate), answer};
  const double step = fmin(fmax(t * error, first_min), 0.5 * x_most);
  double ends[2] = {-INFINITY, INFINITY};
  for (int side = 0; side < 2 && status == SB_OK && !*is_better; side++) {
    ends[side] = walk_out(&walk, side == 0 ? -step : step, t * t, is_better);
  }
  if (status != SB_OK || *is_better) return status;
  sb_bench_go_to(bench, &answer);
  *least = isfinite(ends[0]) ? moved(bench, &answer, parameter, ends[0]) : -INFINITY;
  *greatest = isfinite(ends[1]) ? moved(bench, &answer, parameter, ends[1]) : (double)INFINITY;
  return SB_OK;
}
