// SPDX-License-Identifier: GPL-3.0-or-later
#include "map/meeting.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

/* One entry of the hash: a stop, by the bits of its state. */
struct meeting {
  uint64_t hash; /* 0: free */
  int track;
  int sample;
};

/* All that acts on the future of a machine with an engaged gear, as words: an angle that no load depends on does not. */
enum { KEY_WORDS = 44 };

static uint64_t bits_of(double value)
{
  uint64_t bits;
  memcpy(&bits, &value, sizeof bits);
  return bits;
}

static void take_key(const struct sb_tracks *tracks, const struct sb_anchor *anchor, uint64_t key[KEY_WORDS])
{
  const struct sb_state *state = &anchor->state;
  const struct sb_far *far = &state->far;
  const struct sb_feed *feed = &state->feed;
  const struct sb_pulses *pulses = &state->pulses;
  const bool is_free = tracks->is_angle_free;
  const double values[] = {state->load_time_s,
                           is_free ? 0.0 : state->load_angle_rad,
                           is_free ? 0.0 : state->output_angle_rad,
                           state->motor_speed_rad_s,
                           state->output_speed_rad_s,
                           state->back_rad,
                           anchor->filtered,
                           (double)state->gear,
                           (double)(((state->drive_direction + 1) * 2 + state->is_back_counted) * 8 +
                                    (state->motor_direction + 1) * 2 + state->is_driving),
                           far->speed_rad_s,
                           far->angle_rad,
                           far->load_angle_rad,
                           far->left_rad,
                           far->is_slipping,
                           far->slip_direction,
                           far->direction,
                           far->met_count,
                           far->is_finished,
                           state->output_direction,
                           state->twist.side,
                           state->twist.twist_rad,
                           feed->drive.duty,
                           feed->drive.integral_rad,
                           feed->drive.command,
                           feed->warmth.winding_c,
                           feed->warmth.housing_c,
                           feed->resistance_ohm,
                           feed->voltage_v,
                           feed->drawn_as,
                           (double)feed->low_ticks,
                           feed->is_cut_out,
                           feed->is_empty,
                           (double)feed->ready_step,
                           pulses->angle,
                           pulses->count,
                           pulses->closed,
                           pulses->last_s,
                           pulses->period_s,
                           anchor->voltage_v,
                           (double)state->link,
                           state->slip_direction,
                           state->is_shifting,
                           feed->magnet_ratio,
                           (double)feed->piece};
  static_assert(sizeof values / sizeof *values == KEY_WORDS, "every word is set");
  for (int i = 0; i < KEY_WORDS; i++) key[i] = bits_of(values[i]);
}

/* Of what nearly always tells states apart, for the whole key takes as long as a stretch of plain motion: as FNV-1a, by words,
 * stirred. */
static uint64_t hash_of(const struct sb_tracks *tracks, int sample, const struct sb_anchor *anchor)
{
  const struct sb_state *state = &anchor->state;
  const double telling[] = {state->motor_speed_rad_s,
                            tracks->is_angle_free ? 0.0 : state->output_angle_rad,
                            anchor->filtered,
                            state->pulses.angle,
                            state->twist.twist_rad,
                            state->feed.drawn_as,
                            state->feed.drive.integral_rad,
                            state->feed.warmth.winding_c};
  uint64_t hash = 14695981039346656037U ^ (uint64_t)sample ^ (uint64_t)state->gear << 32;
  for (size_t i = 0; i < sizeof telling / sizeof *telling; i++) {
    hash = (hash ^ bits_of(telling[i])) * 1099511628211U;
    hash ^= hash >> 29;
  }
  return hash != 0 ? hash : 1;
}

enum sb_status sb_meeting_make_room(struct sb_tracks *tracks, struct sb_error *err)
{
  if (2 * tracks->table_used < tracks->table_size) return SB_OK;
  size_t live = 0;
  for (size_t i = 0; i < tracks->table_size; i++) {
    const struct meeting *known = &tracks->table[i];
    live += known->hash != 0 && sb_track_knows(&tracks->items[known->track], known->sample);
  }
  size_t size = 1024;
  while (size < 4 * live) size *= 2;
  struct meeting *table = calloc(size, sizeof *table);
  if (table == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for the tracks of a map");
  for (size_t i = 0; i < tracks->table_size; i++) {
    const struct meeting *known = &tracks->table[i];
    if (known->hash == 0 || !sb_track_knows(&tracks->items[known->track], known->sample)) continue;
    size_t place = known->hash & (size - 1);
    while (table[place].hash != 0) place = (place + 1) & (size - 1);
    table[place] = *known;
  }
  free(tracks->table);
  tracks->table = table;
  tracks->table_size = size;
  tracks->table_used = live;
  return SB_OK;
}

static bool is_at(const struct sb_tracks *tracks, const struct meeting *known, const struct sb_anchor *anchor)
{
  const struct sb_track *track = &tracks->items[known->track];
  if (!sb_track_knows(track, known->sample)) return false;
  const struct sb_anchor *other = sb_track_anchor_at(track, known->sample);
  uint64_t words[KEY_WORDS], key[KEY_WORDS];
  take_key(tracks, other, words);
  take_key(tracks, anchor, key);
  if (memcmp(words, key, sizeof words) != 0) return false;
  for (int k = 0; k < tracks->reading.slot_count; k++) {
    if (anchor->slots[k] != other->slots[k]) return false;
  }
  return true;
}

int sb_meeting_find_or_enter(struct sb_tracks *tracks, int at, int sample, const struct sb_anchor *anchor)
{
  const uint64_t hash = hash_of(tracks, sample, anchor);
  size_t place = hash & (tracks->table_size - 1);
  for (; tracks->table[place].hash != 0; place = (place + 1) & (tracks->table_size - 1)) {
    const struct meeting *known = &tracks->table[place];
    if (known->hash == hash && known->sample == sample && is_at(tracks, known, anchor)) return known->track;
  }
  tracks->table[place] = (struct meeting){hash, at, sample};
  tracks->table_used++;
  return -1;
}
