// SPDX-License-Identifier: GPL-3.0-or-later
/* From logs to tests: what kind each is, its spans, its readings, and what is free to be fitted. */
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "base/shortage.h"
#include "fit/bench.h"

/* A speed below this share of the greatest counts as rest when one looks at a log. */
static const double rest_share = 0.1;

static const enum sb_log_column measured[] = {SB_LOG_MOTOR_SPEED, SB_LOG_OUTPUT_SPEED, SB_LOG_MOTOR_CURRENT};

/* Median of the finite values of rows [from, to); NAN when there are none. */
static double median_of(const double *values, size_t from, size_t to)
{
  double *copy = malloc((to - from + 1) * sizeof *copy);
  size_t n = 0;
  if (copy == NULL) {
    sb_shortage_note();
    return NAN;
  }
  for (size_t i = from; i < to; i++) {
    if (!isnan(values[i])) copy[n++] = values[i];
  }
  const double median = n > 0 ? gsl_stats_median(copy, 1, n) : (double)NAN;
  free(copy);
  return median;
}

/* ---- what a log shows ---- */

enum { BIN_COUNT = 12 };

/* Medians of equal parts of the log: no single reading can mislead. Returns how many. */
static int bin_speeds(const struct sb_log *log, double bins[BIN_COUNT])
{
  int count = 0;
  for (int k = 0; k < BIN_COUNT; k++) {
    const size_t from = log->count * (size_t)k / BIN_COUNT, to = log->count * (size_t)(k + 1) / BIN_COUNT;
    const double median = to > from ? median_of(sb_bench_speeds(log), from, to) : (double)NAN;
    if (!isnan(median)) bins[count++] = median;
  }
  return count;
}

static enum sb_fit_phase see_phase(const struct sb_log *log)
{
  double bins[BIN_COUNT], greatest = 0.0;
  const int count = bin_speeds(log, bins);
  for (int k = 0; k < count; k++) greatest = fmax(greatest, bins[k]);
  if (count == 0) return SB_FIT_SPIN_UP;
  const bool falls = bins[count - 1] < 0.85 * greatest, rises = bins[0] < 0.85 * greatest;
  return falls && rises ? SB_FIT_BOTH : falls ? SB_FIT_COAST_DOWN : SB_FIT_SPIN_UP;
}

/* Whether it turns when the log begins: a fast start may be over within five rows. */
static bool is_rolling(const struct sb_log *log)
{
  double bins[BIN_COUNT], greatest = 0.0;
  const int count = bin_speeds(log, bins);
  for (int k = 0; k < count; k++) greatest = fmax(greatest, bins[k]);
  const size_t few = log->count < 3 ? log->count : 3;
  return median_of(sb_bench_speeds(log), 0, few) > rest_share * greatest;
}

/* The last time at which the log, smoothed, is still near its greatest speed. */
static double see_switch_off(const struct sb_log *log)
{
  double bins[BIN_COUNT], greatest = 0.0;
  const int count = bin_speeds(log, bins);
  for (int k = 0; k < count; k++) greatest = fmax(greatest, bins[k]);
  size_t i = log->count - 1;
  while (i > 2 &&
         !(median_of(sb_bench_speeds(log), i - 2, i + 3 < log->count ? i + 3 : log->count) > 0.95 * greatest)) {
    i--;
  }
  return log->time_s[i];
}

/* ---- spans ---- */

static bool add_span(struct sb_bench_test *test, const struct sb_bench_span *span)
{
  if (test->spans != NULL && test->span_count > 0) {
    const struct sb_bench_span *last = &test->spans[test->span_count - 1];
    if (last->voltage_v == span->voltage_v && last->is_open == span->is_open) return true;
  }
  if (!sb_grow(&test->spans, &test->span_room, test->span_count, sizeof *test->spans)) return false;
  test->spans[test->span_count++] = *span;
  return true;
}

/* A voltage that moves by less than this share is taken as steady; a greater change between two rows is taken as straight,
 * in so many parts that each is nearly constant. */
static const double steady_share = 0.002, part_share = 0.01;
enum { PART_MAX = 16, SPAN_MAX = 500 };

