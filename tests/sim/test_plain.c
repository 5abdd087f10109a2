// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The plain machine's factors and what they give, against GSL's adaptive integration of their defining integrals: with
 * E(s) = exp(-z s), u(s) = integral of E, g(s) = integral of u, all from 0 to s,
 *
 *   F = u(1),  T = g(1),  U = integral of g,  Y = integral of (1 - s)^3 / 6 E,  A = integral of u^2,  B = integral of g^2
 *
 * where U and Y are repeated integrals (Cauchy's formula). The motion is integrated by GSL's rk8pd, too.
 */
#include "sim/plain.h"

#include <float.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_integration.h>
#include <gsl/gsl_odeiv2.h>

#include "help/dice.h"
#include "help/near.h"
#include "help/plane.h"

/* Functions of the share s at one z; expm1 keeps their digits at small z. */
static long double u_of(long double s, long double z)
{
  return -expm1l(-z * s) / z;
}

/* g(s) = (s - u(s)) / z, for small z s by its series: s^2 (1/2 - w/6 + w^2/24 - ...), w = z s. */
static long double g_of(long double s, long double z)
{
  const long double w = z * s;
  if (w > 0.5L) return (s - u_of(s, z)) / z;
  long double sum = 0.0L, term = 0.5L;
  for (int k = 3; k < 30; k++) {
    sum += term;
    term *= -w / k;
  }
  return s * s * sum;
}

static double f_rate(double s, void *z)
{
  return (double)expl(-*(double *)z * (long double)s);
}

static double t_rate(double s, void *z)
{
  return (double)u_of(s, *(double *)z);
}

static double u_rate(double s, void *z)
{
  return (double)g_of(s, *(double *)z);
}

static double y_rate(double s, void *z)
{
  const double rest = 1.0 - s;
  return rest * rest * rest / 6.0 * f_rate(s, z);
}

static double a_rate(double s, void *z)
{
  const double u = t_rate(s, z);
  return u * u;
}

static double b_rate(double s, void *z)
{
  const double g = u_rate(s, z);
  return g * g;
}

static double integral(double (*rate)(double s, void *z), double z)
{
  gsl_integration_workspace *work = gsl_integration_workspace_alloc(200);
  const gsl_function function = {rate, &z};
  double value, error;
  const int status = gsl_integration_qag(&function, 0.0, 1.0, 0.0, 2e-14, 200, GSL_INTEG_GAUSS61, work, &value, &error);
  assert_int_equal(status, GSL_SUCCESS);
  gsl_integration_workspace_free(work);
  return value;
}

/* Dividing by z >= 1 takes differences of neighbours, F and T least, B most: each of the up to four divisions adds a few
 * roundings of 1/2 or 1/6, which are large beside the factor where z is near 1 (Y = 0.034 of 1/6 is 5 of them, B = 0.03). */
static void factors_are_their_integrals_from_tiny_to_large_z(void **state)
{
  (void)state;
  static const double limit = 64.0 * DBL_EPSILON;
  double worst = 0.0, worst_z = 0.0;
  for (double z = 1e-9; z <= 50.0; z *= z > 0.3 && z < 4.0 ? 1.01 : 1.13) {
    struct sb_plain_factors factors;
    sb_plain_take_factors(0.02, z / 0.02, &factors);
    const struct {
      double got, want;
    } pairs[] = {{factors.f, integral(f_rate, z)}, {factors.t, integral(t_rate, z)}, {factors.u, integral(u_rate, z)},
                 {factors.y, integral(y_rate, z)}, {factors.a, integral(a_rate, z)}, {factors.b, integral(b_rate, z)}};
    for (size_t i = 0; i < sizeof pairs / sizeof *pairs; i++) {
      const double error = fabs(pairs[i].got / pairs[i].want - 1.0);
      if (!(error > worst)) continue;
      worst = error;
      worst_z = z;
    }
  }
  print_message("worst %.1f rounding errors, at z %.6g\n", worst / DBL_EPSILON, worst_z);
  assert_true(worst <= limit);
}

/* z = 0: no time constant. The series' first terms. */
static void without_a_time_constant_the_factors_are_those_of_a_straight_line(void **state)
{
  (void)state;
  struct sb_plain_factors factors;
  sb_plain_take_factors(0.02, 0.0, &factors);
  const struct {
    double got, want;
  } pairs[] = {{factors.f, 1.0},      {factors.t, 0.5},     {factors.u, 1.0 / 6},
               {factors.y, 1.0 / 24}, {factors.a, 1.0 / 3}, {factors.b, 1.0 / 20}};
  for (size_t i = 0; i < sizeof pairs / sizeof *pairs; i++) assert_near_rel(pairs[i].got, pairs[i].want, DBL_EPSILON);
}

/* Without differences that cancel a few roundings are left: Y = sum of (-z)^j / (j + 4)! below 1, and below 1/8
 * A = sum of (-z)^j (2^(j + 2) - 2) / (j + 3)!, B = sum of (-z)^j (2^(j + 4) - 2 (j + 5)) / (j + 5)!. */
static void at_small_z_the_factors_are_their_series_to_a_few_roundings(void **state)
{
  (void)state;
  for (double z = 1e-3; z < 1.0; z *= 1.07) {
    long double y = 0.0L, a = 0.0L, b = 0.0L, power = 1.0L;
    for (int j = 0; j < 30; j++, power *= -(long double)z) {
      y += power / tgammal(j + 5);
      a += power * (exp2l(j + 2) - 2.0L) / tgammal(j + 4);
      b += power * (exp2l(j + 4) - 2.0L * (j + 5)) / tgammal(j + 6);
    }
    struct sb_plain_factors factors;
    sb_plain_take_factors(0.02, z / 0.02, &factors);
    assert_near_rel(factors.y, (double)y, 3.0 * DBL_EPSILON);
    if (factors.length_s * factors.per_s >= 0.125) continue;
    assert_near_rel(factors.a, (double)a, 3.0 * DBL_EPSILON);
    assert_near_rel(factors.b, (double)b, 3.0 * DBL_EPSILON);
  }
}

/* Motion --------------------------------------------------------------------------------------------------------------- */

/* x, its integral, that of its square, and the load's work; time since the load's piece began is tau. */
enum { X, TURN, SQUARE, WORK, DIMENSION };

static int rates(double tau_s, const double y[], double rate[], void *context)
{
  const struct sb_segment *seg = context;
  const double load_nm = seg->load.k + seg->load.per_s * tau_s + seg->load.lin * y[X];
  rate[X] = seg->motor_rate.k + seg->motor_rate.per_s * tau_s + seg->motor_rate.lin * y[X];
  rate[TURN] = y[X];
  rate[SQUARE] = y[X] * y[X];
  rate[WORK] = load_nm * seg->per_motor * y[X];
  return GSL_SUCCESS;
}

static void integrate(struct sb_segment *seg, double begin_s, double end_s, double y[DIMENSION])
{
  gsl_odeiv2_system system = {rates, NULL, DIMENSION, seg};
  gsl_odeiv2_driver *driver =
      gsl_odeiv2_driver_alloc_y_new(&system, gsl_odeiv2_step_rk8pd, (end_s - begin_s) / 64.0, 1e-14, 1e-13);
  assert_int_equal(gsl_odeiv2_driver_apply(driver, &begin_s, end_s, y), GSL_SUCCESS);
  gsl_odeiv2_driver_free(driver);
}

/* Random machines: time constants of 0.4 ms to 2e7 s over 20 ms, loads that help, hinder, grow and fall. */
static void speed_turn_square_and_work_are_those_of_the_integrated_motion(void **state)
{
  (void)state;
  gsl_rng *rng = dice_of(0);
  for (int trial = 0; trial < 400; trial++) {
    const double h = 0.02, z = plane_between_log(rng, 1e-9, 50.0), fall = z / h;
    struct sb_segment seg = {.per_motor = plane_between(rng, -0.3, 0.3)};
    struct sb_plain_start start = {plane_between(rng, -50.0, 50.0), plane_between(rng, 0.0, 0.5)};
    seg.motor_rate = (struct sb_poly){.k = plane_between(rng, -1.0, 1.0) * (fall + 10.0) * 50.0,
                                      .per_s = plane_between(rng, -1.0, 1.0) * (fall + 10.0) * 500.0,
                                      .lin = -fall};
    seg.load = (struct sb_poly){.k = plane_between(rng, -1.0, 1.0),
                                .per_s = plane_between(rng, -10.0, 10.0),
                                .lin = plane_between(rng, 0.0, 0.05)};
    struct sb_plain_factors factors;
    sb_plain_take_factors(h, fall, &factors);
    struct sb_gain gain = {0};
    sb_plain_add_gain(&seg, &factors, &start, false, &gain);
    double y[DIMENSION] = {start.x, 0.0, 0.0, 0.0};
    integrate(&seg, start.tau_s, start.tau_s + h, y);
    /* rk8pd was asked for 1e-13 a step; sizes that add up with either sign count, not what is left of them. */
    const double rise =
        h * (fabs(seg.motor_rate.k) + fabs(seg.motor_rate.per_s) * (start.tau_s + h) + fall * fabs(start.x));
    const double x = fabs(start.x) + rise / fmax(1.0, z),
                 load = fabs(seg.load.k) + fabs(seg.load.per_s) + seg.load.lin * x;
    const double limit = 1e-11;
    assert_near(sb_plain_end(&seg.motor_rate, &factors, &start).x, y[X], limit * x);
    assert_near(gain.motor.turn, y[TURN], limit * h * x);
    assert_near(gain.motor.square, y[SQUARE], limit * h * x * x);
    assert_near(gain.output_turn, seg.per_motor * y[TURN], limit * h * x);
    assert_near(gain.load_work_j, y[WORK], limit * h * x * load);
  }
  gsl_rng_free(rng);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(factors_are_their_integrals_from_tiny_to_large_z),
      cmocka_unit_test(at_small_z_the_factors_are_their_series_to_a_few_roundings),
      cmocka_unit_test(without_a_time_constant_the_factors_are_those_of_a_straight_line),
      cmocka_unit_test(speed_turn_square_and_work_are_those_of_the_integrated_motion),
  };
  return cmocka_run_group_tests_name("plain", tests, plane_quiet_gsl, NULL);
}
