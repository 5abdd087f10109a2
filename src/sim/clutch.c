// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/clutch.h"

#include <math.h>

#include "sim/contact.h"
#include "sim/jam.h"
#include "sim/point.h"
#include "sim/rest.h"
#include "sim/start.h"

/* A clutch that falls short by less than this fraction holds: it would slip by no more than rounding. */
static const double same_torque = 1e-12;

/* Most that it transmits joined, less by the strictness of who asks. */
static double most_nm(const struct sb_sim *sim, double strictness)
{
  return sb_shifter_clutch_nm(&sim->model->shifter) * (1.0 + strictness * same_torque);
}

bool sb_clutch_has_met(const struct sb_sim *sim)
{
  const struct sb_state *state = &sim->state;
  return state->link == SB_LINK_SLIP && !(state->slip_direction * sb_segment_lead_rad_s(sim) > 0.0);
}

void sb_clutch_slip(struct sb_sim *sim, int direction)
{
  struct sb_state *state = &sim->state;
  const struct sb_shifter *shifter = &sim->model->shifter;
  state->plan = shifter->ops->plan(shifter, state->time_s);
  state->link = SB_LINK_SLIP;
  state->slip_direction = direction;
  state->is_turned = 0;
  state->turned_rad = 0.0;
}

/* Joined motion ------------------------------------------------------------------------------------------------------ */

/* What the motor brings beyond its friction and its own rotor, as it moves in a direction at a rate. */
static double transmitted_nm(const struct sb_sim *sim, double x, int direction, double x_rate)
{
  const struct sb_motor_line *line = &sim->segment->line;
  return line->stall_nm - line->slope_nms_rad * x - direction * line->friction_nm -
         sim->segment->motor_inertia * x_rate;
}

/* The same at the rate of joined motion at a speed x of the gears. */
static double transmitted_moving_nm(const struct sb_sim *sim, double x, int direction)
{
  const struct sb_joined joined = sb_start_joined(sim, x, direction);
  const double inv = sb_segment_inverse_e(sb_segment_gear(sim), joined.is_driving);
  const double inertia = sb_segment_mesh_inertia(sim, joined.is_driving);
  if (!(inertia > 0.0)) return 0.0; /* joined, the path jams */
  const double x_rate = (joined.motor_nm - joined.load_nm * sim->segment->per_motor * inv) / inertia;
  return transmitted_nm(sim, x, direction, x_rate);
}

/* At rest: by how much the gears would be pulled loose in a direction of the output against the clutch's hold. */
static double loose_margin(const struct sb_sim *sim, double time_s, int direction, double strictness)
{
  const int slip_direction = -direction * sb_sign_of(sim->segment->per_motor);
  return sb_start_brought_margin(sim, time_s, direction, sb_point_brought_nm(sim, slip_direction, direction),
                                 strictness);
}

/* The direction in which sides at rest would slip, that of the motor's lead; 0: they hold together. */
static int slip_at_rest(struct sb_sim *sim)
{
  const struct sb_motor_line *line = &sim->segment->line;
  if (fabs(line->stall_nm) - line->friction_nm > most_nm(sim, 1.0)) return sb_sign_of(line->stall_nm);
  return -sb_start_direction(sim, loose_margin) * sb_sign_of(sim->segment->per_motor);
}

/* A vehicle whose wheels can slip goes on when these are stopped. */
static void leave_vehicle(struct sb_sim *sim)
{
  const struct sb_road *road = &sim->model->load.road;
  const int direction = sb_sign_of(sim->state.output_speed_rad_s);
  if (!road->can_slip) return;
  if (!sim->state.far.is_slipping) sb_contact_let_go(sim, -direction);
  if (sim->state.far.speed_rad_s != 0.0) sim->state.far.slip_direction = -sb_sign_of(sim->state.far.speed_rad_s);
  sim->segment->output_inertia = sb_model_output_inertia_kg_m2(sim->model, sim->model->load.inertia_kg_m2);
  sb_contact_prepare(sim);
}

