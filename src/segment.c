// SPDX-License-Identifier: GPL-3.0-or-later
#include "segment.h"

#include <math.h>

/* A start needs this fraction of the torques at hand, so that a balance struck to the last bit does not start and stop
 * without end. */
static const double start_tolerance = 1e-13;

static int sign_of(double value)
{
  return (value > 0.0) - (value < 0.0);
}

static const struct sb_gear *gear_of(const struct sb_sim *sim)
{
  return &sim->model->gearbox.gears[sim->state.gear];
}

/* The load's piece that the state is in: taken where the piece began, so that it does not depend on when one asks. */
static struct sb_load_curve curve_at(const struct sb_sim *sim, int direction, bool is_at_rest, enum sb_load_share share)
{
  const struct sb_load_at at = {sim->state.load_time_s, sim->state.load_angle_rad, direction, is_at_rest};
  return sb_load_curve_at(&sim->model->load, &at, share);
}

double sb_segment_mesh_inertia(const struct sb_sim *sim, double inverse_e)
{
  const double r = sim->segment->per_motor;
  return sim->model->motor.rotor_inertia_kg_m2 + sim->model->load.inertia_kg_m2 * r * r * inverse_e;
}

/* Sign that tells driving (+) from overrun (-), for a motor torque and a load torque, along a direction. */
static double power_sign(const struct sb_sim *sim, double motor_nm, double load_nm, int direction)
{
  const double r = sim->segment->per_motor;
  return direction * (motor_nm * sim->model->load.inertia_kg_m2 * fabs(r) +
                      sim->model->motor.rotor_inertia_kg_m2 * load_nm * sign_of(r));
}

static double inverse_e(const struct sb_gear *gear, bool is_driving)
{
  return is_driving ? 1.0 / gear->efficiency : gear->back_efficiency;
}

/* The load's parts at rest ahead in a direction of the output: what acts, and what holds. */
static double acting_nm(const struct sb_sim *sim, double time_s, int output_direction)
{
  const struct sb_load_curve *curve = &sim->segment->acting[output_direction > 0];
  return sb_load_curve_outside_nm(curve, time_s, sim->state.output_angle_rad);
}

static double hold_nm(const struct sb_sim *sim, double time_s, int output_direction)
{
  const struct sb_load_curve *curve = &sim->segment->holding[output_direction > 0];
  const double parts_nm = sb_load_curve_outside_nm(curve, time_s, sim->state.output_angle_rad);
  return fmax(parts_nm, sim->model->load.breakaway_nm);
}

double sb_segment_resting_load_nm(const struct sb_sim *sim, double time_s, int output_direction)
{
  return acting_nm(sim, time_s, output_direction) + output_direction * hold_nm(sim, time_s, output_direction);
}

/* Sum of the torques that meet in the output at rest, without sign. */
static double resting_scale_nm(const struct sb_sim *sim, double time_s, int output_direction)
{
  return fabs(acting_nm(sim, time_s, output_direction)) + hold_nm(sim, time_s, output_direction);
}

double sb_segment_start_margin(const struct sb_sim *sim, double time_s, int direction, double strictness)
{
  const struct sb_segment *seg = sim->segment;
  const double motor_nm = seg->line.stall_nm - direction * (seg->line.friction_nm + seg->drag_nm);
  const int output_direction = direction * sign_of(seg->per_motor);
  const double load_nm = sb_segment_resting_load_nm(sim, time_s, output_direction);
  const bool is_driving = power_sign(sim, motor_nm, load_nm, direction) >= 0.0;
  const double inv = inverse_e(gear_of(sim), is_driving);
  const double net_nm = motor_nm - load_nm * seg->per_motor * inv;
  const double scale_nm =
      sim->model->motor.stall_torque_nm + resting_scale_nm(sim, time_s, output_direction) * fabs(seg->per_motor);
  return direction * net_nm - strictness * start_tolerance * scale_nm;
}

/* Torque that the slipping clutch brings to the output. */
static double clutch_output_nm(const struct sb_sim *sim)
{
  const struct sb_state *state = &sim->state;
  return state->link == SB_LINK_SLIP ? state->slip_direction * state->plan.clutch_nm / sim->segment->per_motor : 0.0;
}

double sb_segment_output_start_margin(const struct sb_sim *sim, double time_s, int direction, double strictness)
{
  const double load_nm = sb_segment_resting_load_nm(sim, time_s, direction);
  const double scale_nm = resting_scale_nm(sim, time_s, direction) + fabs(clutch_output_nm(sim));
  return direction * (clutch_output_nm(sim) - load_nm) - strictness * start_tolerance * scale_nm;
}

