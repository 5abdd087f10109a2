// SPDX-License-Identifier: GPL-3.0-or-later
#include "map/track.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "base/constants.h"
#include "run/sense.h"

/* One entry of the hash: a stop, by the bits of its state. */
struct meeting {
  uint64_t hash; /* 0: free */
  int track;
  int sample;
};

/* Tracks are looked for at every so many samples only: they meet a little later, in a smaller table. */
enum { MEETING_STRIDE = 4 };

/* Memory ----------------------------------------------------------------------------------------------------------- */

static enum sb_status no_memory(struct sb_error *err)
{
  return sb_fail(err, SB_ERR_MEMORY, "out of memory for the tracks of a map");
}

static enum sb_status grow_items(struct sb_tracks *tracks, struct sb_error *err)
{
  return sb_grow(&tracks->items, &tracks->room, (size_t)tracks->count, sizeof *tracks->items) ? SB_OK : no_memory(err);
}

static enum sb_status grow_spots(struct sb_track *track, struct sb_error *err)
{
  const size_t count = (size_t)track->count;
  const bool is_fine = sb_grow(&track->spots, &track->spot_room, count, sizeof *track->spots) &&
                       sb_grow(&track->stops, &track->stop_room, count, sizeof *track->stops);
  return is_fine ? SB_OK : no_memory(err);
}

static bool grow_rows(struct sb_track *track)
{
  return sb_grow(&track->rows, &track->row_room, (size_t)track->row_count, sizeof *track->rows);
}

static enum sb_status grow_table(struct sb_tracks *tracks, struct sb_error *err)
{
  if (2 * tracks->table_used < tracks->table_size) return SB_OK;
  const size_t size = tracks->table_size > 0 ? 2 * tracks->table_size : 1024;
  struct meeting *table = calloc(size, sizeof *table);
  if (table == NULL) return no_memory(err);
  for (size_t i = 0; i < tracks->table_size; i++) {
    if (tracks->table[i].hash == 0) continue;
    size_t place = tracks->table[i].hash & (size - 1);
    while (table[place].hash != 0) place = (place + 1) & (size - 1);
    table[place] = tracks->table[i];
  }
  free(tracks->table);
  tracks->table = table;
  tracks->table_size = size;
  return SB_OK;
}

static int new_track(struct sb_tracks *tracks, const struct sb_track *track, struct sb_error *err)
{
  if (grow_items(tracks, err) != SB_OK) return -1;
  tracks->items[tracks->count] = *track;
  return tracks->count++;
}

/* States ----------------------------------------------------------------------------------------------------------- */

double sb_map_tracks_time_s(const struct sb_tracks *tracks, int sample)
{
  const long long step = sample < tracks->end_sample ? sample * tracks->steps_per_sample : tracks->last_step;
  return sb_sim_grid_s(&tracks->sim, step);
}

/* A machine whose state is more than a stop can hold. */
static bool has_more(const struct sb_model *model)
{
  const struct sb_sensor *sensor = &model->control.sensor;
  const bool has_past = sensor->pulses.per_turn > 0.0 || sensor->supply.filter_s > 0.0;
  if (sb_gearbox_has_locking(&model->gearbox)) return true; /* there the gear says what its load takes of the motor */
  return has_past || model->load.road.is_present || model->driveshaft.is_present || model->battery.is_present ||
         model->winding.is_present || model->supply.current_limit_a > 0.0 || sb_drive_is_moving(&model->drive) ||
         sb_shifter_clutch_nm(&model->shifter) > 0.0;
}

static struct sb_stop stop_now(const struct sb_tracks *tracks)
{
  const struct sb_state *state = &tracks->sim.state;
  return (struct sb_stop){.load_time_s = state->load_time_s,
                          .load_angle_rad = state->load_angle_rad,
                          .motor_speed_rad_s = state->motor_speed_rad_s,
                          .output_speed_rad_s = state->output_speed_rad_s,
                          .output_angle_rad = state->output_angle_rad,
                          .filtered = tracks->reading.filtered,
                          .back_rad = state->back_rad,
                          .motor_direction = (int8_t)state->motor_direction,
                          .is_driving = state->is_driving != 0,
                          .drive_direction = (int8_t)state->drive_direction,
                          .is_back_counted = state->is_back_counted != 0,
                          .child = {-1, -1}};
}

