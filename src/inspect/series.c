// SPDX-License-Identifier: GPL-3.0-or-later
/* Series without gaps, and running medians; see track.h. */
#include <assert.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "inspect/gear_track.h"

enum { WINDOW_MAX = 32 /* values of which a median is taken */ };

void sb_series_clear(struct sb_series *series)
{
  free(series->time_s);
  free(series->a);
  free(series->b);
  *series = (struct sb_series){0};
}

enum sb_status sb_series_take(const struct sb_log *log, int a, int b, struct sb_series *out)
{
  struct sb_series series = {.time_s = malloc((log->count + 1) * sizeof *series.time_s),
                             .a = malloc((log->count + 1) * sizeof *series.a),
                             .b = malloc((log->count + 1) * sizeof *series.b)};
  if (series.time_s == NULL || series.a == NULL || series.b == NULL) {
    sb_series_clear(&series);
    return SB_ERR_MEMORY;
  }
  for (size_t i = 0; i < log->count; i++) {
    const double first = log->columns[a][i], second = b >= 0 ? log->columns[b][i] : 0.0;
    if (!isfinite(first) || !isfinite(second)) continue;
    series.time_s[series.count] = log->time_s[i];
    series.a[series.count] = first;
    series.b[series.count++] = second;
  }
  *out = series;
  return SB_OK;
}

/* The window holds what stood there before; the first and the last value stand for those beyond the ends. */
void sb_series_smooth(double *values, size_t count, size_t width)
{
  double window[WINDOW_MAX], sorted[WINDOW_MAX];
  const size_t half = width / 2;
  assert(width <= WINDOW_MAX);
  if (count < width) return;
  const double last = values[count - 1];
  for (size_t k = 0; k < width; k++) window[k] = k < half ? values[0] : values[k - half];
  for (size_t i = 0; i < count; i++) {
    memcpy(sorted, window, width * sizeof *window);
    memmove(window, window + 1, (width - 1) * sizeof *window);
    window[width - 1] = i + half + 1 < count ? values[i + half + 1] : last;
    values[i] = gsl_stats_median(sorted, 1, width);
  }
}

double sb_series_quantile(double *values, size_t count, double share)
{
  if (count == 0) return 0.0;
  const double place = share * (double)(count - 1);
  const size_t below = (size_t)place;
  const double value = gsl_stats_select(values, 1, count, below);
  if (below + 1 == count) return value;
  /* All behind it are at least as great. */
  const double next = gsl_stats_min(values + below + 1, 1, count - below - 1), part = place - (double)below;
  return (1.0 - part) * value + part * next;
}

double sb_series_median(const double *values, size_t count, long first, long last)
{
  double few[WINDOW_MAX];
  if (first < 0) first = 0;
  if (last >= (long)count) last = (long)count - 1;
  if (last - first + 1 > WINDOW_MAX) last = first + WINDOW_MAX - 1;
  if (last < first) return NAN;
  const size_t taken = (size_t)(last - first + 1);
  memcpy(few, values + first, taken * sizeof *few);
  return gsl_stats_median(few, 1, taken);
}
