// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * A path is followed along its track sample by sample. At each sample the reading is held against the one end of the
 * rectangle that would shift first; the part that shifts goes on as a path of its own, the rest goes on along the track.
 * What verdicts need is kept as the monitor of a run keeps it (src/run/monitor.c), but for all thresholds at once.
 */
#include "map/path.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "map/low.h"

struct range {
  double least, greatest;
};

/* A path that waits to be followed: it begins with a command, or with the start. */
struct task {
  struct sb_rect rect;
  struct sb_findings findings; /* up to the command */
  int track;
  int first_decision;    /* sample from which decisions are taken */
  int gear;              /* index, of this track */
  struct sb_chain chain; /* of opposite commands */
  int last_from;         /* gear before the last command, -1: no command yet */
  double last_command_s;
  double slip_since_s; /* NAN: the wheels gripped at the command */
  struct sb_clutch_share clutch_share;
};

struct tasks {
  struct task *items;
  size_t count, room;
};

/* Where a path stands on its tracks, and what it has gathered. */
struct walk {
  struct sb_plane *plane;
  struct task task; /* its rectangle shrinks, its findings grow */
  int track, sample;
  const struct sb_spot *spot;       /* of this sample, until the track is made longer */
  struct sb_spot join;              /* to point to where tracks meet */
  const struct sb_track_part *part; /* that ends with this sample, likewise; NULL: none */
  struct sb_track_part join_part;
  int spot_track;           /* that the path came along from the sample before */
  double engaged_s;         /* NAN: not yet */
  double seen_s;            /* time of the last row */
  bool is_finished;         /* at the end of its road */
  bool is_excused;          /* the drive was off, or turned over, before it engaged */
  double rest_since_s;      /* NAN: moving */
  double slip_since_s;      /* NAN: gripping */
  double clutch_since_s;    /* NAN: an engaged clutch has no more to transmit than it can */
  double off_since_s;       /* NAN: the drive does not stand still by order or by a switch */
  int below_run, above_run; /* readings in a row beyond the far end of the rectangle */
};

/* How much of the lattice is known already. */
struct known {
  size_t leaf_count; /* leaves that were counted */
  long done, total;  /* points */
};

/* Scratch of all walks, of which there is one at a time. */
struct scratch {
  struct sb_low low;
  /* recent[debounce_samples]: rings of the last readings on this path, for downshifts and upshifts; NULL without a debounce count. */
  int32_t *recent[2];
  struct tasks tasks;
};

static enum sb_status push_task(struct tasks *tasks, const struct task *task, struct sb_error *err)
{
  if (!sb_grow(&tasks->items, &tasks->room, tasks->count, sizeof *tasks->items)) {
    return sb_fail(err, SB_ERR_MEMORY, "out of memory for the paths of a map");
  }
  tasks->items[tasks->count++] = *task;
  return SB_OK;
}

static enum sb_status push_leaf(struct sb_leaves *leaves, const struct sb_leaf *leaf, size_t leaf_max,
                                struct sb_error *err)
{
  if (leaves->count >= leaf_max) {
    return sb_fail(err, SB_ERR_NUMERICS,
                   "the map has more than %zu rectangles; a coarser threshold step or a rounded "
                   "reading makes it smaller",
                   leaf_max);
  }
  if (!sb_grow(&leaves->items, &leaves->room, leaves->count, sizeof *leaves->items)) {
    return sb_fail(err, SB_ERR_MEMORY, "out of memory for the rectangles of a map");
  }
  leaves->items[leaves->count++] = *leaf;
  return SB_OK;
}

/* A number of samples to wait; all beyond the run are one. */
static int whole_samples(const struct sb_plane *plane, double samples)
{
  return (int)fmin(samples, plane->tracks.end_sample);
}

/* How many points of a rectangle are wanted. */
static int wanted_points(const struct sb_map_options *options, const struct sb_rect *rect)
{
  const size_t width = (size_t)options->upshift.count + 1, left = (size_t)rect->upshift_first,
               right = (size_t)rect->upshift_last + 1;
  const int *low = options->wanted + (size_t)rect->downshift_first * width;
  const int *high = options->wanted + ((size_t)rect->downshift_last + 1) * width;
  return high[right] - high[left] - low[right] + low[left];
}

static bool has_point(const struct sb_plane *plane, const struct sb_rect *rect)
{
  if (rect->downshift_first > rect->downshift_last || rect->upshift_first > rect->upshift_last) return false;
  if (plane->options.wanted != NULL && wanted_points(&plane->options, rect) == 0) return false;
  return sb_map_axis_at(&plane->options.downshift, rect->downshift_first) <
         sb_map_axis_at(&plane->options.upshift, rect->upshift_last);
}

static int32_t passed_from(const struct walk *walk);

