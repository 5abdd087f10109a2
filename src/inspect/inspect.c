// SPDX-License-Identifier: GPL-3.0-or-later
/* From a track of gears to shifts, hunting and stalls; see inspect.h. */
#include "shiftband/inspect.h"

#include <math.h>
#include <stdlib.h>

#include "base/arena.h"
#include "inspect/gear_track.h"
#include "theory/torque_balance.h"

struct sb_inspect_options sb_inspect_options_default(void)
{
  return (struct sb_inspect_options){.hunt_window_s = 5.0, .stall_time_s = 0.5};
}

struct sb_inspect_options sb_inspect_options_of(const struct sb_model *model)
{
  struct sb_inspect_options options = sb_inspect_options_default();
  const struct sb_motor_line line = sb_torque_balance_line(model);
  const double tau_s = sb_torque_balance_time_constant_s(model, &line, 0);
  options.model = model;
  options.ratio_count = model->gearbox.gear_count;
  for (int g = 0; g < model->gearbox.gear_count; g++) options.ratios[g] = model->gearbox.gears[g].ratio;
  options.stall_time_s = model->limits.stall_time_s;
  /* The shift's own time is added shift by shift. */
  options.hunt_window_s =
      isnan(model->limits.hunt_window_s) ? 3.0 * model->control.dwell_s + 5.0 * tau_s : model->limits.hunt_window_s;
  return options;
}

enum sb_status sb_inspect_ratios_parse(const char *text, struct sb_inspect_options *options, struct sb_error *err)
{
  struct sb_inspect_options out = *options;
  out.ratio_count = 0;
  for (const char *at = text;; at++) {
    double ratio;
    at = sb_units_parse_number(at, &ratio);
    const bool is_fit = at != NULL && (*at == ',' || *at == 0) && ratio > 0.0 && out.ratio_count < SB_GEAR_MAX &&
                        (out.ratio_count == 0 || ratio < out.ratios[out.ratio_count - 1]);
    if (!is_fit) {
      return sb_fail(err, SB_ERR_USAGE, "--ratios needs up to %d numbers, each less than the one before, found \"%s\"",
                     SB_GEAR_MAX, text);
    }
    out.ratios[out.ratio_count++] = ratio;
    if (*at == 0) break;
  }
  *options = out;
  return SB_OK;
}

bool sb_inspect_is_undecided(const struct sb_inspection *inspection)
{
  return (inspection->may_hide_shifts || inspection->unjudged_count > 0) && inspection->hunt_count == 0;
}

void sb_inspect_clear(struct sb_inspection *inspection)
{
  free(inspection->shifts);
  free(inspection->hunts);
  free(inspection->rests);
  inspection->shifts = NULL;
  inspection->hunts = NULL;
  inspection->rests = NULL;
  inspection->shift_count = inspection->hunt_count = inspection->rest_count = 0;
}

static enum sb_status add_shift(struct sb_inspection *out, struct sb_inspect_shift shift)
{
  if (!sb_grow(&out->shifts, &out->shift_room, out->shift_count, sizeof *out->shifts)) return SB_ERR_MEMORY;
  out->shifts[out->shift_count++] = shift;
  return SB_OK;
}

/* A shift is a change from one gear to another, whatever lies between; time in gears adds up on the way. */
static enum sb_status follow_track(const struct sb_track *track, struct sb_inspection *out)
{
  enum sb_status status = SB_OK;
  int gear = 0;
  double last_s = NAN;
  for (size_t i = 0; i < track->count && status == SB_OK; i++) {
    const int now = track->gear[i];
    if (i > 0) {
      const int held = track->gear[i - 1] >= 0 ? track->gear[i - 1] : gear;
      out->gear_time_s[held] += track->time_s[i] - track->time_s[i - 1];
    }
    if (now > 0 && gear > 0 && now != gear && !out->is_by_course) {
      status = add_shift(out, (struct sb_inspect_shift){last_s, track->time_s[i], gear, now});
    }
    if (now > 0) {
      gear = now;
      last_s = track->time_s[i];
      if (gear > out->gear_count) out->gear_count = gear;
    }
  }
  return status;
}

static bool is_back(const struct sb_inspect_shift *last, const struct sb_inspect_shift *now)
{
  return last->from == now->to && last->to == now->from;
}

static bool is_soon_back(const struct sb_inspect_shift *last, const struct sb_inspect_shift *now, double window_s)
{
  return is_back(last, now) && now->command_s - last->command_s <= window_s + (last->engaged_s - last->command_s);
}

