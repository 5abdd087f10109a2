// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/spring.h"

#include <float.h>
#include <math.h>

#include "sim/clutch.h"
#include "sim/point.h"
#include "sim/rest.h"
#include "sim/start.h"

static const struct sb_driveshaft *shaft_of(const struct sb_sim *sim)
{
  return &sim->model->driveshaft;
}

static bool has_gap(const struct sb_sim *sim)
{
  return shaft_of(sim)->backlash_rad > 0.0;
}

double sb_spring_energy_j(const struct sb_sim *sim)
{
  const struct sb_twist *twist = &sim->state.twist;
  if (twist->side == 0) return 0.0;
  const double wound = twist->twist_rad - 0.5 * twist->side * shaft_of(sim)->backlash_rad;
  return 0.5 * shaft_of(sim)->stiffness_nm_rad * wound * wound;
}

void sb_spring_engage(struct sb_sim *sim)
{
  sim->state.twist = (struct sb_twist){.twist_rad = 0.0, .side = has_gap(sim) ? 0 : +1};
}

/* Two inertias that join: their common speed; what is lost goes into the shift. */
static double joined_rad_s(struct sb_sim *sim, double one, double one_rad_s, double other, double other_rad_s)
{
  const double slip = one_rad_s - other_rad_s;
  sim->sums.energy.shift_loss += 0.5 * one * other / (one + other) * slip * slip;
  return (one * one_rad_s + other * other_rad_s) / (one + other);
}

static bool is_clutched(const struct sb_sim *sim)
{
  return sim->model->shifter.ops->has_clutch;
}

void sb_spring_take_wheels(struct sb_sim *sim)
{
  struct sb_state *state = &sim->state;
  const double r = sim->segment->per_motor, wheels = sim->model->gearbox.output_wheels_kg_m2 * r * r;
  if (!(wheels > 0.0) || is_clutched(sim)) return;
  state->motor_speed_rad_s =
      joined_rad_s(sim, sim->segment->motor_inertia, state->motor_speed_rad_s, wheels, state->output_speed_rad_s / r);
}

/* And back to the output. */
static void leave_wheels(struct sb_sim *sim)
{
  struct sb_state *state = &sim->state;
  const double wheels = sim->model->gearbox.output_wheels_kg_m2;
  if (!sim->segment->has_spring || !(wheels > 0.0) || is_clutched(sim)) return;
  state->output_speed_rad_s = joined_rad_s(sim, sim->segment->output_inertia, state->output_speed_rad_s, wheels,
                                           state->motor_speed_rad_s * sim->segment->per_motor);
}

double sb_spring_release(struct sb_sim *sim)
{
  leave_wheels(sim);
  const double energy_j = sb_spring_energy_j(sim);
  sim->state.twist = (struct sb_twist){0};
  return energy_j;
}

/* Settling ------------------------------------------------------------------------------------------------------------- */

/* By how much the motor at rest is turned in a direction against the shaft's torque, N m at the motor, less a tolerance
 * times strictness: as sb_start_margin(). */
static double motor_start_margin(const struct sb_sim *sim, double shaft_nm, int direction, double strictness)
{
  const struct sb_segment *seg = sim->segment;
  const double reaction_nm = shaft_nm * seg->per_motor;
  const double inv = sb_segment_inverse_e(sb_segment_gear(sim), reaction_nm * direction > 0.0);
  const double net_nm = direction * (seg->line.stall_nm - reaction_nm * inv) - (seg->line.friction_nm + seg->drag_nm);
  return net_nm - strictness * sb_rest_tolerance * (sim->model->motor.stall_torque_nm + fabs(reaction_nm));
}

/* The same for the output; the motor's stall torque counts as at hand too, since a shaft begins to bear from nothing. */
static double output_start_margin(const struct sb_sim *sim, double time_s, int direction, double shaft_nm,
                                  double strictness)
{
  const double stall_nm = sim->model->motor.stall_torque_nm / fabs(sim->segment->per_motor);
  return sb_start_brought_margin(sim, time_s, direction, shaft_nm, strictness) -
         strictness * sb_rest_tolerance * stall_nm;
}

static int settle_motor(const struct sb_sim *sim, double shaft_nm)
{
  for (int direction = +1; direction >= -1; direction -= 2) {
    if (motor_start_margin(sim, shaft_nm, direction, 1.0) > 0.0) return direction;
  }
  return 0;
}

