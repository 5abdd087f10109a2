// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/plain_events.h"

#include <math.h>

#include "sim/contact.h"
#include "sim/segment.h"

static bool is_neutral(const struct sb_sim *sim)
{
  return sim->state.link != SB_LINK_MESH;
}

static bool is_mesh_moving(const struct sb_sim *sim)
{
  return sb_segment_is_rigid(sim) && sim->state.motor_direction != 0;
}

static double motor_value(const struct sb_sim *sim, const struct sb_point *at, const struct sb_gain *gain)
{
  (void)gain;
  return at->x * sim->state.motor_direction;
}

static void stop(struct sb_sim *sim)
{
  sim->state.motor_speed_rad_s = sim->state.output_speed_rad_s = 0.0;
}

static double power_value(const struct sb_sim *sim, const struct sb_point *at, const struct sb_gain *gain)
{
  (void)gain;
  const struct sb_state *state = &sim->state;
  return sb_stepper_power(sim->segment, at) * (state->is_driving ? state->motor_direction : -state->motor_direction) +
         sim->segment->power_tolerance;
}

static bool has_corner(const struct sb_sim *sim)
{
  return isfinite(sim->segment->angle_limit_rad);
}

static double corner_value(const struct sb_sim *sim, const struct sb_point *at, const struct sb_gain *gain)
{
  (void)gain;
  return (sim->segment->angle_limit_rad - at->angle) * sim->state.output_direction;
}

static bool rests_on_corner(struct sb_sim *sim)
{
  return sb_segment_is_slow(sim, sim->state.output_speed_rad_s) && sb_segment_would_rest(sim);
}

static void pass_corner(struct sb_sim *sim)
{
  struct sb_state *state = &sim->state;
  state->output_angle_rad = sim->segment->angle_limit_rad;
  if (sim->segment->is_road_limit) sb_contact_arrive(sim);
  if (!rests_on_corner(sim)) return;
  state->output_speed_rad_s = 0.0;
  if (sb_segment_is_rigid(sim)) state->motor_speed_rad_s = 0.0;
}

static bool is_mesh_resting(const struct sb_sim *sim)
{
  return sb_segment_is_rigid(sim) && sim->state.motor_direction == 0 && !sim->segment->is_resting_steady;
}

static double forward_value(const struct sb_sim *sim, const struct sb_point *at, const struct sb_gain *gain)
{
  (void)gain;
  return -sb_segment_start_margin(sim, at->time_s, +1, 2.0);
}

static double back_value(const struct sb_sim *sim, const struct sb_point *at, const struct sb_gain *gain)
{
  (void)gain;
  return -sb_segment_start_margin(sim, at->time_s, -1, 2.0);
}

static bool is_motor_free(const struct sb_sim *sim)
{
  return is_neutral(sim) && sim->state.motor_direction != 0;
}

static void reverse_motor(struct sb_sim *sim)
{
  struct sb_state *state = &sim->state;
  state->motor_speed_rad_s = 0.0;
  if (!state->is_turned) state->turned_rad = 0.0;
  state->is_turned = true;
}

static bool is_output_moving(const struct sb_sim *sim)
{
  return !sb_segment_is_rigid(sim) && sim->state.output_direction != 0;
}

static double output_value(const struct sb_sim *sim, const struct sb_point *at, const struct sb_gain *gain)
{
  (void)gain;
  return at->w * sim->state.output_direction;
}

static void stop_output(struct sb_sim *sim)
{
  sim->state.output_speed_rad_s = 0.0;
}

static bool is_output_free(const struct sb_sim *sim)
{
  return is_neutral(sim) && sim->state.output_direction == 0;
}

static double output_forward_value(const struct sb_sim *sim, const struct sb_point *at, const struct sb_gain *gain)
{
  (void)gain;
  return -sb_segment_output_start_margin(sim, at->time_s, +1, 2.0);
}

static double output_back_value(const struct sb_sim *sim, const struct sb_point *at, const struct sb_gain *gain)
{
  (void)gain;
  return -sb_segment_output_start_margin(sim, at->time_s, -1, 2.0);
}

static bool is_turning(const struct sb_sim *sim)
{
  return is_neutral(sim) && sim->state.is_turned && isfinite(sim->state.plan.engage_turn_rad);
}

static double turned_value(const struct sb_sim *sim, const struct sb_point *at, const struct sb_gain *gain)
{
  (void)at;
  return sim->state.plan.engage_turn_rad - (sim->state.turned_rad + gain->motor_turn);
}

static void turn_enough(struct sb_sim *sim)
{
  sim->state.turned_rad = sim->state.plan.engage_turn_rad;
}

static bool is_clutch_slipping(const struct sb_sim *sim)
{
  return sim->state.link == SB_LINK_SLIP;
}

static double meet_value(const struct sb_sim *sim, const struct sb_point *at, const struct sb_gain *gain)
{
  (void)gain;
  return sim->state.slip_direction * (at->x - at->w / sim->segment->per_motor);
}

const struct sb_guard sb_plain_events[] = {
    {is_mesh_moving, motor_value, stop},           {is_mesh_moving, power_value, NULL},
    {has_corner, corner_value, pass_corner},       {is_mesh_resting, forward_value, NULL},
    {is_mesh_resting, back_value, NULL},           {is_motor_free, motor_value, reverse_motor},
    {is_output_moving, output_value, stop_output}, {is_output_free, output_forward_value, NULL},
    {is_output_free, output_back_value, NULL},     {is_turning, turned_value, turn_enough},
    {is_clutch_slipping, meet_value, NULL},        {NULL, NULL, NULL},
};