static void take_resting_curves(struct sb_sim *sim)
{
  for (int i = 0; i < 2; i++) {
    sim->segment->acting[i] = curve_at(sim, i == 0 ? -1 : +1, true, SB_SHARE_ACTING);
    sim->segment->holding[i] = curve_at(sim, i == 0 ? -1 : +1, true, SB_SHARE_RESISTING);
  }
}

static bool is_steady(const struct sb_load_curve *curve)
{
  return curve->per_s == 0.0 && curve->wave_count == 0;
}

/* A body at rest: each direction is tried with the load ahead in that direction. */
static int settle_at_rest(struct sb_sim *sim, double (*start_margin)(const struct sb_sim *, double, int, double))
{
  const double now_s = fmax(sim->state.time_s, sim->state.load_time_s);
  take_resting_curves(sim);
  if (start_margin(sim, now_s, +1, 1.0) > 0.0) return +1;
  return start_margin(sim, now_s, -1, 1.0) > 0.0 ? -1 : 0;
}

bool sb_segment_would_rest(struct sb_sim *sim)
{
  sim->state.load_angle_rad = sim->state.output_angle_rad;
  const bool in_mesh = sim->state.link == SB_LINK_MESH;
  return settle_at_rest(sim, in_mesh ? sb_segment_start_margin : sb_segment_output_start_margin) == 0;
}

static bool is_resting_steady(const struct sb_segment *seg)
{
  return is_steady(&seg->acting[0]) && is_steady(&seg->holding[0]) && is_steady(&seg->acting[1]) &&
         is_steady(&seg->holding[1]);
}

static struct sb_poly poly_of_curve(const struct sb_load_curve *curve, double per_motor)
{
  return (struct sb_poly){.k = curve->c0_nm,
                          .per_s = curve->per_s,
                          .lin = curve->per_rad_s * per_motor,
                          .quad = curve->per_rad_s2 * per_motor * fabs(per_motor),
                          .per_rad = curve->per_rad,
                          .wave_gain = curve->wave_count > 0 ? 1.0 : 0.0};
}

/* gain * load + k + lin v */
static struct sb_poly poly_from(const struct sb_poly *load, double gain, double k, double lin)
{
  return (struct sb_poly){.k = k + gain * load->k,
                          .per_s = gain * load->per_s,
                          .lin = lin + gain * load->lin,
                          .quad = gain * load->quad,
                          .per_rad = gain * load->per_rad,
                          .wave_gain = gain * load->wave_gain};
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
  const int sense = sign_of(seg->per_motor);
  state->motor_direction = sign_of(state->motor_speed_rad_s);
  if (state->motor_direction == 0) state->motor_direction = settle_at_rest(sim, sb_segment_start_margin);
  const int direction = state->motor_direction;
  state->output_direction = direction * sense;
  if (direction == 0) {
    state->is_driving = 1;
    return;
  }
  const struct sb_load_curve curve = curve_at(sim, direction * sense, false, SB_SHARE_ALL);
  const double load_nm = sb_load_curve_nm(&curve, fmax(state->time_s, state->load_time_s), state->output_angle_rad,
                                          state->motor_speed_rad_s * seg->per_motor);
  const double motor_nm = driven_nm(seg, direction) - seg->line.slope_nms_rad * state->motor_speed_rad_s;
  state->is_driving = power_sign(sim, motor_nm, load_nm, direction) >= 0.0;
}

static void build_mesh(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  const struct sb_state *state = &sim->state;
  const int sense = sign_of(seg->per_motor), direction = state->motor_direction;
  if (direction == 0) take_resting_curves(sim);
  seg->is_resting_steady = direction == 0 && is_resting_steady(seg);
  seg->curve = curve_at(sim, direction == 0 ? sense : direction * sense, false, SB_SHARE_ALL);
  seg->load = poly_of_curve(&seg->curve, seg->per_motor);
  if (direction == 0) return;

  const double motor_nm = driven_nm(seg, direction);
  const double inertia = sim->model->load.inertia_kg_m2 * fabs(seg->per_motor);
  seg->power_sign = poly_from(&seg->load, sim->model->motor.rotor_inertia_kg_m2 * sense, motor_nm * inertia,
                              -seg->line.slope_nms_rad * inertia);
  seg->power_tolerance = 1e-12 * sim->model->motor.stall_torque_nm * inertia;
  const double inv = inverse_e(gear_of(sim), state->is_driving);
  const double per_inertia = 1.0 / sb_segment_mesh_inertia(sim, inv);
  seg->motor_rate = poly_from(&seg->load, -seg->per_motor * inv * per_inertia, motor_nm * per_inertia,
                              -seg->line.slope_nms_rad * per_inertia);
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
  state->motor_direction = sign_of(state->motor_speed_rad_s);
  if (state->motor_direction == 0 && fabs(drive_nm) > sim->segment->line.friction_nm) {
    state->motor_direction = sign_of(drive_nm);
  }
  state->output_direction = sign_of(state->output_speed_rad_s);
  if (state->output_direction == 0) {
    state->output_direction = settle_at_rest(sim, sb_segment_output_start_margin);
  }
}

