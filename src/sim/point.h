// SPDX-License-Identifier: GPL-3.0-or-later
/* point.h - internal: the present state with its rates and torques. */
#ifndef SHIFTBAND_SIM_POINT_H
#define SHIFTBAND_SIM_POINT_H

#include "sim/segment.h"

struct sb_point {
  double time_s;
  double x;        /* motor speed, in its driven direction */
  double w;        /* output speed */
  double angle;    /* of the output */
  double x_rate;   /* dx/dt */
  double w_rate;   /* dW/dt, neutral and through a shaft that gives only */
  double load_nm;  /* TL */
  double shaft_nm; /* of a shaft that gives; else 0 */
};

/* The torque of a shaft that gives, at the present state, N m. */
double sb_point_shaft_nm(const struct sb_sim *sim);

/* Torque at the output of a slipping clutch whose motor leads in a direction, while the output moves, or is to be moved, in a
 * direction; N m. A path that cannot be driven backwards brakes without bounds. */
double sb_point_brought_nm(const struct sb_sim *sim, int slip_direction, int output_direction);

/* The same at the present state; 0: no clutch slips, or the output rests. */
double sb_point_clutch_nm(const struct sb_sim *sim, int output_direction);

struct sb_point sb_point_now(const struct sb_sim *sim);

/* Slipping wheels: by how much the traction on the vehicle now differs from that at the segment's beginning, for the grade has
 * changed along the way; and the same where a torque presses on the wheels, N m. Pure. */
double sb_point_traction_change_nm(const struct sb_sim *sim);
double sb_point_traction_change_by_nm(const struct sb_sim *sim, double press_nm);

/* Gripping wheels: what stands against the vehicle at a point. Pure. */
double sb_point_grip_load_nm(const struct sb_sim *sim, const struct sb_point *at);

#endif