/* Chains of opposite shifts, each soon after the last. */
static enum sb_status find_hunting(struct sb_inspection *out, double window_s)
{
  struct sb_inspect_hunt hunt = {.count = 0};
  bool is_kept = true;
  for (size_t i = 0; i < out->shift_count && is_kept; i++) {
    const struct sb_inspect_shift *now = &out->shifts[i];
    if (i == 0 || !is_soon_back(&out->shifts[i - 1], now, window_s)) {
      is_kept = sb_inspect_add_hunt(out, &hunt);
      hunt = (struct sb_inspect_hunt){.first_s = now->command_s,
                                      .first = i,
                                      .least_nm = NAN,
                                      .greatest_nm = NAN,
                                      .window_s = window_s,
                                      .slower_gear = now->from < now->to ? now->from : now->to};
    }
    if (hunt.count >= 2) {
      hunt.period_s += now->command_s - out->shifts[i - 2].command_s;
      hunt.period_count++;
    }
    hunt.count++;
    hunt.last_s = now->command_s;
  }
  return is_kept && sb_inspect_add_hunt(out, &hunt) ? SB_OK : SB_ERR_MEMORY;
}

/* Three opposite shifts that the load did not ask for are hunting, however slow: without the loads nobody can say. */
static void find_unjudged(struct sb_inspection *out, double window_s)
{
  const struct sb_inspect_shift *shifts = out->shifts;
  for (size_t i = 2; i < out->shift_count && !out->has_loads; i++) {
    if (!is_back(&shifts[i - 2], &shifts[i - 1]) || !is_back(&shifts[i - 1], &shifts[i])) continue;
    if (is_soon_back(&shifts[i - 2], &shifts[i - 1], window_s) && is_soon_back(&shifts[i - 1], &shifts[i], window_s)) {
      continue;
    }
    if (out->unjudged_count++ == 0) out->unjudged_s = shifts[i - 2].command_s;
  }
}

/* Shortest time from one shift to the next. */
static double least_pause(const struct sb_inspection *found)
{
  double least_s = NAN;
  for (size_t i = 1; i < found->shift_count; i++) {
    least_s = fmin(least_s, found->shifts[i].command_s - found->shifts[i - 1].command_s);
  }
  return least_s;
}

/* The gear of the track at a time, 0: not known. */
static int gear_at(const struct sb_track *track, double time_s)
{
  size_t low = 0, high = track->count;
  while (low < high) {
    const size_t middle = (low + high) / 2;
    if (track->time_s[middle] <= time_s) {
      low = middle + 1;
    } else {
      high = middle;
    }
  }
  while (low > 0 && track->gear[low - 1] < 0) low--;
  return low > 0 ? track->gear[low - 1] : 0;
}

static enum sb_status add_rest(struct sb_inspection *out, double from_s, double to_s, int gear, double stall_time_s)
{
  if (!(to_s - from_s > stall_time_s)) return SB_OK;
  if (!sb_grow(&out->rests, &out->rest_room, out->rest_count, sizeof *out->rests)) return SB_ERR_MEMORY;
  out->rests[out->rest_count++] = (struct sb_inspect_rest){from_s, to_s, stall_time_s, gear};
  return SB_OK;
}

/* Whether the log says, at the row nearest before, that the drive is off or the box in neutral. */
struct excuse {
  const struct sb_log *log;
  size_t row;
  bool is_off, is_neutral;
};

static bool is_excused(struct excuse *excuse, double time_s)
{
  const struct sb_log *log = excuse->log;
  const double *drive = log->columns[SB_LOG_DUTY], *gear = log->columns[SB_LOG_GEAR];
  for (; excuse->row < log->count && log->time_s[excuse->row] <= time_s; excuse->row++) {
    if (drive != NULL && isfinite(drive[excuse->row])) excuse->is_off = drive[excuse->row] == 0.0;
    if (gear != NULL && isfinite(gear[excuse->row])) excuse->is_neutral = gear[excuse->row] == 0.0;
  }
  return excuse->is_off || excuse->is_neutral;
}

static enum sb_status find_rests(const struct sb_log *log, const struct sb_inspect_options *options,
                                 const struct sb_track *track, struct sb_inspection *out)
{
  const bool has_output = log->columns[SB_LOG_OUTPUT_SPEED] != NULL;
  const enum sb_log_column column = has_output                                 ? SB_LOG_OUTPUT_SPEED
                                    : log->columns[SB_LOG_MOTOR_SPEED] != NULL ? SB_LOG_MOTOR_SPEED
                                                                               : SB_LOG_READING;
  struct sb_series series = {0};
  if (log->columns[column] == NULL) return SB_OK;
  enum sb_status status = sb_series_take(log, (int)column, -1, &series);
  if (status == SB_OK) sb_series_smooth(series.a, series.count, SB_INSPECT_SMOOTH);
  const double rest = sb_inspect_rest_of(log, column, options->rest_rpm);
  struct excuse excuse = {.log = log};
  double since_s = NAN;
  for (size_t i = 0; status == SB_OK && i < series.count; i++) {
    const bool is_resting = fabs(series.a[i]) < rest && !is_excused(&excuse, series.time_s[i]);
    if (is_resting && isnan(since_s)) since_s = series.time_s[i];
    if (is_resting || isnan(since_s)) continue;
    status = add_rest(out, since_s, series.time_s[i], gear_at(track, since_s), options->stall_time_s);
    since_s = NAN;
  }
  if (status == SB_OK && !isnan(since_s)) {
    status = add_rest(out, since_s, series.time_s[series.count - 1], gear_at(track, since_s), options->stall_time_s);
  }
  sb_series_clear(&series);
  return status;
}