/* Fills what a window has counted in the sample periods up to a sample of a track: those of earlier tracks are its parents'. */
static void remember(const struct sb_tracks *tracks, int at, int sample, struct sb_reading *reading)
{
  for (int k = 0; k < reading->slot_count; k++, sample--) {
    while (at >= 0 && sample < tracks->items[at].first) at = tracks->items[at].parent;
    const int slot = (sample % reading->slot_count + reading->slot_count) % reading->slot_count;
    const struct sb_track *track = at >= 0 ? &tracks->items[at] : NULL;
    reading->slots[slot] = track != NULL ? track->spots[sample - track->first].more->state.pulses.closed : 0.0;
  }
}

/* Puts the simulator where a track is at a sample, engaged. */
static void stand_at(struct sb_tracks *tracks, int at, int sample)
{
  const struct sb_track *track = &tracks->items[at];
  const struct sb_stop *stop = &track->stops[sample - track->first];
  const struct sb_gear *gear = &tracks->model->gearbox.gears[track->gear];
  const struct sb_state plain = {.step = sample * tracks->steps_per_sample,
                                 .time_s = sb_map_tracks_time_s(tracks, sample),
                                 .load_time_s = stop->load_time_s,
                                 .load_angle_rad = stop->load_angle_rad,
                                 .motor_speed_rad_s = stop->motor_speed_rad_s,
                                 .output_speed_rad_s = stop->output_speed_rad_s,
                                 .output_angle_rad = stop->output_angle_rad,
                                 .gear = track->gear,
                                 .link = SB_LINK_MESH,
                                 .motor_direction = stop->motor_direction,
                                 .output_direction = stop->motor_direction * gear->output_direction,
                                 .is_driving = stop->is_driving,
                                 .feed = tracks->sim.state.feed, /* of a machine without more it never changes */
                                 .back_rad = stop->back_rad,
                                 .drive_direction = stop->drive_direction,
                                 .is_back_counted = stop->is_back_counted};
  const struct sb_more *more = track->spots[sample - track->first].more;
  sb_sim_restore(&tracks->sim, more != NULL ? &more->state : &plain);
  tracks->reading.filtered = stop->filtered;
  if (more != NULL) tracks->reading.voltage_v = more->measured_v;
  remember(tracks, at, sample, &tracks->reading);
  tracks->output_turns = stop->output_angle_rad / SB_TURN;
}

/* All that acts on the future of a machine with an engaged gear, as words: an angle that no load depends on does not. */
enum { KEY_WORDS = 9, MORE_WORDS = 35 };

static uint64_t bits_of(double value)
{
  uint64_t bits;
  memcpy(&bits, &value, sizeof bits);
  return bits;
}

static void take_key(const struct sb_tracks *tracks, const struct sb_stop *stop, int gear, int sample,
                     uint64_t key[KEY_WORDS])
{
  const bool is_free = tracks->is_angle_free;
  key[0] = (uint64_t)sample;
  key[1] = bits_of(stop->load_time_s);
  key[2] = is_free ? 0 : bits_of(stop->load_angle_rad);
  key[3] = is_free ? 0 : bits_of(stop->output_angle_rad);
  key[4] = bits_of(stop->motor_speed_rad_s);
  key[5] = bits_of(stop->output_speed_rad_s);
  key[6] = bits_of(stop->filtered);
  key[7] = bits_of(stop->back_rad);
  key[8] = (uint64_t)((gear * 4 + stop->drive_direction + 1) * 16 + stop->is_back_counted * 8 +
                      (stop->motor_direction + 1) * 2 + stop->is_driving);
}

