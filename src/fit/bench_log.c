// SPDX-License-Identifier: GPL-3.0-or-later
/* A log as the fit takes it: in SI, torques from forces and weights, magnitudes, the steps of rounded readings, gaps. */
#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdlib.h>

#include "base/faults.h"
#include "base/shortage.h"
#include "shiftband/fit.h"
#include "shiftband/log.h"

#define GRAVITY 9.80665 /* m/s2, standard */

/* `name: needs ..., found ...` where a log's header stands. */
static void fault_in(struct sb_fault_list *faults, const char *path, long line, const char *name, const char *needs,
                     const char *found)
{
  sb_faults_add_in_table(faults, &(struct sb_place){0}, path, line, 1, "%s%sneeds %s, found %s", name,
                         name[0] != 0 ? ": " : "", needs, found);
}

/* Force and weight on an arm are a torque. */
static enum sb_status turn_into_torque(struct sb_log *log, double arm_m, struct sb_fault_list *faults)
{
  static const enum sb_log_column pulls[] = {SB_LOG_FORCE, SB_LOG_MASS};
  for (int k = 0; k < 2; k++) {
    const double *pull = log->columns[pulls[k]];
    if (pull == NULL) continue;
    if (!(arm_m > 0.0)) {
      fault_in(faults, log->path, 1, sb_log_column_short_name(pulls[k]),
               "the arm that makes a torque of it (--arm 12mm: the lever, or the drum's radius)", "none");
      return SB_OK;
    }
    double **torque = &log->columns[SB_LOG_TORQUE];
    if (*torque == NULL) *torque = calloc(log->count, sizeof **torque);
    if (*torque == NULL) return SB_ERR_MEMORY;
    for (size_t i = 0; i < log->count; i++) (*torque)[i] += pull[i] * arm_m * (k == 1 ? GRAVITY : 1.0);
  }
  return SB_OK;
}

static void check_columns(const struct sb_log *log, struct sb_fault_list *faults)
{
  double *const *values = log->columns;
  const bool has_speed = values[SB_LOG_MOTOR_SPEED] != NULL || values[SB_LOG_OUTPUT_SPEED] != NULL;
  const bool has_electric = values[SB_LOG_SUPPLY_VOLTAGE] != NULL && values[SB_LOG_MOTOR_CURRENT] != NULL;
  if (!has_speed) {
    fault_in(faults, log->path, 1, "speed", "a column such as speed_rpm (or --column speed=NAME --unit speed=rpm)",
             log->header);
  } else if (log->time_s == NULL && values[SB_LOG_TORQUE] == NULL && !has_electric) {
    fault_in(faults, log->path, 1, "",
             "time_s (a log over time), or torque_nm, force_n or mass_g (points in steady state)", log->header);
  }
}

static void check_voltages(const struct sb_log *log, struct sb_fault_list *faults)
{
  const double *voltages = log->columns[SB_LOG_SUPPLY_VOLTAGE];
  for (size_t i = 0; voltages != NULL && i < log->count; i++) {
    if (!(voltages[i] < 0.0)) continue;
    fault_in(faults, log->path, log->lines[i], "voltage", "a voltage that is not negative (the duty has the sign)",
             "one below 0 V");
    return;
  }
}

/* The step that all values are whole multiples of apart; 0 when there is none. */
static double find_quantum(const double *values, size_t count)
{
  double *sorted = malloc(count * sizeof *sorted);
  size_t n = 0;
  double step = INFINITY;
  if (sorted == NULL) {
    sb_shortage_note();
    return 0.0;
  }
  for (size_t i = 0; i < count; i++) {
    if (!isnan(values[i])) sorted[n++] = values[i];
  }
  gsl_sort(sorted, 1, n);
  const double tiny = n > 0 ? 1e-9 * fabs(sorted[n - 1]) : 0.0;
  for (size_t i = 1; i < n; i++) {
    if (sorted[i] - sorted[i - 1] > tiny) step = fmin(step, sorted[i] - sorted[i - 1]);
  }
  for (size_t i = 1; i < n && step > 0.0; i++) {
    const double parts = (sorted[i] - sorted[0]) / step;
    if (fabs(parts - nearbyint(parts)) > 1e-3) step = 0.0;
  }
  free(sorted);
  return n > 2 && isfinite(step) ? step : 0.0;
}

