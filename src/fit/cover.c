// SPDX-License-Identifier: GPL-3.0-or-later
#include "fit/cover.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_math.h>
#include <gsl/gsl_randist.h>
#include <math.h>

#include "base/root.h"

static const double inside = 0.95, at_ends = 0.90;

/* A part below this share of the greatest one changes nothing. */
static const double negligible = 1e-6;

static const double precision = 1e-6; /* of the reach */
enum { CELL_COUNT = 64, ROUND_MAX = 60 };

/* ---- the sum of the uniform parts ---- */

/* Its distribution function at equal steps from -edge to edge, straight between. */
struct sum {
  double edge, step;
  double below[CELL_COUNT + 1];
};

/* The integral of the function from -edge up to x. */
static double integral_to(const struct sum *sum, const double *integrals, double x)
{
  if (x <= -sum->edge) return 0.0;
  if (x >= sum->edge) return integrals[CELL_COUNT] + (x - sum->edge);
  const double place = (x + sum->edge) / sum->step;
  const int cell = (int)place < CELL_COUNT ? (int)place : CELL_COUNT - 1;
  const double share = place - cell, low = sum->below[cell], rise = sum->below[cell + 1] - low;
  return integrals[cell] + sum->step * share * (low + 0.5 * share * rise);
}

/* Adds a uniform part: each value becomes the mean over its width. */
static void add_part(struct sum *sum, double half_width)
{
  double integrals[CELL_COUNT + 1] = {0.0}, below[CELL_COUNT + 1];
  for (int k = 0; k < CELL_COUNT; k++) {
    integrals[k + 1] = integrals[k] + 0.5 * sum->step * (sum->below[k] + sum->below[k + 1]);
  }
  for (int k = 0; k <= CELL_COUNT; k++) {
    const double x = -sum->edge + k * sum->step;
    below[k] = (integral_to(sum, integrals, x + half_width) - integral_to(sum, integrals, x - half_width)) /
               (2.0 * half_width);
  }
  for (int k = 0; k <= CELL_COUNT; k++) sum->below[k] = below[k];
}

/* half_widths[count], the greatest first. */
static struct sum sum_of(const double *half_widths, size_t count)
{
  struct sum sum = {0.0, 0.0, {0.0}};
  for (size_t k = 0; k < count; k++) sum.edge += half_widths[k];
  sum.step = 2.0 * sum.edge / CELL_COUNT;
  for (int k = 0; k <= CELL_COUNT; k++) {
    const double x = -sum.edge + k * sum.step;
    sum.below[k] = fmin(fmax(0.5 + 0.5 * x / half_widths[0], 0.0), 1.0);
  }
  for (size_t k = 1; k < count; k++) add_part(&sum, half_widths[k]);
  return sum;
}

/* ---- with noise ---- */

struct cover {
  double error, freedom;
  size_t count;
  double half_widths[SB_COVER_PART_MAX];
  double ends; /* where all gauges at their ends to one side take it */
  struct sum sum;
};

/* The integral of Student's distribution function up to z. */
static double student_integral(double z, double freedom)
{
  const double part = z * gsl_cdf_tdist_P(z, freedom);
  if (freedom - 1.0 < 1e-6) return part - 0.5 * log1p(z * z) / M_PI;
  return part + gsl_ran_tdist_pdf(z, freedom) * (freedom + z * z) / (freedom - 1.0);
}

/* P(|S| <= h), gauges anywhere inside: twice P(S <= h) less one, for S is as likely to either side. */
static double covered_inside(const struct cover *cover, double h)
{
  const struct sum *sum = &cover->sum;
  const double scale = 1.0 / cover->error;
  double below = 0.0, last = student_integral((h + sum->edge) * scale, cover->freedom);
  for (int k = 0; k < CELL_COUNT; k++) {
    const double next = student_integral((h + sum->edge - (k + 1) * sum->step) * scale, cover->freedom);
    below += (sum->below[k + 1] - sum->below[k]) * (last - next) / (sum->step * scale);
    last = next;
  }
  return 2.0 * below - 1.0;
}

/* P(|S| <= h), all gauges at their ends to one side. */
static double covered_at_ends(const struct cover *cover, double h)
{
  const double above = gsl_cdf_tdist_Q((h - cover->ends) / cover->error, cover->freedom);
  const double below = gsl_cdf_tdist_P((-h - cover->ends) / cover->error, cover->freedom);
  return 1.0 - above - below;
}

static double short_of_inside(double h, void *params)
{
  return covered_inside(params, h) - inside;
}

static double short_of_ends(double h, void *params)
{
  return covered_at_ends(params, h) - at_ends;
}

/* Where a function that is below zero at 0 and not at `most` crosses it. */
static double root_of(double (*function)(double, void *), struct cover *cover, double most)
{
  const struct sb_root_wanted wanted = {0.0, precision, ROUND_MAX};
  const double root = sb_root_between(function, cover, 0.0, most, &wanted);
  return isnan(root) ? most : root;
}

/* The parts that count, without signs, the greatest first. */
static size_t sort_parts(const double *half_widths, size_t count, double *sorted)
{
  double greatest = 0.0;
  size_t n = 0;
  for (size_t k = 0; k < count; k++) greatest = fmax(greatest, fabs(half_widths[k]));
  for (size_t k = 0; k < count && k < SB_COVER_PART_MAX; k++) {
    const double part = fabs(half_widths[k]);
    if (!(part > negligible * greatest)) continue;
    size_t at = n++;
    for (; at > 0 && sorted[at - 1] < part; at--) sorted[at] = sorted[at - 1];
    sorted[at] = part;
  }
  return n;
}

double sb_cover_reach(double error, double freedom, const double *half_widths, size_t count)
{
  struct cover cover = {.error = error, .freedom = fmax(freedom, 1.0)};
  const double alone = gsl_cdf_tdist_Pinv(0.5 + 0.5 * inside, cover.freedom) * error;
  cover.count = sort_parts(half_widths, count, cover.half_widths);
  if (cover.count == 0) return alone;
  for (size_t k = 0; k < count; k++) cover.ends += half_widths[k];
  cover.sum = sum_of(cover.half_widths, cover.count);
  const double edge = cover.sum.edge;
  if (!(edge > negligible * alone)) return alone;
  cover.error = fmax(error, negligible * edge);
  const double most = alone + edge + cover.error;
  return fmax(root_of(short_of_inside, &cover, most), root_of(short_of_ends, &cover, most));
}