static int settle_output(struct sb_sim *sim, double shaft_nm)
{
  const double now_s = fmax(sim->state.time_s, sim->state.load_time_s);
  sb_start_take_resting(sim);
  for (int direction = +1; direction >= -1; direction -= 2) {
    if (output_start_margin(sim, now_s, direction, shaft_nm, 1.0) > 0.0) return direction;
  }
  return 0;
}

void sb_spring_settle(struct sb_sim *sim)
{
  struct sb_state *state = &sim->state;
  const double shaft_nm = sb_point_shaft_nm(sim);
  state->motor_direction = sb_sign_of(state->motor_speed_rad_s);
  if (state->motor_direction == 0) state->motor_direction = settle_motor(sim, shaft_nm);
  state->output_direction = sb_sign_of(state->output_speed_rad_s);
  if (state->output_direction == 0) state->output_direction = sim->segment->broken_away;
  if (state->output_direction == 0) state->output_direction = settle_output(sim, shaft_nm);
  state->is_driving = shaft_nm * sim->segment->per_motor * state->motor_direction >= 0.0;
}

void sb_spring_build(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  const struct sb_state *state = &sim->state;
  struct sb_spring_segment *spring = &seg->spring;
  const double inv = sb_segment_inverse_e(sb_segment_gear(sim), state->is_driving);
  spring->stiffness = shaft_of(sim)->stiffness_nm_rad;
  spring->damping = shaft_of(sim)->damping_nms_rad;
  spring->offset_rad = 0.5 * state->twist.side * shaft_of(sim)->backlash_rad;
  spring->per_motor = state->motor_direction != 0
                          ? seg->per_motor * inv / (seg->motor_inertia + seg->wheels_excess[state->is_driving])
                          : 0.0;
  spring->per_output = state->output_direction != 0 ? 1.0 / seg->output_inertia : 0.0;
  spring->start_j = sb_spring_energy_j(sim);
  /* Nor may it be less than the rounding of the shaft's torque itself; not at the present twist and speeds: a state put back has the
   * same bits. */
  const double stall_nm = sim->model->motor.stall_torque_nm / fabs(seg->per_motor);
  const double wound_nm = 64.0 * stall_nm + spring->stiffness * fabs(spring->offset_rad);
  const double speed_rad_s = 8.0 * sim->model->motor.no_load_speed_rad_s * fabs(seg->per_motor);
  seg->power_tolerance = 1e-12 * stall_nm + 16.0 * DBL_EPSILON * (wound_nm + spring->damping * speed_rad_s);
}

void sb_spring_book(struct sb_sim *sim)
{
  struct sb_spring_segment *spring = &sim->segment->spring;
  const double energy_j = sb_spring_energy_j(sim);
  sim->sums.energy.elastic += energy_j - spring->start_j;
  sim->sums.energy.shaft_loss += sim->segment->gain.shaft_lost_j;
  spring->start_j = energy_j;
}

/* Guards --------------------------------------------------------------------------------------------------------------- */

static bool has_spring(const struct sb_sim *sim)
{
  return sim->segment->has_spring;
}

static bool is_touching(const struct sb_sim *sim)
{
  return has_spring(sim) && has_gap(sim) && sim->state.twist.side != 0;
}

/* Teeth never pull, but for rounding, so that teeth which bear nothing do not part and touch without end. Driving and
 * overrun keep twice that clear, so the teeth part first. */
static int touch_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  falls[0] = sb_series_scaled(&m->shaft, m->degree, sim->state.twist.side, 0.5 * sim->segment->power_tolerance);
  return 1;
}

static double touch_floor(const struct sb_sim *sim, const struct sb_motion *m)
{
  return sb_range_scaled(m->shaft_range, sim->state.twist.side).least + 0.5 * sim->segment->power_tolerance;
}

/* The shaft that lets go while it is still wound relaxes by itself. */
static void part(struct sb_sim *sim)
{
  const double energy_j = sb_spring_energy_j(sim);
  sim->state.twist.side = 0;
  sim->sums.energy.shaft_loss += energy_j;
  sim->sums.energy.elastic -= energy_j;
}

static bool is_apart(const struct sb_sim *sim)
{
  return has_spring(sim) && sim->state.twist.side == 0;
}