/* The rest of a machine that has more: vehicle, shaft and what feeds the motor. Each value is a word of its own. */
static void take_more(const struct sb_more *more, uint64_t key[MORE_WORDS])
{
  const struct sb_state *state = &more->state;
  const struct sb_far *far = &state->far;
  const struct sb_feed *feed = &state->feed;
  const struct sb_pulses *pulses = &state->pulses;
  const double values[] = {far->speed_rad_s,        far->angle_rad,
                           far->load_angle_rad,     far->left_rad,
                           far->is_slipping,        far->slip_direction,
                           far->direction,          far->met_count,
                           far->is_finished,        state->output_direction,
                           state->twist.side,       state->twist.twist_rad,
                           feed->drive.duty,        feed->drive.integral_rad,
                           feed->drive.command,     feed->warmth.winding_c,
                           feed->warmth.housing_c,  feed->resistance_ohm,
                           feed->voltage_v,         feed->drawn_as,
                           (double)feed->low_ticks, feed->is_cut_out,
                           feed->is_empty,          (double)feed->ready_step,
                           pulses->angle,           pulses->count,
                           pulses->closed,          pulses->last_s,
                           pulses->period_s,        more->measured_v,
                           (double)state->link,     state->slip_direction,
                           state->is_shifting,      feed->magnet_ratio,
                           (double)feed->piece};
  static_assert(sizeof values / sizeof *values == MORE_WORDS, "every word is set");
  for (int i = 0; i < MORE_WORDS; i++) key[i] = bits_of(values[i]);
}

static uint64_t stirred(uint64_t hash, const uint64_t *key, int count)
{
  for (int i = 0; i < count; i++) {
    hash = (hash ^ key[i]) * 1099511628211U;
    hash ^= hash >> 29;
  }
  return hash;
}

/* As FNV-1a, by words, stirred. */
static uint64_t hash_of(const uint64_t key[KEY_WORDS], const struct sb_more *more)
{
  uint64_t hash = stirred(14695981039346656037U, key, KEY_WORDS);
  if (more != NULL) {
    uint64_t words[MORE_WORDS];
    take_more(more, words);
    hash = stirred(hash, words, MORE_WORDS);
  }
  return hash != 0 ? hash : 1;
}

static bool has_same_more(const struct sb_more *one, const struct sb_more *other)
{
  if (one == NULL) return true;
  uint64_t ones[MORE_WORDS], others[MORE_WORDS];
  take_more(one, ones);
  take_more(other, others);
  return memcmp(ones, others, sizeof ones) == 0;
}

/* Whether a window has counted the same before a known state as before the present one. */
static bool has_same_past(const struct sb_tracks *tracks, const struct meeting *known)
{
  const struct sb_reading *now = &tracks->reading;
  if (now->slot_count == 0) return true;
  struct sb_reading other = {.slot_count = now->slot_count};
  remember(tracks, known->track, known->sample, &other);
  for (int k = 0; k < now->slot_count; k++) {
    if (now->slots[k] != other.slots[k]) return false;
  }
  return true;
}

static bool is_at(const struct sb_tracks *tracks, const struct meeting *known, const uint64_t key[KEY_WORDS],
                  const struct sb_more *more)
{
  const struct sb_track *track = &tracks->items[known->track];
  const struct sb_stop *stop = &track->stops[known->sample - track->first];
  uint64_t other[KEY_WORDS];
  take_key(tracks, stop, track->gear, known->sample, other);
  if (memcmp(other, key, sizeof other) != 0) return false;
  return has_same_more(track->spots[known->sample - track->first].more, more) && has_same_past(tracks, known);
}

/* The track that is in this state at this sample, else -1 and the state is entered as that of the given track. */
static int meet_or_enter(struct sb_tracks *tracks, int at, int sample, const struct sb_stop *stop,
                         const struct sb_more *more)
{
  uint64_t key[KEY_WORDS];
  take_key(tracks, stop, tracks->items[at].gear, sample, key);
  const uint64_t hash = hash_of(key, more);
  size_t place = hash & (tracks->table_size - 1);
  for (; tracks->table[place].hash != 0; place = (place + 1) & (tracks->table_size - 1)) {
    const struct meeting *known = &tracks->table[place];
    if (known->hash == hash && is_at(tracks, known, key, more)) return known->track;
  }
  tracks->table[place] = (struct meeting){hash, at, sample};
  tracks->table_used++;
  return -1;
}

/* Samples ---------------------------------------------------------------------------------------------------------- */

