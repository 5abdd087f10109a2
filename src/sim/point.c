// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/point.h"

#include <math.h>

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

/* What arrives at the output of a torque that the gears take in, both along a direction; a path that cannot be driven
 * backwards brakes without bounds. */
static double passed_nm(const struct sb_sim *sim, double net_nm)
{
  const struct sb_gear *gear = sb_segment_gear(sim);
  const double per_motor = fabs(sim->segment->per_motor);
  if (net_nm >= 0.0) return net_nm * gear->efficiency / per_motor;
  return gear->back_efficiency > 0.0 ? net_nm / (gear->back_efficiency * per_motor) : -(double)INFINITY;
}

double sb_point_brought_nm(const struct sb_sim *sim, int slip_direction, int output_direction)
{
  const int direction = output_direction * sb_sign_of(sim->segment->per_motor);
  const double net_nm =
      direction * slip_direction * sb_shifter_clutch_nm(&sim->model->shifter) - sb_segment_gear(sim)->drag_nm;
  return output_direction * passed_nm(sim, net_nm);
}

double sb_point_clutch_nm(const struct sb_sim *sim, int output_direction)
{
  const bool is_slipping = sim->state.link == SB_LINK_SLIP && output_direction != 0;
  return is_slipping ? sb_point_brought_nm(sim, sim->state.slip_direction, output_direction) : 0.0;
}

double sb_point_traction_change_by_nm(const struct sb_sim *sim, double press_nm)
{
  const double friction = sim->state.far.slip_direction * sim->model->load.road.kinetic_friction_ratio;
  return friction * press_nm - sim->segment->far.traction_nm;
}

double sb_point_traction_change_nm(const struct sb_sim *sim)
{
  const struct sb_far *far = &sim->state.far;
  const struct sb_load_curve *curve = &sim->segment->far.curve;
  if (!far->is_slipping || !sim->segment->far.is_bent) return 0.0;
  const double g = curve->grades[0].start + curve->grades[0].per_rad * (far->angle_rad - curve->angle_rad);
  return sb_point_traction_change_by_nm(sim, sim->model->load.road.press_nm / sqrt(1.0 + g * g));
}

/* Of the present state; a traction that has changed is a bend. */
static double value_of(const struct sb_sim *sim, const struct sb_poly *poly, const struct sb_point *at, double speed)
{
  const double value = sb_poly_at(poly, &sim->segment->curve, at->time_s, at->angle, speed);
  return sim->segment->far.is_bent ? value + poly->bend_gain * sb_point_traction_change_nm(sim) : value;
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
    at.x_rate = value_of(sim, &seg->motor_rate, &at, at.x);
    at.load_nm = value_of(sim, &seg->load, &at, at.x);
  } else if (!sb_segment_is_rigid(sim)) {
    if (seg->has_spring) at.shaft_nm = sb_point_shaft_nm(sim);
    at.x_rate = seg->motor_rate.k + seg->motor_rate.lin * at.x - seg->spring.per_motor * at.shaft_nm;
    at.w_rate = value_of(sim, &seg->output_rate, &at, at.w) + seg->spring.per_output * at.shaft_nm;
    at.load_nm = value_of(sim, &seg->load, &at, at.w);
  }
  return at;
}

/* A vehicle's own load does not change in time, see sb_rest_is_steady(). */
double sb_point_grip_load_nm(const struct sb_sim *sim, const struct sb_point *at)
{
  const struct sb_poly *load = &sim->segment->far.load;
  const double speed = sb_segment_is_rigid(sim) ? at->x : at->w;
  const struct sb_load_curve *curve = &sim->segment->far.curve;
  const double way_rad = at->angle - sim->state.load_angle_rad;
  const double value = load->k + load->lin * speed + load->quad * speed * fabs(speed) + load->per_rad * way_rad;
  if (load->bend_gain == 0.0) return value;
  return value + load->bend_gain * sb_load_bends_nm(curve, at->time_s, curve->angle_rad + way_rad);
}
