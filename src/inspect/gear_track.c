// SPDX-License-Identifier: GPL-3.0-or-later
/* Gears by their own column, and by the ratio of two speeds; see inspect.h. */
#include "inspect/gear_track.h"

#include <gsl/gsl_sort_double.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { STEADY = 3 /* values in a row that make a gear */ };

/* Half of the window of log ratio that is one gear while ratios are looked for: 3 %, and what lies within 15 % is its own;
 * where ratios are not well known, within 35 %. */
static const double window_log = 0.03, own_log = 0.15, far_log = 0.3;

/* Values whose ratio is known this well, as a deviation, are looked at to find gears. */
static const double well_known = 0.02;

/* A gear is engaged for at least this time at least once, s. */
static const double least_stay_s = 0.15;

/* A gear of which less than this fraction of the log (or these many values) is there is not found. */
static const double least_fraction = 0.01;
enum { LEAST_VALUES = 8 };

void sb_gear_track_clear(struct sb_track *track)
{
  free(track->time_s);
  free(track->gear);
  *track = (struct sb_track){0};
}

enum sb_status sb_gear_track_new(size_t count, const double *time_s, struct sb_track *track)
{
  track->time_s = malloc((count + 1) * sizeof *track->time_s);
  track->gear = calloc(count + 1, sizeof *track->gear);
  track->count = count;
  if (track->time_s == NULL || track->gear == NULL) {
    sb_gear_track_clear(track);
    return SB_ERR_MEMORY;
  }
  if (count > 0) memcpy(track->time_s, time_s, count * sizeof *time_s);
  return SB_OK;
}

enum sb_status sb_gear_track_by_gear(const struct sb_log *log, struct sb_track *track)
{
  const enum sb_status status = sb_gear_track_new(log->count, log->time_s, track);
  const double *gear = log->columns[SB_LOG_GEAR];
  for (size_t i = 0; status == SB_OK && i < log->count; i++) track->gear[i] = isfinite(gear[i]) ? (int)gear[i] : -1;
  return status;
}

double sb_inspect_rest_of(const struct sb_log *log, enum sb_log_column column, double wanted)
{
  if (wanted > 0.0) return wanted;
  double greatest = 0.0;
  for (size_t i = 0; i < log->count; i++) {
    const double size = fabs(log->columns[column][i]);
    if (size > greatest) greatest = size;
  }
  /* The running median leaves 0.54 of the noise: five of its deviations. */
  return fmax(0.01 * greatest, 2.5 * sb_log_noise(log, column));
}

static int descending(const void *a, const void *b)
{
  const double x = *(const double *)a, y = *(const double *)b;
  return (x < y) - (x > y);
}

/* The densest window of the sorted values that are left: its first index and length. */
static size_t densest(const double *sorted, size_t count, size_t *first)
{
  size_t best = 0, from = 0;
  for (size_t to = 0; to < count; to++) {
    while (sorted[to] - sorted[from] > 2.0 * window_log) from++;
    if (to - from + 1 <= best) continue;
    best = to - from + 1;
    *first = from;
  }
  return best;
}

/* Takes the values near the middle out of the sorted ones; returns how many are left. */
static size_t take_out(double *sorted, size_t count, double middle, double apart)
{
  size_t kept = 0;
  for (size_t i = 0; i < count; i++) {
    if (fabs(sorted[i] - middle) > apart) sorted[kept++] = sorted[i];
  }
  return kept;
}

/* Finds more gears among log ratios, at least `apart` from those known. Empties `logs`. */
static void find_ratios(double *logs, size_t count, double apart, struct sb_inspection *out)
{
  const double least = fmax(LEAST_VALUES, least_fraction * (double)count);
  gsl_sort(logs, 1, count);
  for (int g = 0, known = out->gear_count; g < known; g++) count = take_out(logs, count, log(out->ratios[g]), apart);
  while (out->gear_count < SB_GEAR_MAX) {
    size_t first = 0;
    const size_t length = densest(logs, count, &first);
    if ((double)length < least) break;
    const double middle = logs[first + length / 2];
    out->ratios[out->gear_count++] = exp(middle);
    count = take_out(logs, count, middle, apart);
  }
  qsort(out->ratios, (size_t)out->gear_count, sizeof out->ratios[0], descending);
}

/* A figure for each of the two speeds. */
struct pair {
  double motor, output;
};

/* log |a / b| where both turn, NAN elsewhere. */
static double log_ratio(const struct sb_series *series, size_t i, struct pair rest)
{
  const double motor = fabs(series->a[i]), output = fabs(series->b[i]);
  return motor > rest.motor && output > rest.output ? log(motor / output) : (double)NAN;
}

