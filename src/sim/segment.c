// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/segment.h"

#include <math.h>

#include "sim/contact.h"
#include "sim/motion.h"
#include "sim/feed.h"
#include "sim/spring.h"

const double sb_segment_start_tolerance = 1e-13;

struct sb_load_curve sb_segment_curve_at(const struct sb_sim *sim, int direction, bool is_at_rest,
                                         enum sb_load_share share, enum sb_load_side side)
{
  const struct sb_state *state = &sim->state;
  const struct sb_load_at at = {state->load_time_s, state->load_angle_rad, state->far.load_angle_rad, direction,
                                is_at_rest};
  return sb_load_side_curve_at(&sim->model->load, &at, share, side);
}

double sb_segment_mesh_inertia(const struct sb_sim *sim, double inverse_e)
{
  const double r = sim->segment->per_motor;
  return sim->model->motor.rotor_inertia_kg_m2 + sim->segment->output_inertia * r * r * inverse_e;
}

/* Sign that tells driving (+) from overrun (-), for a motor torque and a load torque, along a direction. */
static double power_sign(const struct sb_sim *sim, double motor_nm, double load_nm, int direction)
{
  const double r = sim->segment->per_motor;
  return direction * (motor_nm * sim->segment->output_inertia * fabs(r) +
                      sim->model->motor.rotor_inertia_kg_m2 * load_nm * sb_sign_of(r));
}

/* At rest ------------------------------------------------------------------------------------------------------------- */

/* The holding brake, closed in neutral and while the drive is off. */
static double brake_nm(const struct sb_sim *sim)
{
  const bool is_closed = sim->state.link == SB_LINK_OPEN || !sb_feed_is_on(sim);
  return is_closed ? sim->model->load.brake_nm : 0.0;
}

