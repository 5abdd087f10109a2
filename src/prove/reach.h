// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * reach.h - all states that a machine can be in under every load within bounds, and the commands that they lead to.
 *
 * A node is a gear, the samples since the command up to the dwell, and how many readings in a row are beyond a threshold; what
 * it contains is a union of spans (span.h). A set is carried to the first sample that may decide, cut at the thresholds, what
 * stays is carried on by a sample, cut again, and so on. Once what stays touches what it came from, its ends go to their limits:
 * the lower one to the lesser of itself and the heaviest steady state, not below the threshold; the upper one likewise. Boxes of a
 * clutch that slips (edge_clutch.h) go as far as a guess, and are followed on until they hold what comes of them.
 */
#ifndef SHIFTBAND_PROVE_REACH_H
#define SHIFTBAND_PROVE_REACH_H

#include "prove/edge.h"

enum sb_reach_way { SB_REACH_DOWN, SB_REACH_UP, SB_REACH_WAYS };

/* A part of the readings on which a sample decides alike. */
struct sb_reach_part {
  double from, to; /* speeds of the motor with sign, rad/s; with a filter readings, fractions: from <= value < to */
  int way;         /* enum sb_reach_way, or -1: nothing is decided */
};

enum { SB_REACH_PARTS_MAX = 5 };

struct sb_reach_gear {
  int part_count;
  struct sb_reach_part parts[SB_REACH_PARTS_MAX];
  double downshift_rad_s, upshift_rad_s; /* below, at or above: that shift; 0, INFINITY: none */
};

/* States with the readings in a row that they have: > 0 above, < 0 below the threshold. */
struct sb_reach_item {
  int count;
  struct sb_span span;
};

struct sb_reach_cloud {
  size_t item_count, item_max;
  struct sb_reach_item *items; /* owned */
};

/* Commands of each gear, either way. */
struct sb_reach_commands {
  struct sb_spans sets[SB_GEAR_MAX][SB_REACH_WAYS];
};

struct sb_reach {
  struct sb_edges edges;
  int gear_count, dwell, start_delay, debounce;
  struct sb_reach_gear gears[SB_GEAR_MAX];
  struct sb_spans engaged[SB_GEAR_MAX]; /* at samples that may decide */
  struct sb_span start;                 /* at the first sample that may decide */
  double start_standing_s;              /* until the first sample that may decide */
  bool has_boxes;                       /* a clutch slips in gear, or engages too late for some first decisions */
  bool forgoes_boxes;                   /* asked for: what would need boxes is left out */
  double slip_nm;   /* the greatest torque at the output of a clutch that slips in gear or in shifts */
  bool is_restless; /* sets: a box was followed no further, though a command can still come from it */
  const char *
      trouble; /* what makes the sets less than all that can be reached, as sb_prove_outside() says it; NULL: nothing */
};

/* Prepares; SB_ERR_MEMORY or a simulation's status. Release with sb_reach_clear(). */
enum sb_status sb_reach_init(struct sb_reach *reach, const struct sb_model *model, struct sb_error *err);
/* The same of all machines between two (edge.h). */
enum sb_status sb_reach_init_between(struct sb_reach *reach, const struct sb_model *model,
                                     const struct sb_model *const ends[SB_EDGE_SIDES], struct sb_error *err);
void sb_reach_clear(struct sb_reach *reach);

/* Whether no reading takes a gear into a slower one: it is the slowest, or its threshold is less than any reading can be. Pure. */
bool sb_reach_is_lowest(const struct sb_reach *reach, int gear);

/* The gear that a command leads to. Pure. */
int sb_reach_next_gear(int gear, int way);

/* Whether there is any. Pure. */
bool sb_reach_has_commands(const struct sb_reach *reach, const struct sb_reach_commands *commands);

/* Beyond so many samples after a command nothing changes any more in a gear: what waits is at its limits. Pure. */
int sb_reach_last_sample(const struct sb_reach *reach, int gear);

/* All commands that are ever given from the start on. */
void sb_reach_all(struct sb_reach *reach, struct sb_reach_commands *commands);

/* The commands that follow next upon commands, and whether any does. */
bool sb_reach_next(struct sb_reach *reach, const struct sb_reach_commands *from, struct sb_reach_commands *next);

/* Whether commands go on for ever from these: 1 yes, 0 no, -1 not found out. `lasting`: those that do. */
int sb_reach_lasting(struct sb_reach *reach, const struct sb_reach_commands *from, struct sb_reach_commands *lasting);

/* Told the commands that a sample after another one gives; true: enough. */
typedef bool sb_reach_told(void *context, int sample, int gear, int way, const struct sb_span *span);

/* Follows one command sample by sample, up to a sample; returns whether any state still waits there. `told` may be NULL. */
bool sb_reach_follow(struct sb_reach *reach, int gear, int way, const struct sb_span *command, int last_sample,
                     sb_reach_told *told, void *context);

/* The same of states that wait in a gear at sample 0, before its reading. */
bool sb_reach_follow_on(struct sb_reach *reach, int gear, const struct sb_reach_item *from, int last_sample,
                        sb_reach_told *told, void *context);

/* The part of a span on which a sample decides alike; false: none. */
bool sb_reach_cut(const struct sb_reach *reach, int gear, const struct sb_span *span, const struct sb_reach_part *part,
                  struct sb_span *out);

/* The readings in a row with one more of a way (or -1). Pure. */
int sb_reach_counted(int count, int way);

/* The way of the command that so many readings in a row give; -1: none. Pure. */
int sb_reach_commanded(const struct sb_reach *reach, int count);

#endif
