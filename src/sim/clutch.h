// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * clutch.h - internal: a clutch between motor and gears. It transmits at most its torque, counted at the motor's shaft: until
 * its sides first meet after a command, and again whenever joined motion would ask for more. While it slips, its torque goes
 * through the meshes with their loss:
 *
 *   Jm dx/dt = T - s Tcl,   To = N e (s Tcl - drag),   Jo dW/dt = To - TL
 *
 * s is the sign of the motor's lead over the gears, e = eta where the rest drives the output, else 1 / eta_back.
 */
#ifndef SHIFTBAND_SIM_CLUTCH_H
#define SHIFTBAND_SIM_CLUTCH_H

#include "sim/guard.h"

/* Whether neither side of a slipping clutch leads any more. */
bool sb_clutch_has_met(const struct sb_sim *sim);

/* Whether sides that have met, or turn as one, hold together. If not, the state slips on; a new segment must follow. */
bool sb_clutch_holds(struct sb_sim *sim);

/* Lets the clutch slip with the motor leading in a direction. */
void sb_clutch_slip(struct sb_sim *sim, int direction);

/* A path that cannot be driven backwards stops an output that a slipping clutch brakes. */
void sb_clutch_stop_locked(struct sb_sim *sim);

/* Books the clutch's heat and what the meshes take of its torque. */
void sb_clutch_book(struct sb_sim *sim);

/* Of joined motion that is plain: whether the clutch holds at a time since the load's piece began and a speed. */
bool sb_clutch_holds_plainly(const struct sb_sim *sim, double x, double x_rate);

/* What it transmits, or while it slips would have to transmit were it joined at the gears' speed, at the motor's shaft, N m;
 * NAN: there is none, or no gear is engaged. */
double sb_clutch_asked_nm(const struct sb_sim *sim, double x_rate);

/* Falls below zero as the side that leads does no longer; for a clutch that slips, or whose shaft still winds in a shift. */
int sb_clutch_lead_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX]);

extern const struct sb_guard sb_clutch_guards[];

#endif
