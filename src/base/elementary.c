// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/elementary.h"

#include <math.h>

const double sb_elementary_inverse_factorials[SB_INVERSE_FACTORIAL_COUNT] = {1.0,
                                                                             1.0,
                                                                             1.0 / 2.0,
                                                                             1.0 / 6.0,
                                                                             1.0 / 24.0,
                                                                             1.0 / 120.0,
                                                                             1.0 / 720.0,
                                                                             1.0 / 5040.0,
                                                                             1.0 / 40320.0,
                                                                             1.0 / 362880.0,
                                                                             1.0 / 3628800.0,
                                                                             1.0 / 39916800.0,
                                                                             1.0 / 479001600.0,
                                                                             1.0 / 6227020800.0,
                                                                             1.0 / 87178291200.0,
                                                                             1.0 / 1307674368000.0,
                                                                             1.0 / 20922789888000.0,
                                                                             1.0 / 355687428096000.0,
                                                                             1.0 / 6402373705728000.0,
                                                                             1.0 / 121645100408832000.0};

/* sin(r) / r - 1 and cos(r) - 1 by Taylor's series in r^2, for |r| <= pi / 4. */
static double sine_rest(double square)
{
  double sum = 0.0;
  for (int k = 8; k >= 1; k--) sum = sb_elementary_inverse_factorials[2 * k + 1] - square * sum;
  return -square * sum;
}

static double cosine_rest(double square)
{
  double sum = 0.0;
  for (int k = 9; k >= 1; k--) sum = sb_elementary_inverse_factorials[2 * k] - square * sum;
  return -square * sum;
}

void sb_elementary_sin_cos(double angle_rad, double *sine, double *cosine)
{
  /* pi / 2 in three parts, the first two short, so that their products with a whole number are exact. */
  static const double part_1 = 0x1.921fb544p+0, part_2 = 0x1.0b4611a6p-34, part_3 = 0x1.3198a2e037073p-69;
  static const double per_quarter = 0x1.45f306dc9c883p-1; /* 2 / pi */
  const double quarters = floor(angle_rad * per_quarter + 0.5);
  const double r = ((angle_rad - quarters * part_1) - quarters * part_2) - quarters * part_3;
  const double square = r * r, s = r + r * sine_rest(square), c = 1.0 + cosine_rest(square);
  const double turns = floor(0.25 * quarters);
  switch ((int)(quarters - 4.0 * turns)) {
    case 0: *sine = s, *cosine = c; break;
    case 1: *sine = c, *cosine = -s; break;
    case 2: *sine = -s, *cosine = -c; break;
    default: *sine = -c, *cosine = s; break;
  }
}

/* (exp(r) - 1) / r by its Taylor series, for |r| <= 0.35. */
static double exponential_over(double r)
{
  double sum = 0.0;
  for (int k = fabs(r) < 0.004 ? 6 : 13; k >= 0; k--) sum = sum * r + sb_elementary_inverse_factorials[k + 1];
  return sum;
}

double sb_elementary_exp_less_1(double x)
{
  /* ln 2 in two parts, the first short, so that its product with a whole number is exact. */
  static const double part_1 = 0x1.62e42fefp-1, part_2 = 0x1.473de6af278edp-34, per_two = 0x1.71547652b82fep+0;
  if (x < -745.0) return -1.0;
  if (x > 709.0) return (double)INFINITY;
  const double twos = fabs(x) < 0.35 ? 0.0 : floor(x * per_two + 0.5);
  const double r = (x - twos * part_1) - twos * part_2;
  const double sum = r * exponential_over(r); /* exp(r) - 1 */
  if (twos == 0.0) return sum;
  return ldexp(sum, (int)twos) + (ldexp(1.0, (int)twos) - 1.0);
}

double sb_elementary_log(double x)
{
  if (!(x > 0.0)) return x == 0.0 ? -(double)INFINITY : (double)NAN;
  if (!(x < (double)INFINITY)) return x;
  static const double part_1 = 0x1.62e42fefp-1, part_2 = 0x1.473de6af278edp-34, root_half = 0x1.6a09e667f3bcdp-1;
  int twos;
  double m = frexp(x, &twos); /* 0.5 <= m < 1 */
  if (m < root_half) {
    m *= 2.0;
    twos--;
  }
  /* log m = 2 artanh s = 2 (s + s^3 / 3 + ...), |s| <= 0.172; written as f - (what s lacks to f / 2), f = m - 1. */
  const double f = m - 1.0, s = f / (2.0 + f), square = s * s;
  double sum = 0.0;
  for (int k = 11; k >= 1; k--) sum = (sum + 1.0 / (2 * k + 1)) * square;
  return twos * part_1 + (twos * part_2 + (f - s * (f - 2.0 * sum)));
}

/* For |x| <= 1: the angle is halved by tan(a / 2) = t / (1 + sqrt(1 + t^2)), then Taylor's series. */
static double small_atan(double x)
{
  double t = x, scale = 1.0;
  for (; fabs(t) > 0.2; scale *= 2.0) t /= 1.0 + sqrt(1.0 + t * t);
  const double square = t * t;
  double sum = 0.0;
  for (int k = 12; k >= 1; k--) sum = (sum + 1.0 / (2 * k + 1)) * -square;
  return scale * (t + t * sum);
}

double sb_elementary_atan(double x)
{
  /* pi / 2 in two parts. */
  static const double part_1 = 0x1.921fb54442d18p+0, part_2 = 0x1.1a62633145c07p-54;
  if (!(fabs(x) > 1.0)) return small_atan(x);
  return copysign(part_1 - (small_atan(1.0 / fabs(x)) - part_2), x);
}

double sb_elementary_asin(double x)
{
  return 2.0 * sb_elementary_atan(x / (1.0 + sqrt((1.0 - x) * (1.0 + x))));
}
