// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * front.h - of many machines those that no other one beats: one beats another where it is worse in nothing and better in something.
 *
 * What counts is mean speed, charge (without currents the energy), greatest current and winding temperature, load of the teeth, wheels,
 * and of tuned designs margin and load that is carried. What a machine has not (NAN) is not compared. Less than a
 * billionth is no difference.
 */
#ifndef SHIFTBAND_DESIGN_FRONT_H
#define SHIFTBAND_DESIGN_FRONT_H

#include "design/design.h"

enum sb_aim {
  SB_AIM_SPEED,
  SB_AIM_CHARGE,
  SB_AIM_CURRENT,
  SB_AIM_WINDING,
  SB_AIM_TOOTH,
  SB_AIM_WHEELS,
  SB_AIM_MARGIN,
  SB_AIM_CARRIED,
  SB_AIM_COUNT
};

/* What a machine is worth in each aim: the less the better. */
struct sb_worth {
  double values[SB_AIM_COUNT];
};
struct sb_worth sb_front_worth(const struct sb_design_figures *figures);

/* Marks those of count machines that no other one beats; of equal ones the first. Returns how many; -1: no memory. */
long sb_front_mark(const struct sb_worth *worths, long count, bool *is_front);

/* Keeps `most` of the marked ones: the best of each aim, then always the one that is farthest from all kept ones. False: no
 * memory, and all are kept. */
bool sb_front_thin(const struct sb_worth *worths, long count, bool *is_front, long most);

#endif