static bool add_interval(struct sb_bench_test *test, double from_s, double to_s, double from_v, double to_v)
{
  const double greater_v = fmax(fmax(from_v, to_v), 1e-9);
  const double wanted = ceil(fabs(to_v - from_v) / (part_share * greater_v));
  const int parts = wanted < 1.0 ? 1 : wanted > PART_MAX ? PART_MAX : (int)wanted;
  for (int k = 0; k < parts; k++) {
    struct sb_bench_span span = {.from_s = from_s + (to_s - from_s) * k / parts,
                                 .voltage_v = from_v + (to_v - from_v) * (k + 0.5) / parts,
                                 .length_s = (to_s - from_s) / parts};
    struct sb_bench_span *last =
        test->spans != NULL && test->span_count > 0 ? &test->spans[test->span_count - 1] : NULL;
    if (last != NULL && !last->is_open && fabs(last->voltage_v - span.voltage_v) <= steady_share * greater_v) {
      const double whole_s = last->length_s + span.length_s;
      if (whole_s > 0.0) last->voltage_v += (span.voltage_v - last->voltage_v) * span.length_s / whole_s;
      last->length_s = whole_s;
    } else if (!add_span(test, &span)) {
      return false;
    }
  }
  return true;
}

/* How many rows from one on have the same duty, up to a number. */
static size_t rows_equal(const double *duties, size_t row, size_t count, size_t most)
{
  size_t n = 1;
  while (n < most && row + n < count && (duties == NULL || duties[row + n] == duties[row])) n++;
  return n;
}

/* What drives the motor from each row (of a long log: from some rows) to the next; equal neighbours become one. */
static bool build_spans(const struct sb_bench *bench, struct sb_bench_test *test)
{
  const struct sb_log *log = test->log;
  const double *times = log->time_s;
  const double *duties = test->phase == SB_FIT_PHASE_FIND ? log->columns[SB_LOG_DUTY] : NULL;
  const bool is_brake = bench->setup->is_braking && test->phase != SB_FIT_COAST_DOWN;
  const size_t most = log->count / SPAN_MAX + 1;
  for (size_t i = 0, n; i < log->count; i += n) {
    n = rows_equal(duties, i, log->count, most);
    const bool is_off = (duties != NULL && duties[i] == 0.0) || test->phase == SB_FIT_COAST_DOWN;
    const struct sb_bench_span off = {.from_s = times[i], .is_open = !is_brake};
    const size_t next = i + n < log->count ? i + n : log->count - 1;
    double here = 0.0;
    for (size_t k = i; k < i + n; k++) here += sb_bench_voltage(bench, log, k) / (double)n;
    const bool is_straight = n == 1 && (duties == NULL || duties[next] == duties[i]);
    const double from = is_straight ? sb_bench_voltage(bench, log, i) : here;
    const double to = is_straight ? sb_bench_voltage(bench, log, next) : here;
    if (!(is_off ? add_span(test, &off) : add_interval(test, times[i], times[next], from, to))) return false;
  }
  return true;
}

/* ---- tests ---- */

static bool has_steady_duty(const struct sb_log *log)
{
  const double *duties = log->columns[SB_LOG_DUTY];
  for (size_t i = 1; duties != NULL && i < log->count; i++) {
    if ((duties[i] == 0.0) != (duties[0] == 0.0)) return false;
  }
  return true;
}

static enum sb_status read_gears(const struct sb_bench *bench, struct sb_bench_test *test, struct sb_error *err)
{
  const struct sb_model *model = bench->setup->model;
  const double *gears = test->log->columns[SB_LOG_GEAR];
  const int asked = bench->setup->gear > 0 ? bench->setup->gear : model != NULL ? model->control.start_gear : 1;
  test->gear = asked - 1;
  for (size_t i = 0; gears != NULL && i < test->log->count; i++) {
    if (isnan(gears[i]) || gears[i] == 0.0) {
      if (test->is_dynamic && model != NULL) continue;
      return sb_fail(err, SB_ERR_SCENARIO, "%s:%ld: gear: needs the gear that was engaged, found none", test->log->path,
                     test->log->lines[i]);
    }
    if (model == NULL || (int)gears[i] > model->gearbox.gear_count) {
      return sb_fail(err, SB_ERR_SCENARIO,
                     "%s:%ld: gear: needs a scenario with that gear (--scenario FILE), found %s%.0f", test->log->path,
                     test->log->lines[i], model == NULL ? "none; gear " : "gear ", gears[i]);
    }
    test->gear = (int)gears[i] - 1;
  }
  return gears != NULL && test->is_dynamic ? sb_shift_find(model, test, err) : SB_OK;
}

