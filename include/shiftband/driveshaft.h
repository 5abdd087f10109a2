// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * driveshaft.h - an output shaft that gives: stiffness, damping and backlash between the gear and the load.
 *
 *   torque = k (twist - side gap / 2) + c (dtwist/dt) while the teeth of a side touch, never pulling; 0 in the gap
 *
 * twist = angle of the shaft's gear end less that of its load end. The gear's wheels themselves weigh nothing.
 * Without one the shaft is rigid and the joining of two inertias is an impulse (sim.h).
 *
 *   peak torque of a joining alone   dW sqrt(k Jred),  Jred = N^2 Jm Jo / (N^2 Jm + Jo), without damping
 */
#ifndef SHIFTBAND_DRIVESHAFT_H
#define SHIFTBAND_DRIVESHAFT_H

#include <stdbool.h>

struct sb_model;

struct sb_driveshaft {
  bool is_present;
  double stiffness_nm_rad; /* k, N m / rad, > 0 */
  double damping_nms_rad;  /* c, N m s / rad, >= 0 */
  double backlash_rad;     /* gap, rad at the output, >= 0: whole play */
};

/* Angular frequency of the undamped shaft between motor and load in a gear (index), rad/s. Pure. */
double sb_driveshaft_frequency_rad_s(const struct sb_model *model, int gear);

/* Greatest torque that a joining at a speed difference (rad/s at the output) alone makes, N m, undamped. Pure. */
double sb_driveshaft_joining_nm(const struct sb_model *model, int gear, double slip_rad_s);

#endif
