// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/plain_events.h"

#include <math.h>

#include "sim/contact.h"
#include "sim/point.h"
#include "sim/rest.h"
#include "sim/start.h"

static bool is_neutral(const struct sb_sim *sim)
{
  return sim->state.link != SB_LINK_MESH;
}

static int motor_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  falls[0] = sb_series_scaled(&m->x, m->degree, sim->state.motor_direction, 0.0);
  return 1;
}

static double motor_floor(const struct sb_sim *sim, const struct sb_motion *m)
{
  return sb_range_scaled(m->x_range, sim->state.motor_direction).least;
}

static void stop(struct sb_sim *sim)
{
  sim->state.motor_speed_rad_s = sim->state.output_speed_rad_s = 0.0;
}

static int power_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  const struct sb_state *state = &sim->state;
  const struct sb_power *power = &sim->segment->power;
  const int sign = state->is_driving ? state->motor_direction : -state->motor_direction;
  falls[0] = sb_series_scaled(&m->x, m->degree, sign * power->per_speed,
                              sign * power->constant + sim->segment->power_tolerance);
  sb_series_add(&falls[0], &m->load, m->degree, sign * power->per_load);
  return 1;
}

static double power_floor(const struct sb_sim *sim, const struct sb_motion *m)
{
  const struct sb_state *state = &sim->state;
  const struct sb_power *power = &sim->segment->power;
  const int sign = state->is_driving ? state->motor_direction : -state->motor_direction;
  return sign * power->constant + sim->segment->power_tolerance +
         sb_range_scaled(m->x_range, sign * power->per_speed).least +
         sb_range_scaled(m->load_range, sign * power->per_load).least;
}

static bool has_corner(const struct sb_sim *sim)
{
  return isfinite(sim->segment->angle_limit_rad);
}

static int corner_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  const int direction = sim->state.output_direction;
  falls[0] = sb_series_scaled(&m->angle, m->degree, -direction, direction * sim->segment->angle_limit_rad);
  return 1;
}

/* It turns no farther than at its greatest speed. */
static double corner_floor(const struct sb_sim *sim, const struct sb_motion *m)
{
  const int direction = sim->state.output_direction;
  const struct sb_range speed =
      sb_segment_is_rigid(sim) ? sb_range_scaled(m->x_range, sim->segment->per_motor) : m->w_range;
  const double way_rad = m->length_s * sb_range_scaled(speed, direction).greatest;
  return direction * (sim->segment->angle_limit_rad - m->angle.c[0]) - fmax(way_rad, 0.0);
}

static bool rests_on_corner(struct sb_sim *sim)
{
  return sb_segment_is_slow(sim, sim->state.output_speed_rad_s) && sb_start_would_rest(sim);
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

/* Engaged at rest; who waits for a start asks for twice the tolerance, as sb_start_margin() says. */
static int start_falls(const struct sb_sim *sim, const struct sb_motion *m, int direction,
                       struct sb_series falls[SB_FALL_MAX])
{
  const double r = fabs(sim->segment->per_motor);
  const int output_direction = direction * sb_sign_of(sim->segment->per_motor);
  const double scale_nm = sim->model->motor.stall_torque_nm + sb_start_scale_nm(sim, m, output_direction) * r;
  const double tolerance_nm = 2.0 * sb_rest_tolerance * scale_nm;
  const double below_nm = sb_start_below_nm(sim, direction, tolerance_nm);
  const int count = sb_start_falls(sim, m, output_direction, falls);
  const bool is_locking = sb_segment_is_locking(sim);
  if (is_locking) {
    const struct sb_series slide = sb_start_slide(sim, m, output_direction);
    falls[count] = sb_series_scaled(&slide, m->degree, -r, sb_start_above_nm(sim, direction, tolerance_nm));
  }
  for (int i = 0; i < count; i++) falls[i] = sb_series_scaled(&falls[i], m->degree, r, -below_nm);
  return count + is_locking;
}

static int forward_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  return start_falls(sim, m, +1, falls);
}

static int back_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  return start_falls(sim, m, -1, falls);
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

static int output_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  falls[0] = sb_series_scaled(&m->w, m->degree, sim->state.output_direction, 0.0);
  return 1;
}

static double output_floor(const struct sb_sim *sim, const struct sb_motion *m)
{
  return sb_range_scaled(m->w_range, sim->state.output_direction).least;
}

static void stop_output(struct sb_sim *sim)
{
  sim->state.output_speed_rad_s = 0.0;
}

static bool is_output_free(const struct sb_sim *sim)
{
  return is_neutral(sim) && sim->state.output_direction == 0;
}

/* The output alone, in neutral. */
static int output_start_falls(const struct sb_sim *sim, const struct sb_motion *m, int direction,
                              struct sb_series falls[SB_FALL_MAX])
{
  return sb_start_output_falls(sim, m, direction, sb_point_clutch_nm(sim, direction), falls);
}

static int output_forward_falls(const struct sb_sim *sim, const struct sb_motion *m,
                                struct sb_series falls[SB_FALL_MAX])
{
  return output_start_falls(sim, m, +1, falls);
}

static int output_back_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  return output_start_falls(sim, m, -1, falls);
}

static bool is_turning(const struct sb_sim *sim)
{
  return is_neutral(sim) && sim->state.is_turned && isfinite(sim->state.plan.engage_turn_rad);
}

static int turned_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  falls[0] = sb_series_scaled(&m->turn, m->degree, -1.0, sim->state.plan.engage_turn_rad - sim->state.turned_rad);
  return 1;
}

static void turn_enough(struct sb_sim *sim)
{
  sim->state.turned_rad = sim->state.plan.engage_turn_rad;
}

const struct sb_guard sb_plain_events[] = {
    {sb_segment_is_moving_rigid, motor_falls, stop, motor_floor},
    {sb_segment_is_moving_rigid, power_falls, NULL, power_floor},
    {has_corner, corner_falls, pass_corner, corner_floor},
    {is_mesh_resting, forward_falls, NULL, NULL},
    {is_mesh_resting, back_falls, NULL, NULL},
    [SB_EVENT_FREE_MOTOR_STOPS] = {is_motor_free, motor_falls, reverse_motor, motor_floor},
    [SB_EVENT_OUTPUT_STOPS] = {is_output_moving, output_falls, stop_output, output_floor},
    {is_output_free, output_forward_falls, NULL, NULL},
    {is_output_free, output_back_falls, NULL, NULL},
    [SB_EVENT_TURNED_ENOUGH] = {is_turning, turned_falls, turn_enough, NULL},
    {NULL, NULL, NULL, NULL},
};
