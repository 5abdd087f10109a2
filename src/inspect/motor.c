// SPDX-License-Identifier: GPL-3.0-or-later
/* Shifts from the motor's speed alone; see inspect.h. */
#include <gsl/gsl_sort_double.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/constants.h"
#include "inspect/gear_track.h"
#include "shiftband/model.h"

/* All of neutral and engagement happens within this time, s. */
static const double sharp_s = 0.4;

/* After a shift the speed has found its new course within this time, s. */
static const double settle_s = 0.5;

/* Each direction of the motor must be there for this fraction of the log to be a gear's, and faster than this fraction of the
 * greatest speed: a sensor that reads a little below nothing at rest makes no gear. */
static const double least_direction = 0.01, least_turning = 0.05;

/* A jump without a way through neutral: as a logarithm at least this, at most the greatest step of ratios and a little
 * more (the motor's own inertia makes it smaller), and so many times what the speed does just before and after. */
static const double step_least = 0.08, step_reach = 0.15, sharp_times = 2.0;

/* Speeds at which shifts begin lie in two groups, below down and above up, when they spread by this fraction. */
static const double spread_least = 0.12;

/* A speed this far beyond a threshold, as a fraction of the reference, can have led to the command: delays and noise. */
static const double level_reach = 0.05;

/* One time at which the speed left its course. */
struct event {
  size_t first, last; /* values before it begins and after it ended */
  double before, after, settled;
  double sharpest; /* greatest change between two values, signed */
  bool is_excursion, is_sharp;
  bool is_told;  /* its own jump tells the direction */
  double weight; /* of the evidence, for choosing between two */
  int direction; /* -1: to a lower gear */
};

static enum sb_status find_quantile(const double *values, size_t count, double share, double *value)
{
  double *copy = malloc(count * sizeof *copy);
  if (copy == NULL) return SB_ERR_MEMORY;
  memcpy(copy, values, count * sizeof *copy);
  *value = sb_series_quantile(copy, count, share);
  free(copy);
  return SB_OK;
}

/* Change from value i to the next, in the time of interval_s when it took longer. */
static double change(const struct sb_series *series, size_t i, double interval_s)
{
  const double time_s = series->time_s[i + 1] - series->time_s[i];
  return (series->a[i + 1] - series->a[i]) * (time_s > interval_s ? interval_s / time_s : 1.0);
}

/* Whether the change behind value i stands out from its neighbours. */
static bool is_sharp_at(const struct sb_series *series, size_t i, double jump, double interval_s)
{
  double beside = 0.5 * jump;
  if (i > 0) beside = fmax(beside, fabs(change(series, i - 1, interval_s)));
  if (i + 2 < series->count) beside = fmax(beside, fabs(change(series, i + 1, interval_s)));
  return fabs(series->a[i + 1] - series->a[i]) >= sharp_times * beside;
}

/* The event that begins with the jump behind value i. */
static struct event look_at(const struct sb_series *series, size_t i, double jump, double interval_s)
{
  const double *x = series->a, *t = series->time_s;
  struct event event = {.first = i, .last = i + 1, .sharpest = x[i + 1] - x[i]};
  double least = fmin(x[i], x[i + 1]), greatest = fmax(x[i], x[i + 1]), low = least, high = greatest;
  event.is_sharp = is_sharp_at(series, i, jump, interval_s);
  for (size_t k = i + 1; k + 1 < series->count && t[k] - t[i] <= sharp_s; k++) {
    low = fmin(low, x[k + 1]);
    high = fmax(high, x[k + 1]);
    if (fabs(change(series, k, interval_s)) <= jump) continue;
    event.last = k + 1;
    event.is_sharp |= is_sharp_at(series, k, jump, interval_s);
    if (fabs(x[k + 1] - x[k]) > fabs(event.sharpest)) event.sharpest = x[k + 1] - x[k];
    least = low;
    greatest = high;
  }
  size_t settled = event.last;
  while (settled + 1 < series->count && t[settled + 1] - t[event.last] <= settle_s) settled++;
  event.before = sb_series_median(x, series->count, (long)i - 2, (long)i);
  event.after = sb_series_median(x, series->count, (long)event.last, (long)event.last + 2);
  event.settled = sb_series_median(x, series->count, (long)(event.last + settled) / 2, (long)settled);
  const double floor_of = fmin(event.before, event.settled), roof = fmax(event.before, event.settled);
  const double margin = fmax(2.0 * jump, 0.15 * floor_of);
  event.is_excursion = least < floor_of - margin || greatest > roof + margin;
  event.weight = event.is_excursion ? fmax(floor_of - least, greatest - roof) : fabs(event.sharpest);
  /* Joining jumps towards the new gear's speed; a way through rest and back tells nothing of the kind. */
  event.is_told = event.is_sharp && least > 0.6 * floor_of;
  event.direction = (event.is_told ? event.sharpest : event.settled - event.before) >= 0.0 ? -1 : 1;
  return event;
}

