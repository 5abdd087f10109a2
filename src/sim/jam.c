// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/jam.h"

#include <math.h>

bool sb_jam_is_due(const struct sb_sim *sim)
{
  if (!sb_segment_is_moving_rigid(sim) || sim->state.is_driving || !sb_segment_is_locking(sim)) return false;
  return !(sb_segment_mesh_inertia(sim, false) > 0.0);
}

void sb_jam_book(struct sb_sim *sim, double lost_j, double impulse_nms)
{
  struct sb_sums *sums = &sim->sums;
  sums->energy.mesh_loss += lost_j;
  if (sums->jam_count == 0) sums->jam_first_s = sim->state.time_s;
  sums->jam_count++;
  sums->jam_greatest_nms = fmax(sums->jam_greatest_nms, impulse_nms);
}

void sb_jam_stop(struct sb_sim *sim)
{
  struct sb_state *state = &sim->state;
  const double x = state->motor_speed_rad_s;
  sb_jam_book(sim, 0.5 * sb_segment_joined_inertia(sim) * x * x,
              sim->segment->output_inertia * fabs(sim->segment->per_motor * x));
  state->motor_speed_rad_s = state->output_speed_rad_s = 0.0;
}
