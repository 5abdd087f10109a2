// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/segment.h"

#include <float.h>
#include <math.h>

#include "sim/clutch.h"
#include "sim/contact.h"
#include "sim/feed.h"
#include "sim/jam.h"
#include "sim/motion.h"
#include "sim/point.h"
#include "sim/rest.h"
#include "sim/spring.h"
#include "sim/start.h"

/* Moving -------------------------------------------------------------------------------------------------------------- */

static void settle_mesh(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  struct sb_state *state = &sim->state;
  const int sense = sb_sign_of(seg->per_motor);
  state->motor_direction = sb_sign_of(state->motor_speed_rad_s);
  if (state->motor_direction == 0) state->motor_direction = seg->broken_away * sense;
  if (state->motor_direction == 0) state->motor_direction = sb_start_direction(sim, sb_start_margin);
  const int direction = state->motor_direction;
  state->output_direction = direction * sense;
  if (direction == 0) {
    state->is_driving = 1;
    return;
  }
  state->is_driving = sb_start_joined(sim, state->motor_speed_rad_s, direction).is_driving;
}

/* A motor's speed that is high: not the present one, for a state that is put back has the same bits. */
static double high_speed(const struct sb_sim *sim)
{
  return 4.0 * sim->model->motor.no_load_speed_rad_s;
}

/* The terms of the load without their signs, N m. */
static double load_size_nm(const struct sb_sim *sim)
{
  const struct sb_segment *seg = sim->segment;
  const struct sb_poly *load = &seg->load;
  const double x = high_speed(sim);
  double load_nm = fabs(load->k) + (fabs(load->lin) + fabs(load->quad) * x) * x;
  for (int i = 0; i < seg->curve.wave_count; i++) load_nm += fabs(seg->curve.waves[i].amplitude_nm);
  for (int i = 0; i < seg->curve.grade_count; i++)
    load_nm += fabs(seg->curve.grades[i].sine_nm) + fabs(seg->curve.grades[i].cosine_nm);
  return load_nm;
}

/* What the sign of the power may be off by rounding: its terms can be far greater than their sum. */
static double power_rounding(const struct sb_sim *sim)
{
  const struct sb_segment *seg = sim->segment;
  return 16.0 * DBL_EPSILON *
         (fabs(seg->power.constant) + fabs(seg->power.per_speed) * high_speed(sim) +
          fabs(seg->power.per_load) * seg->load_size_nm);
}

/* What opposes the output that moves. Traction on a grade that changes along the vehicle's way is a bend of it. */
static struct sb_poly moving_load(const struct sb_sim *sim, double per_motor)
{
  struct sb_poly load = sb_poly_of_curve(&sim->segment->curve, per_motor);
  if (sim->state.far.is_slipping && sim->segment->far.is_bent) load.bend_gain = 1.0;
  return load;
}

/* What follows from the motor's line. */
static void take_line(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  const double motor_nm = sb_segment_driven_nm(seg, sim->state.motor_direction), slope = seg->line.slope_nms_rad;
  const double inertia = seg->output_inertia * fabs(seg->per_motor);
  seg->power.constant = motor_nm * inertia;
  seg->power.per_speed = -slope * inertia;
  seg->power_tolerance = 1e-12 * sim->model->motor.stall_torque_nm * inertia + power_rounding(sim);
  seg->motor_rate.k = motor_nm * seg->per_motor_nm + seg->per_load_nm * seg->load.k;
  seg->motor_rate.lin = -slope * seg->per_motor_nm + seg->per_load_nm * seg->load.lin;
}

static void build_mesh_rates(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  const bool is_driving = sim->state.is_driving;
  seg->power.per_load = sb_segment_power_inertia(seg) * sb_sign_of(seg->per_motor);
  seg->per_motor_nm = 1.0 / sb_segment_mesh_inertia(sim, is_driving);
  seg->per_load_nm = -seg->per_motor * sb_segment_inverse_e(sb_segment_gear(sim), is_driving) * seg->per_motor_nm;
  seg->motor_rate = sb_poly_from(&seg->load, seg->per_load_nm, 0.0, 0.0);
  take_line(sim);
}

static void build_mesh(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  const int sense = sb_sign_of(seg->per_motor), direction = sim->state.motor_direction;
  if (direction == 0) sb_start_take_resting(sim);
  seg->curve = sb_start_moving_curve(sim, direction == 0 ? sense : direction * sense);
  seg->load = moving_load(sim, seg->per_motor);
  seg->load_size_nm = load_size_nm(sim);
  if (direction != 0) build_mesh_rates(sim);
}

