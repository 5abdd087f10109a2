// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * corner.c - a driver that limits the current, seen in points in steady state.
 *
 * The slowest points are below the corner when their currents agree, and the line I = V / R - k w that the others make would
 * bring more current at each of them, and brings theirs between them and the others. As many points as possible are taken for
 * those below the corner; what counts as a difference is Student's t at the degrees of freedom that the others leave.
 */
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_sort.h>
#include <math.h>
#include <stdlib.h>

#include "base/shortage.h"
#include "fit/bench.h"
#include "fit/least_squares.h"

enum { UPPER_LEAST = 4, LOWER_LEAST = 2 };
static const double sure = 0.9995;       /* of each comparison, one-sided */
static const double least_share = 0.002; /* no current is known better than this share of it (common practice) */

/* The points by rising speed. */
struct points {
  size_t count;
  double *speed, *voltage, *current; /* of one block, owned by speed */
  double quantum_a;
};

static bool take_points(const struct sb_log *log, struct points *points)
{
  const double *speeds = sb_bench_speeds(log), *currents = log->columns[SB_LOG_MOTOR_CURRENT];
  const double *voltages = log->columns[SB_LOG_SUPPLY_VOLTAGE], *duties = log->columns[SB_LOG_DUTY];
  size_t *order = malloc((log->count + 1) * sizeof *order);
  double *room = malloc((3 * log->count + 1) * sizeof *room);
  *points = (struct points){0, room, room + log->count, room + 2 * log->count, log->quantum[SB_LOG_MOTOR_CURRENT]};
  if (order != NULL && room != NULL) {
    gsl_sort_index(order, speeds, 1, log->count);
    for (size_t k = 0; k < log->count; k++) {
      const size_t row = order[k];
      const double volts = (voltages != NULL ? voltages[row] : 1.0) * (duties != NULL ? duties[row] : 1.0);
      if (isnan(speeds[row] + currents[row] + volts)) continue;
      points->speed[points->count] = speeds[row];
      points->voltage[points->count] = volts;
      points->current[points->count++] = currents[row];
    }
  }
  const bool is_fit = order != NULL && room != NULL;
  if (!is_fit) sb_shortage_note();
  free(order);
  return is_fit;
}

/* The line through the points from one on: current = c[0] voltage + c[1] speed. */
struct line {
  double c[2], covariance[2][2];
  double sd_a, t; /* of one current about the line; Student's */
};

static bool fit_line(const struct points *points, size_t first, struct line *line)
{
  const size_t count = points->count - first;
  double *rows = malloc(2 * count * sizeof *rows), squares = 0.0;
  if (rows == NULL) {
    sb_shortage_note();
    return false;
  }
  for (size_t i = 0; i < count; i++) {
    rows[2 * i] = points->voltage[first + i];
    rows[2 * i + 1] = points->speed[first + i];
  }
  const enum sb_status status = sb_least_squares_linear(count, 2, rows, points->current + first, line->c,
                                                        &line->covariance[0][0], &squares, NULL);
  free(rows);
  if (status != SB_OK) return false;
  const double freedom = (double)count - 2.0, greatest_a = points->current[first];
  const double least_a = hypot(least_share * greatest_a, points->quantum_a / sqrt(12.0));
  const double found_a = sqrt(squares / freedom);
  const double wider = found_a > 0.0 ? fmax(1.0, pow(least_a / found_a, 2.0)) : 1.0;
  for (int k = 0; k < 4; k++) line->covariance[k / 2][k % 2] *= wider;
  line->sd_a = fmax(found_a, least_a);
  line->t = gsl_cdf_tdist_Pinv(sure, freedom);
  return true;
}

/* What the line brings beyond a current at a point, over what its uncertainty and one current's allow. */
static double beyond(const struct line *line, const struct points *points, size_t i, double current_a)
{
  const double at[] = {points->voltage[i], points->speed[i]};
  double value = 0.0, variance = line->sd_a * line->sd_a;
  for (size_t a = 0; a < 2; a++) {
    value += at[a] * line->c[a];
    for (size_t b = 0; b < 2; b++) variance += at[a] * at[b] * line->covariance[a][b];
  }
  return (value - current_a) / (line->t * sqrt(variance));
}

/* Whether the first `lower` points are below a corner of the line that the others make. */
static bool is_corner(const struct points *points, size_t lower, const struct line *line, struct sb_fit_corner *out)
{
  double mean_a = 0.0, square = 0.0;
  for (size_t i = 0; i < lower; i++) mean_a += points->current[i] / (double)lower;
  for (size_t i = 0; i < lower; i++) {
    const double off_a = points->current[i] - mean_a;
    square += off_a * off_a / (double)lower;
    if (fabs(off_a) > line->t * line->sd_a || !(beyond(line, points, i, mean_a) > 0.0)) return false;
  }
  int clear = 0;
  for (size_t i = 0; i < lower; i++) clear += beyond(line, points, i, mean_a) > 1.0;
  for (size_t i = lower; i < points->count; i++) {
    if (points->current[i] > mean_a + line->t * line->sd_a) return false;
  }
  const double slope = -line->c[1];
  if (clear < LOWER_LEAST || !(slope > 0.0)) return false;
  const double speed = (line->c[0] * points->voltage[lower] - mean_a) / slope;
  *out = (struct sb_fit_corner){lower, mean_a, fmax(sqrt(square), line->sd_a),
                                fmin(fmax(speed, points->speed[lower - 1] * (1.0 + 1e-9)), points->speed[lower])};
  return true;
}

struct sb_fit_corner sb_corner_find(const struct sb_log *log)
{
  struct sb_fit_corner corner = {0};
  struct points points;
  struct line line;
  if (log->columns[SB_LOG_MOTOR_CURRENT] == NULL) return corner;
  bool is_fit = take_points(log, &points);
  for (size_t lower = points.count > UPPER_LEAST ? points.count - UPPER_LEAST : 0;
       is_fit && lower >= LOWER_LEAST && corner.point_count == 0; lower--) {
    is_fit = fit_line(&points, lower, &line);
    if (is_fit) is_corner(&points, lower, &line, &corner);
  }
  free(points.speed);
  return corner;
}
