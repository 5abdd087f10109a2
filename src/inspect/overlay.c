// SPDX-License-Identifier: GPL-3.0-or-later
/* A simulation at a log's times, and their differences; see overlay.h. */
#include "shiftband/overlay.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "inspect/gear_track.h"
#include "shiftband/run.h"
#include "text/csv_writer.h"

/* The share of a column's values that its scale covers, and of scale^2 that one difference counts at most. */
static const double scale_share = 0.98, clip = 1.0;

/* A gear that differs counts this much. */
static const double gear_cost = 0.25;

struct sb_overlay_options sb_overlay_options_default(void)
{
  return (struct sb_overlay_options){.tolerance_fraction = 0.02};
}

void sb_overlay_clear(struct sb_overlay *overlay)
{
  for (int c = 0; c < SB_LOG_COLUMN_COUNT; c++) free(overlay->simulated[c]);
  *overlay = (struct sb_overlay){0};
}

enum sb_status sb_overlay_run(const struct sb_model *model, const struct sb_log *log,
                              const struct sb_overlay_options *options, struct sb_log *simulated, struct sb_error *err)
{
  struct sb_model timed = *model;
  struct sb_run_options run_options = sb_run_options_default();
  struct sb_run_result result;
  struct sb_log_taker keeper = {simulated, model};
  const double step_s = model->run.step_s, interval_s = sb_log_interval_s(log);
  *simulated = (struct sb_log){0};
  const double span_s = log->time_s[log->count - 1] - options->offset_s;
  if (!(span_s >= step_s)) {
    return sb_fail(err, SB_ERR_SCENARIO, "the log ends at %g s, before the simulation begins at %g s",
                   log->time_s[log->count - 1], options->offset_s);
  }
  /* Behind the scenario's own end its loads say nothing more. */
  timed.run.duration_s = fmin(model->run.duration_s, step_s * ceil(span_s / step_s - 1e-6));
  timed.run.trace_interval_s = step_s * fmax(1.0, floor(interval_s / step_s + 1e-6));
  run_options.on_row = sb_log_take_row;
  run_options.context = &keeper;
  const enum sb_status status = sb_run(&timed, &run_options, &result, err);
  if (status == SB_OK) {
    sb_run_result_clear(&result);
    return SB_OK;
  }
  sb_log_clear(simulated);
  /* The only writer here is memory. */
  return status == SB_ERR_IO ? sb_fail(err, SB_ERR_MEMORY, "out of memory for a simulated log") : status;
}

/*
 * The simulation's value at a time of its own, just before a jump at that time or behind it. *row is the last row not
 * behind it, and only ever grows.
 */
static double value_at(const struct sb_log *simulated, int column, double time_s, bool is_before, size_t *row)
{
  const double *t = simulated->time_s, *x = simulated->columns[column];
  const double slack = 1e-9 * fmax(1.0, fabs(time_s));
  if (time_s < t[0] - slack || time_s > t[simulated->count - 1] + slack) return NAN;
  const double reach_s = is_before ? time_s - slack : time_s + slack;
  while (*row + 1 < simulated->count && t[*row + 1] <= reach_s) (*row)++;
  if (*row + 1 == simulated->count || column == SB_LOG_GEAR || column == SB_LOG_DUTY) return x[*row];
  const double span = t[*row + 1] - t[*row];
  if (!(span > 0.0)) return x[*row];
  const double share = fmin(1.0, fmax(0.0, (time_s - t[*row]) / span));
  return x[*row] + share * (x[*row + 1] - x[*row]);
}

/* Whether a column hardly ever goes below zero, while another does. */
static bool is_one_sided(const double *values, size_t count)
{
  size_t below = 0;
  double greatest = 0.0;
  for (size_t i = 0; i < count; i++) greatest = fmax(greatest, isfinite(values[i]) ? fabs(values[i]) : 0.0);
  for (size_t i = 0; i < count; i++) below += values[i] < -0.1 * greatest;
  return below == 0;
}