/* Where the log's own unknowns start, and which of them are free. */
static void set_own(const struct sb_model *model, struct sb_bench_test *test)
{
  const struct sb_log *log = test->log;
  const double *times = log->time_s;
  const double length_s = times[log->count - 1] - times[0];
  const bool is_turning = is_rolling(log);
  const size_t few = log->count < 5 ? log->count : 5;
  double speed = median_of(sb_bench_speeds(log), 0, few);
  if (isnan(speed)) speed = 0.0;
  if (log->columns[SB_LOG_MOTOR_SPEED] == NULL && model != NULL) speed *= model->gearbox.gears[test->gear].ratio;
  test->own_scale[SB_OWN_START] = test->own_scale[SB_OWN_OFF] = 0.05 * length_s;
  test->own_scale[SB_OWN_SPEED] = fmax(0.1 * speed, 1e-3);
  test->own[SB_OWN_OFF] = INFINITY;
  switch (test->phase) {
    case SB_FIT_PHASE_FIND:
      test->is_own_free[SB_OWN_START] = true;
      test->is_own_free[SB_OWN_SPEED] = is_turning;
      break;
    case SB_FIT_SPIN_UP:
      test->own[SB_OWN_START] = times[0];
      test->is_own_free[SB_OWN_START] = true;
      break;
    case SB_FIT_COAST_DOWN:
      test->own[SB_OWN_START] = times[0];
      test->is_own_free[SB_OWN_SPEED] = true;
      break;
    case SB_FIT_BOTH:
      test->own[SB_OWN_START] = times[0];
      test->own[SB_OWN_OFF] = see_switch_off(log);
      test->is_own_free[SB_OWN_START] = !is_turning;
      test->is_own_free[SB_OWN_SPEED] = is_turning;
      test->is_own_free[SB_OWN_OFF] = true;
      break;
  }
  if (test->is_own_free[SB_OWN_SPEED]) test->own[SB_OWN_SPEED] = speed;
  if (test->event_count > 0) sb_shift_find_own(test);
}

/* A log with a shift is one run at one duty; in neutral the drive may be cut. */
static enum sb_status check_shift_duty(const struct sb_log *log, struct sb_error *err)
{
  const double *duties = log->columns[SB_LOG_DUTY], *gears = log->columns[SB_LOG_GEAR];
  double duty = NAN;
  for (size_t i = 0; duties != NULL && i < log->count; i++) {
    if (isnan(duties[i]) || !(gears[i] >= 1.0)) continue;
    if (isnan(duty)) duty = duties[i];
    if (fabs(duties[i] - duty) <= 1e-9) continue;
    return sb_fail(err, SB_ERR_SCENARIO,
                   "%s:%ld: duty: needs one duty throughout a log with a shift, found %.4g %% after %.4g %%; take the "
                   "rows of one gear alone, or a log at full duty",
                   log->path, log->lines[i], 100.0 * duties[i], 100.0 * duty);
  }
  return SB_OK;
}

/*
 * The supply sags by itself in a run with shifts: it needs the open-circuit voltage. That is what was measured with a gear in
 * mesh, and what the supply's own resistance took there; without currents, as if measured behind that resistance.
 */
static enum sb_status feed_shifts(const struct sb_bench *bench, struct sb_bench_test *test, struct sb_error *err)
{
  const struct sb_log *log = test->log;
  const struct sb_model *model = bench->setup->model;
  const double *voltages = log->columns[SB_LOG_SUPPLY_VOLTAGE], *currents = log->columns[SB_LOG_MOTOR_CURRENT];
  const double *duties = log->columns[SB_LOG_DUTY], *gears = log->columns[SB_LOG_GEAR];
  test->span_count = 1;
  test->spans[0].voltage_v = bench->fed_voltage_v;
  if (voltages == NULL) return SB_OK;
  if (currents == NULL) test->source_ohm = 0.0;
  double *open = calloc(log->count, sizeof *open);
  if (open == NULL) return sb_fail(err, SB_ERR_MEMORY, "%s: out of memory", log->path);
  for (size_t i = 0; i < log->count; i++) {
    const double duty = duties != NULL ? duties[i] : model->drive.limit_fraction;
    const double sag_v = currents != NULL ? duty * model->supply.internal_resistance_ohm * currents[i] : 0.0;
    open[i] = gears[i] >= 1.0 ? duty * (voltages[i] + sag_v) : (double)NAN;
  }
  const double median = median_of(open, test->first_row, test->last_row + 1);
  free(open);
  if (!isnan(median)) test->spans[0].voltage_v = median;
  return SB_OK;
}

