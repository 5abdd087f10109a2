// SPDX-License-Identifier: GPL-3.0-or-later
/* c W |W|: turns over with the speed by itself. */
#include <stddef.h>

#include "machine/load/kinds.h"

static void add(const struct sb_load_part *part, const struct sb_load_at *at, double sign, struct sb_load_curve *sum)
{
  /* A resisting part comes with the sign of the motion, which the speed already holds: take it out again. */
  const double own_sign = part->is_resisting ? sign * at->direction : sign;
  sum->per_rad_s2 += own_sign * part->quadratic_nms2_rad2;
  sum->c0_nm += sign * least_hold_nm(part, at);
}

static void range_nm(const struct sb_load_part *part, double *least, double *greatest)
{
  (void)part; /* it only follows speed */
  *least = *greatest = 0.0;
}

const struct sb_load_ops sb_load_quadratic = {.name = "quadratic", .add = add, .range_nm = range_nm};
