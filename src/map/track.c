// SPDX-License-Identifier: GPL-3.0-or-later
#include "map/track.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "base/constants.h"
#include "map/meeting.h"
#include "run/sense.h"
#include "sim/stretch.h"

/* What all tracks may take before those that were used longest ago are let go; a path comes to the same bits without them. */
#define BYTES_MAX ((size_t)72 << 20)

/* Memory ----------------------------------------------------------------------------------------------------------- */

static enum sb_status no_memory(struct sb_error *err)
{
  return sb_fail(err, SB_ERR_MEMORY, "out of memory for the tracks of a map");
}

/* Room for one more item of a track, counted. */
static bool grow_counted(struct sb_tracks *tracks, void *items, size_t *room, size_t count, size_t size)
{
  const size_t before = *room;
  if (!sb_grow(items, room, count, size)) return false;
  tracks->used_bytes += (*room - before) * size;
  return true;
}

static int new_track(struct sb_tracks *tracks, const struct sb_track *track, struct sb_error *err)
{
  if (!sb_grow(&tracks->items, &tracks->room, (size_t)tracks->count, sizeof *tracks->items)) {
    (void)no_memory(err);
    return -1;
  }
  tracks->items[tracks->count] = *track;
  return tracks->count++;
}

/* Nobody uses a block any more. It is kept for another track: the system takes its time to give and to take memory. */
static void spare_block(struct sb_tracks *tracks, struct sb_track_block *block)
{
  block->next = tracks->spare;
  tracks->spare = block;
}

/* Makes many blocks at once. */
static bool make_blocks(struct sb_tracks *tracks)
{
  enum { COUNT = 64 };
  char *slab = malloc(sizeof(struct sb_track_block) + COUNT * tracks->block_size);
  if (slab == NULL) return false;
  struct sb_track_block *head = (struct sb_track_block *)(void *)slab;
  head->next = tracks->slabs;
  tracks->slabs = head;
  char *first = slab + sizeof *head;
  for (int i = COUNT - 1; i >= 0; i--) {
    spare_block(tracks, (struct sb_track_block *)(void *)(first + (size_t)i * tracks->block_size));
  }
  return true;
}

/* A block of the tracks' own; NULL: no memory. */
static struct sb_track_block *take_block(struct sb_tracks *tracks)
{
  if (tracks->spare == NULL && !make_blocks(tracks)) return NULL;
  struct sb_track_block *block = tracks->spare;
  tracks->spare = block->next;
  return block;
}

/* Adds blocks to a track until it has that of a sample. */
static enum sb_status reach_block(struct sb_tracks *tracks, struct sb_track *track, int sample, struct sb_error *err)
{
  while (track->block_count <= sb_track_block_of(sample) - sb_track_block_of(track->first)) {
    const size_t count = (size_t)track->block_count;
    if (!grow_counted(tracks, &track->blocks, &track->block_room, count, sizeof(struct sb_track_block *)))
      return no_memory(err);
    struct sb_track_block *block = take_block(tracks);
    if (block == NULL) return no_memory(err);
    tracks->used_bytes += tracks->block_size;
    track->blocks[track->block_count++] = block;
  }
  return SB_OK;
}

/* Lets go of all that a track knows; what it begins with stays for paths that wait for it. */
static void let_go(struct sb_tracks *tracks, struct sb_track *track)
{
  tracks->used_bytes -= (size_t)track->block_count * tracks->block_size +
                        track->block_room * sizeof(struct sb_track_block *) + track->row_room * sizeof *track->rows +
                        track->child_room * sizeof *track->children + track->part_room * sizeof *track->parts;
  for (int i = 0; i < track->block_count; i++) spare_block(tracks, track->blocks[i]);
  free(track->blocks);
  free(track->parts);
  free(track->rows);
  free(track->children);
  *track = (struct sb_track){.gear = track->gear,
                             .first = track->first,
                             .waiting = track->waiting,
                             .used = track->used,
                             .begin = track->begin,
                             .next = -1};
  if (track->waiting > 0) return;
  tracks->used_bytes -= track->begin != NULL ? tracks->anchor_size : 0;
  free(track->begin);
  track->begin = NULL;
  track->is_gone = true;
}

/* Order of times at which tracks were used. */
static int compare_clocks(const void *one, const void *other)
{
  const long a = *(const long *)one, b = *(const long *)other;
  return (a > b) - (a < b);
}

/* Lets go of the quarter of all tracks that was used longest ago. Without memory for that all stay. */
static void relieve(struct sb_tracks *tracks)
{
  long *clocks = calloc((size_t)tracks->count, sizeof *clocks);
  int count = 0;
  if (clocks == NULL) return;
  for (int i = 1; i < tracks->count; i++) {
    if (tracks->items[i].count > 0) clocks[count++] = tracks->items[i].used;
  }
  qsort(clocks, (size_t)count, sizeof *clocks, compare_clocks);
  const long old = count > 0 ? clocks[count / 4] : 0;
  free(clocks);
  /* Not the first one, which has nothing to begin with but the start of the run. */
  for (int i = 1; i < tracks->count; i++) {
    struct sb_track *track = &tracks->items[i];
    if (track->count > 0 && track->used <= old) let_go(tracks, track);
  }
  tracks->at_track = -1;
}

