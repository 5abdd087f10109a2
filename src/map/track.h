// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * track.h - internal: the machine's way from the start or from one command on, were there no further command; sample by
 * sample, simulated only as far as somebody asks, and shared: a track ends where it meets another one bit for bit.
 *
 * Samples count from 0 at t = 0. One more, sb_tracks.end_sample, stands for the end of the run, whether or not a sample
 * falls on it; nothing is decided there.
 */
#ifndef SHIFTBAND_MAP_TRACK_H
#define SHIFTBAND_MAP_TRACK_H

#include <stdint.h>

#include "base/arena.h"
#include "shiftband/run.h"

enum sb_spot_flag {
  SB_SPOT_ENGAGED = 1,   /* a gear is engaged */
  SB_SPOT_RESTING = 2,   /* and the output at rest under drive */
  SB_SPOT_HAS_ROWS = 4,  /* the track has rows between the sample before and this one */
  SB_SPOT_DECIDING = 8,  /* the controller decides */
  SB_SPOT_SLIPPING = 16, /* wheels slip under drive */
  SB_SPOT_FINISHED = 32, /* the end of the road was reached: the run is over */
  SB_SPOT_CLUTCH = 64,   /* an engaged clutch must transmit more than its torque */
  SB_SPOT_CLOSED =
      128 /* alone: not looked at yet. An engaged gear stays and decides; the readings are bounds, loads unknown */
};

/* What decisions and verdicts look at, at one sample. */
struct sb_spot {
  double own_load_nm, next_load_nm; /* that closed forms compare with (sim.h); NAN and -INFINITY: not looked at */
  int32_t reading;                  /* that a downshift is decided by, counts */
  int32_t greatest;                 /* that an upshift is (sense.h) */
  uint32_t flags;
};

/* The samples of a part, taken together. */
struct sb_track_view {
  bool is_plain; /* it is a whole block of an engaged gear that stays, and nothing else happens */
  int32_t least, greatest;
  double least_load_nm; /* of the next gear */
};

/* What came together since the track began or its last part ended, whichever was later. */
struct sb_track_part {
  double given_j, turns;
  double torque_nm; /* greatest, by magnitude */
  double way_rad;   /* to and fro */
  double back_rad;  /* greatest */
  unsigned kinds;   /* verdicts that were found: bit k is enum sb_verdict_kind k */
  /* A greatest torque that is less may be missing, for the path that the part was simulated for has a greater one. As a float it
   * takes no memory. */
  float torque_from_nm;
  struct sb_track_view view;
};

/* All that acts on the future at one sample: a track keeps it at every SB_TRACK_STRIDE-th, to go on from there. A part of it ends
 * there, too, and with the run. */
enum { SB_TRACK_STRIDE = SB_SIM_BLOCK };

struct sb_anchor {
  struct sb_state state;
  double filtered, voltage_v; /* of the reading */
  double slots[];             /* likewise */
};

/* The spots of the samples that end with one that the stride divides, and the state there. All blocks are of one size, so that those
 * that are let go serve again. */
struct sb_track_block {
  struct sb_track_block *next; /* of those that nobody uses */
  struct sb_spot spots[SB_TRACK_STRIDE];
  double anchor[]; /* room for one, with its slots */
};

/* An event engaged, or the run's end: what the monitor of a run is told between two samples. */
struct sb_track_row {
  int sample; /* the next one */
  bool is_engaged, is_resting, is_slipping, is_clutch_slipping, is_on;
  bool is_switched; /* the drive was cut, came back or took another command */
  double time_s, next_load_nm;
};

/* The track that begins with a command at a sample of another one. */
struct sb_track_child {
  int sample, gear, track;
  struct sb_track_part part; /* of the other one, up to the command */
};

struct sb_track {
  int gear;    /* index */
  int first;   /* sample of the first spot */
  int count;   /* spots known */
  int waiting; /* paths that are yet to begin with this track */
  bool is_gone;
  long used;                      /* when it last was, by the clock of all tracks */
  struct sb_anchor *begin;        /* before the command that it begins with; NULL: at the start of the run, or gone */
  struct sb_track_block **blocks; /* blocks[block_count], in order of samples */
  int block_count;
  size_t block_room;
  struct sb_track_part *parts; /* parts[part_count], in order of the samples with which they end */
  int part_count;
  size_t part_room;
  struct sb_track_row *rows; /* rows[row_count] in order of time */
  int row_count;
  size_t row_room;
  struct sb_track_child *children; /* children[child_count], in order of samples, then gears */
  int child_count;
  size_t child_room;
  int next;            /* track that goes on from sample first + count; -1: not yet known, or the end */
  struct sb_spot join; /* this track's own spot at that sample, with which a part ends */
};

struct sb_tracks {
  const struct sb_model *model;
  int end_sample;
  long long last_step, steps_per_sample; /* of the model's steps */
  double *noise;                         /* noise[end_sample], or NULL */
  struct sb_sim sim;
  struct sb_sim_kept *kept; /* scratch */
  double fast_rad_s;        /* limit of the motor's speed */
  float torque_from_nm;     /* of the part that the simulator is in */
  int at_track;             /* whose last spot the simulator stands at; -1: none */
  int to_sample;            /* that the track comes to know next */
  int at_sample;            /* at which it stands */
  /* Where samples were looked at ahead of it, on the stretch that it was in: the reading's filter at ahead_count of them, the first that
   * at which it stood then. */
  int ahead_first, ahead_count;
  double ahead_filtered[SB_SIM_BLOCK + 1];
  bool is_repeating;   /* it moves where the track is known already */
  double output_turns; /* at the beginning of the part that the simulator is in */
  struct sb_track *items;
  int count;
  size_t room;
  size_t anchor_size, block_size; /* bytes */
  struct sb_track_block *spare;   /* blocks that nobody uses */
  struct sb_track_block *slabs;   /* that all blocks are parts of, each behind a head that is not used */
  size_t used_bytes;              /* of what can be let go */
  size_t bytes_max;               /* beyond which that is done */
  long clock;
  struct meeting *table; /* hash of anchors */
  size_t table_size, table_used;
  long long sample_count;
  bool is_angle_free;    /* no part of the load depends on the output's angle */
  bool is_out_of_memory; /* a row was lost */
  struct sb_reading reading;
};

