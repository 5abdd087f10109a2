// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/rest.h"

#include <math.h>

#include "sim/feed.h"

const double sb_rest_tolerance = 1e-13;

struct sb_load_curve sb_rest_curve_at(const struct sb_sim *sim, int direction, bool is_at_rest,
                                      enum sb_load_share share, enum sb_load_side side)
{
  const struct sb_state *state = &sim->state;
  const struct sb_load_at at = {state->load_time_s, state->load_angle_rad, state->far.load_angle_rad, direction,
                                is_at_rest};
  return sb_load_side_curve_at(&sim->model->load, &at, share, side);
}

/* The holding brake, closed in neutral and while the drive is off. */
double sb_rest_brake_nm(const struct sb_sim *sim)
{
  const bool is_closed = sim->state.link == SB_LINK_OPEN || !sb_feed_is_on(sim);
  return is_closed ? sim->model->load.brake_nm : 0.0;
}

struct sb_resting sb_rest_at(const struct sb_sim *sim, enum sb_load_side side)
{
  struct sb_resting resting = {.brake_nm = side != SB_SIDE_BEYOND ? sb_rest_brake_nm(sim) : 0.0};
  for (int i = 0; i < 2; i++) {
    const int direction = i == 0 ? -1 : +1;
    resting.acting[i] = sb_rest_curve_at(sim, direction, true, SB_SHARE_ACTING, side);
    resting.holding[i] = sb_rest_curve_at(sim, direction, true, SB_SHARE_RESISTING, side);
    if (sb_segment_is_locking(sim))
      resting.sliding[i] = sb_rest_curve_at(sim, direction, false, SB_SHARE_RESISTING, side);
    if (side != SB_SIDE_BEYOND) resting.least_hold_nm[i] = sim->model->load.breakaway_nm;
  }
  return resting;
}

static double acting_nm(const struct sb_resting *resting, double time_s, double angle_rad, int direction)
{
  return sb_load_curve_external_nm(&resting->acting[direction > 0], time_s, angle_rad);
}

static double hold_nm(const struct sb_resting *resting, double time_s, double angle_rad, int direction)
{
  const double parts_nm = sb_load_curve_external_nm(&resting->holding[direction > 0], time_s, angle_rad);
  return fmax(parts_nm, resting->least_hold_nm[direction > 0]) + resting->brake_nm;
}

double sb_rest_nm(const struct sb_resting *resting, double time_s, double angle_rad, int direction)
{
  return acting_nm(resting, time_s, angle_rad, direction) + direction * hold_nm(resting, time_s, angle_rad, direction);
}

double sb_rest_sliding_nm(const struct sb_resting *resting, double time_s, double angle_rad, int direction)
{
  const double parts_nm = sb_load_curve_external_nm(&resting->sliding[direction > 0], time_s, angle_rad);
  return acting_nm(resting, time_s, angle_rad, direction) + direction * (parts_nm + resting->brake_nm);
}

double sb_rest_scale_nm(const struct sb_resting *resting, double time_s, double angle_rad, int direction)
{
  return fabs(acting_nm(resting, time_s, angle_rad, direction)) + hold_nm(resting, time_s, angle_rad, direction);
}

static bool is_steady(const struct sb_load_curve *curve)
{
  return curve->per_s == 0.0 && curve->wave_count == 0;
}

/* The vehicle's own load does not change in time. */
bool sb_rest_is_steady(const struct sb_resting *resting)
{
  for (int i = 0; i < 2; i++) {
    if (!is_steady(&resting->acting[i]) || !is_steady(&resting->holding[i]) || !is_steady(&resting->sliding[i]))
      return false;
  }
  return true;
}