/* Goes to the present sample, which is made known when it is not. Where two tracks meet, the sample itself still shows
 * what the path came along. */
static enum sb_status reach(struct walk *walk, struct sb_error *err)
{
  struct sb_tracks *tracks = &walk->plane->tracks;
  for (;;) {
    const struct sb_track *track = &tracks->items[walk->track];
    walk->spot_track = walk->track;
    if (sb_track_knows(track, walk->sample)) {
      struct sb_spot *spot = sb_track_spot(track, walk->sample);
      if (spot->flags & SB_SPOT_CLOSED) {
        const enum sb_status status = sb_map_tracks_open(tracks, walk->track, walk->sample, err);
        if (status != SB_OK) return status;
      }
      walk->spot = spot;
      walk->part = sb_map_tracks_part_at(tracks, track, walk->sample);
      return SB_OK;
    }
    if (track->next >= 0 && sb_map_tracks_follow_next(tracks, walk->track)) {
      walk->join = track->join;
      walk->join_part = *sb_map_tracks_part_at(tracks, track, walk->sample);
      walk->spot = &walk->join;
      walk->part = &walk->join_part;
      walk->track = track->next;
      return SB_OK;
    }
    sb_map_tracks_ask_torque(tracks, walk->task.findings.figures.greatest_torque_nm);
    const enum sb_status status = sb_map_tracks_extend_calmly(tracks, walk->track, passed_from(walk), err);
    if (status != SB_OK) return status;
  }
}

/* Verdicts on the way -------------------------------------------------------------------------------------------------- */

static void find(struct walk *walk, enum sb_verdict_kind kind)
{
  walk->task.findings.kinds |= 1U << kind;
}

/* A state that is a verdict when it lasts, in one go, longer than a time; *since_s: NAN while it is not. */
static void watch_state(struct walk *walk, double *since_s, double time_s, bool is_on, double patience_s,
                        enum sb_verdict_kind kind)
{
  if (isnan(*since_s)) {
    if (is_on) *since_s = time_s;
    return;
  }
  if (time_s - *since_s > patience_s) find(walk, kind);
  if (!is_on) *since_s = NAN;
}

/* Whether the stay in this gear can be stuck low. */
static bool is_low_watched(const struct walk *walk)
{
  return walk->task.gear + 1 < walk->plane->setup.gear_count;
}

/* The least and the greatest downshift torque of the rectangle. */
static struct range downshift_range(const struct walk *walk)
{
  const struct sb_plane *plane = walk->plane;
  const struct sb_rect *rect = &walk->task.rect;
  const double *nm = plane->downshift_nm;
  struct range range = {nm[rect->downshift_first], nm[rect->downshift_first]};
  for (int i = rect->downshift_first + 1; i <= rect->downshift_last; i++) {
    range.least = fmin(range.least, nm[i]);
    range.greatest = fmax(range.greatest, nm[i]);
  }
  return range;
}

static void begin_low(struct walk *walk, struct sb_low *low)
{
  const struct sb_plane *plane = walk->plane;
  const int pair = walk->task.gear;
  if (!is_low_watched(walk)) return;
  const bool is_mapped = pair == plane->options.pair;
  const double fixed_nm = plane->monitor.bands[pair].downshift_nm;
  const struct range range = is_mapped ? downshift_range(walk) : (struct range){fixed_nm, fixed_nm};
  sb_low_begin(low, plane->model->control.dwell_s + 5.0 * plane->monitor.tau_s[pair], range.greatest, range.least);
}

/* Takes the stay so far into the findings of the path, or of one that parts from it. */
static void conclude_low(const struct walk *walk, const struct sb_low *low, struct sb_findings *findings)
{
  const struct sb_plane *plane = walk->plane;
  if (!is_low_watched(walk) || isnan(walk->engaged_s) || !isfinite(low->critical_nm)) return;
  if (walk->task.gear == plane->options.pair) {
    findings->low_nm = fmin(findings->low_nm, low->critical_nm);
  } else if (low->critical_nm < plane->monitor.bands[walk->task.gear].downshift_nm) {
    findings->kinds |= 1U << SB_VERDICT_STUCK_LOW;
  }
}

/* A shift that took too long, unless the drive was off, or turned over, meanwhile. */
static void check_engaged_in_time(struct walk *walk, double time_s)
{
  if (walk->is_excused || time_s - walk->task.last_command_s <= walk->plane->model->shifter.timeout_s) return;
  find(walk, SB_VERDICT_NOT_ENGAGED);
}

/* A gear that turns the output against the others. */
static void watch_direction(struct walk *walk)
{
  if (sb_gearbox_is_reversed(&walk->plane->model->gearbox, walk->task.gear)) find(walk, SB_VERDICT_REVERSED);
}