void sb_map_tracks_enter(struct sb_tracks *tracks, int at)
{
  if (tracks->used_bytes > tracks->bytes_max) relieve(tracks);
  if (tracks->items[at].waiting > 0) tracks->items[at].waiting--;
  tracks->items[at].used = ++tracks->clock;
}

/* States ----------------------------------------------------------------------------------------------------------- */

double sb_map_tracks_time_s(const struct sb_tracks *tracks, int sample)
{
  const long long step = sample < tracks->end_sample ? sample * tracks->steps_per_sample : tracks->last_step;
  return sb_sim_grid_s(&tracks->sim, step);
}

/* All that acts on the future at the present sample. */
static void take_anchor(const struct sb_tracks *tracks, struct sb_anchor *anchor)
{
  const struct sb_reading *reading = &tracks->reading;
  anchor->state = tracks->sim.state;
  anchor->filtered = reading->filtered;
  anchor->voltage_v = reading->voltage_v;
  memcpy(anchor->slots, reading->slots, (size_t)reading->slot_count * sizeof *anchor->slots);
}

void sb_map_tracks_ask_torque(struct sb_tracks *tracks, double torque_nm)
{
  float from_nm = (float)torque_nm;
  if ((double)from_nm > torque_nm) from_nm = nextafterf(from_nm, 0.0F);
  tracks->sim.torque_asked_nm = (double)from_nm;
  tracks->torque_from_nm = fmaxf(tracks->torque_from_nm, from_nm);
}

/* Nothing has come together. Only a motor beyond its limit is of interest. */
static void empty_sums(struct sb_tracks *tracks)
{
  tracks->torque_from_nm = (float)tracks->sim.torque_asked_nm; /* as it was given */

  tracks->sim.sums = sb_sim_sums_empty();
  tracks->sim.sums.motor_speed_rad_s.value = tracks->fast_rad_s;
}

static void restore(struct sb_tracks *tracks, const struct sb_anchor *anchor)
{
  struct sb_reading *reading = &tracks->reading;
  sb_sim_restore(&tracks->sim, &anchor->state);
  reading->filtered = anchor->filtered;
  reading->voltage_v = anchor->voltage_v;
  memcpy(reading->slots, anchor->slots, (size_t)reading->slot_count * sizeof *anchor->slots);
  tracks->output_turns = anchor->state.output_angle_rad / SB_TURN;
  empty_sums(tracks);
}

/* Meetings --------------------------------------------------------------------------------------------------------- */

bool sb_map_tracks_follow_next(struct sb_tracks *tracks, int at)
{
  struct sb_track *track = &tracks->items[at];
  struct sb_track *next = &tracks->items[track->next];
  if (sb_track_knows(next, track->first + track->count)) {
    next->used = ++tracks->clock;
    return true;
  }
  track->next = -1;
  /* Rows on the way to the sample at which they met come again. */
  while (track->row_count > 0 && track->rows[track->row_count - 1].sample >= track->first + track->count) {
    track->row_count--;
  }
  track->part_count =
      sb_track_block_of(track->first + track->count) - sb_track_block_of(track->first); /* its last part, too */
  return false;
}

/* Samples ---------------------------------------------------------------------------------------------------------- */

static void on_event(void *context, const struct sb_sim *sim, enum sb_event event)
{
  struct sb_tracks *tracks = context;
  if (tracks->is_repeating) return;
  /* In neutral only wheels that slip or grip are of interest, the drive, and the end. */
  const bool is_slip = event == SB_EVENT_SLIPPED || event == SB_EVENT_GRIPPED || event == SB_EVENT_SWITCHED;
  if (!sb_sim_is_engaged(sim) && !is_slip && event != SB_EVENT_FINISHED) return;
  struct sb_track *track = &tracks->items[tracks->at_track];
  if (!grow_counted(tracks, &track->rows, &track->row_room, (size_t)track->row_count, sizeof *track->rows)) {
    tracks->is_out_of_memory = true;
    return;
  }
  const struct sb_row row = sb_sim_row(sim);
  track->rows[track->row_count++] = (struct sb_track_row){.sample = tracks->to_sample,
                                                          .is_engaged = row.gear > 0,
                                                          .is_switched = event == SB_EVENT_SWITCHED,
                                                          .is_resting = sb_row_is_stalled(&row, &tracks->model->drive),
                                                          .is_slipping = row.is_slipping,
                                                          .is_clutch_slipping = row.is_clutch_slipping,
                                                          .is_on = row.is_on,
                                                          .time_s = row.time_s,
                                                          .next_load_nm = sb_row_next_load_nm(&row)};
}

