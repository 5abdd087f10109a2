// SPDX-License-Identifier: GPL-3.0-or-later
/* The same torque always: dry friction when it resists, a weight on a drum when it acts. */
#include <math.h>
#include <stddef.h>

#include "machine/load/kinds.h"

static void add(const struct sb_load_part *part, const struct sb_load_at *at, double sign, struct sb_load_curve *sum)
{
  const double hold_nm = least_hold_nm(part, at);
  sum->c0_nm += sign * (hold_nm > 0.0 ? fmax(part->torque_nm, hold_nm) : part->torque_nm);
}

static void range_nm(const struct sb_load_part *part, double *least, double *greatest)
{
  *least = *greatest = part->torque_nm;
}

const struct sb_load_ops sb_load_constant = {.name = "constant", .add = add, .range_nm = range_nm};