static void watch_engagement(struct walk *walk, struct sb_low *low, double time_s, bool is_engaged)
{
  walk->seen_s = time_s;
  if (!isnan(walk->engaged_s) || !is_engaged) return;
  check_engaged_in_time(walk, time_s);
  watch_direction(walk);
  walk->engaged_s = time_s;
  begin_low(walk, low);
}

static double hunt_window_s(const struct walk *walk)
{
  const struct sb_plane *plane = walk->plane;
  const struct task *task = &walk->task;
  const int slower = task->gear < task->last_from ? task->gear : task->last_from;
  const double shift_s = isnan(walk->engaged_s) ? 0.0 : walk->engaged_s - task->last_command_s;
  return sb_monitor_hunt_window_s(plane->model, plane->monitor.tau_s, slower, shift_s);
}

/* The drive was cut, came back or took another command. */
static void watch_switch(struct walk *walk, double time_s, bool is_on)
{
  struct task *task = &walk->task;
  if (isnan(walk->engaged_s)) walk->is_excused = true;
  if (!is_on) {
    if (isnan(walk->off_since_s)) walk->off_since_s = time_s;
    return;
  }
  const bool has_stopped = task->last_from >= 0 && !isnan(walk->off_since_s);
  if (has_stopped && time_s - walk->off_since_s > hunt_window_s(walk)) task->chain.is_parted = 1;
  walk->off_since_s = NAN;
}

/* A row, as the monitor is told of it. */
static enum sb_status watch_row(struct walk *walk, struct sb_low *low, const struct sb_track_row *row,
                                struct sb_error *err)
{
  if (row->is_switched) watch_switch(walk, row->time_s, row->is_on);
  watch_engagement(walk, low, row->time_s, row->is_engaged);
  const struct sb_limits *limits = &walk->plane->model->limits;
  watch_state(walk, &walk->rest_since_s, row->time_s, row->is_resting, limits->stall_time_s, SB_VERDICT_STALL);
  watch_state(walk, &walk->slip_since_s, row->time_s, row->is_slipping, limits->slip_time_s, SB_VERDICT_SLIPPING);
  watch_state(walk, &walk->clutch_since_s, row->time_s, row->is_clutch_slipping,
              sb_model_clutch_slip_s(walk->plane->model), SB_VERDICT_CLUTCH_SLIPS);
  sb_monitor_clutch_take(&walk->task.clutch_share, row->time_s, row->is_engaged, row->is_clutch_slipping);
  const bool is_early = row->time_s < walk->plane->model->control.start_delay_s;
  if (isnan(walk->engaged_s) || !is_low_watched(walk) || is_early) return SB_OK;
  /* A clutch may let go again: no gear is then engaged that could be too low. */
  const double load_nm = row->is_engaged ? row->next_load_nm : (double)INFINITY;
  const enum sb_status status = sb_low_pass(low, row->time_s, load_nm, err);
  if (walk->plane->options.is_passing_asked && low->critical_nm < low->floor_nm) find(walk, SB_VERDICT_STUCK_LOW);
  return status;
}

/* Nothing is to be followed from row to row. */
static bool is_quiet(const struct walk *walk)
{
  const bool has_clutch = sb_shifter_clutch_nm(&walk->plane->model->shifter) > 0.0;
  return !has_clutch && isnan(walk->rest_since_s) && isnan(walk->slip_since_s);
}

/* Nothing to see but an engaged gear that stays. */
static bool is_plain(const struct sb_spot *spot)
{
  return spot->flags == (SB_SPOT_ENGAGED | SB_SPOT_DECIDING);
}

/* Likewise, though only bounds of its readings are known. */
static bool is_closed(const struct sb_spot *spot)
{
  return spot->flags == SB_SPOT_CLOSED;
}

/* Whether a part may have had a greatest torque that is neither in it nor below what the path has had. */
static bool is_torque_missing(const struct sb_findings *findings, const struct sb_track_part *part)
{
  return (double)part->torque_from_nm > findings->figures.greatest_torque_nm;
}

static void add_up(struct sb_findings *findings, const struct sb_track_part *part)
{
  struct sb_map_figures *figures = &findings->figures;
  figures->given_j += part->given_j;
  figures->output_turns += part->turns;
  if (part->torque_nm > figures->greatest_torque_nm) figures->greatest_torque_nm = part->torque_nm;
  findings->way_rad += part->way_rad;
  if (part->back_rad > findings->back_rad) findings->back_rad = part->back_rad;
  findings->kinds |= part->kinds;
}

/* Adds the part of a track that ends with a sample, or with a command there, with all of its torque. */
static enum sb_status add_whole(struct sb_plane *plane, int track, int sample, const struct sb_track_part *part,
                                struct sb_findings *findings, struct sb_error *err)
{
  struct sb_track_part whole = *part;
  enum sb_status status = SB_OK;
  if (is_torque_missing(findings, part))
    status = sb_map_tracks_find_torque(&plane->tracks, track, sample, &whole.torque_nm, err);
  add_up(findings, &whole);
  return status;
}