int sb_track_rows_at(const struct sb_track *track, int sample, const struct sb_track_row **rows)
{
  int low = 0, high = track->row_count;
  while (low < high) {
    const int middle = (low + high) / 2;
    if (track->rows[middle].sample < sample) {
      low = middle + 1;
    } else {
      high = middle;
    }
  }
  int count = 0;
  while (low + count < track->row_count && track->rows[low + count].sample == sample) count++;
  *rows = track->rows + low;
  return count;
}

/* What the sensor reads at the present sample; at the end of the run nothing is read. */
static struct sb_sensed sense(struct sb_tracks *tracks, int sample, struct sb_row *row)
{
  if (sample == tracks->end_sample) return (struct sb_sensed){.least = 0};
  return sb_sense_take(&tracks->reading, &tracks->sim, row, tracks->noise != NULL ? tracks->noise[sample] : 0.0);
}

/* What the simulator shows at the present sample. */
static struct sb_spot look(struct sb_tracks *tracks, int sample)
{
  const struct sb_track *track = &tracks->items[tracks->at_track];
  struct sb_row row = sb_sim_glance(&tracks->sim);
  const struct sb_sensed sensed = sense(tracks, sample, &row);
  struct sb_spot spot = {.own_load_nm = row.own_load_nm,
                         .next_load_nm = sb_row_next_load_nm(&row),
                         .reading = sensed.least,
                         .greatest = sensed.greatest};
  if (row.gear > 0) spot.flags |= SB_SPOT_ENGAGED;
  if (sb_sim_is_deciding(&tracks->sim)) spot.flags |= SB_SPOT_DECIDING;
  if (sb_row_is_stalled(&row, &tracks->model->drive)) spot.flags |= SB_SPOT_RESTING;
  if (row.is_slipping) spot.flags |= SB_SPOT_SLIPPING;
  if (row.is_clutch_slipping) spot.flags |= SB_SPOT_CLUTCH;
  if (tracks->sim.state.far.is_finished) spot.flags |= SB_SPOT_FINISHED;
  if (track->row_count > 0 && track->rows[track->row_count - 1].sample == sample) spot.flags |= SB_SPOT_HAS_ROWS;
  return spot;
}

/* Parts ------------------------------------------------------------------------------------------------------------ */

const struct sb_track_part *sb_map_tracks_part_at(const struct sb_tracks *tracks, const struct sb_track *track,
                                                  int sample)
{
  const int number = sb_track_block_of(sample) - sb_track_block_of(track->first);
  const struct sb_spot *spot = sb_track_knows(track, sample) ? sb_track_spot(track, sample) : &track->join;
  const bool is_finished = (spot->flags & SB_SPOT_FINISHED) != 0;
  return number < track->part_count && sb_map_tracks_end_part(tracks, sample, is_finished) ? &track->parts[number]
                                                                                           : NULL;
}

/* What came together since the part began. */
static struct sb_track_part take_part(struct sb_tracks *tracks)
{
  const struct sb_sums *sums = sb_sim_sums(&tracks->sim);
  struct sb_track_part part = {.given_j = sums->energy.given,
                               .turns = tracks->sim.state.output_angle_rad / SB_TURN - tracks->output_turns,
                               .torque_nm = fabs(sums->output_torque_nm.value),
                               .torque_from_nm = tracks->torque_from_nm,
                               .way_rad = sums->way_rad,
                               .back_rad = sums->back.value};
  if (fabs(sums->motor_speed_rad_s.value) > tracks->fast_rad_s) part.kinds |= 1U << SB_VERDICT_OVERSPEED;
  if (!isnan(sums->hot_first_s)) part.kinds |= 1U << SB_VERDICT_OVERHEATED;
  if (!isnan(sums->cut_first_s)) part.kinds |= 1U << SB_VERDICT_DRIVE_CUT;
  if (!isnan(sums->over_limit_first_s)) part.kinds |= 1U << SB_VERDICT_OVERLOAD;
  return part;
}

/* Ends a part, and keeps it unless that was done. */
static enum sb_status end_part(struct sb_tracks *tracks, struct sb_error *err)
{
  struct sb_track *track = &tracks->items[tracks->at_track];
  const struct sb_track_part part = take_part(tracks);
  tracks->output_turns = tracks->sim.state.output_angle_rad / SB_TURN;
  empty_sums(tracks);
  if (tracks->is_repeating) return SB_OK;
  if (!grow_counted(tracks, &track->parts, &track->part_room, (size_t)track->part_count, sizeof part)) {
    return no_memory(err);
  }
  track->parts[track->part_count++] = part;
  return SB_OK;
}

