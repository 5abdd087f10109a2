// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * plain.h - internal: motor and output that turn as one under a load that is linear in time and speed. Its motion is one
 * exponential and a straight line, known without a series, and over a stretch on which its quantities rise or fall throughout
 * what may happen shows at the end.
 *
 *   dx/dt = q + p t - (x - x0) / tc, z = h / tc, Q = q h, P = p h^2:
 *   x = x0 + Q F + P T,  integral of x = h (x0 + Q T + P U),  of t x = h^2 (x0 / 2 + Q (T - U) + P (U - Y))
 *   integral of x^2 = h (x0^2 + 2 x0 (Q T + P U) + Q^2 A + Q P T^2 + P^2 B)
 *   F = (1 - exp(-z)) / z,  T = (1 - F) / z,  U = (1/2 - T) / z,  Y = (1/6 - U) / z,
 *   A = (T - F^2 / 2) / z,  B = (U - Y - T^2 / 2) / z
 */
#ifndef SHIFTBAND_SIM_PLAIN_H
#define SHIFTBAND_SIM_PLAIN_H

#include "sim/segment.h"

struct sb_plain_factors {
  double length_s, per_s; /* that they belong to: the stretch's length h, one over the time constant */
  double f, t, u, y, a, b;
};

void sb_plain_take_factors(double length_s, double per_s, struct sb_plain_factors *out);

/* Whether the segment moves so, with no grip to watch. Pure. */
bool sb_plain_applies(const struct sb_sim *sim);

/* Where a stretch begins. */
struct sb_plain_start {
  double x, tau_s; /* the motor's speed, and the time since the load's piece began */
};

/* Where a part of it, as long as the factors, ends. */
struct sb_plain_end {
  double x, turn; /* the motor's speed, and its turn since the start */
};

/* By its rate, straight as in plain motion. Pure. */
struct sb_plain_end sb_plain_end(const struct sb_poly *rate, const struct sb_plain_factors *factors,
                                 const struct sb_plain_start *start);

/* What comes together over the factors' length: integrals of x, of x^2, and of x times a load that is as straight. */
struct sb_plain_sums {
  double turn, square, load_turn;
};

/* Few sums: the turn alone. Pure. */
struct sb_plain_sums sb_plain_sums(const struct sb_poly *rate, const struct sb_poly *load,
                                   const struct sb_plain_factors *factors, const struct sb_plain_start *start,
                                   bool has_few_sums);

/* Adds those of a segment that moves plainly. */
void sb_plain_add_gain(const struct sb_segment *seg, const struct sb_plain_factors *factors,
                       const struct sb_plain_start *start, bool has_few_sums, struct sb_gain *sum);

/* The value of a straight polynomial. Pure. */
static inline double sb_plain_value(const struct sb_poly *poly, double tau_s, double x)
{
  return poly->k + poly->per_s * tau_s + poly->lin * x;
}

/* What the gear delivers to the output at a speed of the motor, N m. Pure. */
double sb_plain_torque_nm(const struct sb_segment *seg, double tau_s, double x);

/* Whether nothing happens over a length, and speed and torque rise or fall throughout. Pure. */
bool sb_plain_is_eventless(const struct sb_sim *sim, double length_s, const struct sb_plain_start *start,
                           const struct sb_plain_end *end);

#endif
