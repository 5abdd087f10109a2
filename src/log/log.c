// SPDX-License-Identifier: GPL-3.0-or-later
/* Logs in memory; see log.h. Reading is read.c. */
#include "log/log.h"

#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "base/constants.h"

static const struct {
  const char *name, *words, *unit;
} columns[] = {
#define COLUMN(code, name, words, unit, ...) {name, words, unit},
    SB_LOG_COLUMN_LIST(COLUMN)
#undef COLUMN
};

const struct sb_csv_quantity sb_log_quantities[SB_LOG_QUANTITY_COUNT] = {
#define QUANTITY(code, heading, words, kept_unit, quantity, other, kind_of) \
  [code] = {.name = quantity,                                               \
            .other_name = other,                                            \
            .sample = heading,                                              \
            .kind = kind_of,                                                \
            .unit = kept_unit,                                              \
            .needs_no_unit = (kind_of) == SB_RATIO},
    SB_LOG_COLUMN_LIST(QUANTITY)
#undef QUANTITY
        [SB_LOG_TIME] = {.name = "time", .sample = "time_s", .kind = SB_TIME, .unit = "s"},
};

const char *sb_log_column_name(enum sb_log_column column)
{
  return columns[column].name;
}

const char *sb_log_column_words(enum sb_log_column column)
{
  return columns[column].words;
}

const char *sb_log_column_unit(enum sb_log_column column)
{
  return columns[column].unit;
}

const char *sb_log_column_short_name(enum sb_log_column column)
{
  const struct sb_csv_quantity *quantity = &sb_log_quantities[column];
  return quantity->other_name != NULL ? quantity->other_name : quantity->name;
}

void sb_log_clear(struct sb_log *log)
{
  free(log->path);
  free(log->time_s);
  free(log->lines);
  for (int c = 0; c < SB_LOG_COLUMN_COUNT; c++) free(log->columns[c]);
  *log = (struct sb_log){0};
}

bool sb_log_knows(const char *name, enum sb_quantity *kind)
{
  const int q = sb_csv_quantity_find(sb_log_quantities, SB_LOG_QUANTITY_COUNT, name);
  if (q >= 0) *kind = sb_log_quantities[q].kind;
  return q >= 0;
}

const char *sb_log_quantity_name(int index)
{
  if (index / 2 >= SB_LOG_QUANTITY_COUNT) return NULL;
  const struct sb_csv_quantity *quantity = &sb_log_quantities[index / 2];
  return index % 2 == 1 && quantity->other_name != NULL ? quantity->other_name : quantity->name;
}

double **sb_log_values(struct sb_log *log, int column)
{
  return column == SB_LOG_TIME ? &log->time_s : &log->columns[column];
}

bool sb_log_grow(struct sb_log *log, const bool has[SB_LOG_QUANTITY_COUNT])
{
  size_t grown = log->room;
  for (int c = 0; c < SB_LOG_QUANTITY_COUNT; c++) {
    size_t room = log->room;
    if (!has[c]) continue;
    if (!sb_grow(sb_log_values(log, c), &room, log->count, sizeof(double))) return false;
    grown = room;
  }
  log->room = grown;
  return true;
}

enum sb_status sb_log_add_row(struct sb_log *log, const struct sb_row *row, const struct sb_model *model)
{
  bool has[SB_LOG_QUANTITY_COUNT] = {[SB_LOG_TIME] = true};
  for (int c = 0; c < SB_LOG_TRACE_COUNT; c++) has[c] = true;
  if (!sb_log_grow(log, has)) return SB_ERR_MEMORY;
  const size_t i = log->count++;
  log->time_s[i] = row->time_s;
  log->columns[SB_LOG_GEAR][i] = row->gear;
  log->columns[SB_LOG_DUTY][i] = row->duty_fraction;
  log->columns[SB_LOG_MOTOR_SPEED][i] = row->motor_speed_rad_s / SB_RPM;
  log->columns[SB_LOG_READING][i] = row->reading_pct;
  log->columns[SB_LOG_OUTPUT_SPEED][i] = row->output_speed_rad_s / SB_RPM;
  log->columns[SB_LOG_OUTPUT_TORQUE][i] = row->output_torque_nm;
  log->columns[SB_LOG_LOAD_TORQUE][i] = row->load_torque_nm;
  log->columns[SB_LOG_MOTOR_CURRENT][i] = row->motor_current_a;
  log->columns[SB_LOG_SUPPLY_VOLTAGE][i] = row->supply_voltage_v;
  const struct sb_road *road = &model->load.road;
  log->columns[SB_LOG_VEHICLE_SPEED][i] =
      road->is_present ? row->vehicle_speed_rad_s * road->wheel_radius_m : (double)NAN;
  log->columns[SB_LOG_CHARGE][i] = 100.0 * row->charge_fraction;
  log->columns[SB_LOG_WINDING][i] = row->winding_c;
  return SB_OK;
}

int sb_log_take_row(void *taker, const struct sb_row *row)
{
  const struct sb_log_taker *to = taker;
  return sb_log_add_row(to->log, row, to->model) == SB_OK ? 0 : -1;
}

/*
 * White noise of deviation s has second differences of deviation sqrt(1 + 4 + 1) s, and the median of their magnitudes is
 * 0.6745 of that. Motion adds to few of them, and the median does not mind those. Rounding to steps q, which leaves most
 * differences at nothing, adds q^2 / 12; q is the least difference there is.
 */
double sb_log_noise(const struct sb_log *log, enum sb_log_column column)
{
  const double *values = log->columns[column];
  double *second = values != NULL ? malloc((log->count + 1) * sizeof *second) : NULL;
  if (second == NULL) return 0.0;
  size_t count = 0;
  double before = NAN, last = NAN, step = INFINITY;
  for (size_t i = 0; i < log->count; i++) {
    if (!isfinite(values[i])) continue;
    const double difference = values[i] - 2.0 * last + before, first = fabs(values[i] - last);
    if (isfinite(difference)) second[count++] = fabs(difference);
    if (first > 1e-9 * fabs(last) && first < step) step = first;
    before = last;
    last = values[i];
  }
  const double median = count >= 6 ? gsl_stats_median(second, 1, count) : 0.0;
  free(second);
  if (count < 6) return 0.0;
  return hypot(median / (0.6745 * sqrt(6.0)), isfinite(step) ? step / sqrt(12.0) : 0.0);
}

double sb_log_interval_s(const struct sb_log *log)
{
  double *steps = malloc((log->count + 1) * sizeof *steps);
  if (steps == NULL) return 0.0;
  size_t count = 0;
  for (size_t i = 1; i < log->count; i++) {
    if (log->time_s[i] > log->time_s[i - 1]) steps[count++] = log->time_s[i] - log->time_s[i - 1];
  }
  const double median = count > 0 ? gsl_stats_median(steps, 1, count) : 0.0;
  free(steps);
  return median;
}