/* Moves the simulator on to a sample. */
static enum sb_status move_on(struct sb_tracks *tracks, int sample, struct sb_spot *spot, struct sb_error *err)
{
  const bool is_end = sample == tracks->end_sample;
  enum sb_status status =
      sb_sim_advance(&tracks->sim, is_end ? tracks->last_step : sample * tracks->steps_per_sample, err);
  if (status != SB_OK) return status;
  tracks->at_sample = sample;
  tracks->ahead_count = 0;
  tracks->sample_count++;
  *spot = look(tracks, sample);
  if (sb_map_tracks_end_part(tracks, sample, tracks->sim.state.far.is_finished != 0)) status = end_part(tracks, err);
  return tracks->is_out_of_memory ? no_memory(err) : status;
}

/* What the sensor reads at a sample ahead. */
static struct sb_sensed sense_ahead(struct sb_tracks *tracks, int sample, double motor_speed_rad_s)
{
  const double noise = tracks->noise != NULL ? tracks->noise[sample] : 0.0;
  return sb_sense_take_speed(&tracks->reading, &tracks->model->control.sensor, motor_speed_rad_s, noise);
}

/* Looks at the samples to which the simulator comes undisturbed, as many as decisions are taken at. */
static void look_ahead(struct sb_tracks *tracks, bool are_loads_asked, struct sb_sim_ahead *ahead)
{
  ahead->count = 0;
  if (!sb_sense_is_of_speed(&tracks->model->control.sensor)) return;
  sb_sim_look_ahead(&tracks->sim, are_loads_asked, ahead);
  const int left = tracks->end_sample - 1 - tracks->at_sample;
  if (ahead->count > left) ahead->count = left;
}

/* Repeats the samples to which the simulator comes undisturbed, up to one at the latest. */
static enum sb_status repeat_ahead(struct sb_tracks *tracks, int last, struct sb_error *err)
{
  struct sb_sim_ahead ahead;
  look_ahead(tracks, false, &ahead);
  if (ahead.count > last - tracks->at_sample) ahead.count = last - tracks->at_sample;
  if (ahead.count <= 0) return SB_OK;
  /* For the filter alone, which the noise of what is read does not enter. */
  const struct sb_sensor *sensor = &tracks->model->control.sensor;
  for (int i = 0; i < ahead.count; i++) {
    (void)sb_sense_take_speed(&tracks->reading, sensor, ahead.motor_speed_rad_s[i], 0.0);
  }
  tracks->sample_count += ahead.count;
  tracks->at_sample += ahead.count;
  return sb_sim_advance(&tracks->sim, tracks->at_sample * tracks->steps_per_sample, err);
}

/* Takes the samples of a block together, the last of which the track has just come to know. */
static void take_view(struct sb_track *track)
{
  const uint32_t plain = SB_SPOT_ENGAGED | SB_SPOT_DECIDING;
  if (track->count < SB_TRACK_STRIDE) return;
  const struct sb_spot *spots = sb_track_block_at(track, track->first + track->count - 1)->spots;
  struct sb_track_view view = {true, spots[0].reading, spots[0].greatest, spots[0].next_load_nm};
  for (int i = 0; i < SB_TRACK_STRIDE; i++) {
    const struct sb_spot *spot = &spots[i];
    if (spot->flags != plain && spot->flags != SB_SPOT_CLOSED) return;
    if (spot->reading < view.least) view.least = spot->reading;
    if (spot->greatest > view.greatest) view.greatest = spot->greatest;
    if (spot->next_load_nm < view.least_load_nm) view.least_load_nm = spot->next_load_nm;
  }
  track->parts[track->part_count - 1].view = view;
}

/* What counts as simulated. */
struct work {
  long long samples, stretches, series;
};

static struct work work_of(const struct sb_tracks *tracks)
{
  const struct sb_stretch *stretch = tracks->sim.stretch;
  return (struct work){tracks->sample_count, stretch->begun_count, stretch->series_count};
}

/* What was done again does not count: it was counted before. */
static void forget_work(struct sb_tracks *tracks, const struct work *before)
{
  tracks->sample_count = before->samples;
  tracks->sim.stretch->begun_count = before->stretches;
  tracks->sim.stretch->series_count = before->series;
}

/* Puts the simulator to the beginning of a track. */
static void stand_at_begin(struct sb_tracks *tracks, int at)
{
  const struct sb_track *track = &tracks->items[at];
  restore(tracks, track->begin);
  tracks->at_sample = track->first - 1;
  sb_sim_command(&tracks->sim, track->gear);
}