/* What happened since the sample before, and this sample. */
static enum sb_status watch(struct walk *walk, struct sb_low *low, struct sb_error *err)
{
  const struct sb_spot *spot = walk->spot;
  if (walk->part != NULL) {
    const enum sb_status status =
        add_whole(walk->plane, walk->spot_track, walk->sample, walk->part, &walk->task.findings, err);
    if (status != SB_OK) return status;
  }
  /* Nearly always there is nothing more to see. */
  if (is_plain(spot) && !is_low_watched(walk) && is_quiet(walk)) return SB_OK;

  const struct sb_tracks *tracks = &walk->plane->tracks;
  if (spot->flags & SB_SPOT_HAS_ROWS) {
    const struct sb_track_row *rows;
    const int count = sb_track_rows_at(&tracks->items[walk->spot_track], walk->sample, &rows);
    for (int i = 0; i < count; i++) {
      const enum sb_status status = watch_row(walk, low, &rows[i], err);
      if (status != SB_OK) return status;
    }
  }
  if (spot->flags & SB_SPOT_FINISHED) return SB_OK;
  const struct sb_track_row row = {.is_engaged = (spot->flags & SB_SPOT_ENGAGED) != 0,
                                   .is_resting = (spot->flags & SB_SPOT_RESTING) != 0,
                                   .is_slipping = (spot->flags & SB_SPOT_SLIPPING) != 0,
                                   .is_clutch_slipping = (spot->flags & SB_SPOT_CLUTCH) != 0,
                                   .time_s = sb_map_tracks_time_s(tracks, walk->sample),
                                   .next_load_nm = spot->next_load_nm};
  return watch_row(walk, low, &row, err);
}

/* Branches --------------------------------------------------------------------------------------------------------------- */