/* What 98 % of the values of both stay below, by magnitude. `room` holds 2 count values. */
static double scale_of(const double *a, const double *b, size_t count, double *room)
{
  size_t kept = 0;
  for (size_t i = 0; i < count; i++) {
    if (!isfinite(a[i]) || !isfinite(b[i])) continue;
    room[kept++] = fabs(a[i]);
    room[kept++] = fabs(b[i]);
  }
  if (kept == 0) return 0.0;
  return sb_series_quantile(room, kept, scale_share);
}

/* The simulation's column at the log's times. */
static void fill_simulated(const struct sb_log *log, const struct sb_log *simulated, int column, double offset_s,
                           double *values)
{
  size_t row = 0;
  for (size_t i = 0; i < log->count; i++) {
    const bool is_before = i + 1 < log->count && log->time_s[i + 1] == log->time_s[i]; /* the first row of a jump */
    values[i] = value_at(simulated, column, log->time_s[i] - offset_s, is_before, &row);
  }
}

/* Differences of a column: differences[n] at times[n], unsmoothed. */
static size_t take_differences(const struct sb_log *log, int column, const double *simulated, bool is_magnitude,
                               double *times, double *differences)
{
  size_t n = 0;
  for (size_t i = 0; i < log->count; i++) {
    const double logged = log->columns[column][i];
    const double difference = is_magnitude ? fabs(logged) - fabs(simulated[i]) : logged - simulated[i];
    if (!isfinite(difference)) continue;
    times[n] = log->time_s[i];
    differences[n++] = difference;
  }
  return n;
}

/* Adds the column's cost, and what its noise alone costs. */
static void add_cost(struct sb_overlay *out, int column, const double *differences, size_t n, double noise)
{
  struct sb_overlay_column *figures = &out->columns[column];
  double cost = 0.0, square = 0.0;
  for (size_t i = 0; i < n; i++) {
    const double share = differences[i] / figures->scale;
    cost += column == SB_LOG_GEAR ? gear_cost * (differences[i] != 0.0) : fmin(share * share, clip);
    square += differences[i] * differences[i];
  }
  figures->rms = sqrt(square / (double)n);
  out->cost += cost / (double)n;
  if (column != SB_LOG_GEAR) out->noise_cost += noise * noise / (figures->scale * figures->scale);
}

static void find_deviation(struct sb_overlay_column *figures, const double *times, const double *differences, size_t n)
{
  size_t deviating = 0;
  figures->first_deviation_s = NAN;
  for (size_t i = 0; i < n; i++) {
    const double size = fabs(differences[i]);
    if (size > fabs(figures->greatest)) {
      figures->greatest = differences[i];
      figures->greatest_s = times[i];
    }
    if (size <= figures->tolerance) continue;
    if (deviating++ == 0) figures->first_deviation_s = times[i];
  }
  figures->deviating_fraction = (double)deviating / (double)n;
}

/* room[4 count]. Leaves the column out where there is nothing to compare. */
static enum sb_status compare_column(const struct sb_log *log, const struct sb_log *simulated,
                                     const struct sb_overlay_options *options, int column, double *room,
                                     struct sb_overlay *out)
{
  struct sb_overlay_column *figures = &out->columns[column];
  double *values = malloc(log->count * sizeof *values), *times = room, *differences = room + log->count;
  if (values == NULL) return SB_ERR_MEMORY;
  fill_simulated(log, simulated, column, options->offset_s, values);
  figures->is_magnitude = is_one_sided(log->columns[column], log->count) && !is_one_sided(values, log->count);
  figures->scale =
      column == SB_LOG_GEAR ? 1.0 : scale_of(log->columns[column], values, log->count, room + 2 * log->count);
  const size_t n = take_differences(log, column, values, figures->is_magnitude, times, differences);
  if (n == 0 || !(figures->scale > 0.0)) {
    free(values);
    return SB_OK;
  }
  const double noise = column == SB_LOG_GEAR ? 0.0 : sb_log_noise(log, (enum sb_log_column)column);
  figures->is_compared = true;
  figures->tolerance = column == SB_LOG_GEAR ? 0.5 : fmax(options->tolerance_fraction * figures->scale, 3.0 * noise);
  out->simulated[column] = values;
  add_cost(out, column, differences, n, noise);
  sb_series_smooth(differences, n, SB_INSPECT_SMOOTH);
  find_deviation(figures, times, differences, n);
  return SB_OK;
}