/* Puts the simulator where a track is at a sample that is known: from the last anchor in gear, or from the beginning. */
static enum sb_status stand_at(struct sb_tracks *tracks, int at, int sample, struct sb_error *err)
{
  const struct sb_track *track = &tracks->items[at];
  int from = sample - sample % SB_TRACK_STRIDE;
  while (from >= track->first && !(sb_track_spot(track, from)->flags & SB_SPOT_ENGAGED)) from -= SB_TRACK_STRIDE;
  tracks->at_track = at;
  tracks->ahead_count = 0;
  tracks->is_repeating = true;
  if (from >= track->first) {
    restore(tracks, sb_track_anchor_at(track, from));
    tracks->at_sample = from;
  } else {
    stand_at_begin(tracks, at);
  }
  struct sb_spot spot;
  enum sb_status status = repeat_ahead(tracks, sample, err);
  while (status == SB_OK && tracks->at_sample < sample) status = move_on(tracks, tracks->at_sample + 1, &spot, err);
  tracks->is_repeating = false;
  return status;
}

/* The simulator is left, and the reading, where the part was simulated again. */
enum sb_status sb_map_tracks_find_torque(struct sb_tracks *tracks, int at, int sample, double *torque_nm,
                                         struct sb_error *err)
{
  const struct work work = work_of(tracks);
  const double asked_nm = tracks->sim.torque_asked_nm;
  const bool is_end = sample == tracks->end_sample;
  tracks->sim.torque_asked_nm = 0.0;
  enum sb_status status = stand_at(tracks, at, sample - 1, err);
  tracks->is_repeating = true;
  if (status == SB_OK)
    status = sb_sim_advance(&tracks->sim, is_end ? tracks->last_step : sample * tracks->steps_per_sample, err);
  tracks->is_repeating = false;
  *torque_nm = take_part(tracks).torque_nm;
  tracks->sim.torque_asked_nm = asked_nm;
  forget_work(tracks, &work);
  tracks->at_track = -1;
  return status;
}

/* Adds a sample to those that a track knows. */
static enum sb_status keep_spot(struct sb_tracks *tracks, struct sb_track *track, const struct sb_spot *spot,
                                struct sb_error *err)
{
  const int sample = track->first + track->count;
  if (reach_block(tracks, track, sample, err) != SB_OK) return SB_ERR_MEMORY;
  track->count++;
  *sb_track_spot(track, sample) = *spot;
  return SB_OK;
}

/* Keeps the state at the present sample; *next: the track that is in the same one, -1: none. */
static enum sb_status keep_anchor(struct sb_tracks *tracks, int at, const struct sb_spot *spot, int *next,
                                  struct sb_error *err)
{
  struct sb_track *track = &tracks->items[at];
  const int sample = tracks->to_sample;
  if (sb_meeting_make_room(tracks, err) != SB_OK) return SB_ERR_MEMORY;
  if (reach_block(tracks, track, sample, err) != SB_OK) return SB_ERR_MEMORY;
  struct sb_anchor *anchor = sb_track_anchor_at(track, sample);
  take_anchor(tracks, anchor);
  *next = spot->flags & SB_SPOT_ENGAGED ? sb_meeting_find_or_enter(tracks, at, sample, anchor) : -1;
  return SB_OK;
}

/* In the fastest gear nobody asks for the next gear's load, and hardly anybody for its own. */
static bool are_loads_asked(const struct sb_tracks *tracks)
{
  return tracks->sim.state.gear + 1 < tracks->model->gearbox.gear_count;
}

/* What a sample ahead shows, the i-th of them. */
static struct sb_spot look_at_ahead(struct sb_tracks *tracks, const struct sb_sim_ahead *ahead, int i)
{
  const struct sb_sensed sensed = sense_ahead(tracks, tracks->at_sample + 1 + i, ahead->motor_speed_rad_s[i]);
  const bool has_loads = are_loads_asked(tracks);
  return (struct sb_spot){.own_load_nm = has_loads ? ahead->own_load_nm[i] : (double)NAN,
                          .next_load_nm = has_loads ? ahead->next_load_nm[i] : (double)-INFINITY,
                          .reading = sensed.least,
                          .greatest = sensed.greatest,
                          .flags = SB_SPOT_ENGAGED | SB_SPOT_DECIDING};
}

/* What is read of a speed by a sensor that remembers nothing. */
static struct sb_sensed sense_by_itself(const struct sb_tracks *tracks, double input, double motor_speed_rad_s)
{
  struct sb_reading reading = tracks->reading;
  reading.filtered = input;
  return sb_sense_take_speed(&reading, &tracks->model->control.sensor, motor_speed_rad_s, 0.0);
}

/*
 * Bounds of what all samples of the next block but its last show, if nothing happens at them and what is read of each is that of its speed
 * alone. Without noise a reading rises with the speed. A filter that lets all through makes F + (R - F) of what it had, F, and of the
 * speed's share R: that is R to the bit where none of all R and the present F is more than twice another, for then R - F has no
 * rounding (P. H. Sterbenz, Floating-Point Computation, 1974, theorem 4.3.1). So samples that are left out change no bit of it.
 */
