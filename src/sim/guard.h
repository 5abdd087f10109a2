// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * guard.h - internal: what may end a segment inside a stretch: polynomials that are positive until it happens.
 *
 * A new kind of event is a guard in a list of its own file (plain_events.c, contact.c, spring.c) and nothing else.
 */
#ifndef SHIFTBAND_SIM_GUARD_H
#define SHIFTBAND_SIM_GUARD_H

#include "sim/motion.h"

enum { SB_FALL_MAX = 3 };

struct sb_guard {
  bool (*is_watched)(const struct sb_sim *sim); /* NULL ends a list */
  /* Puts polynomials over the stretch and returns how many: it fires when all of them are below zero. */
  int (*falls)(const struct sb_sim *sim, const struct sb_motion *motion, struct sb_series falls[SB_FALL_MAX]);
  /* What it changes in the state, at its instant; NULL: nothing but the segment. */
  void (*apply)(struct sb_sim *sim);
  /* A bound of the only polynomial from bounds of what it is made of, which is had for less: where it is positive the guard does not
   * fire. NULL: there is none. */
  double (*floor)(const struct sb_sim *sim, const struct sb_motion *motion);
};

/* The guard that fires first on a stretch, and at which share of it; NULL: none does. */
const struct sb_guard *sb_guard_first(struct sb_sim *sim, const struct sb_motion *motion, double *share);

#endif