static void build_free(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  const struct sb_state *state = &sim->state;
  seg->motor_rate = seg->output_rate = (struct sb_poly){0};
  if (state->motor_direction != 0) {
    const double per_inertia = 1.0 / sim->model->motor.rotor_inertia_kg_m2;
    seg->motor_rate.k = (free_drive_nm(sim) - state->motor_direction * seg->line.friction_nm) * per_inertia;
    seg->motor_rate.lin = -seg->line.slope_nms_rad * per_inertia;
  }
  if (state->output_direction == 0) {
    take_resting_curves(sim);
    seg->curve = curve_at(sim, +1, false, SB_SHARE_ALL);
    seg->load = (struct sb_poly){0}; /* held: no motion, no work */
    return;
  }
  seg->curve = curve_at(sim, state->output_direction, false, SB_SHARE_ALL);
  seg->load = poly_of_curve(&seg->curve, 1.0);
  const double per_inertia = 1.0 / sim->model->load.inertia_kg_m2;
  seg->output_rate = poly_from(&seg->load, -per_inertia, clutch_output_nm(sim) * per_inertia, 0.0);
}

/* What depends on gear and link alone. */
static void prepare(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  const struct sb_gear *gear = gear_of(sim);
  const bool in_mesh = sim->state.link == SB_LINK_MESH;
  seg->per_motor = gear->output_sense / gear->ratio;
  seg->drag_nm = in_mesh ? gear->drag_nm : 0.0;
  seg->line = !in_mesh && sim->state.plan.is_drive_cut
                  ? sb_motor_line_open(&sim->model->motor)
                  : sb_motor_line_driven(&sim->model->motor, &sim->model->supply, sim->model->drive.limit_fraction);
}

static enum sb_terms terms_of(const struct sb_poly *load, const struct sb_load_curve *curve)
{
  if (load->quad != 0.0 || load->per_rad != 0.0 || curve->wave_count > 0) return SB_TERMS_ALL;
  return load->per_s != 0.0 ? SB_TERMS_RAMP : SB_TERMS_STEADY;
}

static void build(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  const struct sb_state *state = &sim->state;
  const bool in_mesh = state->link == SB_LINK_MESH;
  seg->is_resting_steady = false;
  if (in_mesh) {
    build_mesh(sim);
  } else {
    build_free(sim);
  }
  seg->corner_s = sb_load_next_time_s(&sim->model->load, state->load_time_s);
  seg->end_s = in_mesh ? seg->corner_s : fmin(seg->corner_s, state->plan.engage_time_s);
  seg->angle_limit_rad = state->output_direction == 0 ? INFINITY
                                                      : sb_load_next_angle_rad(&sim->model->load, state->load_angle_rad,
                                                                               state->output_direction);
  seg->terms = terms_of(&seg->load, &seg->curve);
  seg->parts = (int)fmin(sb_model_step_parts(sim->model, in_mesh ? state->gear : -1), SB_STEP_PARTS_MAX);

  seg->start_s = state->time_s;
  seg->motor_turn = seg->motor_square = seg->output_turn = seg->load_work_j = 0.0;
  seg->start_motor_speed = state->motor_speed_rad_s;
  seg->start_output_speed = state->output_speed_rad_s;
}

void sb_segment_begin(struct sb_sim *sim)
{
  sim->state.load_angle_rad = sim->state.output_angle_rad;
  prepare(sim);
  if (sim->state.link == SB_LINK_MESH) {
    settle_mesh(sim);
  } else {
    settle_free(sim);
  }
  build(sim);
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
  const int output_direction = direction * sign_of(seg->per_motor);
  const double load_nm = sb_segment_resting_load_nm(sim, time_s, output_direction);
  const double scale_nm =
      sim->model->motor.stall_torque_nm + resting_scale_nm(sim, time_s, output_direction) * fabs(seg->per_motor);
  return direction * (driven_nm(seg, direction) - load_nm * seg->per_motor) - strictness * start_tolerance * scale_nm;
}