static void on_event(void *context, const struct sb_sim *sim, enum sb_event event)
{
  struct sb_tracks *tracks = context;
  /* In neutral only wheels that slip or grip are of interest, the drive, and the end. */
  const bool is_slip = event == SB_EVENT_SLIPPED || event == SB_EVENT_GRIPPED || event == SB_EVENT_SWITCHED;
  if (!sb_sim_is_engaged(sim) && !is_slip && event != SB_EVENT_FINISHED) return;
  struct sb_track *track = &tracks->items[tracks->at_track];
  if (!grow_rows(track)) {
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

static const struct sb_more *keep_more(struct sb_tracks *tracks, const struct sb_row *row, int32_t greatest)
{
  if (!tracks->has_more) return NULL;
  struct sb_more *more = sb_arena_take(&tracks->mores, sizeof *more);
  if (more == NULL) {
    tracks->is_out_of_memory = true;
    return NULL;
  }
  *more = (struct sb_more){.state = tracks->sim.state,
                           .own_load_nm = row->own_load_nm,
                           .next_load_nm = sb_row_next_load_nm(row),
                           .measured_v = tracks->reading.voltage_v,
                           .greatest = greatest};
  return more;
}

/* What the sensor reads at the present sample; at the end of the run nothing is read. */
static struct sb_sensed sense(struct sb_tracks *tracks, int sample, struct sb_row *row)
{
  if (sample == tracks->end_sample) return (struct sb_sensed){.least = 0};
  return sb_sense_take(&tracks->reading, &tracks->sim, row, tracks->noise != NULL ? tracks->noise[sample] : 0.0);
}

/* What the simulator shows at the present sample, and what came together since the one before. */
static struct sb_spot look(struct sb_tracks *tracks, int sample)
{
  const struct sb_track *track = &tracks->items[tracks->at_track];
  const struct sb_sums *sums = sb_sim_sums(&tracks->sim);
  struct sb_row row = sb_sim_row(&tracks->sim);
  const struct sb_sensed sensed = sense(tracks, sample, &row);
  struct sb_spot spot = {.external_nm = row.external_torque_nm,
                         .reading = sensed.least,
                         .more = keep_more(tracks, &row, sensed.greatest),
                         .given_j = sums->energy.given,
                         .turns = row.output_turns - tracks->output_turns,
                         .torque_nm = fabs(sums->output_torque_nm.value),
                         .way_rad = sums->way_rad,
                         .back_rad = sums->back.value};
  if (row.gear > 0) spot.flags |= SB_SPOT_ENGAGED;
  if (sb_sim_is_deciding(&tracks->sim)) spot.flags |= SB_SPOT_DECIDING;
  if (sb_row_is_stalled(&row, &tracks->model->drive)) spot.flags |= SB_SPOT_RESTING;
  if (row.is_slipping) spot.flags |= SB_SPOT_SLIPPING;
  if (row.is_clutch_slipping) spot.flags |= SB_SPOT_CLUTCH;
  if (fabs(sums->motor_speed_rad_s.value) > tracks->fast_rad_s) spot.flags |= SB_SPOT_FAST;
  if (!isnan(sums->hot_first_s)) spot.flags |= SB_SPOT_HOT;
  if (!isnan(sums->cut_first_s)) spot.flags |= SB_SPOT_CUT;
  if (tracks->sim.state.far.is_finished) spot.flags |= SB_SPOT_FINISHED;
  if (!isnan(sums->over_limit_first_s)) spot.flags |= SB_SPOT_OVERLOAD;
  if (track->row_count > 0 && track->rows[track->row_count - 1].sample == sample) spot.flags |= SB_SPOT_HAS_ROWS;
  tracks->output_turns = row.output_turns;
  tracks->sim.sums = sb_sim_sums_empty();
  return spot;
}

/* Moves the simulator on to the track's next sample and adds what it shows, or finds the track that it has met. */
static enum sb_status add_sample(struct sb_tracks *tracks, int at, struct sb_error *err)
{
  const int sample = tracks->to_sample;
  const bool is_end = sample == tracks->end_sample;
  enum sb_status status =
      sb_sim_advance(&tracks->sim, is_end ? tracks->last_step : sample * tracks->steps_per_sample, err);
  struct sb_track *track = &tracks->items[at];
  if (status == SB_OK && tracks->is_out_of_memory) status = no_memory(err);
  if (status == SB_OK) status = grow_spots(track, err);
  if (status == SB_OK) status = grow_table(tracks, err);
  if (status != SB_OK) return status;
  tracks->sample_count++;

  const struct sb_spot spot = look(tracks, sample);
  if (tracks->is_out_of_memory) return no_memory(err);
  const struct sb_stop stop = stop_now(tracks);
  if (spot.flags & SB_SPOT_ENGAGED && sample % MEETING_STRIDE == 0 && !is_end) {
    track->next = meet_or_enter(tracks, at, sample, &stop, spot.more);
    if (track->next >= 0) {
      track->join = spot;
      tracks->at_track = -1;
      return SB_OK;
    }
  }
  track->spots[track->count] = spot;
  track->stops[track->count] = stop;
  track->count++;
  return SB_OK;
}

enum sb_status sb_map_tracks_extend(struct sb_tracks *tracks, int at, struct sb_error *err)
{
  const struct sb_track *track = &tracks->items[at];
  const bool is_new = track->count == 0;
  const int parent = track->parent, parent_sample = track->parent_sample;
  if (is_new && parent >= 0) {
    stand_at(tracks, parent, parent_sample);
  } else if (tracks->at_track != at) {
    assert(track->spots[track->count - 1].flags & SB_SPOT_ENGAGED);
    stand_at(tracks, at, track->first + track->count - 1);
  }
  tracks->at_track = at;
  tracks->to_sample = track->first + track->count;
  if (is_new && parent >= 0) sb_sim_command(&tracks->sim, track->gear);
  return add_sample(tracks, at, err);
}

int sb_map_tracks_child(struct sb_tracks *tracks, int track, int sample, int gear, struct sb_error *err)
{
  const int index = sample - tracks->items[track].first;
  const int side = gear > tracks->items[track].gear;
  const int known = tracks->items[track].stops[index].child[side];
  if (known >= 0) return known;
  const struct sb_track begun = {
      .gear = gear, .parent = track, .parent_sample = sample, .first = sample + 1, .next = -1};
  const int at = new_track(tracks, &begun, err);
  if (at >= 0) tracks->items[track].stops[index].child[side] = at;
  return at;
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
  tracks->at_track = new_track(tracks, &(struct sb_track){.gear = gear, .parent = -1, .next = -1}, err);
  return tracks->at_track < 0 ? SB_ERR_MEMORY : sb_map_tracks_extend(tracks, tracks->at_track, err);
}

enum sb_status sb_map_tracks_init(struct sb_tracks *tracks, const struct sb_model *model, struct sb_error *err)
{
  const struct sb_run_setup *run = &model->run;
  *tracks = (struct sb_tracks){.model = model,
                               .at_track = -1,
                               .is_angle_free = is_angle_free(&model->load),
                               .has_more = has_more(model),
                               .fast_rad_s = sb_model_motor_speed_limit_rad_s(model)};
  tracks->steps_per_sample = sb_model_step_count(model->control.sample_period_s, run->step_s);
  tracks->last_step = sb_model_step_count(run->duration_s, run->step_s);
  const long long last_sample = tracks->last_step / tracks->steps_per_sample;
  if (last_sample >= INT32_MAX - 1) return sb_fail(err, SB_ERR_NUMERICS, "too many samples for a map");
  tracks->end_sample = (int)last_sample + 1;
  enum sb_status status = sb_sensor_init(&tracks->reading, &model->control.sensor, model->control.sample_period_s, err);
  if (status == SB_OK) status = draw_noise(tracks, err);
  if (status == SB_OK) status = begin_at_the_start(tracks, err);
  if (status != SB_OK) sb_map_tracks_clear(tracks);
  return status;
}

void sb_map_tracks_clear(struct sb_tracks *tracks)
{
  for (int i = 0; i < tracks->count; i++) {
    free(tracks->items[i].spots);
    free(tracks->items[i].stops);
    free(tracks->items[i].rows);
  }
  free(tracks->items);
  sb_arena_clear(&tracks->mores);
  free(tracks->table);
  free(tracks->noise);
  sb_sensor_clear(&tracks->reading);
  sb_sim_clear(&tracks->sim);
  *tracks = (struct sb_tracks){.at_track = -1};
}