/*
 * The direction in which things turn does not matter here: a column that goes one way is turned round as a whole, so that noise
 * about rest stays noise about rest; only one that goes both ways (a motor that reverses) becomes its magnitude.
 */
static void take_magnitudes(double *values, size_t count)
{
  double greatest = 0.0;
  size_t forward = 0, back = 0;
  for (size_t i = 0; i < count; i++) greatest = fmax(greatest, fabs(values[i]));
  for (size_t i = 0; i < count; i++) {
    forward += values[i] > 0.2 * greatest;
    back += values[i] < -0.2 * greatest;
  }
  const size_t few = count / 50 + 1;
  if (back <= few && back <= forward) return;
  for (size_t i = 0; i < count; i++) values[i] = forward <= few && forward < back ? -values[i] : fabs(values[i]);
}

static void find_gaps(struct sb_log *log)
{
  const double *times = log->time_s;
  if (log->count <= 2 || times == NULL) return;
  double *pauses = malloc(log->count * sizeof *pauses);
  if (pauses == NULL) {
    sb_shortage_note();
    return;
  }
  for (size_t i = 1; i < log->count; i++) pauses[i - 1] = times[i] - times[i - 1];
  const double usual = gsl_stats_median(pauses, 1, log->count - 1);
  for (size_t i = 1; i < log->count; i++) {
    const double pause = times[i] - times[i - 1];
    if (pause <= 5.0 * usual) continue;
    log->gap_count++;
    log->longest_gap_s = fmax(log->longest_gap_s, pause);
  }
  free(pauses);
}

/* What the fit needs of the columns; they are whole. */
static void settle(struct sb_log *log)
{
  static const enum sb_log_column measured[] = {SB_LOG_MOTOR_SPEED, SB_LOG_OUTPUT_SPEED, SB_LOG_MOTOR_CURRENT};
  for (int k = 0; k < 3; k++) {
    double *values = log->columns[measured[k]];
    if (values == NULL) continue;
    take_magnitudes(values, log->count);
    log->quantum[measured[k]] = find_quantum(values, log->count);
  }
  for (size_t i = 0; log->columns[SB_LOG_DUTY] != NULL && i < log->count; i++) {
    log->columns[SB_LOG_DUTY][i] = fabs(log->columns[SB_LOG_DUTY][i]);
  }
  find_gaps(log);
}

static enum sb_status finish(double arm_m, struct sb_log *log, struct sb_faults *faults)
{
  struct sb_fault_list list = {.file = log->path};
  enum sb_status status = turn_into_torque(log, arm_m, &list);
  if (status == SB_OK && list.total == 0) check_columns(log, &list);
  if (status == SB_OK && list.total == 0) check_voltages(log, &list);
  if (status == SB_OK && list.total > 0) {
    status = sb_faults_publish(&list, faults) ? SB_ERR_SCENARIO : SB_ERR_MEMORY;
  }
  sb_faults_list_clear(&list);
  if (status != SB_OK) return status;
  (void)sb_shortage_take();
  settle(log);
  return sb_shortage_take() ? SB_ERR_MEMORY : SB_OK;
}

enum sb_status sb_fit_log_read(const char *path, const struct sb_log_options *options, struct sb_log *out,
                               struct sb_faults *faults)
{
  static const bool takes[SB_LOG_COLUMN_COUNT] = {
      [SB_LOG_MOTOR_SPEED] = true,   [SB_LOG_OUTPUT_SPEED] = true, [SB_LOG_SUPPLY_VOLTAGE] = true,
      [SB_LOG_MOTOR_CURRENT] = true, [SB_LOG_DUTY] = true,         [SB_LOG_TORQUE] = true,
      [SB_LOG_FORCE] = true,         [SB_LOG_MASS] = true,         [SB_LOG_ADDED_INERTIA] = true,
      [SB_LOG_GEAR] = true};
  struct sb_log_options reading = *options;
  reading.is_si = reading.may_lack_time = true;
  reading.least_rows = 1;
  reading.takes = takes;
  struct sb_log log;
  enum sb_status status = sb_log_read(path, &reading, &log, faults);
  if (status != SB_OK) return status;
  status = finish(options->arm_m, &log, faults);
  if (status == SB_OK) {
    *out = log;
  } else {
    sb_log_clear(&log);
  }
  return status;
}