static enum sb_status plan_test(struct sb_bench *bench, struct sb_bench_test *test, int index, struct sb_error *err)
{
  const struct sb_log *log = test->log;
  test->is_dynamic = log->time_s != NULL;
  if (bench->setup->model == NULL && log->columns[SB_LOG_OUTPUT_SPEED] != NULL) {
    return sb_fail(err, SB_ERR_SCENARIO, "%s:1: output_speed: needs the gears (--scenario FILE), found none",
                   log->path);
  }
  bool has_motion = false;
  for (size_t i = 0; i < log->count; i++) has_motion |= sb_bench_speeds(log)[i] > 0.0;
  if (!has_motion) {
    return sb_fail(err, SB_ERR_SCENARIO, "%s: speed: needs readings above zero, found none", log->path);
  }
  enum sb_status status = read_gears(bench, test, err);
  if (status == SB_OK && test->event_count > 0) status = check_shift_duty(log, err);
  if (!test->is_dynamic) test->corner = sb_corner_find(log);
  if (test->corner.point_count > 0) bench->current_limit_a = test->corner.current_a;
  if (status != SB_OK || !test->is_dynamic) return status;
  const double *times = log->time_s, *inertias = log->columns[SB_LOG_ADDED_INERTIA];
  if (log->count < 8 || !(times[log->count - 1] > times[0])) {
    return sb_fail(err, SB_ERR_SCENARIO, "%s:%ld: needs at least 8 rows over a time, found %zu", log->path,
                   log->lines[log->count - 1], log->count);
  }
  if (inertias != NULL && inertias[0] > 0.0) test->added_inertia_kg_m2 = inertias[0];
  const struct sb_model *model = bench->setup->model;
  if (model != NULL && (test->event_count > 0 || log->columns[SB_LOG_SUPPLY_VOLTAGE] == NULL)) {
    const double duty = model->drive.limit_fraction;
    test->source_ohm = duty * duty * model->supply.internal_resistance_ohm;
  }
  const enum sb_fit_phase asked = bench->setup->phases[index];
  test->phase = asked;
  if (asked == SB_FIT_PHASE_FIND && test->event_count == 0 && has_steady_duty(log)) {
    const double *duties = log->columns[SB_LOG_DUTY];
    test->phase = duties == NULL ? see_phase(log) : duties[0] == 0.0 ? SB_FIT_COAST_DOWN : SB_FIT_SPIN_UP;
  }
  set_own(model, test);
  if (!build_spans(bench, test)) return sb_fail(err, SB_ERR_MEMORY, "%s: out of memory", log->path);
  return test->event_count > 0 ? feed_shifts(bench, test, err) : SB_OK;
}

/* ---- readings ---- */

/* Rows at one instant stand on both sides of a jump, and nothing tells which side the machine was on: they say when a
 * gear changed, and nothing of the speeds. */
static bool is_instant_shared(const struct sb_log *log, size_t row)
{
  const double *time_s = log->time_s;
  if (time_s == NULL) return false;
  return (row > 0 && time_s[row - 1] == time_s[row]) || (row + 1 < log->count && time_s[row + 1] == time_s[row]);
}

/* Currents are compared only while the drive is on. */
static bool is_wanted(const struct sb_bench_test *test, enum sb_log_column column, size_t row)
{
  if (test->event_count > 0 && is_instant_shared(test->log, row)) return false;
  if (test->event_count > 0 && !sb_shift_find_is_wanted(test, column, row)) return false;
  if (isnan(test->log->columns[column][row])) return false;
  if (test->corner.point_count > 0 && sb_bench_speeds(test->log)[row] < test->corner.speed_rad_s) return false;
  if (column != SB_LOG_MOTOR_CURRENT || !test->is_dynamic) return true;
  const double *duties = test->log->columns[SB_LOG_DUTY];
  if (test->phase == SB_FIT_COAST_DOWN || (duties != NULL && duties[row] == 0.0)) return false;
  return test->phase != SB_FIT_BOTH || test->log->time_s[row] < test->own[SB_OWN_OFF];
}

static void count_repeats(struct sb_bench *bench, int channel)
{
  size_t first = 0, n = 0;
  double last = NAN;
  for (size_t i = 0; i <= bench->reading_count; i++) {
    const bool is_end = i == bench->reading_count;
    if (!is_end && bench->readings[i].channel != channel) continue;
    if (is_end || bench->readings[i].value != last) {
      for (size_t k = first; k < i && n > 0; k++) {
        if (bench->readings[k].channel == channel) bench->readings[k].repeats = (double)n;
      }
      if (is_end) return;
      first = i;
      n = 0;
      last = bench->readings[i].value;
    }
    n++;
  }
}

