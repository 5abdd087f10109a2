// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * play.h - one machine with its controller against a load that answers what it does: the adversary.
 *
 * The load goes through stages; each has one torque, to which the load changes as fast as its rate allows, and ends after a time, or
 * with the next command. What comes of it is a load profile over time like any other, which a run of its own reproduces.
 */
#ifndef SHIFTBAND_PROVE_PLAY_H
#define SHIFTBAND_PROVE_PLAY_H

#include "prove/edge.h"
#include "shiftband/controller.h"
#include "shiftband/prove.h"

enum { SB_PLAY_STAGES_MAX = 24 };

struct sb_play_stage {
  double acting_nm, resisting_nm;
  bool is_until_command; /* ends with the next command, or after the time at the latest */
  double time_s;
};

struct sb_play_game {
  int stage_count;
  struct sb_play_stage stages[SB_PLAY_STAGES_MAX]; /* the last one stays */
  double duration_s;
};

enum { SB_PLAY_COMMANDS_MAX = 256 };

/* What came of it. */
struct sb_play_result {
  double bounds
      [SB_PROVE_BOUNDS]; /* the worst of each; NAN: there was none; return and reaction: since the load has come to the last stage's */
  double started_s[SB_PLAY_STAGES_MAX];  /* of the stages; INFINITY: never */
  double arrived_s[SB_PLAY_STAGES_MAX];  /* when the load has come to the stage's torque */
  double from_nm[SB_PLAY_STAGES_MAX][2]; /* acting and resisting load at the beginning of a stage */
  int command_count;
  double commands_s[SB_PLAY_COMMANDS_MAX]; /* the first ones */
  int last_gear;                           /* index */
};

struct sb_play {
  struct sb_model model; /* with constant parts that are changed */
  struct sb_sim sim;
  struct sb_controller_setup setup;
  double rate_nm_s;                                      /* of the torque that the load's bounds are for */
  bool is_acting;                                        /* that torque is the acting one */
  struct sb_edge_path paths[2];                          /* of the acting and of the resisting torque */
  struct sb_play_result *result;                         /* of the game that is played */
  double stood_since_s, command_s, command_output_rad_s; /* NAN: it does not stand, no shift is under way */
  double at_rest_since_s, engaged_s;
};

/* SB_ERR_MEMORY, or a simulation's status. Release with sb_play_clear(). */
enum sb_status sb_play_init(struct sb_play *play, const struct sb_model *model, struct sb_error *err);
void sb_play_clear(struct sb_play *play);

/* Plays a game from the start. */
enum sb_status sb_play_run(struct sb_play *play, const struct sb_play_game *game, struct sb_play_result *result,
                           struct sb_error *err);

#endif
