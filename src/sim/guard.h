// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * guard.h - internal: what may end a segment inside a step, each a function that is positive until it happens.
 *
 * A new kind of event is a guard in a list of its own file (motion.c, contact.c, spring.c) and nothing else.
 */
#ifndef SHIFTBAND_SIM_GUARD_H
#define SHIFTBAND_SIM_GUARD_H

#include "sim/stepper.h"

struct sb_guard {
  bool (*is_watched)(const struct sb_sim *sim); /* NULL ends a list */
  /* Positive until it fires; gain is what came together since the point that the step started from. */
  double (*value)(const struct sb_sim *sim, const struct sb_point *at, const struct sb_gain *gain);
  /* What it changes in the state, at its instant; NULL: nothing but the segment. */
  void (*apply)(struct sb_sim *sim);
};

/* A step as far as nothing happens. */
struct sb_guarded_step {
  const struct sb_guard *guard; /* that ends it; NULL: it is whole */
  double length;
  struct sb_point to;
  struct sb_gain gain;
};

/* A step of h from a point, ended just past the guard that fires first within it. */
struct sb_guarded_step sb_guard_step(struct sb_sim *sim, const struct sb_point *from, double h);

#endif