/* Teeth touch where the gap is closed and the shaft would bear something. */
static int gap_falls(const struct sb_sim *sim, const struct sb_motion *m, int side, struct sb_series falls[SB_FALL_MAX])
{
  const struct sb_driveshaft *shaft = shaft_of(sim);
  const double k = shaft->stiffness_nm_rad, c = shaft->damping_nms_rad, half_gap = 0.5 * shaft->backlash_rad;
  falls[0] = sb_series_scaled(&m->twist, m->degree, -side * k, k * half_gap);
  falls[1] = falls[0];
  sb_series_add(&falls[1], &m->x, m->degree, -side * c * sim->segment->per_motor);
  sb_series_add(&falls[1], &m->w, m->degree, side * c);
  return 2;
}

static int front_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  return gap_falls(sim, m, +1, falls);
}

static int rear_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  return gap_falls(sim, m, -1, falls);
}

static void touch(struct sb_sim *sim, int side)
{
  sim->state.twist.side = side;
  const double energy_j = sb_spring_energy_j(sim);
  sim->sums.energy.shaft_loss -= energy_j;
  sim->sums.energy.elastic += energy_j;
}

static void touch_front(struct sb_sim *sim)
{
  touch(sim, +1);
}

static void touch_rear(struct sb_sim *sim)
{
  touch(sim, -1);
}

static bool is_motor_moving(const struct sb_sim *sim)
{
  return has_spring(sim) && sim->state.motor_direction != 0;
}

static bool is_motor_resting(const struct sb_sim *sim)
{
  return has_spring(sim) && sim->state.motor_direction == 0;
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

static void stop_motor(struct sb_sim *sim)
{
  sim->state.motor_speed_rad_s = 0.0;
}

/* Driving turns into overrun, or back, where the shaft's torque turns over; with a gap the teeth part first. */
static int power_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  const int direction = sim->state.motor_direction * sb_sign_of(sim->segment->per_motor);
  falls[0] = sb_series_scaled(&m->shaft, m->degree, sim->state.is_driving ? direction : -direction,
                              sim->segment->power_tolerance);
  return 1;
}

static double power_floor(const struct sb_sim *sim, const struct sb_motion *m)
{
  const int direction = sim->state.motor_direction * sb_sign_of(sim->segment->per_motor);
  return sb_range_scaled(m->shaft_range, sim->state.is_driving ? direction : -direction).least +
         sim->segment->power_tolerance;
}

/* The shaft's torque holds the motor back until it is below what lets it start; a path that locks itself is held by a
 * shaft that helps, too, until that lets go. */
static int motor_start_falls(const struct sb_sim *sim, const struct sb_motion *m, int direction,
                             struct sb_series falls[SB_FALL_MAX])
{
  const double r = sim->segment->per_motor;
  const double scale_nm = sim->model->motor.stall_torque_nm + sb_series_size(&m->shaft, m->degree) * fabs(r);
  const double tolerance_nm = 2.0 * sb_rest_tolerance * scale_nm;
  const double below_nm = sb_start_below_nm(sim, direction, tolerance_nm);
  falls[0] = sb_series_scaled(&m->shaft, m->degree, direction * r, -below_nm);
  if (!sb_segment_is_locking(sim)) return 1;
  falls[1] = sb_series_scaled(&m->shaft, m->degree, -direction * r, sb_start_above_nm(sim, direction, tolerance_nm));
  return 2;
}

static int motor_forward_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  return motor_start_falls(sim, m, +1, falls);
}

static int motor_back_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  return motor_start_falls(sim, m, -1, falls);
}

static bool is_output_resting(const struct sb_sim *sim)
{
  return has_spring(sim) && sim->state.output_direction == 0;
}