/* Whether the scenario's thresholds allow a shift from the event's speed; where they allow one direction, it is that one. */
static bool is_commanded(struct event *event, const struct sb_model *model, double unit_per_reference)
{
  if (model == NULL || model->control.sensor.quantity != SB_SENSES_SPEED) return true;
  const double level = event->before / unit_per_reference;
  bool may_be_down = false, may_be_up = false;
  for (int p = 0; p + 1 < model->gearbox.gear_count; p++) {
    may_be_down |= level <= model->control.downshift_fraction[p] + level_reach;
    may_be_up |= level >= model->control.upshift_fraction[p] - level_reach;
  }
  if (may_be_down != may_be_up) event->direction = may_be_down ? -1 : 1;
  event->is_told |= may_be_down != may_be_up;
  return may_be_down || may_be_up;
}

/* Whether an event can be a shift. */
static bool is_shift(const struct event *event, double rest, const struct sb_inspect_options *options)
{
  /* Starting from rest is none. */
  if (!(event->before > 2.0 * rest && event->settled > 2.0 * rest)) return false;
  if (event->is_excursion) return true;
  const double step = fabs(log1p(fmax(event->sharpest / event->before, -0.99)));
  double greatest = options->ratio_count == 0 ? INFINITY : 0.0;
  for (int g = 0; g + 1 < options->ratio_count; g++) {
    greatest = fmax(greatest, log(options->ratios[g] / options->ratios[g + 1]));
  }
  return event->is_sharp && step >= step_least && step <= greatest + step_reach;
}

/*
 * A box with hysteresis leaves a higher gear at low speeds and a lower gear at high ones: where the speeds at which
 * shifts begin fall into two groups, the group tells the direction, whatever the load does meanwhile.
 */
static enum sb_status direct_by_level(struct event *events, size_t count)
{
  double *levels = malloc((count + 1) * sizeof *levels);
  if (levels == NULL) return SB_ERR_MEMORY;
  for (size_t i = 0; i < count; i++) levels[i] = events[i].before;
  gsl_sort(levels, 1, count);
  /* The split with the greatest variance between the groups. */
  double total = 0.0, below = 0.0, best = 0.0, middle = 0.0, apart = 0.0;
  for (size_t i = 0; i < count; i++) total += levels[i];
  for (size_t i = 1; i < count; i++) {
    below += levels[i - 1];
    const double n = (double)i, rest = (double)(count - i), distance = (total - below) / rest - below / n;
    if (n * rest * distance * distance <= best) continue;
    best = n * rest * distance * distance;
    middle = 0.5 * (levels[i] + levels[i - 1]);
    apart = distance;
  }
  const bool is_split = count > 1 && apart > spread_least * levels[count - 1];
  for (size_t i = 0; is_split && i < count; i++) {
    if (!events[i].is_told) events[i].direction = events[i].before < middle ? -1 : 1;
  }
  free(levels);
  return SB_OK;
}

/* In a box of two gears directions take turns: of two alike in a row the weaker is none. Returns the first gear. */
static int follow_events(struct event *events, size_t *count, int gear_count)
{
  for (size_t i = 1; gear_count == 2 && i < *count;) {
    if (events[i].direction != events[i - 1].direction) {
      i++;
      continue;
    }
    const size_t weaker = events[i].weight < events[i - 1].weight ? i : i - 1;
    memmove(&events[weaker], &events[weaker + 1], (*count - weaker - 1) * sizeof *events);
    (*count)--;
  }
  int level = 0, least = 0;
  for (size_t i = 0; i < *count; i++) {
    level += events[i].direction;
    if (level < least) least = level;
  }
  return 1 - least < gear_count ? 1 - least : gear_count;
}