static bool foresee_block(struct sb_tracks *tracks, struct sb_spot *bounds)
{
  const struct sb_sensor *sensor = &tracks->model->control.sensor;
  const int sample = tracks->at_sample;
  if (sample % SB_TRACK_STRIDE != 0 || sample + SB_TRACK_STRIDE >= tracks->end_sample) return false;
  if (!sb_sense_is_of_speed(sensor) || tracks->reading.filter_gain != 1.0 || tracks->noise != NULL) return false;
  const struct sb_sim_outlook outlook = sb_sim_look_out(&tracks->sim);
  if (outlook.count != SB_TRACK_STRIDE - 1 || !(outlook.least_rad_s > 0.0)) return false;
  const double least = sb_sensor_input(sensor, outlook.least_rad_s, 0.0, 0.0),
               greatest = sb_sensor_input(sensor, outlook.greatest_rad_s, 0.0, 0.0), now = tracks->reading.filtered;
  if (!(fmax(greatest, now) <= 2.0 * fmin(least, now))) return false;
  *bounds = (struct sb_spot){.own_load_nm = NAN,
                             .next_load_nm = -INFINITY,
                             .reading = sense_by_itself(tracks, least, outlook.least_rad_s).least,
                             .greatest = sense_by_itself(tracks, greatest, outlook.greatest_rad_s).greatest,
                             .flags = SB_SPOT_CLOSED};
  return true;
}

/* Adds them closed. */
static enum sb_status add_closed(struct sb_tracks *tracks, struct sb_track *track, const struct sb_spot *bounds,
                                 struct sb_error *err)
{
  enum { COUNT = SB_TRACK_STRIDE - 1 };
  const int sample = track->first + track->count;
  if (reach_block(tracks, track, sample, err) != SB_OK) return SB_ERR_MEMORY;
  struct sb_spot *spots = sb_track_spot(track, sample); /* the first of a block */
  for (int i = 0; i < COUNT; i++) spots[i] = *bounds;
  track->count += COUNT;
  tracks->sample_count += COUNT;
  return SB_OK;
}

enum sb_status sb_map_tracks_open(struct sb_tracks *tracks, int at, int sample, struct sb_error *err)
{
  const struct work work = work_of(tracks);
  const struct sb_track *track = &tracks->items[at];
  const int begin = sample - sample % SB_TRACK_STRIDE;
  const enum sb_status status = stand_at(tracks, at, begin, err);
  if (status != SB_OK) return status;
  struct sb_sim_ahead ahead;
  look_ahead(tracks, are_loads_asked(tracks), &ahead);
  assert(ahead.count == SB_TRACK_STRIDE - 1);
  for (int i = 0; i < ahead.count; i++) *sb_track_spot(track, begin + 1 + i) = look_at_ahead(tracks, &ahead, i);
  forget_work(tracks, &work);
  tracks->at_track = -1; /* the reading has gone on */
  return SB_OK;
}

/* Adds the samples that lie ahead undisturbed, from an engaged gear that stays: closed where all of them read no less than so much. */
static enum sb_status add_ahead(struct sb_tracks *tracks, struct sb_track *track, const struct sb_spot *here,
                                int32_t least, struct sb_error *err)
{
  const uint32_t plain = SB_SPOT_ENGAGED | SB_SPOT_DECIDING;
  struct sb_spot bounds;
  if ((here->flags & ~(uint32_t)SB_SPOT_HAS_ROWS) != plain) return SB_OK;
  if (least < INT32_MAX && foresee_block(tracks, &bounds) && bounds.reading >= least)
    return add_closed(tracks, track, &bounds, err);
  struct sb_sim_ahead ahead;
  look_ahead(tracks, are_loads_asked(tracks), &ahead);
  tracks->ahead_first = tracks->at_sample;
  tracks->ahead_filtered[0] = tracks->reading.filtered;
  const int first = track->first + track->count;
  if (ahead.count > 0 && reach_block(tracks, track, first + ahead.count - 1, err) != SB_OK) return SB_ERR_MEMORY;
  for (int i = 0; i < ahead.count; i++) {
    *sb_track_spot(track, first + i) = look_at_ahead(tracks, &ahead, i);
    tracks->ahead_filtered[i + 1] = tracks->reading.filtered;
  }
  track->count += ahead.count;
  tracks->ahead_count = ahead.count + 1;
  tracks->sample_count += ahead.count;
  return SB_OK;
}

/* Adds the track's next sample, to which the simulator moves, or finds the track that it has met. */
static enum sb_status add_sample(struct sb_tracks *tracks, int at, int32_t least, struct sb_error *err)
{
  struct sb_track *track = &tracks->items[at];
  const int sample = track->first + track->count;
  struct sb_spot spot;
  enum sb_status status = move_on(tracks, sample, &spot, err);
  if (status != SB_OK) return status;
  if (sample % SB_TRACK_STRIDE == 0 && sample < tracks->end_sample) {
    status = keep_anchor(tracks, at, &spot, &track->next, err);
    if (status != SB_OK) return status;
  }
  if (track->next >= 0) {
    track->join = spot;
    tracks->at_track = -1;
    return SB_OK;
  }
  status = keep_spot(tracks, track, &spot, err);
  if (status != SB_OK) return status;
  if (sample % SB_TRACK_STRIDE == 0) take_view(track);
  return sample == tracks->end_sample ? SB_OK : add_ahead(tracks, track, &spot, least, err);
}

