// SPDX-License-Identifier: GPL-3.0-or-later
/* kinds.h - the kinds of load part, one file each; listed in load.c. */
#ifndef SHIFTBAND_MACHINE_LOAD_KINDS_H
#define SHIFTBAND_MACHINE_LOAD_KINDS_H

#include "shiftband/load.h"

extern const struct sb_load_ops sb_load_constant;
extern const struct sb_load_ops sb_load_viscous;
extern const struct sb_load_ops sb_load_quadratic;
extern const struct sb_load_ops sb_load_profile;
extern const struct sb_load_ops sb_load_sine;

/* What a part holds at least at this place: its breakaway at rest when it resists, else nothing. */
static inline double least_hold_nm(const struct sb_load_part *part, const struct sb_load_at *at)
{
  return part->is_resisting && at->is_at_rest ? part->breakaway_nm : 0.0;
}

/* Places (s or rad) closer than this count as one, so that rounding never makes an endless run of tiny steps. */
static inline double corner_margin(double place, double period)
{
  const double size = place < 0.0 ? -place : place;
  return 1e-12 * (size > period ? size : period);
}

#endif