/* Gaps in what the source needs. */
static void count_gaps(const struct sb_log *log, const struct sb_track *track, struct sb_inspection *out)
{
  size_t known = 0;
  double last_s = out->begin_s;
  for (size_t i = 0; i <= track->count; i++) {
    const bool is_end = i == track->count;
    if (!is_end && out->source == SB_INSPECT_GEAR && track->gear[i] < 0) continue;
    const double now_s = is_end ? out->end_s : track->time_s[i];
    if (now_s - last_s > 5.0 * out->interval_s) {
      out->gap_count++;
      if (now_s - last_s > out->longest_gap_s) {
        out->longest_gap_s = now_s - last_s;
        out->longest_gap_at_s = last_s;
      }
    }
    known += !is_end;
    last_s = now_s;
  }
  out->missing_fraction = 1.0 - (double)known / (double)log->count;
}

/* The best source that the columns allow. */
static enum sb_inspect_source best_source(const struct sb_log *log)
{
  if (log->columns[SB_LOG_GEAR] != NULL) return SB_INSPECT_GEAR;
  if (log->columns[SB_LOG_MOTOR_SPEED] != NULL && log->columns[SB_LOG_OUTPUT_SPEED] != NULL) return SB_INSPECT_RATIO;
  return SB_INSPECT_MOTOR;
}

static enum sb_status check_columns(const struct sb_log *log, enum sb_inspect_source source, struct sb_error *err)
{
  const bool has_motor = log->columns[SB_LOG_MOTOR_SPEED] != NULL;
  const char *needs = NULL;
  if (source == SB_INSPECT_GEAR && log->columns[SB_LOG_GEAR] == NULL) needs = "a column gear";
  if (source == SB_INSPECT_RATIO && !(has_motor && log->columns[SB_LOG_OUTPUT_SPEED] != NULL)) {
    needs = "columns motor_speed_rpm and output_speed_rpm";
  }
  if (source == SB_INSPECT_MOTOR && !has_motor && log->columns[SB_LOG_READING] == NULL) {
    needs = "a column gear, or motor_speed_rpm and output_speed_rpm, or motor_speed_rpm or reading_pct alone";
  }
  if (needs == NULL) return SB_OK;
  return sb_fail(err, SB_ERR_SCENARIO, "needs %s; found %s", needs,
                 log->header[0] != 0 ? log->header : "none of these");
}

static enum sb_status make_track(const struct sb_log *log, const struct sb_inspect_options *options,
                                 struct sb_inspection *out, struct sb_track *track, struct sb_error *err)
{
  switch (out->source) {
    case SB_INSPECT_GEAR: return sb_gear_track_by_gear(log, track);
    case SB_INSPECT_RATIO: return sb_gear_track_by_ratio(log, options, out, track, err);
    default: return sb_gear_track_by_motor(log, options, out, track, err);
  }
}

enum sb_status sb_inspect(const struct sb_log *log, const struct sb_inspect_options *options, struct sb_inspection *out,
                          struct sb_error *err)
{
  struct sb_track track = {0};
  struct sb_error inner = {SB_OK, ""};
  *out = (struct sb_inspection){.source = options->source == SB_INSPECT_BEST ? best_source(log) : options->source,
                                .interval_s = sb_log_interval_s(log),
                                .unjudged_s = NAN,
                                .begin_s = log->time_s[0],
                                .end_s = log->time_s[log->count - 1]};
  enum sb_status status = check_columns(log, out->source, &inner);
  const bool has_motor = log->columns[SB_LOG_MOTOR_SPEED] != NULL;
  out->is_reading_noise = !has_motor;
  out->noise_rpm = sb_log_noise(log, has_motor ? SB_LOG_MOTOR_SPEED : SB_LOG_READING);
  if (status == SB_OK) status = make_track(log, options, out, &track, &inner);
  if (status == SB_OK) status = follow_track(&track, out);
  if (status == SB_OK) out->least_pause_s = least_pause(out);
  if (status == SB_OK) status = find_hunting(out, options->hunt_window_s);
  if (status == SB_OK && options->model != NULL) status = sb_inspect_find_causes(log, options, out);
  if (status == SB_OK) find_unjudged(out, options->hunt_window_s);
  if (status == SB_OK) status = find_rests(log, options, &track, out);
  if (status == SB_OK) count_gaps(log, &track, out);
  sb_gear_track_clear(&track);
  if (status == SB_OK) return SB_OK;
  sb_inspect_clear(out);
  return sb_fail(err, status, "%s", inner.text[0] != 0 ? inner.text : sb_status_text(status));
}
