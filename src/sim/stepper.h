// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * stepper.h - internal: one classical Runge-Kutta step of the motion and of the integrals beside it.
 *
 *   y1 = y + h/6 (k1 + 2 k2 + 2 k3 + k4),  k1 = f(t, y), k2 = f(t + h/2, y + h/2 k1), k3 likewise with k2, k4 = f(t + h, y + h k3)
 *
 * The integrals of x, x^2, W and TL W belong to the same system, so they take the same stages. Angles enter the
 * right-hand side only where the load depends on them.
 */
#ifndef SHIFTBAND_SIM_STEPPER_H
#define SHIFTBAND_SIM_STEPPER_H

#include "sim/segment.h"

/* State and first-stage rates at the start of a step, or at its end: what a step hands to the next. */
struct sb_point {
  double time_s;
  double x;       /* motor speed, in its driven sense */
  double w;       /* output speed */
  double angle;   /* of the output */
  double x_rate;  /* dx/dt */
  double w_rate;  /* dW/dt, neutral and spring only */
  double load_nm; /* TL */
  /* Of a vehicle whose wheels slip; else 0. */
  double v, far_angle, v_rate, far_load_nm;
  /* Of a shaft that gives; else 0. */
  double twist, shaft_nm;
};

/* What one step adds to the segment's integrals. */
struct sb_gain {
  double motor_turn, motor_square, output_turn, load_work_j;
  double far_turn, far_work_j;     /* slipping */
  double shaft_in_j, shaft_lost_j; /* spring: work at the gear's end, damping */
};

static inline void sb_stepper_add_gain(struct sb_gain *sum, double weight, const struct sb_gain *more)
{
  sum->motor_turn += weight * more->motor_turn;
  sum->motor_square += weight * more->motor_square;
  sum->output_turn += weight * more->output_turn;
  sum->load_work_j += weight * more->load_work_j;
  sum->far_turn += weight * more->far_turn;
  sum->far_work_j += weight * more->far_work_j;
  sum->shaft_in_j += weight * more->shaft_in_j;
  sum->shaft_lost_j += weight * more->shaft_lost_j;
}

/* Time of a whole inner step: counted, so that it never drifts, and divided where that gives the nearest double. */
static inline double sb_stepper_grid_s(const struct sb_sim *sim, long long step)
{
  return sim->steps_per_s > 0.0 ? (double)step / sim->steps_per_s : (double)step * sim->step_s;
}

/* The point at the simulator's present state. */
struct sb_point sb_stepper_point(const struct sb_sim *sim);

/* Gripping wheels: what stands against the vehicle at a point. Pure. */
double sb_stepper_grip_load_nm(const struct sb_sim *sim, const struct sb_point *at);

/* A value of a polynomial at a point, with the curve that it was made of and the speed that it is written in. Pure. */
double sb_stepper_eval(const struct sb_poly *poly, const struct sb_load_curve *curve, const struct sb_point *at,
                       double speed);

/* In mesh: the value whose sign tells driving from overrun, at a point. Pure. */
double sb_stepper_power(const struct sb_segment *seg, const struct sb_point *at);

/* One step of h > 0 from a point; pure. */
struct sb_point sb_stepper_step(const struct sb_sim *sim, const struct sb_point *from, double h, struct sb_gain *gain);

/* Keeps the greater of a peak and a value, by magnitude. */
void sb_stepper_raise_peak(struct sb_peak *peak, double value, double time_s);

/* Books the time above the torque limit between two points, of which at least one is above; crossings are interpolated. */
void sb_stepper_book_over_limit(struct sb_sums *sums, double limit_nm, double from_s, double from_nm, double to_s,
                                double to_nm);

/* Takes speeds, and the current that goes with them, into the peaks: at a segment's ends and where a speed turns. */
void sb_stepper_raise_speeds(struct sb_sim *sim, double time_s, double motor_speed, double output_speed);

/*
 * Whole steps in mesh from step count `first` until `last`, or until the next step would cross an event: returns the
 * number of steps done. Keeps the peaks. *point moves along.
 */
long long sb_stepper_run_mesh(struct sb_sim *sim, struct sb_point *point, long long first, long long last);

#endif