enum sb_status sb_map_tracks_extend(struct sb_tracks *tracks, int at, struct sb_error *err)
{
  return sb_map_tracks_extend_calmly(tracks, at, INT32_MAX, err);
}

enum sb_status sb_map_tracks_extend_calmly(struct sb_tracks *tracks, int at, int32_t least, struct sb_error *err)
{
  const struct sb_track *track = &tracks->items[at];
  const int known = tracks->at_track;
  enum sb_status status = SB_OK;
  tracks->at_track = at;
  tracks->to_sample = track->first + track->count;
  if (track->count == 0 && track->begin != NULL) {
    stand_at_begin(tracks, at);
  } else if (known != at) {
    status = stand_at(tracks, at, track->first + track->count - 1, err);
  }
  return status == SB_OK ? add_sample(tracks, at, least, err) : status;
}

/* Children --------------------------------------------------------------------------------------------------------- */

/* Where in the order of a track's children one is, or would be. */
static int child_place(const struct sb_track *track, int sample, int gear)
{
  int low = 0, high = track->child_count;
  while (low < high) {
    const int middle = (low + high) / 2;
    const struct sb_track_child *child = &track->children[middle];
    if (child->sample < sample || (child->sample == sample && child->gear < gear)) {
      low = middle + 1;
    } else {
      high = middle;
    }
  }
  return low;
}

/* A sample from which on others were looked at before the simulator came there: the reading's filter has gone on. */
static bool is_ahead(const struct sb_tracks *tracks, int sample)
{
  return tracks->ahead_count > 0 && sample >= tracks->ahead_first && sample < tracks->ahead_first + tracks->ahead_count;
}

/* Moves the simulator to a sample that lies ahead on the stretch that it is in; false: it does not. */
static bool go_ahead(struct sb_tracks *tracks, int at, int sample)
{
  struct sb_error err;
  if (tracks->at_track != at || tracks->at_sample > sample) return false;
  if (tracks->at_sample == sample) return true;
  if (!is_ahead(tracks, sample)) return false;
  if (sb_sim_advance(&tracks->sim, sample * tracks->steps_per_sample, &err) != SB_OK) return false;
  tracks->at_sample = sample;
  return true;
}

enum sb_status sb_map_tracks_find_load(struct sb_tracks *tracks, int at, int sample, double *own_load_nm,
                                       struct sb_error *err)
{
  const struct work work = work_of(tracks);
  const bool is_there = go_ahead(tracks, at, sample);
  const enum sb_status status = is_there ? SB_OK : stand_at(tracks, at, sample, err);
  if (status == SB_OK) *own_load_nm = sb_sim_glance(&tracks->sim).own_load_nm;
  if (is_there) return status;
  forget_work(tracks, &work);
  tracks->at_track = -1;
  return status;
}

/* Begins a track with a command at a sample of another one, at which the simulator stands. *part: of that one, as far as it has come;
 * the motion goes on afterwards as if nobody had asked. */
static int begin_child(struct sb_tracks *tracks, int sample, int gear, struct sb_track_part *part, struct sb_error *err)
{
  struct sb_anchor *begin = malloc(tracks->anchor_size);
  if (begin == NULL) {
    (void)no_memory(err);
    return -1;
  }
  sb_sim_keep(&tracks->sim, tracks->kept);
  *part = take_part(tracks);
  take_anchor(tracks, begin);
  if (is_ahead(tracks, sample)) begin->filtered = tracks->ahead_filtered[sample - tracks->ahead_first];
  sb_sim_take_back(&tracks->sim, tracks->kept);
  const struct sb_track begun = {.gear = gear, .first = sample + 1, .begin = begin, .next = -1};
  const int at = new_track(tracks, &begun, err);
  if (at < 0) free(begin);
  if (at >= 0) tracks->used_bytes += tracks->anchor_size;
  return at;
}

/* Enters a child among those of its track. */
static bool insert_child(struct sb_tracks *tracks, int at, int place, const struct sb_track_child *child)
{
  struct sb_track *track = &tracks->items[at];
  const size_t count = (size_t)track->child_count;
  if (!grow_counted(tracks, &track->children, &track->child_room, count, sizeof *child)) return false;
  memmove(track->children + place + 1, track->children + place, (count - (size_t)place) * sizeof *child);
  track->children[place] = *child;
  track->child_count++;
  return true;
}

