// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/plain.h"

#include <float.h>
#include <math.h>

#include "base/elementary.h"

/*
 * For z < 1, with y_j = (-z)^j / (j + 4)!:  Y = sum of y_j,
 * A = sum of (-z)^j (2^(j + 2) - 2) / (j + 3)!,  B = sum of y_j (2^(j + 4) - 2 (j + 5)) / (j + 5).
 */
static void sum_series(double z, struct sb_plain_factors *out)
{
  static const double inverse[] = {1.0 / 3,  1.0 / 4,  1.0 / 5,  1.0 / 6,  1.0 / 7,  1.0 / 8,  1.0 / 9,  1.0 / 10,
                                   1.0 / 11, 1.0 / 12, 1.0 / 13, 1.0 / 14, 1.0 / 15, 1.0 / 16, 1.0 / 17, 1.0 / 18,
                                   1.0 / 19, 1.0 / 20, 1.0 / 21, 1.0 / 22, 1.0 / 23, 1.0 / 24, 1.0 / 25, 1.0 / 26};
  enum { TERMS = sizeof inverse / sizeof *inverse - 2 };
  double term = 1.0 / 6.0, two = 4.0; /* (-z)^j / (j + 3)!, 2^(j + 2) */
  for (int j = 0; j < TERMS && fabs(term) * two > 0.0625 * DBL_EPSILON; j++) {
    const double next = term * inverse[j + 1];
    out->y += next;
    out->a += (two - 2.0) * term;
    out->b += (4.0 * two - 2.0 * (j + 5)) * next * inverse[j + 2];
    term = -z * next;
    two *= 2.0;
  }
  out->u = 1.0 / 6.0 - z * out->y;
  out->t = 0.5 - z * out->u;
  out->f = 1.0 - z * out->t;
}

struct sb_plain_factors sb_plain_factors(double length_s, double per_s)
{
  struct sb_plain_factors out = {.length_s = length_s, .per_s = per_s};
  const double z = length_s * per_s;
  if (z < 1.0) {
    sum_series(z, &out);
    return out;
  }
  out.f = -sb_elementary_exp_less_1(-z) / z;
  out.t = (1.0 - out.f) / z;
  out.u = (0.5 - out.t) / z;
  out.y = (1.0 / 6.0 - out.u) / z;
  out.a = (out.t - 0.5 * out.f * out.f) / z;
  out.b = (out.u - out.y - 0.5 * out.t * out.t) / z;
  return out;
}

bool sb_plain_applies(const struct sb_sim *sim)
{
  return sb_segment_is_moving_rigid(sim) && sim->segment->has_straight_load && !sim->model->load.road.can_slip;
}

/* The value of a straight polynomial. */
static double value_of(const struct sb_poly *poly, double tau_s, double x)
{
  return poly->k + poly->per_s * tau_s + poly->lin * x;
}

/* What the first rate and its growth would add to the speed over the length, were there no time constant. */
struct push {
  double first, growth;
};

static struct push push_of(const struct sb_segment *seg, const struct sb_plain_factors *factors,
                           const struct sb_plain_start *start)
{
  const double h = factors->length_s;
  return (struct push){h * value_of(&seg->motor_rate, start->tau_s, start->x), h * h * seg->motor_rate.per_s};
}

double sb_plain_speed(const struct sb_segment *seg, const struct sb_plain_factors *factors,
                      const struct sb_plain_start *start)
{
  const struct push push = push_of(seg, factors, start);
  return start->x + (push.first * factors->f + push.growth * factors->t);
}

double sb_plain_turn(const struct sb_segment *seg, const struct sb_plain_factors *factors,
                     const struct sb_plain_start *start)
{
  const struct push push = push_of(seg, factors, start);
  return factors->length_s * (start->x + (push.first * factors->t + push.growth * factors->u));
}

struct sb_gain sb_plain_gain(const struct sb_segment *seg, const struct sb_plain_factors *factors,
                             const struct sb_plain_start *start)
{
  const struct push push = push_of(seg, factors, start);
  const double h = factors->length_s, x0 = start->x, t = factors->t, u = factors->u, y = factors->y;
  const double mean = push.first * t + push.growth * u;
  const double square =
      push.first * (push.first * factors->a + push.growth * t * t) + push.growth * push.growth * factors->b;
  const double timed = h * h * (0.5 * x0 + push.first * (t - u) + push.growth * (u - y));
  struct sb_gain gain = {.motor_turn = h * (x0 + mean), .motor_square = h * (x0 * x0 + 2.0 * x0 * mean + square)};
  gain.output_turn = seg->per_motor * gain.motor_turn;
  gain.load_work_j = seg->per_motor * ((seg->load.k + seg->load.per_s * start->tau_s) * gain.motor_turn +
                                       seg->load.per_s * timed + seg->load.lin * gain.motor_square);
  return gain;
}

double sb_plain_torque_nm(const struct sb_segment *seg, double tau_s, double x)
{
  return value_of(&seg->load, tau_s, x) + seg->output_inertia * seg->per_motor * value_of(&seg->motor_rate, tau_s, x);
}

/* Rates of the speed, of the power's sign and of the torque: each is a constant and one exponential, so a quantity whose
 * rate has the same sign at both ends rises or falls throughout. */
struct rates {
  double speed, power, torque;
};

static struct rates rates_at(const struct sb_segment *seg, double tau_s, double x)
{
  const double speed = value_of(&seg->motor_rate, tau_s, x);
  const double load = seg->load.per_s + seg->load.lin * speed;
  const double change = seg->motor_rate.per_s + seg->motor_rate.lin * speed;
  return (struct rates){.speed = speed,
                        .power = seg->power.per_speed * speed + seg->power.per_load * load,
                        .torque = load + seg->output_inertia * seg->per_motor * change};
}

bool sb_plain_is_eventless(const struct sb_sim *sim, const struct sb_plain_factors *factors,
                           const struct sb_plain_start *start)
{
  const struct sb_segment *seg = sim->segment;
  const struct sb_state *state = &sim->state;
  const double x = sb_plain_speed(seg, factors, start), tau_s = start->tau_s + factors->length_s;
  if (!(x * state->motor_direction > 0.0)) return false;
  const double angle_rad = state->output_angle_rad + seg->per_motor * sb_plain_turn(seg, factors, start);
  if (!((seg->angle_limit_rad - angle_rad) * state->output_direction > 0.0)) return false;
  if (seg->motor_rate.per_s != 0.0) {
    const struct rates first = rates_at(seg, start->tau_s, start->x), last = rates_at(seg, tau_s, x);
    if (first.speed * last.speed < 0.0 || first.power * last.power < 0.0 || first.torque * last.torque < 0.0)
      return false;
  }
  const double power = sb_segment_power(seg, x, value_of(&seg->load, tau_s, x));
  const int sign = state->is_driving ? state->motor_direction : -state->motor_direction;
  if (!(sign * power + seg->power_tolerance > 0.0)) return false;
  const double limit_nm = sim->model->limits.output_torque_nm;
  return fabs(sb_plain_torque_nm(seg, start->tau_s, start->x)) <= limit_nm &&
         fabs(sb_plain_torque_nm(seg, tau_s, x)) <= limit_nm;
}
