// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/plain.h"

#include <math.h>

#include "base/elementary.h"
#include "sim/chopper.h"
#include "sim/clutch.h"

/* For z < 1:  Y = sum of (-z)^j / (j + 4)!;  for z < 1/8 none of the others by differences, in which digits would cancel:
 * A = sum of (-z)^j (2^(j + 2) - 2) / (j + 3)!,  B = sum of (-z)^j (2^(j + 4) - 2 (j + 5)) / (j + 5)! */
enum { ORDERS = 16, SMALL_ORDERS = 12 };
static const double small = 0.125; /* for A and B, whose terms fall more slowly */
static const double small_y = 0.25;
static const double series_a[SMALL_ORDERS] = {
    1.0 / 3.0,        1.0 / 4.0,       7.0 / 60.0,       1.0 / 24.0,       31.0 / 2520.0,         1.0 / 320.0,
    127.0 / 181440.0, 17.0 / 120960.0, 73.0 / 2851200.0, 31.0 / 7257600.0, 2047.0 / 3113510400.0, 1.0 / 10644480.0};
static const double series_b[SMALL_ORDERS] = {
    1.0 / 20.0,        1.0 / 36.0,           5.0 / 504.0,           1.0 / 360.0,
    17.0 / 25920.0,    41.0 / 302400.0,      167.0 / 6652800.0,     23.0 / 5443200.0,
    37.0 / 56609280.0, 157.0 / 1676505600.0, 629.0 / 50295168000.0, 31.0 / 19813248000.0};

/* Sum of (-z)^j c[j]; four sums side by side, which need not wait for each other. */
static double alternating(const double *c, int count, double z)
{
  const double square = z * z, fourth = square * square;
  double sum[4] = {0.0};
  for (int first = count - 4; first >= 0; first -= 4) {
    for (int i = 0; i < 4; i++) sum[i] = sum[i] * fourth + c[first + i];
  }
  return (sum[0] - z * sum[1]) + square * (sum[2] - z * sum[3]);
}

void sb_plain_take_factors(double length_s, double per_s, struct sb_plain_factors *out)
{
  const double z = length_s * per_s;
  double f, t, u, y;
  if (z < 1.0) {
    y = alternating(sb_elementary_inverse_factorials + 4, z < small_y ? SMALL_ORDERS : ORDERS, z);
    u = 1.0 / 6.0 - z * y;
    t = 0.5 - z * u;
    f = 1.0 - z * t;
  } else {
    f = -sb_elementary_exp_less_1(-z) / z;
    t = (1.0 - f) / z;
    u = (0.5 - t) / z;
    y = (1.0 / 6.0 - u) / z;
  }
  if (z < small) {
    *out = (struct sb_plain_factors){
        length_s, per_s, f, t, u, y, alternating(series_a, SMALL_ORDERS, z), alternating(series_b, SMALL_ORDERS, z)};
    return;
  }
  const double per_z = 1.0 / z; /* known long before what it is times */
  *out =
      (struct sb_plain_factors){length_s, per_s, f, t, u, y, per_z * (t - 0.5 * f * f), per_z * (u - y - 0.5 * t * t)};
}

bool sb_plain_applies(const struct sb_sim *sim)
{
  /* A path that locks itself may turn a load's slowing by speed into a growing motion, which has no time constant. */
  return sb_segment_is_moving_rigid(sim) && sim->segment->has_straight_load && !sim->model->load.road.can_slip &&
         sim->segment->motor_rate.lin <= 0.0 && sim->segment->piece.held_a == 0.0;
}

/* What the first rate and its growth would add to the speed over the length, were there no time constant. */
struct push {
  double first, growth;
};

static struct push push_of(const struct sb_poly *rate, const struct sb_plain_factors *factors,
                           const struct sb_plain_start *start)
{
  const double h = factors->length_s;
  return (struct push){h * sb_plain_value(rate, start->tau_s, start->x), h * h * rate->per_s};
}

struct sb_plain_end sb_plain_end(const struct sb_poly *rate, const struct sb_plain_factors *factors,
                                 const struct sb_plain_start *start)
{
  const struct push push = push_of(rate, factors, start);
  return (struct sb_plain_end){.x = start->x + (push.first * factors->f + push.growth * factors->t),
                               .turn = factors->length_s *
                                       (start->x + (push.first * factors->t + push.growth * factors->u))};
}