/* Gears that are not driven backwards stop the output at once; the motor slips on. */
static void stop_output(struct sb_sim *sim)
{
  struct sb_state *state = &sim->state;
  leave_vehicle(sim);
  const double w = state->output_speed_rad_s, inertia = sim->segment->output_inertia;
  sb_jam_book(sim, 0.5 * inertia * w * w, inertia * fabs(w));
  state->output_speed_rad_s = 0.0;
  /* Gears that catch and stop again and again, ever more slowly, stop at last. */
  if (sb_segment_is_slow(sim, state->motor_speed_rad_s * sim->segment->per_motor)) state->motor_speed_rad_s = 0.0;
  state->slip_direction = sb_sign_of(state->motor_speed_rad_s);
}

bool sb_clutch_holds(struct sb_sim *sim)
{
  const struct sb_state *state = &sim->state;
  if (!(sb_shifter_clutch_nm(&sim->model->shifter) > 0.0) || sim->segment->has_spring) return true;
  int slip_direction = 0;
  const int moving = sb_sign_of(state->motor_speed_rad_s);
  const int direction = moving != 0 ? moving : sb_start_direction(sim, sb_start_margin);
  if (direction == 0) {
    slip_direction = slip_at_rest(sim);
  } else {
    const double needed_nm = transmitted_moving_nm(sim, state->motor_speed_rad_s, direction);
    if (fabs(needed_nm) > most_nm(sim, 1.0)) slip_direction = sb_sign_of(needed_nm);
  }
  if (slip_direction != 0) sb_clutch_slip(sim, slip_direction);
  /* Where the rotor would have to push gears that lock themselves along with their output, a clutch too weak for it leaves
   * them to lock. */
  const bool is_pushed = moving != 0 && slip_direction == moving && sb_segment_is_locking(sim);
  if (is_pushed && state->output_speed_rad_s != 0.0 &&
      !sb_start_joined(sim, state->motor_speed_rad_s, moving).is_driving) {
    stop_output(sim);
  }
  return slip_direction == 0;
}

/* Of a clutch that slips. */
static double asked_nm(const struct sb_sim *sim)
{
  const struct sb_state *state = &sim->state;
  const struct sb_motor_line *line = &sim->segment->line;
  const double x = state->output_speed_rad_s / sim->segment->per_motor;
  const double nm = x != 0.0 ? transmitted_moving_nm(sim, x, sb_sign_of(x)) : fabs(line->stall_nm) - line->friction_nm;
  return fmax(fabs(nm), state->plan.clutch_nm);
}

double sb_clutch_asked_nm(const struct sb_sim *sim, double x_rate)
{
  const struct sb_state *state = &sim->state;
  const struct sb_motor_line *line = &sim->segment->line;
  if (!(sb_shifter_clutch_nm(&sim->model->shifter) > 0.0) || !sb_segment_is_engaged(sim)) return NAN;
  if (state->link == SB_LINK_SLIP) return asked_nm(sim);
  if (state->motor_direction == 0) return fmax(fabs(line->stall_nm) - line->friction_nm, 0.0);
  return fabs(transmitted_nm(sim, state->motor_speed_rad_s, state->motor_direction, x_rate));
}

bool sb_clutch_holds_plainly(const struct sb_sim *sim, double x, double x_rate)
{
  if (!(sb_shifter_clutch_nm(&sim->model->shifter) > 0.0)) return true;
  return fabs(transmitted_nm(sim, x, sim->state.motor_direction, x_rate)) <= most_nm(sim, 1.0);
}

void sb_clutch_stop_locked(struct sb_sim *sim)
{
  const struct sb_state *state = &sim->state;
  const double w = state->output_speed_rad_s;
  if (state->link != SB_LINK_SLIP || w == 0.0 || isfinite(sb_point_clutch_nm(sim, sb_sign_of(w)))) return;
  stop_output(sim);
}

void sb_clutch_book(struct sb_sim *sim)
{
  const struct sb_state *state = &sim->state;
  const struct sb_gain *gain = &sim->segment->gain;
  struct sb_energy *energy = &sim->sums.energy;
  const double clutch_nm = state->slip_direction * state->plan.clutch_nm;
  const double gear_turn = gain->output_turn / sim->segment->per_motor;
  const double heat_j = clutch_nm * (sim->segment->motor_turn - gear_turn);
  if (state->is_shifting) {
    energy->shift_loss += heat_j;
  } else {
    energy->clutch_loss += heat_j;
  }
  sim->sums.clutch_heat_j += heat_j;
  if (gain->output_turn == 0.0) return;
  const double drag_j = sb_segment_gear(sim)->drag_nm * fabs(gear_turn);
  energy->drag += drag_j;
  energy->mesh_loss +=
      clutch_nm * gear_turn - drag_j - sb_point_clutch_nm(sim, state->output_direction) * gain->output_turn;
}