static enum sb_status take_readings(struct sb_bench *bench, struct sb_error *err)
{
  size_t most = 0;
  for (int t = 0; t < bench->test_count; t++) most += 3 * bench->tests[t].log->count;
  bench->readings = calloc(most + 1, sizeof *bench->readings);
  if (bench->readings == NULL) return sb_bench_no_memory(err);
  for (int t = 0; t < bench->test_count; t++) {
    struct sb_bench_test *test = &bench->tests[t];
    int channels[3] = {-1, -1, -1};
    test->first = bench->reading_count;
    for (size_t row = 0; row < test->log->count; row++) {
      for (int k = 0; k < 3; k++) {
        const enum sb_log_column column = measured[k];
        if (test->log->columns[column] == NULL || !is_wanted(test, column, row)) continue;
        if (channels[k] < 0) {
          channels[k] = bench->channel_count;
          bench->channels[bench->channel_count++] =
              (struct sb_fit_channel){.log = t, .column = column, .quantum = test->log->quantum[column]};
        }
        bench->channels[channels[k]].count++;
        bench->readings[bench->reading_count++] = (struct sb_bench_reading){.test = t,
                                                                            .channel = channels[k],
                                                                            .column = column,
                                                                            .row = row,
                                                                            .value = test->log->columns[column][row],
                                                                            .repeats = 1.0};
      }
    }
    test->count = bench->reading_count - test->first;
  }
  for (int c = 0; c < bench->channel_count; c++) count_repeats(bench, c);
  return SB_OK;
}

/* ---- what is free ---- */

static void set_free(struct sb_bench *bench)
{
  const bool is_bare = bench->setup->model == NULL;
  bool has_dynamic = false, has_current = false;
  for (int t = 0; t < bench->test_count; t++) has_dynamic |= bench->tests[t].is_dynamic;
  for (int c = 0; c < bench->channel_count; c++) has_current |= bench->channels[c].column == SB_LOG_MOTOR_CURRENT;
  for (int j = 0; j < SB_FIT_PARAMETER_COUNT; j++) bench->is_free[j] = bench->setup->is_fitted[j];
  if (is_bare) {
    for (int j = 0; j < SB_FIT_PARAMETER_COUNT; j++) bench->is_free[j] = true;
    bench->is_free[SB_FIT_P_MESH_EFFICIENCY] = bench->is_free[SB_FIT_P_LOAD_FRICTION] = false;
    bench->is_free[SB_FIT_P_LOAD_INERTIA] = false;
    bench->is_free[SB_FIT_P_STALL_CURRENT] = has_current;
  }
  for (size_t k = 0; k < bench->known_count; k++) {
    const enum sb_fit_figure_kind kind = bench->setup->known[k].kind;
    has_current |= kind == SB_FIT_STALL_CURRENT || kind == SB_FIT_RESISTANCE;
  }
  if (is_bare) bench->is_free[SB_FIT_P_STALL_CURRENT] = has_current;
  bench->has_currents = has_current || (!is_bare && bench->setup->model->motor.has_currents);
  /* What is known exactly is not sought. */
  static const struct {
    enum sb_fit_figure_kind kind;
    enum sb_fit_parameter parameter;
  } same[] = {{SB_FIT_NO_LOAD_SPEED, SB_FIT_P_NO_LOAD_SPEED},     {SB_FIT_STALL_TORQUE, SB_FIT_P_STALL_TORQUE},
              {SB_FIT_STALL_CURRENT, SB_FIT_P_STALL_CURRENT},     {SB_FIT_ROTOR_INERTIA, SB_FIT_P_ROTOR_INERTIA},
              {SB_FIT_MESH_EFFICIENCY, SB_FIT_P_MESH_EFFICIENCY}, {SB_FIT_LOAD_INERTIA, SB_FIT_P_LOAD_INERTIA},
              {SB_FIT_MOTOR_VISCOUS, SB_FIT_P_VISCOUS},           {SB_FIT_LOAD_VISCOUS, SB_FIT_P_VISCOUS},
              {SB_FIT_LOAD_FRICTION, SB_FIT_P_LOAD_FRICTION}};
  for (size_t k = 0; k < bench->known_count; k++) {
    const struct sb_fit_known *known = &bench->setup->known[k];
    for (size_t s = 0; s < sizeof same / sizeof *same; s++) {
      if (same[s].kind == known->kind && known->least == known->greatest) bench->is_free[same[s].parameter] = false;
    }
  }
  if (!has_dynamic) bench->is_free[SB_FIT_P_ROTOR_INERTIA] = bench->is_free[SB_FIT_P_LOAD_INERTIA] = false;
}