static enum sb_status fill_track(const struct sb_series *series, const struct event *events, size_t count, int gear,
                                 int gear_count, struct sb_track *track)
{
  const enum sb_status status = sb_gear_track_new(series->count, series->time_s, track);
  if (status != SB_OK) return status;
  size_t next = 0;
  for (size_t i = 0; i < series->count; i++) {
    if (next < count && i > events[next].first) {
      const int is_past = i >= events[next].last;
      if (is_past) {
        gear += events[next++].direction;
        if (gear < 1) gear = 1;
        if (gear > gear_count) gear = gear_count;
      }
      track->gear[i] = is_past ? gear : 0;
    } else {
      track->gear[i] = gear;
    }
  }
  return SB_OK;
}

/* What counts as 100 % in a column's unit; NAN: not known. */
static double reference_of(const struct sb_model *model, enum sb_log_column column)
{
  if (model == NULL) return NAN;
  return column == SB_LOG_READING ? 100.0 : model->control.sensor.reference_rad_s / SB_RPM;
}

static enum sb_status by_jumps(const struct sb_log *log, enum sb_log_column column, double rest,
                               struct sb_series *series, const struct sb_inspect_options *options,
                               struct sb_inspection *out, struct sb_track *track)
{
  for (size_t i = 0; i < series->count; i++) series->a[i] = fabs(series->a[i]);
  double fast = 0.0;
  enum sb_status status = find_quantile(series->a, series->count, 0.98, &fast);
  if (status != SB_OK) return status;
  const double jump = fmax(6.0 * sb_log_noise(log, column), 0.03 * fast);
  out->gear_count = options->ratio_count > 0 ? options->ratio_count : 2;
  const double reference = reference_of(options->model, column);
  struct event *events = malloc((series->count + 1) * sizeof *events);
  if (events == NULL) return SB_ERR_MEMORY;
  size_t count = 0;
  for (size_t i = 3; i + 1 < series->count; i++) {
    if (fabs(change(series, i, out->interval_s)) <= jump) continue;
    struct event event = look_at(series, i, jump, out->interval_s);
    if (is_commanded(&event, options->model, reference) && is_shift(&event, rest, options)) events[count++] = event;
    i = event.last > i ? event.last - 1 : i;
  }
  status = direct_by_level(events, count);
  const int gear = follow_events(events, &count, out->gear_count);
  if (status == SB_OK) status = fill_track(series, events, count, gear, out->gear_count, track);
  free(events);
  return status;
}

/* Share of the values on either side that turn; the smaller one. */
static double smaller_direction(const struct sb_series *series, double rest)
{
  size_t forward = 0, reverse = 0;
  for (size_t i = 0; i < series->count; i++) rest = fmax(rest, least_turning * fabs(series->a[i]));
  for (size_t i = 0; i < series->count; i++) {
    forward += series->a[i] > rest;
    reverse += series->a[i] < -rest;
  }
  return (double)(forward < reverse ? forward : reverse) / fmax(1.0, (double)series->count);
}

/* The direction of the lower gear, +1 or -1: the one that is left at higher speeds, or, where only one is ever left, the one
 * in which the motor turns faster once it has settled. */
static int low_direction(const struct sb_series *series, const struct sb_track *track)
{
  double left[2] = {0.0, 0.0}, vote = 0.0; /* by direction: reverse, forward */
  int counts[2] = {0, 0}, direction = 0;
  size_t last = 0;
  for (size_t i = 0; i < track->count; i++) {
    if (track->gear[i] <= 0) continue;
    const int now = track->gear[i] == 1 ? 1 : -1;
    if (direction != 0 && now != direction) {
      size_t settled = i;
      while (settled + 1 < track->count && track->time_s[settled + 1] - track->time_s[i] <= settle_s &&
             track->gear[settled + 1] == track->gear[i]) {
        settled++;
      }
      double before = 0.0; /* the motor has slowed down by the last value in its old direction */
      for (size_t k = last + 1; k-- > 0 && k + 3 > last && track->gear[k] == track->gear[last];) {
        before = fmax(before, fabs(series->a[k]));
      }
      const double after = fabs(sb_series_median(series->a, series->count, (long)(i + settled) / 2, (long)settled));
      left[direction > 0] += before;
      counts[direction > 0]++;
      if (before > 0.0 && after > 0.0) vote += now * log(after / before);
    }
    direction = now;
    last = i;
  }
  if (counts[0] > 0 && counts[1] > 0) return left[1] / counts[1] >= left[0] / counts[0] ? 1 : -1;
  return vote >= 0.0 ? 1 : -1;
}