/* Guards ------------------------------------------------------------------------------------------------------------- */

static bool is_slipping(const struct sb_sim *sim)
{
  return sim->state.link == SB_LINK_SLIP;
}

int sb_clutch_lead_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  falls[0] = sb_series_scaled(&m->x, m->degree, sim->state.slip_direction, 0.0);
  sb_series_add(&falls[0], &m->w, m->degree, -sim->state.slip_direction / sim->segment->per_motor);
  return 1;
}

/* Exactly, so that what follows finds that neither side leads. */
static void meet(struct sb_sim *sim)
{
  sim->state.motor_speed_rad_s = sim->state.output_speed_rad_s / sim->segment->per_motor;
}

static bool is_joined_moving(const struct sb_sim *sim)
{
  return sb_shifter_clutch_nm(&sim->model->shifter) > 0.0 && sb_segment_is_moving_rigid(sim);
}

/* Who waits for a slip asks for twice the tolerance, so that it is not missing when the segment is settled. */
static int slip_falls(const struct sb_sim *sim, const struct sb_motion *m, int direction,
                      struct sb_series falls[SB_FALL_MAX])
{
  const struct sb_motor_line *line = &sim->segment->line;
  const struct sb_series rate = sb_series_slope(&m->x, m->degree);
  const double still_nm = line->stall_nm - sim->state.motor_direction * line->friction_nm;
  falls[0] =
      sb_series_scaled(&m->x, m->degree, direction * line->slope_nms_rad, most_nm(sim, 2.0) - direction * still_nm);
  sb_series_add(&falls[0], &rate, m->degree, direction * sim->segment->motor_inertia / m->length_s);
  return 1;
}

static double slip_floor(const struct sb_sim *sim, const struct sb_motion *m, int direction)
{
  const struct sb_motor_line *line = &sim->segment->line;
  const double still_nm = line->stall_nm - sim->state.motor_direction * line->friction_nm;
  const double slowing_nm = sb_range_scaled(m->x_range, direction * line->slope_nms_rad).least;
  const double speeding_nm =
      sb_range_scaled(m->x_slope_range, direction * sim->segment->motor_inertia / m->length_s).least;
  return most_nm(sim, 2.0) - direction * still_nm + slowing_nm + speeding_nm;
}

static double forward_slip_floor(const struct sb_sim *sim, const struct sb_motion *m)
{
  return slip_floor(sim, m, +1);
}

static double back_slip_floor(const struct sb_sim *sim, const struct sb_motion *m)
{
  return slip_floor(sim, m, -1);
}

static int forward_slip_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  return slip_falls(sim, m, +1, falls);
}

static int back_slip_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  return slip_falls(sim, m, -1, falls);
}

static bool is_joined_resting(const struct sb_sim *sim)
{
  return sb_shifter_clutch_nm(&sim->model->shifter) > 0.0 && sb_segment_is_rigid(sim) &&
         sim->state.motor_direction == 0 && !sim->segment->is_resting_steady &&
         sb_segment_gear(sim)->back_efficiency > 0.0;
}

static int loose_falls(const struct sb_sim *sim, const struct sb_motion *m, int direction,
                       struct sb_series falls[SB_FALL_MAX])
{
  const int slip_direction = -direction * sb_sign_of(sim->segment->per_motor);
  return sb_start_output_falls(sim, m, direction, sb_point_brought_nm(sim, slip_direction, direction), falls);
}

static int forward_loose_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  return loose_falls(sim, m, +1, falls);
}

static int back_loose_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  return loose_falls(sim, m, -1, falls);
}

/* What slips, and which way, is settled with the next segment. */
const struct sb_guard sb_clutch_guards[] = {
    {is_slipping, sb_clutch_lead_falls, meet, NULL},
    {is_joined_moving, forward_slip_falls, NULL, forward_slip_floor},
    {is_joined_moving, back_slip_falls, NULL, back_slip_floor},
    {is_joined_resting, forward_loose_falls, NULL, NULL},
    {is_joined_resting, back_loose_falls, NULL, NULL},
    {NULL, NULL, NULL, NULL},
};