int sb_map_tracks_child(struct sb_tracks *tracks, int at, int sample, int gear, struct sb_track_part *part,
                        struct sb_error *err)
{
  const struct sb_track *track = &tracks->items[at];
  const int place = child_place(track, sample, gear);
  struct sb_track_child *known = place < track->child_count ? &track->children[place] : NULL;
  const bool is_begun = known != NULL && known->sample == sample && known->gear == gear;
  if (is_begun && !tracks->items[known->track].is_gone) {
    tracks->items[known->track].waiting++;
    *part = known->part;
    return known->track;
  }
  const bool is_there = go_ahead(tracks, at, sample);
  if (!is_there && stand_at(tracks, at, sample, err) != SB_OK) return -1;
  const int child = begin_child(tracks, sample, gear, part, err);
  if (!is_there) tracks->at_track = -1;
  if (child < 0) return -1;
  tracks->items[child].waiting = 1;
  if (is_begun) {
    known->track = child;
    return child;
  }
  const struct sb_track_child entry = {sample, gear, child, *part};
  if (insert_child(tracks, at, place, &entry)) return child;
  (void)no_memory(err);
  return -1;
}

/* Begin and end ---------------------------------------------------------------------------------------------------- */

static bool is_angle_free(const struct sb_load *load)
{
  if (load->road.is_present) return false;
  for (int i = 0; i < load->part_count; i++) {
    if (load->parts[i].axis == SB_OVER_TURNS) return false;
  }
  return true;
}

static enum sb_status draw_noise(struct sb_tracks *tracks, struct sb_error *err)
{
  if (tracks->reading.noise == NULL) return SB_OK;
  tracks->noise = calloc((size_t)tracks->end_sample, sizeof *tracks->noise);
  if (tracks->noise == NULL) return no_memory(err);
  for (int n = 0; n < tracks->end_sample; n++) tracks->noise[n] = sb_sensor_draw(&tracks->reading);
  return SB_OK;
}

static enum sb_status begin_at_the_start(struct sb_tracks *tracks, struct sb_error *err)
{
  const int gear = tracks->model->control.start_gear - 1;
  enum sb_status status = sb_sim_init(&tracks->sim, tracks->model, gear, err);
  if (status != SB_OK) return status;
  tracks->sim.observer = (struct sb_sim_observer){tracks, on_event, NULL};
  tracks->sim.has_few_sums = true;
  tracks->kept = sb_sim_kept_new();
  if (tracks->kept == NULL) return no_memory(err);
  tracks->at_track = new_track(tracks, &(struct sb_track){.gear = gear, .next = -1}, err);
  return tracks->at_track < 0 ? SB_ERR_MEMORY : sb_map_tracks_extend(tracks, tracks->at_track, err);
}

enum sb_status sb_map_tracks_init(struct sb_tracks *tracks, const struct sb_model *model, struct sb_error *err)
{
  const struct sb_run_setup *run = &model->run;
  *tracks = (struct sb_tracks){.model = model,
                               .at_track = -1,
                               .is_angle_free = is_angle_free(&model->load),
                               .bytes_max = BYTES_MAX,
                               .fast_rad_s = sb_model_motor_speed_limit_rad_s(model)};
  tracks->steps_per_sample = sb_model_step_count(model->control.sample_period_s, run->step_s);
  tracks->last_step = sb_model_step_count(run->duration_s, run->step_s);
  const long long last_sample = tracks->last_step / tracks->steps_per_sample;
  if (last_sample >= INT32_MAX - 1) return sb_fail(err, SB_ERR_NUMERICS, "too many samples for a map");
  tracks->end_sample = (int)last_sample + 1;
  enum sb_status status = sb_sensor_init(&tracks->reading, &model->control.sensor, model->control.sample_period_s, err);
  tracks->anchor_size = sizeof(struct sb_anchor) + (size_t)tracks->reading.slot_count * sizeof(double);
  tracks->block_size = sizeof(struct sb_track_block) + tracks->anchor_size;
  if (status == SB_OK) status = draw_noise(tracks, err);
  if (status == SB_OK) status = begin_at_the_start(tracks, err);
  if (status != SB_OK) sb_map_tracks_clear(tracks);
  return status;
}

void sb_map_tracks_clear(struct sb_tracks *tracks)
{
  for (int i = 0; i < tracks->count; i++) {
    free(tracks->items[i].blocks);
    free(tracks->items[i].parts);
    free(tracks->items[i].begin);
    free(tracks->items[i].children);
    free(tracks->items[i].rows);
  }
  while (tracks->slabs != NULL) {
    struct sb_track_block *slab = tracks->slabs;
    tracks->slabs = slab->next;
    free(slab);
  }
  free(tracks->items);
  free(tracks->table);
  free(tracks->noise);
  free(tracks->kept);
  sb_sensor_clear(&tracks->reading);
  sb_sim_clear(&tracks->sim);
  *tracks = (struct sb_tracks){.at_track = -1};
}
