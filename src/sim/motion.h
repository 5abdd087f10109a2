// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * motion.h - internal: the motion over a stretch, from the present state on, as power series.
 *
 * Every rate of a segment is a polynomial in time, speeds and angles, with a speed squared or a sine in some. So the
 * coefficients of the motion's Taylor series follow one from the other: that of order k of a rate gives that of order
 * k + 1 of the speed, x[k + 1] = h / (k + 1) rate[k], h the stretch's length. The square and the sine of a series:
 *
 *   (x^2)[k] = sum over j of x[j] x[k - j]
 *   sin[k] = 1/k sum of j u[j] cos[k - j],   cos[k] = -1/k sum of j u[j] sin[k - j]
 *
 * and that of the cosine of a grade's angle, c = q^(-1/2) with q = 1 + g^2, from q c' = -1/2 q' c:
 *
 *   c[k] = 1 / (k q[0]) sum over j < k of ((j - k) / 2 - j) q[k - j] c[j]
 *
 * Orders are added until two in a row vanish in rounding. Where the highest order does not, the stretch is shortened
 * until it does; so the motion is exact to rounding at any length of stretch.
 * Source: A. Jorba, M. Zou, A software package for the numerical integration of ODEs by means of high-order Taylor
 * methods, Experimental Mathematics 14(1), 2005.
 */
#ifndef SHIFTBAND_SIM_MOTION_H
#define SHIFTBAND_SIM_MOTION_H

#include "sim/segment.h"
#include "sim/series.h"

struct sb_motion {
  double start_s, length_s;
  int degree;
  bool has_far;                  /* a vehicle whose wheels slip */
  bool has_grip;                 /* a vehicle whose wheels could slip */
  struct sb_series x, turn;      /* the motor's speed, and its angle since the stretch began */
  struct sb_range x_range;       /* bounds of that speed */
  struct sb_range x_slope_range; /* and of its derivative, where there is a clutch */
  struct sb_range w_range;       /* of the output's, unless it turns with the motor */
  struct sb_range load_range;    /* of the load, where it does */
  struct sb_range shaft_range;   /* of the torque of a shaft that gives */
  struct sb_series w, angle;     /* of the output */
  struct sb_series load;         /* what opposes the output, with the traction of wheels that slip */
  struct sb_series torque;       /* what gear or clutch delivers to the output; not at rest */
  struct sb_series v, far_angle; /* of a vehicle whose wheels slip */
  struct sb_series far_load;     /* what opposes a vehicle whose wheels slip, or could */
  struct sb_series press;        /* there, where the grade changes along its way: what presses on the driven wheels */
  struct sb_series twist, shaft; /* of a shaft that gives, and its torque */
  struct sb_series acting[2];    /* against an output at rest, in time: [0] with the load behind, [1] ahead */
  struct sb_series holding[2];
  bool has_slide;              /* at rest in a path that locks itself */
  struct sb_series sliding[2]; /* there: what would oppose the output once it moves */
};

/* Gauss and Legendre's places on 0 to 1, and their weights; zeros behind them. */
enum { SB_GAUSS_MAX = 16 };

struct sb_gauss {
  int count;
  double place[SB_GAUSS_MAX], weight[SB_GAUSS_MAX];
};

/* The motion from the present state on, over length_s > 0 at most. */
void sb_motion_build(const struct sb_sim *sim, double length_s, struct sb_motion *motion);

/* What comes together from the beginning of the stretch until s, by the rule for the motion's degree (stretch.c): it
 * integrates a product of two such series to rounding. Pure. */
struct sb_gain sb_motion_gain(const struct sb_sim *sim, const struct sb_motion *motion, const struct sb_gauss *rule,
                              double s);

#endif
