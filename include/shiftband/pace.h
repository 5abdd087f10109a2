// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * pace.h - whether a held speed was held in a run: where the duty was at its limit in mesh, and the motor stayed below its
 * target all the same.
 *
 * It is lost below 98 % of the target for longer than limits.stall_time and than 5 time constants of the gear in one go, so
 * that a run-up is none (2 % and 5 time constants: common practice for "settled").
 */
#ifndef SHIFTBAND_PACE_H
#define SHIFTBAND_PACE_H

#include "shiftband/sim.h"

/* Watches a run. Results are in the first four. */
struct sb_pace {
  double lost_s;      /* summed */
  double first_s;     /* when it was first lost; NAN: never */
  double least_rad_s; /* motor speed, by magnitude, while lost; NAN: never */
  int spell_count;

  double since_s, since_least_rad_s; /* the spell under way; NAN: none */
  double enough_s;                   /* how long a spell must last, in its gear */
};

void sb_pace_init(struct sb_pace *pace);

/* A row after an event or at a controller sample; the time constant in s of its gear, in mesh. */
void sb_pace_row(struct sb_pace *pace, const struct sb_model *model, double time_constant_s, const struct sb_row *row);

/* Ends the spell under way, if any, at a time. */
void sb_pace_finish(struct sb_pace *pace, double time_s);

#endif