/* Whether a track still knows a sample. */
static inline bool sb_track_knows(const struct sb_track *track, int sample)
{
  return sample - track->first < track->count;
}

/* The number of the block of samples that one is in, or ends. */
static inline int sb_track_block_of(int sample)
{
  return (int)((unsigned)(sample + SB_TRACK_STRIDE - 1) / SB_TRACK_STRIDE); /* without signs it is a shift */
}

/* The block of a track that a known sample is in. */
static inline struct sb_track_block *sb_track_block_at(const struct sb_track *track, int sample)
{
  return track->blocks[sb_track_block_of(sample) - sb_track_block_of(track->first)];
}

/* The spot of a sample that is known. */
static inline struct sb_spot *sb_track_spot(const struct sb_track *track, int sample)
{
  return &sb_track_block_at(track, sample)->spots[(unsigned)(sample + SB_TRACK_STRIDE - 1) % SB_TRACK_STRIDE];
}

/* The state of a track at a sample that the stride divides. */
static inline struct sb_anchor *sb_track_anchor_at(const struct sb_track *track, int sample)
{
  return (struct sb_anchor *)(void *)sb_track_block_at(track, sample)->anchor;
}

/* Track 0 begins at the start of the run. */
enum sb_status sb_map_tracks_init(struct sb_tracks *tracks, const struct sb_model *model, struct sb_error *err);
void sb_map_tracks_clear(struct sb_tracks *tracks);

/*
 * The track that begins with a command to a gear (index) at a sample that is known, engaged; -1: it failed. A path waits for it
 * from then on, until sb_map_tracks_enter(). *part: of the track that it leaves, up to the command, but for parts that ended before.
 */
int sb_map_tracks_child(struct sb_tracks *tracks, int track, int sample, int gear, struct sb_track_part *part,
                        struct sb_error *err);

/* Makes more of a track known: afterwards it has one more spot, and as many as lie ahead undisturbed, or a next track. Not beyond
 * end_sample. */
enum sb_status sb_map_tracks_extend(struct sb_tracks *tracks, int track, struct sb_error *err);

/* The same for a path that passes whatever is engaged, plain and reads no less than so many counts: where bounds say as much of the
 * next block, its samples are left closed. Their bits, and those that follow, do not depend on it. */
enum sb_status sb_map_tracks_extend_calmly(struct sb_tracks *tracks, int track, int32_t least, struct sb_error *err);

/* From here on a path asks for torques that is known to have had one of so much. */
void sb_map_tracks_ask_torque(struct sb_tracks *tracks, double torque_nm);

/*
 * The greatest torque of a part, or of one up to a command (a child's), whatever was asked for when it was simulated: up to a sample
 * that is known, or that at which the track has met another one.
 */
enum sb_status sb_map_tracks_find_torque(struct sb_tracks *tracks, int track, int sample, double *torque_nm,
                                         struct sb_error *err);

/* The load of the present gear at a sample that is known, which most spots of the fastest gear do not show. */
enum sb_status sb_map_tracks_find_load(struct sb_tracks *tracks, int track, int sample, double *own_load_nm,
                                       struct sb_error *err);

/* Looks at the samples of the block that a closed one is in. */
enum sb_status sb_map_tracks_open(struct sb_tracks *tracks, int track, int sample, struct sb_error *err);

/* A path begins with a track that it waited for. No other path may be on its way: tracks that were used long ago are let go when
 * all of them take too much memory. */
void sb_map_tracks_enter(struct sb_tracks *tracks, int track);

/* A path goes on along the track that its own has met, unless that has been let go: its own one goes on, then. */
bool sb_map_tracks_follow_next(struct sb_tracks *tracks, int track);

/* Whether a part ends with a sample: with a block of them, with the run, or at the end of the road. */
static inline bool sb_map_tracks_end_part(const struct sb_tracks *tracks, int sample, bool is_finished)
{
  return sample % SB_TRACK_STRIDE == 0 || sample == tracks->end_sample || is_finished;
}

/* The part of a track that ends with a sample; NULL: none does. */
const struct sb_track_part *sb_map_tracks_part_at(const struct sb_tracks *tracks, const struct sb_track *track,
                                                  int sample);

/* The part that ends with the block whose first sample this is, if all of it is known; NULL: it is not. */
static inline const struct sb_track_part *sb_map_tracks_block_at(const struct sb_track *track, int sample)
{
  const int number = sample / SB_TRACK_STRIDE - (track->first + SB_TRACK_STRIDE - 1) / SB_TRACK_STRIDE + 1;
  const bool is_whole = sample % SB_TRACK_STRIDE == 1 && sample - track->first + SB_TRACK_STRIDE <= track->count;
  return is_whole ? &track->parts[number] : NULL;
}

/* The rows of a track between the sample before and this one: their number, *rows the first of them. */
int sb_track_rows_at(const struct sb_track *track, int sample, const struct sb_track_row **rows);

/* The time of a sample, to the bit that of the simulator. Pure. */
double sb_map_tracks_time_s(const struct sb_tracks *tracks, int sample);

#endif
