// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * guard.h - internal: what may end a segment inside a step, each as a function that is positive until it happens.
 */
#ifndef SHIFTBAND_GUARD_H
#define SHIFTBAND_GUARD_H

#include "stepper.h"

enum sb_guard {
  SB_GUARD_STOP,          /* in mesh: the speed passes zero */
  SB_GUARD_POWER,         /* in mesh: driving turns into overrun or back */
  SB_GUARD_ANGLE,         /* a load corner over the output's angle */
  SB_GUARD_START_FORWARD, /* at rest in mesh: the motor starts forward */
  SB_GUARD_START_BACK,
  SB_GUARD_MOTOR_ZERO,     /* neutral: the motor passes zero */
  SB_GUARD_OUTPUT_ZERO,    /* neutral: the output passes zero */
  SB_GUARD_OUTPUT_FORWARD, /* neutral: an output at rest starts */
  SB_GUARD_OUTPUT_BACK,
  SB_GUARD_TURNED, /* neutral: the motor has turned far enough in its new sense */
  SB_GUARD_MEET,   /* slipping clutch: the speeds meet */
  SB_GUARD_COUNT,
  SB_GUARD_NONE = SB_GUARD_COUNT
};

/* A step as far as nothing happens. */
struct sb_guarded_step {
  enum sb_guard guard; /* that ends it; SB_GUARD_NONE: it is whole */
  double length;
  struct sb_point to;
  struct sb_gain gain;
};

/* A step of h from a point, ended just past the guard that fires first within it. */
struct sb_guarded_step sb_guard_step(struct sb_sim *sim, const struct sb_point *from, double h);

#endif