bool sb_segment_feed_anew(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  const struct sb_state *state = &sim->state;
  if (!sb_segment_is_moving_rigid(sim) || state->far.is_slipping) return false;
  sb_feed_line(sim);
  take_line(sim);
  const double x = state->motor_speed_rad_s;
  const double load_nm = sb_poly_at(&seg->load, &seg->curve, state->time_s, state->output_angle_rad, x);
  if ((sb_segment_power(seg, x, load_nm) * state->motor_direction >= 0.0) != (state->is_driving != 0)) return false;
  if (!sim->model->shifter.ops->has_clutch) return true;
  const double rate = sb_poly_at(&seg->motor_rate, &seg->curve, state->time_s, state->output_angle_rad, x);
  return sb_clutch_holds_plainly(sim, x, rate);
}

/* What turns the motor in neutral: its drive less the slipping clutch. */
static double free_drive_nm(const struct sb_sim *sim)
{
  const struct sb_state *state = &sim->state;
  const double clutch_nm = state->link == SB_LINK_SLIP ? state->slip_direction * state->plan.clutch_nm : 0.0;
  return sim->segment->line.stall_nm - clutch_nm;
}

/* A motor at rest in neutral turns only when the torque on it exceeds its friction. */
static void settle_free(struct sb_sim *sim)
{
  struct sb_state *state = &sim->state;
  sb_clutch_stop_locked(sim);
  const double drive_nm = free_drive_nm(sim);
  state->motor_direction = sb_sign_of(state->motor_speed_rad_s);
  if (state->motor_direction == 0 && fabs(drive_nm) > sim->segment->line.friction_nm) {
    state->motor_direction = sb_sign_of(drive_nm);
  }
  state->output_direction = sb_sign_of(state->output_speed_rad_s);
  if (state->output_direction == 0) state->output_direction = sim->segment->broken_away;
  if (state->output_direction == 0) {
    state->output_direction = sb_start_direction(sim, sb_start_output_margin);
  }
}

/* Motor and output each by itself; a shaft or clutch between them adds its torque. */
static void build_free(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  const struct sb_state *state = &sim->state;
  seg->motor_rate = seg->output_rate = (struct sb_poly){0};
  if (state->motor_direction != 0) {
    const double per_inertia = 1.0 / (seg->motor_inertia + seg->wheels_excess[state->is_driving]);
    const double loss_nm = seg->line.friction_nm + (seg->has_spring ? seg->drag_nm : 0.0);
    seg->motor_rate.k = (free_drive_nm(sim) - state->motor_direction * loss_nm) * per_inertia;
    seg->motor_rate.lin = -seg->line.slope_nms_rad * per_inertia;
  }
  if (state->output_direction == 0) {
    sb_start_take_resting(sim);
    seg->curve = sb_start_moving_curve(sim, +1);
    seg->load = (struct sb_poly){0}; /* held: no motion, no work */
    return;
  }
  seg->curve = sb_start_moving_curve(sim, state->output_direction);
  seg->load = moving_load(sim, 1.0);
  const double per_inertia = 1.0 / seg->output_inertia;
  seg->output_rate =
      sb_poly_from(&seg->load, -per_inertia, sb_point_clutch_nm(sim, state->output_direction) * per_inertia, 0.0);
}

/* While a gear is engaged its motor turns all wheels of the box. */
static void take_wheels(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  const struct sb_gear *gear = sb_segment_gear(sim);
  seg->motor_inertia = sim->model->motor.rotor_inertia_kg_m2 + gear->wheels_kg_m2;
  seg->output_inertia = sim->model->load.inertia_kg_m2;
  for (int i = 0; i < 2; i++) seg->wheels_excess[i] = gear->wheels_excess_kg_m2[i];
}

/* The direction in which the drive turns the output; 0: no gear is engaged, or nothing feeds the motor. */
static int fed_direction(const struct sb_sim *sim)
{
  if (!sb_segment_is_engaged(sim) || !sb_feed_is_on(sim)) return 0;
  return sb_feed_direction(sim) * sb_segment_gear(sim)->output_direction;
}

/* What depends on gear, link and feed alone. */
static void prepare(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  const struct sb_gear *gear = sb_segment_gear(sim);
  const bool in_mesh = sim->state.link == SB_LINK_MESH;
  seg->per_motor = gear->output_direction / gear->ratio;
  seg->drag_nm = sim->state.link != SB_LINK_OPEN ? gear->drag_nm : 0.0;
  seg->has_spring = in_mesh && sim->model->driveshaft.is_present;
  sb_feed_line(sim);
  seg->fed_direction = fed_direction(sim);
  seg->motor_inertia = sb_model_motor_inertia_kg_m2(sim->model);
  seg->output_inertia = sb_model_output_inertia_kg_m2(sim->model, sim->model->load.inertia_kg_m2);
  seg->wheels_excess[0] = seg->wheels_excess[1] = 0.0;
  /* Wheels beyond a clutch are the output's whether it slips or holds: so they count alike in both. */
  if (in_mesh && !sim->model->shifter.ops->has_clutch) take_wheels(sim);
  if (sim->model->load.road.is_present) sb_contact_prepare(sim);
}

