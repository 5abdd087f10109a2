// SPDX-License-Identifier: GPL-3.0-or-later
/* A second actuator moves a dog or slider and needs its travel time for it. */
#include <math.h>

#include "machine/shifter/kinds.h"

static struct sb_shift_plan plan(const struct sb_shifter *shifter, double command_time_s)
{
  return (struct sb_shift_plan){
      .is_drive_cut = shifter->is_drive_cut,
      .engage_time_s = command_time_s + shifter->travel_time_s,
      .engage_turn_rad = INFINITY,
  };
}

const struct sb_shifter_ops sb_shifter_selector = {
    .name = "selector",
    .plan = plan,
};
