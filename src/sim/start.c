// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/start.h"

#include <math.h>

#include "sim/contact.h"
#include "sim/point.h"
#include "sim/rest.h"

struct sb_load_curve sb_start_moving_curve(const struct sb_sim *sim, int output_direction)
{
  const bool is_cut_off = sim->state.far.is_slipping != 0;
  struct sb_load_curve curve =
      sb_rest_curve_at(sim, output_direction, false, SB_SHARE_ALL, is_cut_off ? SB_SIDE_NEAR : SB_SIDE_BOTH);
  if (sim->model->load.road.is_present) sb_contact_add_moving(sim, output_direction, &curve);
  if (sim->model->load.brake_nm > 0.0) curve.c0_nm += output_direction * sb_rest_brake_nm(sim);
  return curve;
}

/* Sign that tells driving (+) from overrun (-), for a motor torque and a load torque, along a direction. */
double sb_start_power_sign(const struct sb_sim *sim, double motor_nm, double load_nm, int direction)
{
  const double r = sim->segment->per_motor;
  return direction * (motor_nm * sim->segment->output_inertia * fabs(r) +
                      sb_segment_power_inertia(sim->segment) * load_nm * sb_sign_of(r));
}

struct sb_joined sb_start_joined(const struct sb_sim *sim, double x, int direction)
{
  const struct sb_segment *seg = sim->segment;
  const struct sb_state *state = &sim->state;
  const struct sb_load_curve curve = sb_start_moving_curve(sim, direction * sb_sign_of(seg->per_motor));
  const double now_s = fmax(state->time_s, state->load_time_s);
  struct sb_joined joined = {
      .motor_nm = sb_segment_driven_nm(seg, direction) - seg->line.slope_nms_rad * x,
      .load_nm = sb_load_curve_nm(&curve, now_s, state->output_angle_rad, x * seg->per_motor),
  };
  joined.is_driving = sb_start_power_sign(sim, joined.motor_nm, joined.load_nm, direction) >= 0.0;
  return joined;
}

double sb_start_load_nm(const struct sb_sim *sim, double time_s, int output_direction)
{
  const double near_nm = sb_rest_nm(&sim->segment->resting, time_s, sim->state.output_angle_rad, output_direction);
  return sim->model->load.road.is_present ? near_nm + sb_contact_resting_nm(sim, output_direction) : near_nm;
}

/* Sum of the torques that meet in the output at rest, without sign. */
static double resting_scale_nm(const struct sb_sim *sim, double time_s, int output_direction)
{
  const double near_nm =
      sb_rest_scale_nm(&sim->segment->resting, time_s, sim->state.output_angle_rad, output_direction);
  if (!sim->model->load.road.is_present) return near_nm;
  return near_nm + fabs(sb_contact_resting_nm(sim, output_direction));
}

/* What moves with the output as soon as it starts: a path that locks itself would be held by a load that helps more than
 * before, once its friction is no longer that of rest. */
static double sliding_nm(const struct sb_sim *sim, double time_s, int output_direction)
{
  const struct sb_state *state = &sim->state;
  const double near_nm = sb_rest_sliding_nm(&sim->segment->resting, time_s, state->output_angle_rad, output_direction);
  return sim->model->load.road.is_present ? near_nm + sb_contact_sliding_nm(sim, output_direction) : near_nm;
}

/* The motor's torque against a load at a start. The gear delivers what the load takes, which tells driving from overrun. */
static double through_gear_nm(const struct sb_sim *sim, double load_nm, int output_direction)
{
  const double inv = sb_segment_inverse_e(sb_segment_gear(sim), load_nm * output_direction >= 0.0);
  return load_nm * sim->segment->per_motor * inv;
}

double sb_start_margin(const struct sb_sim *sim, double time_s, int direction, double strictness)
{
  const struct sb_segment *seg = sim->segment;
  const double motor_nm = sb_segment_driven_nm(seg, direction);
  const int output_direction = direction * sb_sign_of(seg->per_motor);
  const double load_nm = sb_start_load_nm(sim, time_s, output_direction);
  double needed_nm = direction * through_gear_nm(sim, load_nm, output_direction);
  if (sb_segment_is_locking(sim)) {
    const double moving_nm = through_gear_nm(sim, sliding_nm(sim, time_s, output_direction), output_direction);
    needed_nm = fmax(needed_nm, direction * moving_nm);
  }
  const double scale_nm =
      sim->model->motor.stall_torque_nm + resting_scale_nm(sim, time_s, output_direction) * fabs(seg->per_motor);
  return direction * motor_nm - needed_nm - strictness * sb_rest_tolerance * scale_nm;
}

double sb_start_output_margin(const struct sb_sim *sim, double time_s, int direction, double strictness)
{
  const double brought_nm = sim->segment->has_spring ? sb_point_shaft_nm(sim) : sb_point_clutch_nm(sim, direction);
  return sb_start_brought_margin(sim, time_s, direction, brought_nm, strictness);
}

