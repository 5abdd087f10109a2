// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/point.h"

double sb_point_shaft_nm(const struct sb_sim *sim)
{
  const struct sb_state *state = &sim->state;
  const struct sb_driveshaft *shaft = &sim->model->driveshaft;
  const struct sb_twist *twist = &state->twist;
  if (twist->side == 0) return 0.0;
  const double wound_rad = twist->twist_rad - 0.5 * twist->side * shaft->backlash_rad;
  const double rate = sim->segment->per_motor * state->motor_speed_rad_s - state->output_speed_rad_s;
  return shaft->stiffness_nm_rad * wound_rad + shaft->damping_nms_rad * rate;
}

static double value_of(const struct sb_segment *seg, const struct sb_poly *poly, const struct sb_point *at,
                       double speed)
{
  return sb_poly_at(poly, &seg->curve, at->time_s, at->angle, speed);
}

struct sb_point sb_point_now(const struct sb_sim *sim)
{
  const struct sb_state *state = &sim->state;
  const struct sb_segment *seg = sim->segment;
  struct sb_point at = {.time_s = state->time_s,
                        .x = state->motor_speed_rad_s,
                        .w = state->output_speed_rad_s,
                        .angle = state->output_angle_rad};
  if (sb_segment_is_moving_rigid(sim)) {
    at.x_rate = value_of(seg, &seg->motor_rate, &at, at.x);
    at.load_nm = value_of(seg, &seg->load, &at, at.x);
  } else if (!sb_segment_is_rigid(sim)) {
    if (seg->has_spring) at.shaft_nm = sb_point_shaft_nm(sim);
    at.x_rate = seg->motor_rate.k + seg->motor_rate.lin * at.x - seg->spring.per_motor * at.shaft_nm;
    at.w_rate = value_of(seg, &seg->output_rate, &at, at.w) + seg->spring.per_output * at.shaft_nm;
    at.load_nm = value_of(seg, &seg->load, &at, at.w);
  }
  return at;
}

double sb_point_grip_load_nm(const struct sb_sim *sim, const struct sb_point *at)
{
  const struct sb_poly *load = &sim->segment->far.load;
  const double speed = sb_segment_is_rigid(sim) ? at->x : at->w;
  return load->k + load->per_s * (at->time_s - sim->segment->far.curve.time_s) + load->lin * speed +
         load->quad * speed * fabs(speed) + load->per_rad * (at->angle - sim->state.load_angle_rad);
}
