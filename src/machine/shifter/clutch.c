// SPDX-License-Identifier: GPL-3.0-or-later
/* A slipping clutch joins at once and engages when the speeds meet. */
#include <math.h>

#include "machine/shifter/kinds.h"

static struct sb_shift_plan plan(const struct sb_shifter *shifter, double command_time_s)
{
  (void)command_time_s; /* it engages when the speeds meet, whenever that is */
  return (struct sb_shift_plan){
      .engage_time_s = INFINITY,
      .engage_turn_rad = INFINITY,
      .clutch_nm = shifter->clutch_nm,
  };
}

const struct sb_shifter_ops sb_shifter_clutch = {
    .name = "clutch",
    .has_clutch = true,
    .plan = plan,
};