double sb_start_brought_margin(const struct sb_sim *sim, double time_s, int direction, double brought_nm,
                               double strictness)
{
  const double load_nm = sb_start_load_nm(sim, time_s, direction);
  const double scale_nm = resting_scale_nm(sim, time_s, direction) + fabs(brought_nm);
  return direction * (brought_nm - load_nm) - strictness * sb_rest_tolerance * scale_nm;
}

int sb_start_falls(const struct sb_sim *sim, const struct sb_motion *motion, int direction, struct sb_series falls[2])
{
  const struct sb_resting *resting = &sim->segment->resting;
  const int ahead = direction > 0;
  const double beyond_nm = sim->model->load.road.is_present ? direction * sb_contact_resting_nm(sim, direction) : 0.0;
  const double besides_nm = resting->brake_nm + beyond_nm;
  for (int i = 0; i < 2; i++)
    falls[i] = sb_series_scaled(&motion->acting[ahead], motion->degree, direction, besides_nm);
  sb_series_add(&falls[0], &motion->holding[ahead], motion->degree, 1.0);
  falls[1].c[0] += resting->least_hold_nm[ahead];
  return resting->least_hold_nm[ahead] > 0.0 ? 2 : 1;
}

struct sb_series sb_start_slide(const struct sb_sim *sim, const struct sb_motion *motion, int direction)
{
  const struct sb_resting *resting = &sim->segment->resting;
  const int ahead = direction > 0;
  const double beyond_nm = sim->model->load.road.is_present ? direction * sb_contact_sliding_nm(sim, direction) : 0.0;
  struct sb_series slide =
      sb_series_scaled(&motion->acting[ahead], motion->degree, direction, resting->brake_nm + beyond_nm);
  sb_series_add(&slide, &motion->sliding[ahead], motion->degree, 1.0);
  return slide;
}

double sb_start_scale_nm(const struct sb_sim *sim, const struct sb_motion *motion, int direction)
{
  const struct sb_resting *resting = &sim->segment->resting;
  const int ahead = direction > 0;
  const double beyond_nm = sim->model->load.road.is_present ? fabs(sb_contact_resting_nm(sim, direction)) : 0.0;
  return sb_series_size(&motion->acting[ahead], motion->degree) +
         sb_series_size(&motion->holding[ahead], motion->degree) + resting->least_hold_nm[ahead] + resting->brake_nm +
         beyond_nm;
}

int sb_start_output_falls(const struct sb_sim *sim, const struct sb_motion *motion, int direction, double brought_nm,
                          struct sb_series falls[2])
{
  const double scale_nm = sb_start_scale_nm(sim, motion, direction) + fabs(brought_nm);
  const int count = sb_start_falls(sim, motion, direction, falls);
  for (int i = 0; i < count; i++) falls[i].c[0] += 2.0 * sb_rest_tolerance * scale_nm - direction * brought_nm;
  return count;
}

double sb_start_below_nm(const struct sb_sim *sim, int direction, double tolerance_nm)
{
  const struct sb_segment *seg = sim->segment;
  const struct sb_gear *gear = sb_segment_gear(sim);
  const double net_nm = direction * sb_segment_driven_nm(seg, direction) - tolerance_nm;
  if (net_nm > 0.0) return gear->efficiency * net_nm;
  return gear->back_efficiency > 0.0 ? net_nm / gear->back_efficiency : -(double)INFINITY;
}

double sb_start_above_nm(const struct sb_sim *sim, int direction, double tolerance_nm)
{
  const double net_nm = direction * sb_segment_driven_nm(sim->segment, direction) - tolerance_nm;
  return net_nm / sb_segment_gear(sim)->back_efficiency;
}

void sb_start_take_resting(struct sb_sim *sim)
{
  const bool is_split = sim->model->load.road.is_present;
  sim->segment->resting = sb_rest_at(sim, is_split ? SB_SIDE_NEAR : SB_SIDE_BOTH);
  if (is_split) sb_contact_take_resting(sim);
}

/* A body at rest: each direction is tried with the load ahead in that direction. */
int sb_start_direction(struct sb_sim *sim, double (*start_margin)(const struct sb_sim *, double, int, double))
{
  const double now_s = fmax(sim->state.time_s, sim->state.load_time_s);
  sb_start_take_resting(sim);
  if (start_margin(sim, now_s, +1, 1.0) > 0.0) return +1;
  return start_margin(sim, now_s, -1, 1.0) > 0.0 ? -1 : 0;
}

bool sb_start_would_rest(struct sb_sim *sim)
{
  sim->state.load_angle_rad = sim->state.output_angle_rad;
  const bool in_mesh = sim->state.link == SB_LINK_MESH && !sim->segment->has_spring;
  return sb_start_direction(sim, in_mesh ? sb_start_margin : sb_start_output_margin) == 0;
}