static int output_start_falls(const struct sb_sim *sim, const struct sb_motion *m, int direction,
                              struct sb_series falls[SB_FALL_MAX])
{
  const double stall_nm = sim->model->motor.stall_torque_nm / fabs(sim->segment->per_motor);
  const double scale_nm = sb_start_scale_nm(sim, m, direction) + sb_series_size(&m->shaft, m->degree) + stall_nm;
  const int count = sb_start_falls(sim, m, direction, falls);
  for (int i = 0; i < count; i++) {
    sb_series_add(&falls[i], &m->shaft, m->degree, -direction);
    falls[i].c[0] += 2.0 * sb_rest_tolerance * scale_nm;
  }
  return count;
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

/* A clutch in line with the shaft lets go when the shaft bears more than it can. */
static bool has_clutch(const struct sb_sim *sim)
{
  return has_spring(sim) && is_clutched(sim);
}

/* What the clutch takes in of a torque of the shaft, and what the path's drag adds to it in a direction of the motor's torque:
 * at rest the drag helps to hold. */
static double per_shaft(const struct sb_sim *sim)
{
  const struct sb_gear *gear = sb_segment_gear(sim);
  /* At rest the path carries all but what it would pass back. In overrun gears that lock themselves are taken to be held. */
  const bool is_driving = sim->state.motor_direction != 0 && sim->state.is_driving;
  return sim->segment->per_motor * (is_driving ? 1.0 / gear->efficiency : fmax(gear->back_efficiency, 0.0));
}

static double drag_nm(const struct sb_sim *sim, int direction)
{
  const int motor_direction = sim->state.motor_direction;
  return (motor_direction != 0 ? direction * motor_direction : -1) * sim->segment->drag_nm;
}

static int clutch_falls(const struct sb_sim *sim, const struct sb_motion *m, int direction,
                        struct sb_series falls[SB_FALL_MAX])
{
  static const double same_torque = 1e-12; /* a clutch that falls short by less holds: it would let go by rounding */
  const double most_nm = sb_shifter_clutch_nm(&sim->model->shifter) * (1.0 + same_torque) - drag_nm(sim, direction);
  falls[0] = sb_series_scaled(&m->shaft, m->degree, -direction * per_shaft(sim), most_nm);
  return 1;
}

static int forward_clutch_falls(const struct sb_sim *sim, const struct sb_motion *m,
                                struct sb_series falls[SB_FALL_MAX])
{
  return clutch_falls(sim, m, +1, falls);
}

static int back_clutch_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  return clutch_falls(sim, m, -1, falls);
}

/* What the shaft bore beyond it, it gives up; the clutch slips on where the motor gains on the load. */
static void let_go(struct sb_sim *sim)
{
  struct sb_state *state = &sim->state;
  struct sb_twist *twist = &state->twist;
  const double per_shaft_nm = per_shaft(sim), before_j = sb_spring_energy_j(sim);
  const int direction = sb_sign_of(sb_point_shaft_nm(sim) * per_shaft_nm);
  const double most_nm = sb_shifter_clutch_nm(&sim->model->shifter) - drag_nm(sim, direction);
  const double offset_rad = 0.5 * twist->side * shaft_of(sim)->backlash_rad;
  const double most_rad = fmax(most_nm, 0.0) / fabs(per_shaft_nm) / shaft_of(sim)->stiffness_nm_rad;
  twist->twist_rad = offset_rad + fmin(fmax(twist->twist_rad - offset_rad, -most_rad), most_rad);
  const double lost_j = before_j - sb_spring_energy_j(sim);
  *(state->is_shifting ? &sim->sums.energy.shift_loss : &sim->sums.energy.clutch_loss) += lost_j;
  sim->sums.energy.elastic -= lost_j;
  if (direction * sb_segment_lead_rad_s(sim) > 0.0) sb_clutch_slip(sim, direction);
}

/* Its sides meet while the shaft still winds: the shift is over. */
static bool is_shifting(const struct sb_sim *sim)
{
  return has_clutch(sim) && sim->state.is_shifting;
}

static void end_shift(struct sb_sim *sim)
{
  sim->state.is_shifting = sim->state.slip_direction = 0;
}

const struct sb_guard sb_spring_guards[] = {
    {has_clutch, forward_clutch_falls, let_go, NULL},
    {has_clutch, back_clutch_falls, let_go, NULL},
    {is_shifting, sb_clutch_lead_falls, end_shift, NULL},
    {is_touching, touch_falls, part, touch_floor},
    {is_apart, front_falls, touch_front, NULL},
    {is_apart, rear_falls, touch_rear, NULL},
    {is_motor_moving, motor_falls, stop_motor, motor_floor},
    {is_motor_moving, power_falls, NULL, power_floor},
    {is_motor_resting, motor_forward_falls, NULL, NULL},
    {is_motor_resting, motor_back_falls, NULL, NULL},
    {is_output_resting, output_forward_falls, NULL, NULL},
    {is_output_resting, output_back_falls, NULL, NULL},
    {NULL, NULL, NULL, NULL},
};