/* Median of what was measured while the drive was on. */
static double usual_voltage(const struct sb_log *logs, size_t count)
{
  for (size_t k = 0; k < count; k++) {
    const double *voltages = logs[k].columns[SB_LOG_SUPPLY_VOLTAGE];
    if (voltages == NULL) continue;
    double greatest = 0.0;
    for (size_t i = 0; i < logs[k].count; i++) greatest = fmax(greatest, voltages[i]);
    double *on = calloc(logs[k].count + 1, sizeof *on);
    size_t n = 0;
    if (on == NULL) {
      sb_shortage_note();
      return NAN;
    }
    for (size_t i = 0; i < logs[k].count; i++) {
      if (voltages[i] > 0.5 * greatest) on[n++] = voltages[i];
    }
    const double median = n > 0 ? gsl_stats_median(on, 1, n) : (double)NAN;
    free(on);
    if (n > 0) return median;
  }
  return NAN;
}

static void set_voltage(struct sb_bench *bench, const struct sb_log *logs, size_t count)
{
  const struct sb_fit_setup *setup = bench->setup;
  /* A scenario has its motor's own nominal voltage: what is given then is the voltage of the logs. */
  double voltage_v = setup->model != NULL ? setup->model->motor.nominal_voltage_v : setup->nominal_voltage_v;
  if (!(voltage_v > 0.0)) voltage_v = usual_voltage(logs, count);
  bench->is_voltage_known = voltage_v > 0.0;
  bench->nominal_voltage_v = bench->is_voltage_known ? voltage_v : 1.0;
  bench->fed_voltage_v = bench->nominal_voltage_v;
  if (setup->model == NULL) return;
  const double supply_v = setup->model->supply.open_circuit_voltage_v * setup->model->drive.limit_fraction;
  bench->fed_voltage_v = setup->nominal_voltage_v > 0.0 ? setup->nominal_voltage_v : supply_v;
}

/* A load that changes by itself cannot be told from friction, and a body gives friction and inertia together. */
static enum sb_status check_load(const struct sb_fit_setup *setup, struct sb_error *err)
{
  if (setup->model != NULL && setup->model->body_count > 0) {
    return sb_fail(err, SB_ERR_SCENARIO,
                   "load.bodies: needs a load of inertia and parts on the bench, found a %s; give what the bench "
                   "turned with --set 'load={inertia: 0.01 kg.m2}', and leave out what belongs to the %s",
                   setup->model->bodies[0].ops->name, setup->model->bodies[0].ops->name);
  }
  for (int k = 0; setup->model != NULL && k < setup->model->load.part_count; k++) {
    const struct sb_load_ops *ops = setup->model->load.parts[k].ops;
    if (ops == sb_load_kind_find("constant") || ops == sb_load_kind_find("viscous")) continue;
    return sb_fail(
        err, SB_ERR_SCENARIO,
        "load.parts.%d: needs a constant or viscous part on the bench, found %s; log without it, and leave it out with "
        "--set 'load.parts=[]'",
        k + 1, ops->name);
  }
  return SB_OK;
}

enum sb_status sb_bench_init(struct sb_bench *bench, const struct sb_fit_setup *setup, const struct sb_log *logs,
                             size_t count, struct sb_error *err)
{
  *bench = (struct sb_bench){.setup = setup, .known_count = setup->known_count};
  for (int g = 0; g < SB_FIT_GAUGE_COUNT; g++) bench->gains[g] = 1.0;
  set_voltage(bench, logs, count);
  if (setup->model != NULL) bench->current_limit_a = setup->model->supply.current_limit_a;
  enum sb_status status = check_load(setup, err);
  for (size_t k = 0; k < count && status == SB_OK; k++) {
    struct sb_bench_test *test = &bench->tests[bench->test_count++];
    test->log = &logs[k];
    status = plan_test(bench, test, (int)k, err);
  }
  if (status == SB_OK) status = take_readings(bench, err);
  if (status == SB_OK) set_free(bench);
  return status;
}

void sb_bench_clear(struct sb_bench *bench)
{
  for (int t = 0; t < bench->test_count; t++) free(bench->tests[t].spans);
  free(bench->readings);
  bench->readings = NULL;
  bench->test_count = 0;
}