/* The gear of a log ratio, 0: on none. Ratios end half way to their neighbours, and at 12 %. */
static int gear_of(double log_ratio_now, const struct sb_inspection *out)
{
  for (int g = 0; g < out->gear_count; g++) {
    const double own = log(out->ratios[g]);
    double reach = 0.12;
    if (g > 0) reach = fmin(reach, 0.5 * (log(out->ratios[g - 1]) - own));
    if (g + 1 < out->gear_count) reach = fmin(reach, 0.5 * (own - log(out->ratios[g + 1])));
    if (fabs(log_ratio_now - own) <= reach) return g + 1;
  }
  return 0;
}

/* A gear that is not there STEADY times in a row is passed on the way only. */
static void drop_passing(struct sb_track *track)
{
  for (size_t i = 0, next; i < track->count; i = next) {
    for (next = i; next < track->count && track->gear[next] == track->gear[i];) next++;
    if (track->gear[i] <= 0 || next - i >= STEADY) continue;
    for (size_t k = i; k < next; k++) track->gear[k] = 0;
  }
}

/* The longest time that the ratio stays on one value. */
static double longest_stay_s(const struct sb_series *series, double ratio, struct pair rest)
{
  double longest = 0.0, since = NAN;
  for (size_t i = 0; i < series->count; i++) {
    const bool is_on = fabs(log_ratio(series, i, rest) - log(ratio)) <= 2.0 * window_log;
    if (is_on && isnan(since)) since = series->time_s[i];
    if (is_on) longest = fmax(longest, series->time_s[i] - since);
    if (!is_on) since = NAN;
  }
  return longest;
}

/* In neutral a motor that races at its own speed makes a ratio, too, but not for long. */
static void drop_short_stays(const struct sb_series *series, struct pair rest, struct sb_inspection *out)
{
  int kept = 0;
  for (int g = 0; g < out->gear_count; g++) {
    if (longest_stay_s(series, out->ratios[g], rest) >= least_stay_s) out->ratios[kept++] = out->ratios[g];
  }
  for (int g = kept; g < out->gear_count; g++) out->ratios[g] = 0.0;
  out->gear_count = kept;
}

static enum sb_status need_ratios(const struct sb_series *series, const struct sb_inspect_options *options,
                                  struct pair rest, struct pair noise, struct sb_inspection *out, struct sb_error *err)
{
  if (options->ratio_count > 0) {
    out->gear_count = options->ratio_count;
    memcpy(out->ratios, options->ratios, sizeof out->ratios);
    return SB_OK;
  }
  double *logs = malloc((series->count + 1) * sizeof *logs);
  if (logs == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for a log");
  /* Rounded or noisy speeds make ratios of their own, 5:1 and 4:1 for 4.5. What is known well tells the gears, what is
   * known less well only those far from all of them. */
  for (int is_loose = 0; is_loose < 2; is_loose++) {
    size_t count = 0;
    for (size_t i = 0; i < series->count; i++) {
      const double value = log_ratio(series, i, rest);
      const double error = hypot(noise.motor / series->a[i], noise.output / series->b[i]);
      if (!isnan(value) && (is_loose || error <= well_known)) logs[count++] = value;
    }
    find_ratios(logs, count, is_loose ? far_log : own_log, out);
    drop_short_stays(series, rest, out);
  }
  free(logs);
  if (out->gear_count > 0) return SB_OK;
  return sb_fail(err, SB_ERR_SCENARIO,
                 "no ratio of motor and output speed stays constant long enough to be a gear: needs %d values",
                 LEAST_VALUES);
}

enum sb_status sb_gear_track_by_ratio(const struct sb_log *log, const struct sb_inspect_options *options,
                                      struct sb_inspection *out, struct sb_track *track, struct sb_error *err)
{
  struct sb_series series = {0};
  const struct pair noise = {sb_log_noise(log, SB_LOG_MOTOR_SPEED), sb_log_noise(log, SB_LOG_OUTPUT_SPEED)};
  /* Near rest noise makes any ratio: the output must turn well above its own. */
  const struct pair rest = {sb_inspect_rest_of(log, SB_LOG_MOTOR_SPEED, 0.0),
                            fmax(sb_inspect_rest_of(log, SB_LOG_OUTPUT_SPEED, options->rest_rpm), 10.0 * noise.output)};
  enum sb_status status = sb_series_take(log, SB_LOG_MOTOR_SPEED, SB_LOG_OUTPUT_SPEED, &series);
  if (status == SB_OK) sb_series_smooth(series.a, series.count, SB_INSPECT_SMOOTH);
  if (status == SB_OK) sb_series_smooth(series.b, series.count, SB_INSPECT_SMOOTH);
  if (status == SB_OK) status = need_ratios(&series, options, rest, noise, out, err);
  if (status == SB_OK) status = sb_gear_track_new(series.count, series.time_s, track);
  for (size_t i = 0; status == SB_OK && i < series.count; i++) {
    const double value = log_ratio(&series, i, rest);
    track->gear[i] = isnan(value) ? -1 : gear_of(value, out);
  }
  if (status == SB_OK) drop_passing(track);
  sb_series_clear(&series);
  return status;
}