/* The direction of the lower of two gears where a model says it, else 0. */
static int known_low_direction(const struct sb_model *model)
{
  if (model == NULL || model->gearbox.gear_count != 2) return 0;
  const struct sb_gear *gears = model->gearbox.gears;
  return gears[0].motor_direction != gears[1].motor_direction ? gears[0].motor_direction : 0;
}

static enum sb_status by_direction(struct sb_series *series, double rest, const struct sb_model *model,
                                   struct sb_inspection *out, struct sb_track *track)
{
  enum sb_status status = fill_track(series, NULL, 0, 1, 2, track);
  if (status != SB_OK) return status;
  out->is_by_direction = true;
  out->gear_count = 2;
  for (size_t i = 0; i < series->count; i++) {
    track->gear[i] = series->a[i] > rest ? 1 : series->a[i] < -rest ? 2 : 0;
  }
  const int known = known_low_direction(model);
  if ((known != 0 ? known : low_direction(series, track)) > 0) return SB_OK;
  for (size_t i = 0; i < track->count; i++) {
    if (track->gear[i] > 0) track->gear[i] = 3 - track->gear[i];
  }
  return SB_OK;
}

/* With a model: by the most likely course beside the speeds. out->is_by_course stays false where none can be followed. */
static enum sb_status by_course(const struct sb_log *log, const struct sb_inspect_options *options,
                                struct sb_inspection *out, struct sb_track *track)
{
  struct sb_series series = {0};
  enum sb_status status = sb_series_take(log, SB_LOG_MOTOR_SPEED, -1, &series);
  for (size_t i = 0; status == SB_OK && i < series.count; i++) {
    series.a[i] *= SB_RPM;
    series.time_s[i] -= options->offset_s;
  }
  const double noise_rad_s = sb_log_noise(log, SB_LOG_MOTOR_SPEED) * SB_RPM;
  if (status == SB_OK) status = sb_courses_follow(&series, options->model, noise_rad_s, out, track);
  sb_series_clear(&series);
  if (status != SB_OK) return status;
  if (out->shifts == NULL) {
    sb_gear_track_clear(track);
    return SB_OK;
  }
  out->is_by_course = true;
  for (size_t i = 0; i < track->count; i++) track->time_s[i] += options->offset_s;
  for (size_t i = 0; i < out->shift_count; i++) {
    out->shifts[i].command_s += options->offset_s;
    out->shifts[i].engaged_s += options->offset_s;
  }
  out->gear_count = options->model->gearbox.gear_count;
  return SB_OK;
}

enum sb_status sb_gear_track_by_motor(const struct sb_log *log, const struct sb_inspect_options *options,
                                      struct sb_inspection *out, struct sb_track *track, struct sb_error *err)
{
  struct sb_series series = {0};
  out->is_reading = log->columns[SB_LOG_MOTOR_SPEED] == NULL;
  const enum sb_log_column column = out->is_reading ? SB_LOG_READING : SB_LOG_MOTOR_SPEED;
  enum sb_status status = sb_series_take(log, (int)column, -1, &series);
  if (status == SB_OK && series.count < 16) {
    const size_t found = series.count;
    sb_series_clear(&series);
    return sb_fail(err, SB_ERR_SCENARIO, "needs at least 16 values of %s, found %zu", sb_log_columns[column].name,
                   found);
  }
  out->may_hide_shifts = options->ratio_count != 1; /* one gear has none */
  if (status == SB_OK && options->model != NULL && !out->is_reading) status = by_course(log, options, out, track);
  if (status != SB_OK || out->is_by_course) {
    sb_series_clear(&series);
    return status;
  }
  const double rest = sb_inspect_rest_of(log, column, 0.0);
  const bool has_directions = smaller_direction(&series, rest) > least_direction;
  sb_series_smooth(series.a, series.count, 3);
  status = has_directions ? by_direction(&series, rest, options->model, out, track)
                          : by_jumps(log, column, rest, &series, options, out, track);
  sb_series_clear(&series);
  return status;
}
