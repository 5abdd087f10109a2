// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * stretch.h - internal: a stretch of motion that is under way. It begins at the present state and ends where the segment
 * does, with the controller's block of samples (sim.h) or at the next tick of the feed, at the first guard, or where its series no
 * longer converges. States between are values of its series: who looks at them changes nothing.
 */
#ifndef SHIFTBAND_SIM_STRETCH_H
#define SHIFTBAND_SIM_STRETCH_H

#include "sim/guard.h"
#include "sim/motion.h"
#include "sim/neutral.h"
#include "sim/plain.h"

enum { SB_MARK_MAX = 16 };

struct sb_stretch {
  bool is_under_way;
  bool is_plain;    /* no series: the motor moves as plain.h says */
  bool is_apart;    /* plain, and the output moves by itself (neutral.h) */
  bool is_on_grid;  /* it began at the end of a whole step */
  bool is_gain_due; /* the segment's integrals, and peaks, are behind it */
  bool has_base;    /* some of the stretch is in the segment's integrals by now */
  int mark_count;   /* shares at which the torque turns over, ascending */
  double marks[SB_MARK_MAX];
  int turn_count; /* and a speed that could be greater, or less, than it has been */
  double turns[SB_MARK_MAX];
  struct sb_plain_factors *kept; /* by gear and by length (stretch.c); behind the stretch itself */
  double start_s, length_s;
  double end_s, end_share;
  /* The simulator's: the step at which it ends unless something happens before, and when that is; the whole steps done when it
   * began. */
  long long stop;
  double stop_s;
  long long start_step;
  const struct sb_guard *guard; /* that ends it */
  double share;                 /* reached so far */
  double peak_share;            /* up to which peaks were taken */
  /* The state's, when it began: of the motor since it reversed, of the output. */
  double turned_rad, angle_rad;
  long long begun_count, series_count;  /* stretches begun so far, and those of them that are series */
  const struct sb_plain_factors *whole; /* plain: of its whole length, among those kept */
  struct sb_plain_start plain;
  struct sb_plain_end plain_end; /* after the whole stretch */
  struct sb_plain_start apart;   /* the output's, in neutral */
  struct sb_gain base;           /* the segment's integrals when it began, less what was booked since */
  /* The time above the torque's limit that is going on: since when, and how much there was before; of the part that it is
   * booked by, and what was before that. */
  double over_since_s, over_before_s, spells_before_s;
  double over_part_s, impulse_before_nms, greatest_before_nm;
  struct sb_motion motion; /* the last: it stays as it is while the stretch goes on */
};

/* Memory for a stretch; NULL: there is none. Released by free(). */
struct sb_stretch *sb_stretch_new(void);

/* Adds weight times what came together. */
void sb_stretch_add_motor_gain(struct sb_motor_gain *sum, double weight, const struct sb_motor_gain *more);
void sb_stretch_add_gain(struct sb_gain *sum, double weight, const struct sb_gain *more);

/* Begins a stretch at the present state that ends at to_s at the latest, length_s > 0 after the present instant. */
void sb_stretch_begin(struct sb_sim *sim, double to_s, double length_s);

/* The same, if it is plain until to_s and nothing happens; else nothing is begun. sb_plain_applies() holds. */
bool sb_stretch_begin_plainly(struct sb_sim *sim, double to_s, double length_s);

/* Moves the state on to a share of the stretch. Peaks and integrals follow when they are asked for. The state's time and step are
 * the caller's. */
void sb_stretch_move(struct sb_sim *sim, double share);

/* The motor's speed and the output's angle at shares of a stretch in which they turn as one, to the bits to which sb_stretch_move()
 * brings the state; the arrays have room for SB_SIM_BLOCK, and the second may be NULL. */
void sb_stretch_look(struct sb_sim *sim, int count, const double *shares, double *motor_speed_rad_s,
                     double *output_angle_rad);

/* Bounds of the motor's speed until the end of the stretch, where motor and output turn as one; wide enough for rounding at any share. */
struct sb_range sb_stretch_speed_range(const struct sb_sim *sim);

/* The motor's turn from the beginning of the stretch to a share of it, in the direction in which its gear drives it. */
double sb_stretch_turn(const struct sb_sim *sim, double share);

/* The instant at which the motor has turned so far, between the beginning of the stretch and its end. */
double sb_stretch_turned_s(const struct sb_sim *sim, double turn_rad);

/* Brings the segment's integrals and the peaks up to the share reached: they cost more than the state itself. */
void sb_stretch_take_gain(struct sb_sim *sim);

/* Takes peaks and times along while the machine stands until to_s under a load that stays as it is. */
void sb_stretch_rest(struct sb_sim *sim, double to_s);

/* What the gear, or the slipping clutch, delivers to the output at the present state, N m. */
double sb_stretch_delivered_nm(const struct sb_sim *sim);

/* Peaks of the present state. */
void sb_stretch_raise_current(struct sb_sim *sim);
void sb_stretch_raise_torque(struct sb_sim *sim);
void sb_stretch_raise_speeds(struct sb_sim *sim);

#endif
