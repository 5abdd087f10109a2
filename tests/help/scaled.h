// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * scaled.h - the same machine in other units: torques times 2^-k, speeds times 2^k, times times 2^n.
 *
 * Currents, voltages, temperatures, powers and readings stay. A power of two scales without rounding, so that all that a
 * scaled machine does is the original's to the last bit, unless a formula holds a torque, a speed, an angle or a time
 * against a number of its own.
 */
#ifndef SHIFTBAND_TESTS_SCALED_H
#define SHIFTBAND_TESTS_SCALED_H

#include "shiftband/model.h"

/* Factors. Power, torque times speed, stays. */
struct scale {
  double torque, speed, time;
  double angle;   /* speed x time */
  double inertia; /* torque x time / speed */
};

struct scale scale_of(int k, int n);

enum { SCALED_ROOM = 16384 };

/* Its bodies, which the load holds already, are left out; tables go to room. */
struct sb_model scaled_model(const struct sb_model *model, const struct scale *scale, double room[SCALED_ROOM]);

#endif