static enum sb_status add_shift(struct sb_plane *plane, struct sb_findings *findings, int sample, int to_gear,
                                struct sb_error *err)
{
  struct sb_map_shift *shift = sb_arena_take(&plane->arena, sizeof *shift);
  if (shift == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for the shifts of a map");
  *shift = (struct sb_map_shift){sample, to_gear + 1, findings->shifts};
  findings->shifts = shift;
  findings->figures.shift_count++;
  return SB_OK;
}

/* Whether a downshift is needless: at fixed thresholds, or for those of the mapped pair. */
static void judge_downshift(const struct sb_plane *plane, int pair, double load_nm, struct sb_findings *findings)
{
  if (pair == plane->options.pair) {
    findings->needless_nm = fmin(findings->needless_nm, load_nm);
  } else if (sb_band_is_needless(load_nm, plane->monitor.bands[pair].downshift_nm)) {
    findings->kinds |= 1U << SB_VERDICT_NEEDLESS_DOWNSHIFT;
  }
}

/* Three opposite commands in turn: judged at once at fixed thresholds, kept for those of the mapped pair. */
static enum sb_status take_three(struct sb_plane *plane, int pair, const struct sb_three *three,
                                 struct sb_findings *findings, struct sb_error *err)
{
  if (!three->is_soon && !three->is_quick) return SB_OK;
  if (pair != plane->options.pair) {
    struct sb_map_verdict verdict = {findings->kinds, findings->cause};
    sb_map_take_cause(&verdict, sb_three_cause(three, &plane->monitor.bands[pair]));
    findings->kinds = verdict.kinds;
    findings->cause = verdict.cause;
    return SB_OK;
  }
  struct sb_three_seen *seen = sb_arena_take(&plane->arena, sizeof *seen);
  if (seen == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for the hunting of a map");
  *seen = (struct sb_three_seen){*three, findings->threes};
  findings->threes = seen;
  return SB_OK;
}

/* Takes a command into the chain of opposite ones, or begins a new one with it; as the monitor does. */
static enum sb_status follow_chain(const struct walk *walk, int to_gear, double own_load_nm, struct task *next,
                                   struct sb_error *err)
{
  const struct task *task = &walk->task;
  const bool is_opposite = task->chain.count > 0 && task->last_from == to_gear;
  const struct sb_chain_link link = {.time_s = next->last_command_s,
                                     .load_nm = own_load_nm,
                                     .faster_nm = to_gear < task->gear ? own_load_nm : walk->spot->next_load_nm,
                                     .hunt_window_s = is_opposite ? hunt_window_s(walk) : 0.0,
                                     .busy_window_s = sb_model_shift_interval_s(walk->plane->model),
                                     .is_opposite = is_opposite,
                                     .is_down = to_gear < task->gear};
  struct sb_three three;
  next->chain = task->chain;
  if (!sb_three_follow(&next->chain, &link, &three)) return SB_OK;
  return take_three(walk->plane, to_gear < task->gear ? to_gear : task->gear, &three, &next->findings, err);
}

/* Whether thresholds fail already, by what depends on them. */
static bool is_lost_at(const struct sb_plane *plane, const struct sb_findings *findings, int downshift, int upshift)
{
  const struct sb_band band = sb_judge_band(plane, downshift, upshift);
  if (findings->low_nm < band.downshift_nm || sb_band_is_needless(findings->needless_nm, band.downshift_nm))
    return true;
  return findings->threes != NULL && sb_three_cause(&findings->threes->three, &band) != SB_CAUSE_NONE;
}

/* Whether all points of a row (downshift kept) or column fail already. */
static bool is_line_lost(const struct sb_plane *plane, const struct sb_findings *findings, const struct sb_rect *line)
{
  for (int i = line->downshift_first; i <= line->downshift_last; i++) {
    for (int j = line->upshift_first; j <= line->upshift_last; j++) {
      if (!is_lost_at(plane, findings, i, j)) return false;
    }
  }
  return true;
}

/* Takes off the sides of a rectangle that fail already. */
static void take_off_lost(const struct sb_plane *plane, const struct sb_findings *findings, struct sb_rect *rect)
{
  for (int side = 0; side < 4; side++) {
    while (rect->downshift_first <= rect->downshift_last && rect->upshift_first <= rect->upshift_last) {
      struct sb_rect line = *rect;
      if (side == 0) line.downshift_last = line.downshift_first;
      if (side == 1) line.downshift_first = line.downshift_last;
      if (side == 2) line.upshift_last = line.upshift_first;
      if (side == 3) line.upshift_first = line.upshift_last;
      if (!is_line_lost(plane, findings, &line)) break;
      if (side == 0) rect->downshift_first++;
      if (side == 1) rect->downshift_last--;
      if (side == 2) rect->upshift_first++;
      if (side == 3) rect->upshift_last--;
    }
  }
}

/* Whether nothing more needs to be known of a path: it fails whatever its thresholds, and only what passes is asked for. */
static bool is_lost(const struct sb_plane *plane, const struct sb_findings *findings)
{
  return plane->options.is_passing_asked && findings->kinds != 0;
}

/* The task that a command at the present sample begins, for a part of the rectangle. */
static enum sb_status branch(const struct walk *walk, const struct sb_rect *rect, int to_gear, struct scratch *scratch,
                             struct sb_error *err)
{
  struct sb_plane *plane = walk->plane;
  const struct task *task = &walk->task;
  struct task next = {.rect = *rect,
                      .findings = task->findings,
                      .first_decision = walk->sample + whole_samples(plane, fmax(1.0, plane->setup.dwell_samples)),
                      .gear = to_gear,
                      .last_from = task->gear,
                      .last_command_s = sb_map_tracks_time_s(&plane->tracks, walk->sample),
                      .slip_since_s = walk->slip_since_s,
                      .clutch_share = task->clutch_share};
  sb_monitor_clutch_take(&next.clutch_share, next.last_command_s, false, 0.0);
  conclude_low(walk, &scratch->low, &next.findings);
  double own_load_nm = walk->spot->own_load_nm;
  enum sb_status status = SB_OK;
  if (isnan(own_load_nm))
    status = sb_map_tracks_find_load(&plane->tracks, walk->track, walk->sample, &own_load_nm, err);
  if (status == SB_OK) status = follow_chain(walk, to_gear, own_load_nm, &next, err);
  if (to_gear < task->gear) judge_downshift(plane, to_gear, own_load_nm, &next.findings);
  if (status == SB_OK) status = add_shift(plane, &next.findings, walk->sample, to_gear, err);
  if (status == SB_OK && plane->options.is_passing_asked) take_off_lost(plane, &next.findings, &next.rect);
  if (status != SB_OK || is_lost(plane, &next.findings) || !has_point(plane, &next.rect)) return status;
  struct sb_track_part part;
  next.track = sb_map_tracks_child(&plane->tracks, walk->track, walk->sample, to_gear, &part, err);
  if (next.track < 0) return SB_ERR_MEMORY;
  /* Where a part ends with the command all of it was taken. */
  if (walk->part == NULL) status = add_whole(plane, walk->track, walk->sample, &part, &next.findings, err);
  if (status != SB_OK) return status;
  return push_task(&scratch->tasks, &next, err);
}

/* Decisions -------------------------------------------------------------------------------------------------------------- */

/* Of the last `debounce_samples` readings on this path the greatest that a downshift is decided by, or the least that an upshift
 * is. */
static int32_t extreme_reading(const struct walk *walk, const struct scratch *scratch, bool is_upshift)
{
  const int confirm = walk->plane->setup.debounce_samples;
  const int32_t *recent = scratch->recent[is_upshift];
  int32_t extreme = is_upshift ? walk->spot->greatest : walk->spot->reading;
  for (int k = 0; k < confirm && recent != NULL; k++) {
    if (is_upshift ? recent[k] < extreme : recent[k] > extreme) extreme = recent[k];
  }
  return extreme;
}

/* First index in first..last whose ascending count exceeds the reading; last + 1: none. */
static int first_above(const int32_t *counts, int first, int last, int32_t reading)
{
  int low = first, high = last + 1;
  while (low < high) {
    const int middle = low + (high - low) / 2;
    if (counts[middle] > reading) {
      high = middle;
    } else {
      low = middle + 1;
    }
  }
  return low;
}

/* The downshift: those thresholds shift that all of the last readings are below. */
static enum sb_status decide_downshift(struct walk *walk, struct scratch *scratch, bool *is_done, struct sb_error *err)
{
  const struct sb_plane *plane = walk->plane;
  struct sb_rect *rect = &walk->task.rect;
  const int pair = walk->task.gear - 1;
  const bool is_mapped = pair == plane->options.pair;
  const int32_t far = is_mapped ? plane->downshift_counts[rect->downshift_last] : plane->setup.downshift_below[pair];
  walk->below_run = walk->spot->reading < far ? walk->below_run + 1 : 0;
  if (walk->below_run < plane->setup.debounce_samples) return SB_OK;
  struct sb_rect shifting = *rect;
  if (is_mapped) {
    const int32_t reading = extreme_reading(walk, scratch, false);
    shifting.downshift_first =
        first_above(plane->downshift_counts, rect->downshift_first, rect->downshift_last, reading);
    if (shifting.downshift_first > rect->downshift_last) return SB_OK;
    rect->downshift_last = shifting.downshift_first - 1;
  }
  *is_done = !is_mapped || !has_point(plane, rect);
  return has_point(plane, &shifting) ? branch(walk, &shifting, pair, scratch, err) : SB_OK;
}

static enum sb_status decide_upshift(struct walk *walk, struct scratch *scratch, bool *is_done, struct sb_error *err)
{
  const struct sb_plane *plane = walk->plane;
  struct sb_rect *rect = &walk->task.rect;
  const int pair = walk->task.gear;
  const bool is_mapped = pair == plane->options.pair;
  const int32_t near = is_mapped ? plane->upshift_counts[rect->upshift_first] : plane->setup.upshift_above[pair];
  walk->above_run = walk->spot->greatest > near ? walk->above_run + 1 : 0;
  if (walk->above_run < plane->setup.debounce_samples) return SB_OK;
  struct sb_rect shifting = *rect;
  if (is_mapped) {
    /* Those shift whose count is below the reading. */
    const int32_t reading = extreme_reading(walk, scratch, true);
    if (!(plane->upshift_counts[rect->upshift_first] < reading)) return SB_OK;
    shifting.upshift_last =
        first_above(plane->upshift_counts, rect->upshift_first, rect->upshift_last, reading - 1) - 1;
    rect->upshift_first = shifting.upshift_last + 1;
  }
  *is_done = !is_mapped || !has_point(plane, rect);
  return has_point(plane, &shifting) ? branch(walk, &shifting, pair + 1, scratch, err) : SB_OK;
}

static enum sb_status decide(struct walk *walk, struct scratch *scratch, bool *is_done, struct sb_error *err)
{
  if (walk->sample < walk->task.first_decision || !(walk->spot->flags & SB_SPOT_DECIDING)) {
    walk->below_run = walk->above_run = 0;
    return SB_OK;
  }
  if (scratch->recent[0] != NULL) {
    const int place = walk->sample % walk->plane->setup.debounce_samples;
    scratch->recent[0][place] = walk->spot->reading;
    scratch->recent[1][place] = walk->spot->greatest;
  }
  enum sb_status status = SB_OK;
  if (walk->task.gear > 0) status = decide_downshift(walk, scratch, is_done, err);
  if (status == SB_OK && !*is_done && walk->task.gear + 1 < walk->plane->setup.gear_count) {
    status = decide_upshift(walk, scratch, is_done, err);
  }
  return status;
}

/* Readings that shift no threshold of the rectangle, ends included. */
struct calm {
  int32_t least, greatest;
};

static struct calm calm_of(const struct walk *walk)
{
  const struct sb_plane *plane = walk->plane;
  const struct task *task = &walk->task;
  const int slower = task->gear - 1, faster = task->gear;
  struct calm calm = {INT32_MIN, INT32_MAX};
  if (task->gear > 0) {
    calm.least = slower == plane->options.pair ? plane->downshift_counts[task->rect.downshift_last]
                                               : plane->setup.downshift_below[slower];
  }
  if (is_low_watched(walk)) {
    calm.greatest = faster == plane->options.pair ? plane->upshift_counts[task->rect.upshift_first]
                                                  : plane->setup.upshift_above[faster];
  }
  return calm;
}

/* The least reading at which the path passes the samples after the present one, up to the end of the next block, without looking at
 * each; INT32_MAX: none. */
static int32_t passed_from(const struct walk *walk)
{
  if (isnan(walk->engaged_s) || !is_quiet(walk) || is_low_watched(walk)) return INT32_MAX;
  return walk->sample + SB_TRACK_STRIDE <= walk->task.first_decision ? INT32_MIN : calm_of(walk).least;
}

/* Whether a block's rows change nothing of a stay in a slower gear. */
static bool is_low_idle(const struct walk *walk, const struct sb_low *low, const struct sb_track_view *view)
{
  if (!is_low_watched(walk)) return true;
  return sb_map_tracks_time_s(&walk->plane->tracks, walk->sample) >= walk->plane->model->control.start_delay_s &&
         sb_low_is_idle(low, view->least_load_nm);
}

/* In the fastest gear, where only a reading below the far end of the rectangle can shift: sample by sample. Whether it comes to the end
 * of a block. */
static bool glide_singly(struct walk *walk, const struct sb_track *track, int32_t far)
{
  const struct sb_tracks *tracks = &walk->plane->tracks;
  const int end = track->first + track->count;
  if (walk->sample >= end) return false;
  const struct sb_spot *spot = sb_track_spot(track, walk->sample); /* the others of its block follow */
  for (; walk->sample < end; walk->sample++, spot++) {
    if (!(is_plain(spot) || is_closed(spot)) || (spot->reading < far && walk->sample >= walk->task.first_decision))
      return false;
    if (sb_map_tracks_end_part(tracks, walk->sample, false)) {
      const struct sb_track_part *part = sb_map_tracks_part_at(tracks, track, walk->sample);
      if (is_torque_missing(&walk->task.findings, part)) return false;
      add_up(&walk->task.findings, part);
      walk->sample++;
      return true;
    }
  }
  return false;
}

/* Whether nothing is decided in a block that begins with the present sample, and nothing is to be watched. */
static bool is_calm_block(const struct walk *walk, const struct sb_low *low, const struct calm *calm,
                          const struct sb_track_view *view)
{
  const bool is_undecided = walk->sample + SB_TRACK_STRIDE <= walk->task.first_decision;
  if (!view->is_plain || !is_low_idle(walk, low, view)) return false;
  return is_undecided || (view->least >= calm->least && view->greatest <= calm->greatest);
}

/* Passes blocks as wholes. */
static void glide_by_blocks(struct walk *walk, const struct sb_track *track, const struct sb_low *low,
                            const struct calm *calm)
{
  const struct sb_track_part *block;
  for (; (block = sb_map_tracks_block_at(track, walk->sample)) != NULL; walk->sample += SB_TRACK_STRIDE) {
    if (!is_calm_block(walk, low, calm, &block->view) || is_torque_missing(&walk->task.findings, block)) return;
    add_up(&walk->task.findings, block);
  }
}

/* Passes samples at which nothing is decided and nothing is to be watched, which are most: what follow() would do. */
static void glide(struct walk *walk, const struct sb_low *low)
{
  const struct sb_plane *plane = walk->plane;
  const struct sb_track *track = &plane->tracks.items[walk->track];
  if (isnan(walk->engaged_s) || !is_quiet(walk)) return;
  const struct calm calm = calm_of(walk);
  const int first = walk->sample;
  do {
    glide_by_blocks(walk, track, low, &calm);
  } while (!is_low_watched(walk) && glide_singly(walk, track, calm.least));
  if (walk->sample > first) walk->below_run = walk->above_run = 0;
}

/* The controller decides at every sample before the end of the run. */
static bool is_decided(const struct sb_plane *plane, int sample)
{
  return sample * plane->tracks.steps_per_sample < plane->tracks.last_step;
}

/* What only the end of the run can tell. */
static void conclude(struct walk *walk)
{
  const struct sb_findings *findings = &walk->task.findings;
  const struct sb_model *model = walk->plane->model;
  walk->task.findings.figures.way_rad = findings->way_rad;
  walk->task.findings.figures.end_s =
      walk->is_finished ? walk->seen_s : (double)walk->plane->tracks.last_step * model->run.step_s;
  if (findings->back_rad > sb_model_run_back_rad(model, findings->way_rad)) find(walk, SB_VERDICT_RUNS_BACK);
  if (sb_monitor_clutch_is_over(&walk->task.clutch_share)) find(walk, SB_VERDICT_CLUTCH_SLIPS);
}

/* From the task's command to the end of the run, or until every threshold of the rectangle has shifted. */
static enum sb_status follow(struct sb_plane *plane, const struct task *task, struct scratch *scratch,
                             struct sb_leaves *leaves, struct sb_error *err)
{
  const int end_sample = plane->tracks.end_sample;
  struct walk walk = {.plane = plane,
                      .task = *task,
                      .track = task->track,
                      .sample = plane->tracks.items[task->track].first,
                      .engaged_s = NAN,
                      .rest_since_s = NAN,
                      .slip_since_s = task->slip_since_s,
                      .clutch_since_s = NAN,
                      .off_since_s = NAN};
  if (task->last_from < 0) { /* engaged from the start */
    walk.engaged_s = 0.0;
    watch_direction(&walk);
    begin_low(&walk, &scratch->low);
  }
  for (; walk.sample <= end_sample; walk.sample++) {
    bool is_done = false;
    glide(&walk, &scratch->low);
    if (walk.sample > end_sample) break;
    enum sb_status status = reach(&walk, err);
    if (status == SB_OK) status = watch(&walk, &scratch->low, err);
    if (status == SB_OK && is_lost(plane, &walk.task.findings)) return SB_OK;
    walk.is_finished = status == SB_OK && (walk.spot->flags & SB_SPOT_FINISHED) != 0;
    if (walk.is_finished) break;
    if (status == SB_OK && is_decided(plane, walk.sample)) status = decide(&walk, scratch, &is_done, err);
    if (status != SB_OK || is_done) return status;
  }
  if (isnan(walk.engaged_s)) check_engaged_in_time(&walk, walk.seen_s);
  conclude(&walk);
  if (is_lost(plane, &walk.task.findings)) return SB_OK;
  struct sb_leaf leaf = {walk.task.rect, walk.task.findings};
  conclude_low(&walk, &scratch->low, &leaf.findings);
  return push_leaf(leaves, &leaf, plane->options.leaf_max, err);
}

static long count_points(const struct sb_map_options *options, const struct sb_rect *rect)
{
  const struct sb_map map = {.options = *options};
  const struct sb_map_cell cell = {.downshift_first = rect->downshift_first,
                                   .downshift_last = rect->downshift_last,
                                   .upshift_first = rect->upshift_first,
                                   .upshift_last = rect->upshift_last};
  return (long)sb_map_cell_point_count(&map, &cell);
}

/* Who waits for a map is told how far it has come. */
static void tell(const struct sb_plane *plane, const struct sb_leaves *leaves, struct known *known)
{
  const struct sb_map_options *options = &plane->options;
  if (options->on_progress == NULL) return;
  if (known->total == 0) known->total = (long)sb_map_point_count(&(struct sb_map){.options = *options});
  for (; known->leaf_count < leaves->count; known->leaf_count++) {
    known->done += count_points(options, &leaves->items[known->leaf_count].rect);
  }
  options->on_progress(options->progress_context, known->done, known->total);
}

enum sb_status sb_path_follow_all(struct sb_plane *plane, struct sb_leaves *leaves, struct sb_error *err)
{
  struct scratch scratch = {.recent = {NULL, NULL}};
  enum sb_status status = SB_OK;
  if (plane->setup.debounce_samples > 1) {
    for (int i = 0; i < 2; i++) scratch.recent[i] = calloc(plane->setup.debounce_samples, sizeof **scratch.recent);
    if (scratch.recent[0] == NULL || scratch.recent[1] == NULL)
      status = sb_fail(err, SB_ERR_MEMORY, "out of memory for the readings of a map");
  }
  const struct task start = {.rect = {0, plane->options.downshift.count - 1, 0, plane->options.upshift.count - 1},
                             .findings = {.kinds = plane->kinds, .needless_nm = INFINITY, .low_nm = INFINITY},
                             .track = 0,
                             .first_decision = whole_samples(plane, plane->setup.start_delay_samples),
                             .gear = plane->model->control.start_gear - 1,
                             .last_from = -1,
                             .slip_since_s = NAN};
  if (status == SB_OK && has_point(plane, &start.rect)) status = push_task(&scratch.tasks, &start, err);
  const volatile sig_atomic_t *stop = plane->options.stop;
  struct known known = {.leaf_count = leaves->count};
  while (status == SB_OK && scratch.tasks.count > 0) {
    const struct task task = scratch.tasks.items[--scratch.tasks.count];
    sb_map_tracks_enter(&plane->tracks, task.track);
    status = follow(plane, &task, &scratch, leaves, err);
    tell(plane, leaves, &known);
    if (status == SB_OK && stop != NULL && *stop != 0) status = sb_fail(err, SB_ERR_STOPPED, "stopped");
  }
  free(scratch.tasks.items);
  free(scratch.recent[0]);
  free(scratch.recent[1]);
  sb_low_clear(&scratch.low);
  return status;
}
