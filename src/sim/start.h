// SPDX-License-Identifier: GPL-3.0-or-later
/* start.h - internal: whether what is at rest starts, and what a start still lacks. */
#ifndef SHIFTBAND_SIM_START_H
#define SHIFTBAND_SIM_START_H

#include "sim/motion.h"

/* All that opposes the output once it moves in a direction. */
struct sb_load_curve sb_start_moving_curve(const struct sb_sim *sim, int output_direction);

/* Sign that tells driving (+) from overrun (-), for a motor torque and a load torque, along a direction. Pure. */
double sb_start_power_sign(const struct sb_sim *sim, double motor_nm, double load_nm, int direction);

/* Motor and output moving as one. */
struct sb_joined {
  double motor_nm, load_nm; /* what the motor brings into the gears, what opposes the output */
  bool is_driving;          /* else overrun */
};

/* That at a speed of the motor in a direction. Pure. */
struct sb_joined sb_start_joined(const struct sb_sim *sim, double motor_rad_s, int direction);

/* Torque on the output at rest that opposes (times the direction) a start in a direction of the output, N m. */
double sb_start_load_nm(const struct sb_sim *sim, double time_s, int output_direction);

/* By how much the torque on a machine at rest in mesh exceeds what holds it in a direction of the motor (+1, -1), in
 * N m at the motor, less a tolerance times strictness; positive at strictness 1: it starts that way. Who waits for a
 * start asks for 2, so that the start is not missing by a rounding error when it is settled. */
double sb_start_margin(const struct sb_sim *sim, double time_s, int direction, double strictness);

/* The same for the output alone, in neutral, in N m at the output and the output's direction. */
double sb_start_output_margin(const struct sb_sim *sim, double time_s, int direction, double strictness);

/* The same where a torque is brought to the output. */
double sb_start_brought_margin(const struct sb_sim *sim, double time_s, int direction, double brought_nm,
                               double strictness);

/* The direction in which a body at rest starts, by a margin of those above, each tried with the load ahead; 0: it stays. */
int sb_start_direction(struct sb_sim *sim, double (*start_margin)(const struct sb_sim *sim, double time_s,
                                                                  int direction, double strictness));

/* Takes what lies against the output at rest, and against its vehicle, into the segment. */
void sb_start_take_resting(struct sb_sim *sim);

/* Whether the output, were it at rest at its present angle, would stay there. A new segment must follow. */
bool sb_start_would_rest(struct sb_sim *sim);

/*
 * Torque that holds the output at rest against a direction, over a stretch, N m: a start needs all of the polynomials, of
 * which there are as many as returned, to be overcome. The same summed without signs, as the scale of its rounding.
 */
int sb_start_falls(const struct sb_sim *sim, const struct sb_motion *motion, int direction, struct sb_series falls[2]);
/* The same as soon as the output moves, for a path that locks itself. */
struct sb_series sb_start_slide(const struct sb_sim *sim, const struct sb_motion *motion, int direction);

double sb_start_scale_nm(const struct sb_sim *sim, const struct sb_motion *motion, int direction);

/* The same for the output alone, where a torque is brought to it: what it still lacks to start. */
int sb_start_output_falls(const struct sb_sim *sim, const struct sb_motion *motion, int direction, double brought_nm,
                          struct sb_series falls[2]);

/* The motor at rest in mesh starts in a direction when what opposes it, in N m at the motor and without the mesh's loss, is
 * below this. */
double sb_start_below_nm(const struct sb_sim *sim, int direction, double tolerance_nm);

/* And, in a path that locks itself, above this: a load that helps more holds it. */
double sb_start_above_nm(const struct sb_sim *sim, int direction, double tolerance_nm);

#endif