struct sb_resting sb_segment_resting_at(const struct sb_sim *sim, enum sb_load_side side)
{
  struct sb_resting resting = {.brake_nm = side != SB_SIDE_BEYOND ? brake_nm(sim) : 0.0};
  for (int i = 0; i < 2; i++) {
    const int direction = i == 0 ? -1 : +1;
    resting.acting[i] = sb_segment_curve_at(sim, direction, true, SB_SHARE_ACTING, side);
    resting.holding[i] = sb_segment_curve_at(sim, direction, true, SB_SHARE_RESISTING, side);
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

double sb_segment_resting_nm(const struct sb_resting *resting, double time_s, double angle_rad, int direction)
{
  return acting_nm(resting, time_s, angle_rad, direction) + direction * hold_nm(resting, time_s, angle_rad, direction);
}

double sb_segment_resting_scale_nm(const struct sb_resting *resting, double time_s, double angle_rad, int direction)
{
  return fabs(acting_nm(resting, time_s, angle_rad, direction)) + hold_nm(resting, time_s, angle_rad, direction);
}

double sb_segment_resting_load_nm(const struct sb_sim *sim, double time_s, int output_direction)
{
  const double near_nm = sb_segment_resting_nm(&sim->segment->resting, time_s, sim->state.output_angle_rad, output_direction);
  return sim->model->load.road.is_present ? near_nm + sb_contact_resting_nm(sim, output_direction) : near_nm;
}

/* Sum of the torques that meet in the output at rest, without sign. */
static double resting_scale_nm(const struct sb_sim *sim, double time_s, int output_direction)
{
  const double near_nm =
      sb_segment_resting_scale_nm(&sim->segment->resting, time_s, sim->state.output_angle_rad, output_direction);
  if (!sim->model->load.road.is_present) return near_nm;
  return near_nm + fabs(sb_contact_resting_nm(sim, output_direction));
}

double sb_segment_start_margin(const struct sb_sim *sim, double time_s, int direction, double strictness)
{
  const struct sb_segment *seg = sim->segment;
  const double motor_nm = seg->line.stall_nm - direction * (seg->line.friction_nm + seg->drag_nm);
  const int output_direction = direction * sb_sign_of(seg->per_motor);
  const double load_nm = sb_segment_resting_load_nm(sim, time_s, output_direction);
  const bool is_driving = power_sign(sim, motor_nm, load_nm, direction) >= 0.0;
  const double inv = sb_segment_inverse_e(sb_segment_gear(sim), is_driving);
  const double net_nm = motor_nm - load_nm * seg->per_motor * inv;
  const double scale_nm =
      sim->model->motor.stall_torque_nm + resting_scale_nm(sim, time_s, output_direction) * fabs(seg->per_motor);
  return direction * net_nm - strictness * sb_segment_start_tolerance * scale_nm;
}

/* Torque that the slipping clutch brings to the output. */
static double clutch_output_nm(const struct sb_sim *sim)
{
  const struct sb_state *state = &sim->state;
  return state->link == SB_LINK_SLIP ? state->slip_direction * state->plan.clutch_nm / sim->segment->per_motor : 0.0;
}

double sb_segment_output_start_margin(const struct sb_sim *sim, double time_s, int direction, double strictness)
{
  const double brought_nm = sim->segment->has_spring ? sb_spring_torque_nm(sim) : clutch_output_nm(sim);
  return sb_segment_brought_start_margin(sim, time_s, direction, brought_nm, strictness);
}

double sb_segment_brought_start_margin(const struct sb_sim *sim, double time_s, int direction, double brought_nm,
                                       double strictness)
{
  const double load_nm = sb_segment_resting_load_nm(sim, time_s, direction);
  const double scale_nm = resting_scale_nm(sim, time_s, direction) + fabs(brought_nm);
  return direction * (brought_nm - load_nm) - strictness * sb_segment_start_tolerance * scale_nm;
}

int sb_segment_rest_falls(const struct sb_sim *sim, const struct sb_motion *motion, int direction,
                          struct sb_series falls[2])
{
  const struct sb_resting *resting = &sim->segment->resting;
  const int ahead = direction > 0;
  const double beyond_nm = sim->model->load.road.is_present ? direction * sb_contact_resting_nm(sim, direction) : 0.0;
  const double besides_nm = resting->brake_nm + beyond_nm;
  for (int i = 0; i < 2; i++) falls[i] = sb_series_scaled(&motion->acting[ahead], motion->degree, direction, besides_nm);
  sb_series_add(&falls[0], &motion->holding[ahead], motion->degree, 1.0);
  falls[1].c[0] += resting->least_hold_nm[ahead];
  return resting->least_hold_nm[ahead] > 0.0 ? 2 : 1;
}

double sb_segment_rest_scale_nm(const struct sb_sim *sim, const struct sb_motion *motion, int direction)
{
  const struct sb_resting *resting = &sim->segment->resting;
  const int ahead = direction > 0;
  const double beyond_nm = sim->model->load.road.is_present ? fabs(sb_contact_resting_nm(sim, direction)) : 0.0;
  return sb_series_size(&motion->acting[ahead], motion->degree) + sb_series_size(&motion->holding[ahead], motion->degree) +
         resting->least_hold_nm[ahead] + resting->brake_nm + beyond_nm;
}

double sb_segment_start_below_nm(const struct sb_sim *sim, int direction, double tolerance_nm)
{
  const struct sb_segment *seg = sim->segment;
  const struct sb_gear *gear = sb_segment_gear(sim);
  const double net_nm = direction * seg->line.stall_nm - (seg->line.friction_nm + seg->drag_nm) - tolerance_nm;
  if (net_nm > 0.0) return gear->efficiency * net_nm;
  return gear->back_efficiency > 0.0 ? net_nm / gear->back_efficiency : -(double)INFINITY;
}

void sb_segment_take_resting(struct sb_sim *sim)
{
  const bool is_split = sim->model->load.road.is_present;
  sim->segment->resting = sb_segment_resting_at(sim, is_split ? SB_SIDE_NEAR : SB_SIDE_BOTH);
  if (is_split) sb_contact_take_resting(sim);
}

static bool is_steady(const struct sb_load_curve *curve)
{
  return curve->per_s == 0.0 && curve->wave_count == 0;
}

/* A body at rest: each direction is tried with the load ahead in that direction. */
static int settle_at_rest(struct sb_sim *sim, double (*start_margin)(const struct sb_sim *, double, int, double))
{
  const double now_s = fmax(sim->state.time_s, sim->state.load_time_s);
  sb_segment_take_resting(sim);
  if (start_margin(sim, now_s, +1, 1.0) > 0.0) return +1;
  return start_margin(sim, now_s, -1, 1.0) > 0.0 ? -1 : 0;
}

bool sb_segment_would_rest(struct sb_sim *sim)
{
  sim->state.load_angle_rad = sim->state.output_angle_rad;
  const bool in_mesh = sim->state.link == SB_LINK_MESH && !sim->segment->has_spring;
  return settle_at_rest(sim, in_mesh ? sb_segment_start_margin : sb_segment_output_start_margin) == 0;
}

/* The vehicle's own load does not change in time. */
static bool is_resting_steady(const struct sb_resting *resting)
{
  return is_steady(&resting->acting[0]) && is_steady(&resting->holding[0]) && is_steady(&resting->acting[1]) &&
         is_steady(&resting->holding[1]);
}

/* Moving -------------------------------------------------------------------------------------------------------------- */

/* All that opposes the output as it moves in a direction. */
static struct sb_load_curve moving_curve(const struct sb_sim *sim, int output_direction)
{
  const bool is_cut_off = sim->state.far.is_slipping != 0;
  struct sb_load_curve curve =
      sb_segment_curve_at(sim, output_direction, false, SB_SHARE_ALL, is_cut_off ? SB_SIDE_NEAR : SB_SIDE_BOTH);
  if (sim->model->load.road.is_present) sb_contact_add_moving(sim, output_direction, &curve);
  if (sim->model->load.brake_nm > 0.0) curve.c0_nm += output_direction * brake_nm(sim);
  return curve;
}

/* What the motor brings into the mesh at x = 0+ or 0-. */
static double driven_nm(const struct sb_segment *seg, int direction)
{
  return seg->line.stall_nm - direction * (seg->line.friction_nm + seg->drag_nm);
}

static void settle_mesh(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  struct sb_state *state = &sim->state;
  const int sense = sb_sign_of(seg->per_motor);
  state->motor_direction = sb_sign_of(state->motor_speed_rad_s);
  if (state->motor_direction == 0) state->motor_direction = seg->broken_away * sense;
  if (state->motor_direction == 0) state->motor_direction = settle_at_rest(sim, sb_segment_start_margin);
  const int direction = state->motor_direction;
  state->output_direction = direction * sense;
  if (direction == 0) {
    state->is_driving = 1;
    return;
  }
  const struct sb_load_curve curve = moving_curve(sim, direction * sense);
  const double load_nm = sb_load_curve_nm(&curve, fmax(state->time_s, state->load_time_s), state->output_angle_rad,
                                          state->motor_speed_rad_s * seg->per_motor);
  const double motor_nm = driven_nm(seg, direction) - seg->line.slope_nms_rad * state->motor_speed_rad_s;
  state->is_driving = power_sign(sim, motor_nm, load_nm, direction) >= 0.0;
}

/* What follows from the motor's line. */
static void build_mesh_rates(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  const struct sb_state *state = &sim->state;
  const double motor_nm = driven_nm(seg, state->motor_direction);
  const double inertia = seg->output_inertia * fabs(seg->per_motor);
  seg->power = (struct sb_power){.constant = motor_nm * inertia,
                                 .per_speed = -seg->line.slope_nms_rad * inertia,
                                 .per_load = sim->model->motor.rotor_inertia_kg_m2 * sb_sign_of(seg->per_motor)};
  seg->power_tolerance = 1e-12 * sim->model->motor.stall_torque_nm * inertia;
  const double inv = sb_segment_inverse_e(sb_segment_gear(sim), state->is_driving);
  const double per_inertia = 1.0 / sb_segment_mesh_inertia(sim, inv);
  seg->motor_rate = sb_poly_from(&seg->load, -seg->per_motor * inv * per_inertia, motor_nm * per_inertia,
                                 -seg->line.slope_nms_rad * per_inertia);
}

static void build_mesh(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  const int sense = sb_sign_of(seg->per_motor), direction = sim->state.motor_direction;
  if (direction == 0) sb_segment_take_resting(sim);
  seg->curve = moving_curve(sim, direction == 0 ? sense : direction * sense);
  seg->load = sb_poly_of_curve(&seg->curve, seg->per_motor);
  if (direction != 0) build_mesh_rates(sim);
}

bool sb_segment_feed_anew(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  const struct sb_state *state = &sim->state;
  if (!sb_segment_is_moving_rigid(sim) || state->far.is_slipping) return false;
  sb_feed_line(sim);
  build_mesh_rates(sim);
  const double x = state->motor_speed_rad_s;
  const double load_nm = sb_poly_at(&seg->load, &seg->curve, state->time_s, state->output_angle_rad, x);
  const double power = seg->power.constant + seg->power.per_speed * x + seg->power.per_load * load_nm;
  return (power * state->motor_direction >= 0.0) == (state->is_driving != 0);
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
  const double drive_nm = free_drive_nm(sim);
  state->motor_direction = sb_sign_of(state->motor_speed_rad_s);
  if (state->motor_direction == 0 && fabs(drive_nm) > sim->segment->line.friction_nm) {
    state->motor_direction = sb_sign_of(drive_nm);
  }
  state->output_direction = sb_sign_of(state->output_speed_rad_s);
  if (state->output_direction == 0) state->output_direction = sim->segment->broken_away;
  if (state->output_direction == 0) {
    state->output_direction = settle_at_rest(sim, sb_segment_output_start_margin);
  }
}

/* Motor and output each by itself; a shaft or clutch between them adds its torque. */
static void build_free(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  const struct sb_state *state = &sim->state;
  seg->motor_rate = seg->output_rate = (struct sb_poly){0};
  if (state->motor_direction != 0) {
    const double per_inertia = 1.0 / sim->model->motor.rotor_inertia_kg_m2;
    const double loss_nm = seg->line.friction_nm + seg->drag_nm;
    seg->motor_rate.k = (free_drive_nm(sim) - state->motor_direction * loss_nm) * per_inertia;
    seg->motor_rate.lin = -seg->line.slope_nms_rad * per_inertia;
  }
  if (state->output_direction == 0) {
    sb_segment_take_resting(sim);
    seg->curve = moving_curve(sim, +1);
    seg->load = (struct sb_poly){0}; /* held: no motion, no work */
    return;
  }
  seg->curve = moving_curve(sim, state->output_direction);
  seg->load = sb_poly_of_curve(&seg->curve, 1.0);
  const double per_inertia = 1.0 / seg->output_inertia;
  seg->output_rate = sb_poly_from(&seg->load, -per_inertia, clutch_output_nm(sim) * per_inertia, 0.0);
}

/* What depends on gear, link and feed alone. */
static void prepare(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  const struct sb_gear *gear = sb_segment_gear(sim);
  const bool in_mesh = sim->state.link == SB_LINK_MESH;
  seg->per_motor = gear->output_direction / gear->ratio;
  seg->drag_nm = in_mesh ? gear->drag_nm : 0.0;
  seg->has_spring = in_mesh && sim->model->driveshaft.is_present;
  sb_feed_line(sim);
  seg->output_inertia = sim->model->load.inertia_kg_m2;
  if (sim->model->load.road.is_present) sb_contact_prepare(sim);
}

/* Linear in time and speed. */
static bool is_straight(const struct sb_poly *load)
{
  return load->quad == 0.0 && load->per_rad == 0.0 && load->wave_gain == 0.0;
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

static void build(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  const struct sb_state *state = &sim->state;
  const bool in_mesh = state->link == SB_LINK_MESH;
  if (in_mesh && !seg->has_spring) {
    build_mesh(sim);
  } else {
    build_free(sim);
  }
  if (seg->has_spring) sb_spring_build(sim);
  if (sim->model->load.road.is_present) sb_contact_build(sim);
  const bool is_still = in_mesh && state->motor_direction == 0 && state->output_direction == 0;
  seg->is_resting_steady = is_still && state->far.direction == 0 && is_resting_steady(&seg->resting);
  set_corners(sim);
  seg->has_straight_load = is_straight(&seg->load);
  seg->start_s = state->time_s;
  seg->gain = (struct sb_gain){0};
  seg->start_motor_speed = state->motor_speed_rad_s;
  seg->start_output_speed = state->output_speed_rad_s;
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

void sb_segment_begin(struct sb_sim *sim)
{
  const bool has_road = sim->model->load.road.is_present;
  if (has_road) sb_contact_begin(sim);
  sim->state.load_angle_rad = sim->state.output_angle_rad;
  sim->segment->broken_away = 0;
  settle(sim);
  if (has_road && sb_contact_settle(sim)) settle(sim);
  build(sim);
  /* Wheels that are asked for more than they carry let go: the same once more, with the vehicle beside them. Those that
   * started and lead the vehicle have broken away already, whatever would hold them at rest. */
  if (has_road && sb_contact_lets_go(sim)) {
    const struct sb_state *state = &sim->state;
    if (state->far.slip_direction == state->output_direction) sim->segment->broken_away = state->output_direction;
    settle(sim);
    if (sb_contact_settle(sim)) settle(sim);
    sim->segment->broken_away = 0;
    build(sim);
  }
}

void sb_segment_resume(struct sb_sim *sim)
{
  prepare(sim);
  build(sim);
}

/* As sb_segment_start_margin(), for motor and output joined by the clutch: no drag, no loss. */
static double joined_start_margin(const struct sb_sim *sim, double time_s, int direction, double strictness)
{
  const struct sb_segment *seg = sim->segment;
  const int output_direction = direction * sb_sign_of(seg->per_motor);
  const double load_nm = sb_segment_resting_load_nm(sim, time_s, output_direction);
  const double scale_nm =
      sim->model->motor.stall_torque_nm + resting_scale_nm(sim, time_s, output_direction) * fabs(seg->per_motor);
  return direction * (driven_nm(seg, direction) - load_nm * seg->per_motor) -
         strictness * sb_segment_start_tolerance * scale_nm;
}

double sb_segment_joined_torque_nm(struct sb_sim *sim)
{
  const struct sb_segment *seg = sim->segment;
  const struct sb_state *state = &sim->state;
  const double x = state->motor_speed_rad_s, r = seg->per_motor;
  const int sense = sb_sign_of(r);
  const int direction = x != 0.0 ? sb_sign_of(x) : settle_at_rest(sim, joined_start_margin);
  if (direction == 0) { /* held: what the motor brings, or what the load pulls with */
    return fmax(driven_nm(seg, +1), sb_segment_resting_load_nm(sim, state->time_s, -sense) * r);
  }
  const struct sb_load_curve curve = moving_curve(sim, direction * sense);
  const double load_nm = sb_load_curve_nm(&curve, state->time_s, state->output_angle_rad, x * r);
  const double motor_nm = driven_nm(seg, direction) - seg->line.slope_nms_rad * x;
  const double rate = (motor_nm - load_nm * r) / sb_segment_mesh_inertia(sim, 1.0);
  return motor_nm - sim->model->motor.rotor_inertia_kg_m2 * rate;
}
