// SPDX-License-Identifier: GPL-3.0-or-later
#include "design/front.h"

#include <math.h>
#include <stdlib.h>

struct sb_worth sb_front_worth(const struct sb_design_figures *figures)
{
  const bool has_charge = !isnan(figures->charge_as);
  return (struct sb_worth){{
      [SB_AIM_SPEED] = -figures->speed_rad_s,
      [SB_AIM_CHARGE] = has_charge ? figures->charge_as : figures->energy_j,
      [SB_AIM_CURRENT] = figures->current_a,
      [SB_AIM_WINDING] = figures->winding_c,
      [SB_AIM_TOOTH] = isnan(figures->tooth_fraction) ? figures->tooth_n : figures->tooth_fraction,
      [SB_AIM_WHEELS] = figures->wheel_count > 0 ? figures->wheel_count : (double)NAN,
      [SB_AIM_MARGIN] = -figures->margin_fraction,
      [SB_AIM_CARRIED] = -figures->carried_nm,
  }};
}

static bool is_less(double one, double other)
{
  return one < other - 1e-9 * fabs(other);
}

static bool is_beaten(const struct sb_worth *one, const struct sb_worth *by)
{
  bool is_better = false;
  for (int k = 0; k < SB_AIM_COUNT; k++) {
    if (is_less(one->values[k], by->values[k])) return false;
    is_better = is_better || is_less(by->values[k], one->values[k]);
  }
  return is_better;
}

static bool is_equal(const struct sb_worth *one, const struct sb_worth *other)
{
  for (int k = 0; k < SB_AIM_COUNT; k++) {
    if (is_less(one->values[k], other->values[k]) || is_less(other->values[k], one->values[k])) return false;
  }
  return true;
}

long sb_front_mark(const struct sb_worth *worths, long count, bool *is_front)
{
  long *front = malloc((size_t)(count > 0 ? count : 1) * sizeof *front);
  long kept = 0;
  for (long k = 0; k < count; k++) is_front[k] = false;
  if (front == NULL) return -1;
  for (long k = 0; k < count; k++) {
    bool is_out = false;
    for (long j = 0; j < kept && !is_out; j++) {
      is_out = is_beaten(&worths[k], &worths[front[j]]) || is_equal(&worths[k], &worths[front[j]]);
    }
    if (is_out) continue;
    long left = 0;
    for (long j = 0; j < kept; j++) {
      if (!is_beaten(&worths[front[j]], &worths[k])) front[left++] = front[j];
    }
    front[left++] = k;
    kept = left;
  }
  for (long j = 0; j < kept; j++) is_front[front[j]] = true;
  free(front);
  return kept;
}

/* ---- thinning ---- */

struct span {
  double least[SB_AIM_COUNT], width[SB_AIM_COUNT];
};

static struct span span_of(const struct sb_worth *worths, long count, const bool *is_front)
{
  struct span span;
  for (int k = 0; k < SB_AIM_COUNT; k++) {
    double least = INFINITY, most = -INFINITY;
    for (long i = 0; i < count; i++) {
      if (!is_front[i] || isnan(worths[i].values[k])) continue;
      least = fmin(least, worths[i].values[k]);
      most = fmax(most, worths[i].values[k]);
    }
    span.least[k] = least;
    span.width[k] = most > least ? most - least : 1.0;
  }
  return span;
}

static double distance_of(const struct span *span, const struct sb_worth *one, const struct sb_worth *other)
{
  double sum = 0.0;
  for (int k = 0; k < SB_AIM_COUNT; k++) {
    const double step = (one->values[k] - other->values[k]) / span->width[k];
    if (!isnan(step)) sum += step * step;
  }
  return sum;
}

static long best_of(const struct sb_worth *worths, long count, const bool *is_front, int aim)
{
  long best = -1;
  for (long i = 0; i < count; i++) {
    if (!is_front[i] || isnan(worths[i].values[aim])) continue;
    if (best < 0 || worths[i].values[aim] < worths[best].values[aim]) best = i;
  }
  return best;
}

/* Takes one into the kept, and brings the distance of all others to them up to date. */
static void keep(const struct sb_worth *worths, long count, const struct span *span, long one, double *distances)
{
  for (long i = 0; i < count; i++) distances[i] = fmin(distances[i], distance_of(span, &worths[i], &worths[one]));
  distances[one] = -1.0;
}

bool sb_front_thin(const struct sb_worth *worths, long count, bool *is_front, long most)
{
  const struct span span = span_of(worths, count, is_front);
  double *distances = malloc((size_t)(count > 0 ? count : 1) * sizeof *distances);
  if (distances == NULL) return false;
  long kept = 0;
  for (long i = 0; i < count; i++) distances[i] = INFINITY;
  for (int k = 0; k < SB_AIM_COUNT && kept < most; k++) {
    const long best = best_of(worths, count, is_front, k);
    if (best < 0 || distances[best] < 0.0) continue;
    keep(worths, count, &span, best, distances);
    kept++;
  }
  for (; kept < most; kept++) {
    long farthest = -1;
    for (long i = 0; i < count; i++) {
      if (is_front[i] && distances[i] >= 0.0 && (farthest < 0 || distances[i] > distances[farthest])) farthest = i;
    }
    if (farthest < 0) break;
    keep(worths, count, &span, farthest, distances);
  }
  for (long i = 0; i < count; i++) is_front[i] = is_front[i] && distances[i] < 0.0;
  free(distances);
  return true;
}
