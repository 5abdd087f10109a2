// SPDX-License-Identifier: GPL-3.0-or-later
/* The motor's reversal swings an arm out of one gear and, some turns later, into the other. */
#include <math.h>

#include "base/constants.h"
#include "machine/shifter/kinds.h"

static struct sb_shift_plan plan(const struct sb_shifter *shifter, double command_time_s)
{
  (void)command_time_s; /* it engages by turning, however long that takes */
  return (struct sb_shift_plan){
      .engage_time_s = INFINITY,
      .engage_turn_rad = shifter->swing_turns * SB_TURN,
  };
}

const struct sb_shifter_ops sb_shifter_swing_arm = {
    .name = "swing arm",
    .is_direction_selected = true,
    .plan = plan,
};