double sb_segment_joined_torque_nm(struct sb_sim *sim)
{
  const struct sb_segment *seg = sim->segment;
  const struct sb_state *state = &sim->state;
  const double x = state->motor_speed_rad_s, r = seg->per_motor;
  const int sense = sign_of(r);
  const int direction = x != 0.0 ? sign_of(x) : settle_at_rest(sim, joined_start_margin);
  if (direction == 0) { /* held: what the motor brings, or what the load pulls with */
    return fmax(driven_nm(seg, +1), sb_segment_resting_load_nm(sim, state->time_s, -sense) * r);
  }
  const struct sb_load_curve curve = curve_at(sim, direction * sense, false, SB_SHARE_ALL);
  const double load_nm = sb_load_curve_nm(&curve, state->time_s, state->output_angle_rad, x * r);
  const double motor_nm = driven_nm(seg, direction) - seg->line.slope_nms_rad * x;
  const double rate = (motor_nm - load_nm * r) / sb_segment_mesh_inertia(sim, 1.0);
  return motor_nm - sim->model->motor.rotor_inertia_kg_m2 * rate;
}

/* Battery, windings, conversion and friction from the integrals of x and x^2; returns the work at the shaft. */
static double book_motor(const struct sb_sim *sim, struct sb_ledger *ledger, double elapsed_s)
{
  const struct sb_segment *seg = sim->segment;
  const struct sb_motor *motor = &sim->model->motor;
  const struct sb_motor_line *line = &seg->line;
  if (!motor->has_currents) {
    const double given = line->stall_nm * seg->motor_turn - line->slope_nms_rad * seg->motor_square;
    ledger->given += given;
    ledger->throughput += fabs(given);
    return given;
  }
  const double i0 = line->stall_a, i1 = line->slope_as_rad;
  const double current = i0 * elapsed_s - i1 * seg->motor_turn;
  const double current_square = i0 * i0 * elapsed_s - 2.0 * i0 * i1 * seg->motor_turn + i1 * i1 * seg->motor_square;
  const double current_speed = i0 * seg->motor_turn - i1 * seg->motor_square;
  const double given = line->duty * sim->model->supply.open_circuit_voltage_v * current;
  const double friction = line->friction_nm * fabs(seg->motor_turn);
  ledger->given += given;
  ledger->throughput += fabs(given);
  ledger->internal_loss += line->duty * line->duty * sim->model->supply.internal_resistance_ohm * current_square;
  ledger->winding_loss += motor->resistance_ohm * current_square;
  ledger->conversion += (motor->ke_vs_rad - motor->kt_nm_a) * current_speed;
  ledger->motor_friction += friction;
  return motor->kt_nm_a * current_speed - friction;
}

static void book_mesh(const struct sb_sim *sim, struct sb_ledger *ledger, double shaft_j)
{
  const struct sb_segment *seg = sim->segment;
  const struct sb_state *state = &sim->state;
  const struct sb_gear *gear = gear_of(sim);
  const double drag_j = seg->drag_nm * fabs(seg->motor_turn);
  const double motor_kinetic_j = 0.5 * sim->model->motor.rotor_inertia_kg_m2 *
                                 (state->motor_speed_rad_s - seg->start_motor_speed) *
                                 (state->motor_speed_rad_s + seg->start_motor_speed);
  const double output_kinetic_j = 0.5 * sim->model->load.inertia_kg_m2 *
                                  (state->output_speed_rad_s - seg->start_output_speed) *
                                  (state->output_speed_rad_s + seg->start_output_speed);
  ledger->drag += drag_j;
  if (state->is_driving) {
    ledger->mesh_loss += (1.0 - gear->efficiency) * (shaft_j - drag_j - motor_kinetic_j);
  } else {
    ledger->mesh_loss -= (1.0 - gear->back_efficiency) * (seg->load_work_j + output_kinetic_j);
  }
}

void sb_segment_book(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  struct sb_state *state = &sim->state;
  struct sb_sums *sums = &sim->sums;
  const double elapsed_s = state->time_s - seg->start_s;
  const double shaft_j = book_motor(sim, &sums->ledger, elapsed_s);
  sums->ledger.load_work += seg->load_work_j;
  if (state->link == SB_LINK_MESH) {
    sums->gear_time_s[state->gear] += elapsed_s;
    if (state->motor_direction == 0) {
      sums->standstill_time_s += elapsed_s;
    } else {
      book_mesh(sim, &sums->ledger, shaft_j);
    }
  } else {
    sums->neutral_time_s += elapsed_s;
    if (state->link == SB_LINK_SLIP) {
      const double clutch_nm = state->slip_direction * state->plan.clutch_nm;
      sums->ledger.shift_loss += clutch_nm * (seg->motor_turn - seg->output_turn / seg->per_motor);
    }
  }
  /* The integrals start anew; the segment itself may go on. */
  seg->start_s = state->time_s;
  seg->motor_turn = seg->motor_square = seg->output_turn = seg->load_work_j = 0.0;
  seg->start_motor_speed = state->motor_speed_rad_s;
  seg->start_output_speed = state->output_speed_rad_s;
}