/* The duty is a command, not an answer, and the reading repeats the motor's speed. */
static bool is_wanted(const struct sb_log *log, int column)
{
  if (log->columns[column] == NULL || column == SB_LOG_DUTY) return false;
  return column != SB_LOG_READING || log->columns[SB_LOG_MOTOR_SPEED] == NULL;
}

enum sb_status sb_overlay_compare(const struct sb_log *log, const struct sb_log *simulated,
                                  const struct sb_overlay_options *options, struct sb_overlay *out,
                                  struct sb_error *err)
{
  struct sb_overlay overlay = {.count = log->count, .first_deviation_s = NAN};
  double *room = malloc((4 * log->count + 1) * sizeof *room);
  enum sb_status status = room != NULL ? SB_OK : SB_ERR_MEMORY;
  bool has_any = false;
  for (int c = 0; c < SB_LOG_COLUMN_COUNT && status == SB_OK; c++) {
    if (!is_wanted(log, c)) continue;
    status = compare_column(log, simulated, options, c, room, &overlay);
    const struct sb_overlay_column *figures = &overlay.columns[c];
    has_any |= figures->is_compared;
    if (!figures->is_compared || isnan(figures->first_deviation_s) ||
        !(isnan(overlay.first_deviation_s) || figures->first_deviation_s < overlay.first_deviation_s))
      continue;
    overlay.first_deviation_s = figures->first_deviation_s;
    overlay.first = (enum sb_log_column)c;
  }
  free(room);
  if (status == SB_OK && !has_any) {
    status =
        sb_fail(err, SB_ERR_SCENARIO,
                "log and simulation have no time and column in common: needs values between %g "
                "and %g s in gear, motor_speed_rpm, output_speed_rpm or another column of a trace",
                simulated->time_s[0] + options->offset_s, simulated->time_s[simulated->count - 1] + options->offset_s);
  } else if (status != SB_OK) {
    sb_fail(err, status, "out of memory for a log");
  }
  if (status == SB_OK) {
    *out = overlay;
  } else {
    sb_overlay_clear(&overlay);
  }
  return status;
}

int sb_overlay_write_csv(FILE *out, const struct sb_log *log, const struct sb_overlay *overlay)
{
  struct sb_csv csv;
  sb_csv_begin(&csv, out, &sb_records_overlay_rows);
  sb_csv_name(&csv, "time_s");
  for (int c = 0; c < SB_LOG_COLUMN_COUNT; c++) {
    const char *name = sb_log_columns[c].name;
    char heading[64];
    for (int k = 0; k < 2 && overlay->simulated[c] != NULL; k++) {
      snprintf(heading, sizeof heading, "%s_%s", name, k == 0 ? "log" : "sim");
      sb_csv_text(&csv, heading);
    }
  }
  sb_csv_end_row(&csv);
  for (size_t i = 0; i < log->count; i++) {
    sb_csv_number(&csv, log->time_s[i]);
    for (int c = 0; c < SB_LOG_COLUMN_COUNT; c++) {
      if (overlay->simulated[c] == NULL) continue;
      const bool is_magnitude = overlay->columns[c].is_magnitude;
      sb_csv_number(&csv, is_magnitude ? fabs(log->columns[c][i]) : log->columns[c][i]);
      sb_csv_number(&csv, is_magnitude ? fabs(overlay->simulated[c][i]) : overlay->simulated[c][i]);
    }
    sb_csv_end_row(&csv);
  }
  return sb_csv_result(&csv);
}