struct sb_plain_sums sb_plain_sums(const struct sb_poly *rate, const struct sb_poly *load,
                                   const struct sb_plain_factors *factors, const struct sb_plain_start *start,
                                   bool has_few_sums)
{
  const struct push push = push_of(rate, factors, start);
  const double h = factors->length_s, x0 = start->x, t = factors->t, u = factors->u, y = factors->y;
  const double mean = push.first * t + push.growth * u, turn = h * (x0 + mean);
  if (has_few_sums) return (struct sb_plain_sums){.turn = turn};
  const double square =
      push.first * (push.first * factors->a + push.growth * t * t) + push.growth * push.growth * factors->b;
  const double timed = h * h * (0.5 * x0 + push.first * (t - u) + push.growth * (u - y));
  const double turn_square = h * (x0 * x0 + 2.0 * x0 * mean + square);
  return (struct sb_plain_sums){
      turn, turn_square, (load->k + load->per_s * start->tau_s) * turn + load->per_s * timed + load->lin * turn_square};
}

void sb_plain_add_gain(const struct sb_segment *seg, const struct sb_plain_factors *factors,
                       const struct sb_plain_start *start, bool has_few_sums, struct sb_gain *sum)
{
  const struct sb_plain_sums sums = sb_plain_sums(&seg->motor_rate, &seg->load, factors, start, has_few_sums);
  sum->motor.turn += sums.turn;
  sum->output_turn += seg->per_motor * sums.turn;
  sum->motor.square += sums.square;
  sum->load_work_j += seg->per_motor * sums.load_turn;
}

double sb_plain_torque_nm(const struct sb_segment *seg, double tau_s, double x)
{
  return sb_plain_value(&seg->load, tau_s, x) +
         seg->output_inertia * seg->per_motor * sb_plain_value(&seg->motor_rate, tau_s, x);
}

/* Rates of the speed, of the power's sign, of the torque and of what a clutch transmits: each is a constant and one exponential, so a quantity whose
 * rate has the same sign at both ends rises or falls throughout. */
struct rates {
  double speed, power, torque, transmitted;
};

static struct rates rates_at(const struct sb_sim *sim, double tau_s, double x)
{
  const struct sb_segment *seg = sim->segment;
  const double rotor_inertia = sim->segment->motor_inertia;
  const double speed = sb_plain_value(&seg->motor_rate, tau_s, x);
  const double load = seg->load.per_s + seg->load.lin * speed;
  const double change = seg->motor_rate.per_s + seg->motor_rate.lin * speed;
  return (struct rates){.speed = speed,
                        .power = seg->power.per_speed * speed + seg->power.per_load * load,
                        .torque = load + seg->output_inertia * seg->per_motor * change,
                        .transmitted = -seg->line.slope_nms_rad * speed - rotor_inertia * change};
}

static bool holds_clutch(const struct sb_sim *sim, double tau_s, double x)
{
  return sb_clutch_holds_plainly(sim, x, sb_plain_value(&sim->segment->motor_rate, tau_s, x));
}

bool sb_plain_is_eventless(const struct sb_sim *sim, double length_s, const struct sb_plain_start *start,
                           const struct sb_plain_end *end)
{
  const struct sb_segment *seg = sim->segment;
  const struct sb_state *state = &sim->state;
  const double x = end->x, tau_s = start->tau_s + length_s;
  if (!(x * state->motor_direction > 0.0) || !sb_chopper_is_on_piece(sim, x)) return false;
  const double angle_rad = state->output_angle_rad + seg->per_motor * end->turn;
  if (!((seg->angle_limit_rad - angle_rad) * state->output_direction > 0.0)) return false;
  if (seg->motor_rate.per_s != 0.0) {
    const struct rates first = rates_at(sim, start->tau_s, start->x), last = rates_at(sim, tau_s, x);
    if (first.speed * last.speed < 0.0 || first.power * last.power < 0.0 || first.torque * last.torque < 0.0 ||
        first.transmitted * last.transmitted < 0.0)
      return false;
  }
  const double power = sb_segment_power(seg, x, sb_plain_value(&seg->load, tau_s, x));
  const int sign = state->is_driving ? state->motor_direction : -state->motor_direction;
  if (!(sign * power + seg->power_tolerance > 0.0)) return false;
  if (!holds_clutch(sim, start->tau_s, start->x) || !holds_clutch(sim, tau_s, x)) return false;
  const double limit_nm = sim->model->limits.output_torque_nm;
  if (isinf(limit_nm)) return true;
  return fabs(sb_plain_torque_nm(seg, start->tau_s, start->x)) <= limit_nm &&
         fabs(sb_plain_torque_nm(seg, tau_s, x)) <= limit_nm;
}
