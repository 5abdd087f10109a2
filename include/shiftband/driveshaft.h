// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * driveshaft.h - an output shaft that gives: stiffness, damping and backlash between the gear and the load.
 *
 *   torque = k (twist - side gap / 2) + c (dtwist/dt) while the teeth of a side touch, never pulling; 0 in the gap
 *
 * twist = angle of the shaft's gear end less that of its load end. The gear's wheels themselves weigh nothing. Teeth that
 * part while the shaft is wound leave it relaxed. A shift engages a relaxed shaft in the middle of its play, but a clutch
 * that slipped hands it over wound by its torque. The losses of the meshes act in a shock too. Without one the shaft is
 * rigid and the joining of two inertias is an impulse (sim.h), in which the meshes lose nothing.
 *
 *   natural frequency               w = sqrt(k / Jred),  Jred = Je Jo / (Je + Jo),  Je = N^2 Jm
 *   a joining alone, undamped       impulse dW Jred, peak torque dW sqrt(k Jred) a quarter of a period later
 *   damped, z = c / (2 sqrt(k Jred))   peak dW sqrt(k Jred) f(z), at phase w t = p with s = sqrt(1 - z^2):
 *       torque / (dW sqrt(k Jred)) = exp(-z p) (2 z cos(s p) + (1 - 2 z^2) / s sin(s p)),  tan(s p) = s (1 - 4 z^2) /
 *       (z (3 - 4 z^2)); from z = 1/2 on it is greatest at once: 2 z
 *
 * The peaks leave out what motor and load bring meanwhile, and the losses of the meshes; backlash delays a peak and does
 * not change it. Peak and period: J. P. Den Hartog, Mechanical Vibrations, ch. 1 and 2 (free vibration of two inertias;
 * from memory), derived and checked against integration in the tests.
 */
#ifndef SHIFTBAND_DRIVESHAFT_H
#define SHIFTBAND_DRIVESHAFT_H

#include <stdbool.h>

#ifdef __cplusplus
extern "C" {
#endif

struct sb_model;

struct sb_driveshaft {
  bool is_present;
  double stiffness_nm_rad; /* k, N m / rad, > 0 */
  double damping_nms_rad;  /* c, N m s / rad, >= 0 */
  double backlash_rad;     /* gap, rad at the output, >= 0: whole play */
};

/* Inertia at the output with which motor and load swing against each other in a gear (index): Jred. Pure. */
double sb_driveshaft_inertia_kg_m2(const struct sb_model *model, int gear);

/* Angular frequency of the undamped shaft between motor and load in a gear (index), rad/s. Pure. */
double sb_driveshaft_frequency_rad_s(const struct sb_model *model, int gear);

/* Share of the critical damping in a gear (index). Pure. */
double sb_driveshaft_damping_ratio(const struct sb_model *model, int gear);

/* Greatest torque that a joining at a speed difference (rad/s at the output) alone makes, N m: undamped, and with the
 * shaft's damping. Pure. */
double sb_driveshaft_joining_nm(const struct sb_model *model, int gear, double slip_rad_s);
double sb_driveshaft_damped_joining_nm(const struct sb_model *model, int gear, double slip_rad_s);

/* Stiffness at which a joining alone, undamped, just makes a torque, N m / rad. Pure. */
double sb_driveshaft_stiffness_for(const struct sb_model *model, int gear, double slip_rad_s, double torque_nm);

#ifdef __cplusplus
}
#endif

#endif
