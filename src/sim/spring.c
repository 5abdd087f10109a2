// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/spring.h"

#include <math.h>

#include "sim/segment.h"

static const struct sb_driveshaft *shaft_of(const struct sb_sim *sim)
{
  return &sim->model->driveshaft;
}

static bool has_gap(const struct sb_sim *sim)
{
  return shaft_of(sim)->backlash_rad > 0.0;
}

/* What the shaft would bear were the teeth of a side touching. */
static double bearing_nm(const struct sb_driveshaft *shaft, int side, double twist, double twist_rate)
{
  const double offset = 0.5 * side * shaft->backlash_rad;
  return shaft->stiffness_nm_rad * (twist - offset) + shaft->damping_nms_rad * twist_rate;
}

double sb_spring_torque_nm(const struct sb_sim *sim)
{
  const struct sb_state *state = &sim->state;
  const struct sb_twist *twist = &state->twist;
  if (twist->side == 0) return 0.0;
  const double rate = sim->segment->per_motor * state->motor_speed_rad_s - state->output_speed_rad_s;
  return bearing_nm(shaft_of(sim), twist->side, twist->twist_rad, rate);
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

double sb_spring_release(struct sb_sim *sim)
{
  const double energy_j = sb_spring_energy_j(sim);
  sim->state.twist = (struct sb_twist){0};
  return energy_j;
}

/* Settling ------------------------------------------------------------------------------------------------------------- */

/* By how much the motor at rest is turned in a direction against the shaft's torque, N m at the motor, less a tolerance
 * times strictness: as sb_segment_start_margin(). */
static double motor_start_margin(const struct sb_sim *sim, double shaft_nm, int direction, double strictness)
{
  const struct sb_segment *seg = sim->segment;
  const double reaction_nm = shaft_nm * seg->per_motor;
  const double inv = sb_segment_inverse_e(sb_segment_gear(sim), reaction_nm * direction > 0.0);
  const double net_nm = direction * (seg->line.stall_nm - reaction_nm * inv) - (seg->line.friction_nm + seg->drag_nm);
  return net_nm - strictness * sb_segment_start_tolerance * (sim->model->motor.stall_torque_nm + fabs(reaction_nm));
}

/* The same for the output; the motor's stall torque counts as at hand too, since a shaft begins to bear from nothing. */
static double output_start_margin(const struct sb_sim *sim, double time_s, int direction, double shaft_nm,
                                  double strictness)
{
  const double stall_nm = sim->model->motor.stall_torque_nm / fabs(sim->segment->per_motor);
  return sb_segment_brought_start_margin(sim, time_s, direction, shaft_nm, strictness) -
         strictness * sb_segment_start_tolerance * stall_nm;
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
  sb_segment_take_resting(sim);
  for (int direction = +1; direction >= -1; direction -= 2) {
    if (output_start_margin(sim, now_s, direction, shaft_nm, 1.0) > 0.0) return direction;
  }
  return 0;
}

void sb_spring_settle(struct sb_sim *sim)
{
  struct sb_state *state = &sim->state;
  const double shaft_nm = sb_spring_torque_nm(sim);
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
  spring->per_motor = state->motor_direction != 0 ? seg->per_motor * inv / sim->model->motor.rotor_inertia_kg_m2 : 0.0;
  spring->per_output = state->output_direction != 0 ? 1.0 / seg->output_inertia : 0.0;
  spring->in_j = spring->damped_j = 0.0;
  spring->start_j = sb_spring_energy_j(sim);
  seg->power_tolerance = 1e-12 * sim->model->motor.stall_torque_nm / fabs(seg->per_motor);
}

/* Motion --------------------------------------------------------------------------------------------------------------- */

static double twist_rate(const struct sb_segment *seg, const struct sb_point *at)
{
  return seg->per_motor * at->x - at->w;
}

void sb_spring_rates(const struct sb_segment *seg, int side, struct sb_point *at)
{
  const struct sb_spring_segment *spring = &seg->spring;
  const double wound = at->twist - spring->offset_rad;
  at->shaft_nm = side == 0 ? 0.0 : spring->stiffness * wound + spring->damping * twist_rate(seg, at);
  at->load_nm = sb_stepper_eval(&seg->load, &seg->curve, at, at->w);
  at->x_rate = seg->motor_rate.k + seg->motor_rate.lin * at->x - spring->per_motor * at->shaft_nm;
  at->w_rate = sb_stepper_eval(&seg->output_rate, &seg->curve, at, at->w) + spring->per_output * at->shaft_nm;
}

static struct sb_point stage(const struct sb_segment *seg, int side, const struct sb_point *from, double h,
                             const struct sb_point *along)
{
  struct sb_point at = {.time_s = from->time_s + h,
                        .x = from->x + h * along->x_rate,
                        .w = from->w + h * along->w_rate,
                        .angle = from->angle + h * along->w,
                        .twist = from->twist + h * twist_rate(seg, along)};
  sb_spring_rates(seg, side, &at);
  return at;
}

/* What a stage adds, a unit of time, to the integrals. */
static struct sb_gain rates_of_gain(const struct sb_segment *seg, int side, const struct sb_point *at)
{
  const double rate = twist_rate(seg, at);
  return (struct sb_gain){.motor_turn = at->x,
                          .motor_square = at->x * at->x,
                          .output_turn = at->w,
                          .load_work_j = at->load_nm * at->w,
                          .shaft_in_j = at->shaft_nm * seg->per_motor * at->x,
                          .shaft_lost_j = side == 0 ? 0.0 : seg->spring.damping * rate * rate};
}

struct sb_point sb_spring_step(const struct sb_segment *seg, int side, const struct sb_point *from, double h,
                               struct sb_gain *gain)
{
  const struct sb_point p2 = stage(seg, side, from, 0.5 * h, from);
  const struct sb_point p3 = stage(seg, side, from, 0.5 * h, &p2);
  const struct sb_point p4 = stage(seg, side, from, h, &p3);
  const struct sb_point *points[] = {from, &p2, &p3, &p4};
  static const double weights[] = {1.0, 2.0, 2.0, 1.0};
  double x = 0.0, w = 0.0;
  for (int i = 0; i < 4; i++) {
    const struct sb_gain rates = rates_of_gain(seg, side, points[i]);
    sb_stepper_add_gain(gain, h / 6.0 * weights[i], &rates);
    x += weights[i] * points[i]->x_rate;
    w += weights[i] * points[i]->w_rate;
  }
  struct sb_point to = {.time_s = p4.time_s,
                        .x = from->x + h / 6.0 * x,
                        .w = from->w + h / 6.0 * w,
                        .angle = from->angle + gain->output_turn,
                        .twist = from->twist + (seg->per_motor * gain->motor_turn - gain->output_turn)};
  sb_spring_rates(seg, side, &to);
  return to;
}

/* Rate of the shaft's torque at a point. */
static double torque_rate(const struct sb_segment *seg, const struct sb_point *at)
{
  return seg->spring.stiffness * twist_rate(seg, at) + seg->spring.damping * (seg->per_motor * at->x_rate - at->w_rate);
}

/* The cubic through both ends with their rates: its error is (w h)^4 / 384 of the swing, 4e-8 for a sixteenth of a
 * radian. Its rate is a quadratic in the share s of the step, of opposite signs at both ends. */
bool sb_spring_crest(const struct sb_sim *sim, const struct sb_point *from, const struct sb_point *to,
                     struct sb_point *crest)
{
  const double h = to->time_s - from->time_s;
  if (sim->state.twist.side == 0 || !(h > 0.0)) return false;
  const double first = h * torque_rate(sim->segment, from), last = h * torque_rate(sim->segment, to);
  if (!(first * last < 0.0)) return false;
  const double rise = to->shaft_nm - from->shaft_nm;
  const double c2 = 3.0 * rise - 2.0 * first - last, c3 = first + last - 2.0 * rise;
  /* 3 c3 s^2 + 2 c2 s + first = 0: one root between 0 and 1; written so that c3 = 0 does no harm. */
  const double root = sqrt(fmax(c2 * c2 - 3.0 * c3 * first, 0.0));
  const double s = first / (-c2 + (first > 0.0 ? root : -root));
  if (!(s > 0.0 && s < 1.0)) return false;
  *crest = *from;
  crest->time_s = from->time_s + s * h;
  crest->shaft_nm = from->shaft_nm + s * (first + s * (c2 + s * c3));
  return true;
}

void sb_spring_book(struct sb_sim *sim)
{
  struct sb_spring_segment *spring = &sim->segment->spring;
  const double energy_j = sb_spring_energy_j(sim);
  sim->sums.energy.elastic += energy_j - spring->start_j;
  sim->sums.energy.shaft_loss += spring->damped_j;
  spring->in_j = spring->damped_j = 0.0;
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
static double touch_value(const struct sb_sim *sim, const struct sb_point *at, const struct sb_gain *gain)
{
  (void)gain;
  return sim->state.twist.side * at->shaft_nm + 0.5 * sim->segment->power_tolerance;
}

bool sb_spring_dips(const struct sb_sim *sim, const struct sb_point *crest)
{
  return is_touching(sim) && touch_value(sim, crest, NULL) < 0.0;
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
static double gap_value(const struct sb_sim *sim, const struct sb_point *at, int side)
{
  const double open_rad = 0.5 * shaft_of(sim)->backlash_rad - side * at->twist;
  const double bears_nm = side * bearing_nm(shaft_of(sim), side, at->twist, twist_rate(sim->segment, at));
  return fmax(shaft_of(sim)->stiffness_nm_rad * open_rad, -bears_nm);
}

static double front_value(const struct sb_sim *sim, const struct sb_point *at, const struct sb_gain *gain)
{
  (void)gain;
  return gap_value(sim, at, +1);
}

static double rear_value(const struct sb_sim *sim, const struct sb_point *at, const struct sb_gain *gain)
{
  (void)gain;
  return gap_value(sim, at, -1);
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

static double motor_value(const struct sb_sim *sim, const struct sb_point *at, const struct sb_gain *gain)
{
  (void)gain;
  return at->x * sim->state.motor_direction;
}

static void stop_motor(struct sb_sim *sim)
{
  sim->state.motor_speed_rad_s = 0.0;
}

/* Driving turns into overrun, or back, where the shaft's torque turns over; with a gap the teeth part first. */
static double power_value(const struct sb_sim *sim, const struct sb_point *at, const struct sb_gain *gain)
{
  (void)gain;
  const int direction = sim->state.motor_direction * sb_sign_of(sim->segment->per_motor);
  return (sim->state.is_driving ? direction : -direction) * at->shaft_nm + sim->segment->power_tolerance;
}

static double motor_forward_value(const struct sb_sim *sim, const struct sb_point *at, const struct sb_gain *gain)
{
  (void)gain;
  return -motor_start_margin(sim, at->shaft_nm, +1, 2.0);
}

static double motor_back_value(const struct sb_sim *sim, const struct sb_point *at, const struct sb_gain *gain)
{
  (void)gain;
  return -motor_start_margin(sim, at->shaft_nm, -1, 2.0);
}

static bool is_output_resting(const struct sb_sim *sim)
{
  return has_spring(sim) && sim->state.output_direction == 0;
}

static double output_forward_value(const struct sb_sim *sim, const struct sb_point *at, const struct sb_gain *gain)
{
  (void)gain;
  return -output_start_margin(sim, at->time_s, +1, at->shaft_nm, 2.0);
}

static double output_back_value(const struct sb_sim *sim, const struct sb_point *at, const struct sb_gain *gain)
{
  (void)gain;
  return -output_start_margin(sim, at->time_s, -1, at->shaft_nm, 2.0);
}

/* A clutch in line with the shaft lets go when the shaft bears more than it can. */
static bool has_clutch(const struct sb_sim *sim)
{
  return has_spring(sim) && sim->model->shifter.ops->plan(&sim->model->shifter, 0.0).clutch_nm > 0.0;
}

static double clutch_value(const struct sb_sim *sim, const struct sb_point *at, const struct sb_gain *gain)
{
  (void)gain;
  static const double same_torque = 1e-9; /* so that a clutch which has just held does not let go at once */
  const double most_nm = sim->model->shifter.clutch_nm * (1.0 + same_torque);
  return most_nm - fabs(at->shaft_nm * sim->segment->per_motor);
}

/* What the shaft bore beyond it, it gives up; the clutch slips on where the motor gains on the load. */
static void let_go(struct sb_sim *sim)
{
  struct sb_state *state = &sim->state;
  struct sb_twist *twist = &state->twist;
  const struct sb_shift_plan plan = sim->model->shifter.ops->plan(&sim->model->shifter, state->time_s);
  const double r = sim->segment->per_motor, torque_nm = sb_spring_torque_nm(sim), before_j = sb_spring_energy_j(sim);
  const double offset_rad = 0.5 * twist->side * shaft_of(sim)->backlash_rad;
  const double most_rad = fabs(plan.clutch_nm / r) / shaft_of(sim)->stiffness_nm_rad;
  twist->twist_rad = offset_rad + fmin(fmax(twist->twist_rad - offset_rad, -most_rad), most_rad);
  const double lost_j = before_j - sb_spring_energy_j(sim);
  sim->sums.energy.shift_loss += lost_j;
  sim->sums.energy.elastic -= lost_j;
  const int direction = sb_sign_of(torque_nm * r);
  if (!(direction * (state->motor_speed_rad_s - state->output_speed_rad_s / r) > 0.0)) return;
  state->plan = plan;
  state->slip_direction = direction;
  state->link = SB_LINK_SLIP;
}

const struct sb_guard sb_spring_guards[] = {
    {has_clutch, clutch_value, let_go},
    {is_touching, touch_value, part},
    {is_apart, front_value, touch_front},
    {is_apart, rear_value, touch_rear},
    {is_motor_moving, motor_value, stop_motor},
    {is_motor_moving, power_value, NULL},
    {is_motor_resting, motor_forward_value, NULL},
    {is_motor_resting, motor_back_value, NULL},
    {is_output_resting, output_forward_value, NULL},
    {is_output_resting, output_back_value, NULL},
    {NULL, NULL, NULL},
};
