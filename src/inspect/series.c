// SPDX-License-Identifier: GPL-3.0-or-later
/* Series without gaps, and running medians; see track.h. */
#include <gsl/gsl_filter.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "inspect/gear_track.h"

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

enum sb_status sb_series_smooth(double *values, size_t count, size_t width)
{
  if (count < width) return SB_OK;
  gsl_filter_median_workspace *work = gsl_filter_median_alloc(width);
  gsl_vector *smooth = gsl_vector_alloc(count);
  enum sb_status status = work != NULL && smooth != NULL ? SB_OK : SB_ERR_MEMORY;
  if (status == SB_OK) {
    const gsl_vector_const_view view = gsl_vector_const_view_array(values, count);
    gsl_filter_median(GSL_FILTER_END_PADVALUE, &view.vector, smooth, work);
    memcpy(values, smooth->data, count * sizeof *values);
  }
  gsl_vector_free(smooth);
  gsl_filter_median_free(work);
  return status;
}

double sb_series_median(const double *values, size_t count, long first, long last)
{
  enum { MOST = 32 };
  double few[MOST];
  if (first < 0) first = 0;
  if (last >= (long)count) last = (long)count - 1;
  if (last - first + 1 > MOST) last = first + MOST - 1;
  if (last < first) return NAN;
  const size_t taken = (size_t)(last - first + 1);
  memcpy(few, values + first, taken * sizeof *few);
  return gsl_stats_median(few, 1, taken);
}