/* Linear in time and speed. */
static bool is_straight(const struct sb_poly *load)
{
  return load->quad == 0.0 && load->per_rad == 0.0 && load->bend_gain == 0.0;
}

static void set_corners(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  const struct sb_state *state = &sim->state;
  const bool is_split = sim->model->load.road.is_present;
  seg->corner_s = sb_load_next_time_s(&sim->model->load, state->load_time_s);
  seg->end_s = state->link == SB_LINK_MESH ? seg->corner_s : fmin(seg->corner_s, state->plan.engage_time_s);
  seg->is_road_limit = false;
  seg->angle_limit_rad = INFINITY;
  if (state->output_direction != 0) {
    seg->angle_limit_rad = sb_load_next_angle_rad(&sim->model->load, is_split ? SB_SIDE_NEAR : SB_SIDE_BOTH,
                                                  state->load_angle_rad, state->output_direction);
  }
  if (is_split) sb_contact_set_corners(sim);
}

void sb_segment_start_gain(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  seg->gain = (struct sb_gain){0};
  seg->start_s = seg->fed_s = sim->state.time_s;
  seg->shaft_j = seg->motor_turn = 0.0;
  seg->start_motor_speed = sim->state.motor_speed_rad_s;
  seg->start_output_speed = sim->state.output_speed_rad_s;
}

static void build(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  const struct sb_state *state = &sim->state;
  const bool in_mesh = state->link == SB_LINK_MESH;
  if (sim->model->load.road.is_present) sb_contact_build(sim);
  if (in_mesh && !seg->has_spring) {
    build_mesh(sim);
  } else {
    build_free(sim);
  }
  if (seg->has_spring) sb_spring_build(sim);
  const bool is_still = in_mesh && state->motor_direction == 0 && state->output_direction == 0;
  seg->is_resting_steady = is_still && state->far.direction == 0 && sb_rest_is_steady(&seg->resting);
  set_corners(sim);
  seg->has_straight_load = is_straight(&seg->load);
  sb_segment_start_gain(sim);
}

static void settle(struct sb_sim *sim)
{
  prepare(sim);
  if (sim->segment->has_spring) {
    sb_spring_settle(sim);
  } else if (sim->state.link == SB_LINK_MESH) {
    settle_mesh(sim);
  } else {
    settle_free(sim);
  }
}

static void settle_all(struct sb_sim *sim)
{
  settle(sim);
  if (sim->model->load.road.is_present && sb_contact_settle(sim)) settle(sim);
}

/* Wheels that can slip let go first: then the path may have less to stop. */
static void jam(struct sb_sim *sim)
{
  struct sb_state *state = &sim->state;
  if (sim->model->load.road.can_slip && !state->far.is_slipping) {
    sb_contact_let_go(sim, -state->output_direction);
    settle_all(sim);
    if (!sb_jam_is_due(sim)) return;
  }
  sb_jam_stop(sim);
  settle_all(sim);
  if (!sb_jam_is_due(sim)) return;
  state->motor_direction = state->output_direction = 0; /* it would start by rounding alone */
  state->is_driving = 1;
}

/* Directions, driving or overrun, and the segment of them. */
static void begin_settled(struct sb_sim *sim)
{
  settle_all(sim);
  if (sb_jam_is_due(sim)) jam(sim);
  build(sim);
}

/* Wheels that are asked for more than they carry let go: the same once more, with the vehicle beside them. Those that
 * started and lead the vehicle have broken away already, whatever would hold them at rest. */
static void release_wheels(struct sb_sim *sim)
{
  const struct sb_state *state = &sim->state;
  if (!sim->model->load.road.is_present || !sb_contact_lets_go(sim)) return;
  if (state->far.slip_direction == state->output_direction) sim->segment->broken_away = state->output_direction;
  settle_all(sim);
  if (sb_jam_is_due(sim)) jam(sim);
  sim->segment->broken_away = 0;
  build(sim);
}

void sb_segment_begin(struct sb_sim *sim)
{
  if (sim->model->load.road.is_present) sb_contact_begin(sim);
  sim->state.load_angle_rad = sim->state.output_angle_rad;
  sim->segment->broken_away = 0;
  begin_settled(sim);
  const struct sb_far gripping = sim->state.far;
  const double output_rad_s = sim->state.output_speed_rad_s;
  release_wheels(sim);
  if (sim->state.link != SB_LINK_MESH || sb_clutch_holds(sim)) return;
  /* A clutch that slips may spare the wheels, but those of an output that it lets lock. */
  if (sim->state.output_speed_rad_s == output_rad_s) sim->state.far = gripping;
  begin_settled(sim);
  release_wheels(sim);
}

void sb_segment_resume(struct sb_sim *sim)
{
  prepare(sim);
  build(sim);
}
