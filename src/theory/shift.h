// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * shift.h - one shift and the climb after it, in closed form.
 *
 * Every inertia moves by itself from the command to the engagement: J z' = p - q z - r z^2, whose solution is elementary
 * (shift.c). The load keeps its torque meanwhile. An engagement joins two inertias
 * inelastically: momentum stays, energy is lost.
 */
#ifndef SHIFTBAND_THEORY_SHIFT_H
#define SHIFTBAND_THEORY_SHIFT_H

#include "shiftband/closed_form.h"

/* One shift, from the command to the engagement. Speeds are counted in the direction in which the new gear drives. */
struct sb_shift_figures {
  double time_s;             /* INFINITY: it never engages, and the rest is NAN */
  double motor_speed_rad_s;  /* just before the engagement */
  double output_speed_rad_s; /* the same for the output */
  double joined_speed_rad_s; /* the motor's just after */
  double lost_j;             /* energy lost in the engagement; 0 with a clutch, which turns it into heat before */
};

/*
 * A shift between two gears (indices from 0) commanded at a motor speed > 0 (rad/s, in the old gear's direction). The motor
 * follows its line, or the clutch's torque; the output coasts under the load (and rolls back where the load can do that).
 * The drive of a selector, unless cut, takes the new gear's direction at the command. Pure.
 */
struct sb_shift_figures sb_theory_shift(const struct sb_model *model, const struct sb_motor_line *line, int from,
                                        int to, const struct sb_load_moment *load, double start_speed_rad_s);

/*
 * Time in s that an engaged gear needs from a motor speed (any sign) to a motor speed > 0; 0 when it is there already,
 * INFINITY when it never gets there. Driving and overrun are distinguished on the way. Pure.
 */
double sb_theory_climb_s(const struct sb_model *model, const struct sb_motor_line *line, int gear,
                         const struct sb_load_moment *load, double start_speed_rad_s, double target_rad_s);

#endif
