// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * limiter.h - a driver that limits the motor's current: the straight pieces of the motor's line, and what the battery gives.
 *
 * The driver chops: where the line at the duty asked for would bring more than the limit Imax, either way, it gives the duty d
 * in -1..1 at which the current is just Imax,
 *
 *   Ri Imax d^2 - Voc d + (ke x + R Imax) = 0,   the smaller root,
 *
 * and the battery gives d Imax (a negative product goes back into it). Beyond the speeds at which a full duty either way brings just
 * Imax it can do no more, and the current grows. So the current over the speed x has up to five pieces, from low to high speeds:
 *
 *   the line at duty -1 | +Imax | the line at the duty asked for | -Imax | the line at duty +1
 *
 * Source: chopper control of a DC motor, as in G. K. Dubey, Fundamentals of Electrical Drives, and B. R. Gupta, V. Singhal,
 * Fundamentals of Electric Drives and Control: the source's current is the duty times the motor's. Checked in
 * tests/machine/test_limiter.c against their examples and a run-up in two phases.
 */
#ifndef SHIFTBAND_LIMITER_H
#define SHIFTBAND_LIMITER_H

#include "shiftband/motor.h"

#ifdef __cplusplus
extern "C" {
#endif

enum {
  SB_LIMITER_FULL_BACK = -2, /* duty -1 */
  SB_LIMITER_HELD = -1,      /* the current is held at +Imax */
  SB_LIMITER_FREE = 0,       /* the duty asked for is given */
  SB_LIMITER_HELD_BACK = +1, /* the current is held at -Imax */
  SB_LIMITER_FULL = +2       /* duty +1 */
};

/* The duty that brings a current through a motor with a back-EMF, V: the smaller root above, not kept within -1..1. Pure. */
double sb_limiter_duty_for(const struct sb_motor_circuit *circuit, double back_emf_v, double current_a);

/* The line of a piece: without a limit of its own; where the current is held, it has no slope, and its duty is that at standstill.
 * Pure. */
struct sb_motor_line sb_limiter_line(const struct sb_motor *motor, const struct sb_motor_circuit *circuit, double duty,
                                     int number);

/* The speeds between which a piece holds, and what it takes to know the duty there. */
struct sb_limiter_piece {
  double from_rad_s, to_rad_s;
  double asked;           /* the duty asked for */
  double duty;            /* that is given, where the current is not held */
  double held_a;          /* A, where the current is held, so that the duty given follows the speed; else 0 */
  double back_emf_vs_rad; /* of the motor */
  struct sb_motor_circuit circuit;
};

/* Without a limit SB_LIMITER_FREE holds at all speeds. Pure. */
struct sb_limiter_piece sb_limiter_piece(const struct sb_motor *motor, const struct sb_motor_circuit *circuit,
                                         double duty, int number);

/* The number of the piece that holds at a speed: the one given, as long as the speed is within its range or no farther outside of it
 * than the slack (rad/s, >= 0). Pure. */
int sb_limiter_number(const struct sb_motor *motor, const struct sb_motor_circuit *circuit, double duty,
                      double speed_rad_s, int number, double slack_rad_s);

/* The duty that is given at a speed, -1..1; the battery gives so much of the motor's current. Pure. */
double sb_limiter_duty(const struct sb_limiter_piece *piece, double speed_rad_s);

#ifdef __cplusplus
}
#endif

#endif
