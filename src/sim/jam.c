// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/jam.h"

#include <math.h>

bool sb_jam_is_due(const struct sb_sim *sim)
{
  if (!sb_segment_is_moving_rigid(sim) || sim->state.is_driving || !sb_segment_is_locking(sim)) return false;
  return !(sb_segment_mesh_inertia(sim, false) > 0.0);
}

void sb_jam_stop(struct sb_sim *sim)
{
  struct sb_state *state = &sim->state;
  struct sb_sums *sums = &sim->sums;
  const double x = state->motor_speed_rad_s;
  const double impulse_nms = sim->segment->output_inertia * fabs(sim->segment->per_motor * x);
  sums->energy.mesh_loss += 0.5 * sb_segment_joined_inertia(sim) * x * x;
  if (sums->jam_count == 0) sums->jam_first_s = state->time_s;
  sums->jam_count++;
  sums->jam_greatest_nms = fmax(sums->jam_greatest_nms, impulse_nms);
  state->motor_speed_rad_s = state->output_speed_rad_s = 0.0;
}
