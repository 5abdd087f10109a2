// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * segment.h - internal: everything that stays fixed between two events, worked out once so that a step is arithmetic.
 *
 * In mesh there is one speed, the motor's x in the sense in which its gear drives it; the output turns with W = r x,
 * r = output sense / N. In neutral x and W move apart, joined at most by a slipping clutch.
 */
#ifndef SHIFTBAND_SEGMENT_H
#define SHIFTBAND_SEGMENT_H

#include "shiftband/sim.h"

/* A rate or a torque as k + per_s tau + lin v + quad v|v| + per_rad (a - a0) + wave_gain * sum of the load's waves. */
struct sb_poly {
  double k, per_s, lin, quad, per_rad, wave_gain;
};

/* Which terms of the polynomials are there at all, so that the usual cases carry nothing of the others. */
enum sb_terms {
  SB_TERMS_STEADY, /* constant and linear in the speed */
  SB_TERMS_RAMP,   /* and linear in time */
  SB_TERMS_ALL     /* and quadratic, angle or waves */
};

struct sb_segment {
  struct sb_motor_line line;
  struct sb_load_curve curve; /* of the moving load; tau = t - curve.time_s */
  double per_motor;           /* r */
  double start_s;             /* when the segment began */
  double end_s;               /* next load corner or timed engagement; INFINITY: none */
  double corner_s;            /* next load corner alone */
  double angle_limit_rad;     /* next load corner over the angle, in the direction of motion */
  double drag_nm;
  enum sb_terms terms;
  int parts;              /* that each step is divided into */
  bool is_resting_steady; /* at rest, and the load does not change in time */

  struct sb_poly motor_rate;  /* dx/dt in x */
  struct sb_poly output_rate; /* neutral: dW/dt in W */
  struct sb_poly load;        /* TL, in x when in mesh, in W in neutral */
  struct sb_poly power_sign;  /* in mesh: > 0 driving, < 0 overrun, times the direction; in x */
  double power_tolerance;     /* below it, a sign is rounding */

  /* At rest: the load's own parts, to tell when it starts; [0] with the load behind, [1] with the load ahead. */
  struct sb_load_curve acting[2];
  struct sb_load_curve holding[2];

  /* Integrals since start_s. */
  double motor_turn;   /* of x */
  double motor_square; /* of x^2 */
  double output_turn;  /* of W (neutral only) */
  double load_work_j;  /* of TL W */
  double start_motor_speed;
  double start_output_speed;
};

/* Settles directions, driving or overrun at the present state and prepares the segment. */
void sb_segment_begin(struct sb_sim *sim);

/* Prepares the segment of a state whose directions are settled: bit for bit the one that the state was in. */
void sb_segment_resume(struct sb_sim *sim);

/* Whether the output, were it at rest at its present angle, would stay there. A new segment must follow. */
bool sb_segment_would_rest(struct sb_sim *sim);

/* Books the segment's integrals into the ledger and the sums; the state must be at its end. */
void sb_segment_book(struct sb_sim *sim);

/* By how much the torque on a machine at rest in mesh exceeds what holds it in a direction of the motor (+1, -1), in
 * N m at the motor, less a tolerance times strictness; positive at strictness 1: it starts that way. Who waits for a
 * start asks for 2, so that the start is not missing by a rounding error when it is settled. */
double sb_segment_start_margin(const struct sb_sim *sim, double time_s, int direction, double strictness);

/* The same for the output alone, in neutral, in N m at the output and the output's direction. */
double sb_segment_output_start_margin(const struct sb_sim *sim, double time_s, int direction, double strictness);

/*
 * Torque at the motor that a clutch whose sides have met would have to carry, moving or at rest, under the rules of
 * slipping (no loss, no drag), so that a clutch found too weak does slip on. A new segment must follow.
 */
double sb_segment_joined_torque_nm(struct sb_sim *sim);

/* Torque on the output at rest that opposes (times the direction) a start in a direction of the output, N m. */
double sb_segment_resting_load_nm(const struct sb_sim *sim, double time_s, int output_direction);

/* Inertia at the motor in mesh for 1/e. */
double sb_segment_mesh_inertia(const struct sb_sim *sim, double inverse_e);

#endif
