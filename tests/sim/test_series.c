// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Polynomials over a stretch: their bounds, roots and falls. Events and greatest values come from nothing else.
 *
 * Wanted roots are those that a polynomial was multiplied together from, or GSL's gsl_poly_complex_solve (eigenvalues of
 * the companion matrix), which shares nothing with halving of Bernstein coefficients.
 */
#include "sim/series.h"

#include <float.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_poly.h>
#include <gsl/gsl_rng.h>
#include <gsl/gsl_roots.h>
#include <string.h>

#include "help/dice.h"
#include "help/near.h"
#include "help/plane.h"

enum { DEGREE = SB_SERIES_DEGREE_MAX, ROOT_MAX = DEGREE + 1 };

static void *solver;

static int set_up(void **state)
{
  plane_quiet_gsl(state);
  solver = gsl_root_fsolver_alloc(gsl_root_fsolver_brent);
  return solver == NULL;
}

static int tear_down(void **state)
{
  (void)state;
  gsl_root_fsolver_free(solver);
  return 0;
}

/* gain times the product of (s - root): degree = count. */
static struct sb_series product_of(double gain, int count, const double *roots)
{
  struct sb_series p = {{gain}};
  for (int i = 0; i < count; i++) {
    for (int k = i + 1; k > 0; k--) p.c[k] = p.c[k - 1] - roots[i] * p.c[k];
    p.c[0] *= -roots[i];
  }
  return p;
}

/* By how much the value of a polynomial near s may be wrong by rounding: a rounding error of each term's size, for each
 * of Horner's 2 n operations. */
static double noise_at(const struct sb_series *p, int degree, double s)
{
  struct sb_series sizes = {{0.0}};
  for (int k = 0; k <= degree; k++) sizes.c[k] = fabs(p->c[k]);
  return 2.0 * degree * DBL_EPSILON * sb_series_at(&sizes, degree, s);
}

/* By how much a simple root may be wrong: that noise over the slope there, and a rounding error of the root itself. */
static double root_limit(const struct sb_series *p, int degree, double root)
{
  const struct sb_series slope = sb_series_slope(p, degree);
  return noise_at(p, degree, root) / fabs(sb_series_at(&slope, degree, root)) + 2.0 * DBL_EPSILON;
}

/* The roots found are just those wanted, ascending, each where the new sign has come or the value is zero. */
static void expect_roots(const struct sb_series *p, int degree, double from, int count, const double *wanted)
{
  double found[ROOT_MAX] = {0.0};
  assert_int_equal(sb_series_roots(p, degree, from, solver, found, ROOT_MAX), count);
  for (int i = 0; i < count; i++) assert_near(found[i], wanted[i], root_limit(p, degree, wanted[i]));
}

/* Bounds --------------------------------------------------------------------------------------------------------------- */

static struct sb_series random_series(gsl_rng *rng, int degree)
{
  struct sb_series p;
  memset(&p, 0, sizeof p);
  for (int k = 0; k <= degree; k++) p.c[k] = plane_between(rng, -1.0, 1.0);
  return p;
}

static void a_floor_a_size_and_a_one_way_course_hold_at_every_place(void **state)
{
  (void)state;
  gsl_rng *rng = dice_of(0);
  int monotone_count = 0;
  for (int trial = 0; trial < 2000; trial++) {
    const int degree = trial % (DEGREE + 1);
    struct sb_series p = random_series(rng, degree);
    if (degree > 0) p.c[1] *= 4.0;
    const double least = sb_series_floor(&p, degree), size = sb_series_size(&p, degree);
    const bool is_monotone = sb_series_is_monotone(&p, degree);
    const double limit = noise_at(&p, degree, 1.0);
    double last = p.c[0];
    for (int i = 0; i <= 64; i++) {
      const double value = sb_series_at(&p, degree, i / 64.0);
      assert_true(value >= least - limit && fabs(value) <= size + limit);
      if (is_monotone && degree > 0) assert_true((value - last) * p.c[1] >= -limit);
      last = value;
    }
    monotone_count += is_monotone && degree > 1;
  }
  assert_true(monotone_count > 20);
  gsl_rng_free(rng);
}

/* The floor of 1 - s is met at s = 1, and s - s^2 turns over: bounds that were wider would say less. */
static void bounds_are_as_close_as_their_terms_allow(void **state)
{
  (void)state;
  const struct sb_series falling = {{1.0, -1.0}}, turning = {{0.0, 1.0, -1.0}}, flat = {{0.0, 1.0, -0.5}};
  assert_near(sb_series_floor(&falling, 1), 0.0, 0.0);
  assert_near(sb_series_size(&falling, 1), 2.0, 0.0);
  assert_false(sb_series_is_monotone(&turning, 2));
  assert_true(sb_series_is_monotone(&flat, 2)); /* its slope is zero at the end only */
}

/* d/ds of the integral is the polynomial: held for s^n, whose integral is s^(n + 1) / (n + 1). */
static void integral_slope_scaling_and_sum_are_those_of_powers(void **state)
{
  (void)state;
  for (int n = 0; n < DEGREE; n++) {
    struct sb_series p;
    memset(&p, 0, sizeof p);
    p.c[n] = 3.0;
    assert_near_rel(sb_series_integral(&p, DEGREE, 0.75), 3.0 * pow(0.75, n + 1) / (n + 1), 8 * DBL_EPSILON);
    const struct sb_series slope = sb_series_slope(&p, DEGREE);
    assert_near_rel(sb_series_at(&slope, DEGREE, 0.75), n == 0 ? 0.0 : 3.0 * n * pow(0.75, n - 1), 8 * DBL_EPSILON);
    struct sb_series sum = sb_series_scaled(&p, DEGREE, -2.0, 5.0);
    sb_series_add(&sum, &p, DEGREE, 4.0);
    assert_near_rel(sb_series_at(&sum, DEGREE, 0.75), 5.0 + 6.0 * pow(0.75, n), 8 * DBL_EPSILON);
  }
}

/* Roots ---------------------------------------------------------------------------------------------------------------- */

static void known_simple_roots_are_found_in_order(void **state)
{
  (void)state;
  const double one[] = {0.3}, three[] = {0.1, 0.35, 0.9}, close[] = {0.4, 0.4 + 1e-5, 0.4 + 2e-5};
  const double outside[] = {-0.2, 1.3, 0.25};
  struct sb_series p = product_of(2.0, 1, one);
  expect_roots(&p, 1, 0.0, 1, one);
  p = product_of(-1.0, 3, three);
  expect_roots(&p, 3, 0.0, 3, three);
  expect_roots(&p, 3, 0.2, 2, three + 1);
  expect_roots(&p, 3, 0.95, 0, NULL);
  p = product_of(1.0, 3, outside);
  expect_roots(&p, 3, 0.0, 1, outside + 2);
  p = product_of(1.0, 3, close);
  expect_roots(&p, 3, 0.0, 3, close);
}

/* s^2 - 15/16 s + 7/32 and the like have exact coefficients, and halving comes upon their roots to the bit. */
static void roots_upon_which_the_halving_falls_are_found(void **state)
{
  (void)state;
  static const double sets[][4] = {{0.5, 0.25, 0.75, 0.125}, {0.5, 0.4375, 0.25, 0.75}, {0.5, 0.4375, 0.0625, 0.875}};
  for (size_t i = 0; i < sizeof sets / sizeof *sets; i++) {
    for (int count = 1; count <= 4; count++) {
      double wanted[4];
      memcpy(wanted, sets[i], sizeof wanted);
      for (int a = 0; a < count; a++) {
        for (int b = a + 1; b < count; b++) {
          const double low = fmin(wanted[a], wanted[b]), high = fmax(wanted[a], wanted[b]);
          wanted[a] = low;
          wanted[b] = high;
        }
      }
      const struct sb_series p = product_of(1.0, count, wanted);
      expect_roots(&p, count, 0.0, count, wanted);
    }
  }
  /* One beyond the end is none, though the middle and another place on the way to it are roots, to the bit by the factor 3. */
  const double beyond[] = {0.5, 0.9375, 1.25};
  const struct sb_series p = product_of(3.0, 3, beyond);
  expect_roots(&p, 3, 0.0, 2, beyond);
}

/* Chebyshev's T_12(2 s - 1): all its roots lie between 0 and 1, at (1 - cos((2 k - 1) pi / 24)) / 2 (textbook). More would
 * drown in rounding: T_20's coefficients reach 1e14 there. */
static void twelve_roots_between_the_ends_are_all_found(void **state)
{
  (void)state;
  enum { N = 12 };
  double t[3][DEGREE + 1] = {{1.0}, {-1.0, 2.0}};
  for (int n = 2; n <= N; n++) {
    double *now = t[n % 3];
    const double *last = t[(n + 2) % 3], *before = t[(n + 1) % 3];
    for (int k = DEGREE; k >= 0; k--) now[k] = 4.0 * (k > 0 ? last[k - 1] : 0.0) - 2.0 * last[k] - before[k];
  }
  struct sb_series p;
  memcpy(p.c, t[N % 3], sizeof p.c);
  double wanted[N];
  for (int k = 0; k < N; k++) wanted[k] = 0.5 * (1.0 - cos((2 * k + 1) * acos(-1.0) / (2.0 * N)));
  expect_roots(&p, DEGREE, 0.0, N, wanted);
}

/* Each root half of the next one: near every root two terms alone matter, so that rounding drowns none of as many as there can be. */
static void roots_as_many_as_the_degree_are_all_found(void **state)
{
  (void)state;
  double wanted[DEGREE];
  for (int i = 0; i < DEGREE; i++) wanted[i] = ldexp(0.75, i + 1 - DEGREE);
  const struct sb_series p = product_of(1.0, DEGREE, wanted);
  expect_roots(&p, DEGREE, 0.0, DEGREE, wanted);
  /* The first is below zero between the last two roots, 0.375 and 0.75, the second from 0.5 on. */
  const struct sb_series two[2] = {p, {{0.5, -1.0}}};
  assert_near(sb_series_first_fall(two, 2, DEGREE, solver), 0.5, DBL_EPSILON);
}

/* s^20 = 1/2, and (s - 1/2)(s^19 + 1), whose other roots are complex or negative. */
static void roots_of_degree_twenty_are_found(void **state)
{
  (void)state;
  struct sb_series power = {{-0.5}}, other = {{-0.5, 1.0}};
  power.c[DEGREE] = other.c[DEGREE] = 1.0;
  other.c[DEGREE - 1] = -0.5;
  const double root = pow(0.5, 1.0 / DEGREE), middle = 0.5;
  expect_roots(&power, DEGREE, 0.0, 1, &root);
  expect_roots(&other, DEGREE, 0.0, 1, &middle);
}

/* By rounding a touch may come out as two roots beside it, where the value is no more than its rounding, that of the
 * coefficients included; the dip of a parabola is as wide as the root of its depth. Never one root alone, for the sign beyond is the old one. */
static void expect_touch(const struct sb_series *p, int degree, double touch, double curvature, int count,
                         const double *found)
{
  assert_true(count == 0 || count == 2);
  for (int i = 0; i < count; i++) {
    assert_near(found[i], touch, sqrt(2.0 * 2.0 * noise_at(p, degree, touch) / curvature));
  }
}

static void what_touches_zero_and_turns_back_is_no_root(void **state)
{
  (void)state;
  const double twice[] = {0.5, 0.5}, thrice[] = {0.25, 0.25, 0.25};
  double found[ROOT_MAX];
  struct sb_series p = product_of(1.0, 2, twice);
  expect_roots(&p, 2, 0.0, 0, NULL);
  p = product_of(-3.0, 2, twice);
  expect_roots(&p, 2, 0.0, 0, NULL);
  for (double touch = 0.05; touch < 0.7; touch += 0.01) {
    const double roots[] = {touch, touch, 0.8};
    p = product_of(1.0, 3, roots);
    const int count = sb_series_roots(&p, 3, 0.0, solver, found, ROOT_MAX);
    assert_near(found[count - 1], 0.8, root_limit(&p, 3, 0.8));
    expect_touch(&p, 3, touch, 2.0 * (0.8 - touch), count - 1, found);
  }
  p = product_of(1.0, 3, thrice); /* a change of sign, though flat: within the cube root of the value's rounding */
  assert_int_equal(sb_series_roots(&p, 3, 0.0, solver, found, ROOT_MAX), 1);
  assert_near(found[0], 0.25, cbrt(noise_at(&p, 3, 0.25)));
}

/* Two roots a hair apart and none a hair above: both sides of a touch. 2e-6 apart the dip is 1e-12 deep. */
static void a_dip_just_below_zero_has_two_roots_and_one_just_above_has_none(void **state)
{
  (void)state;
  const double wanted[] = {0.6 - 1e-6, 0.6 + 1e-6};
  struct sb_series p = product_of(1.0, 2, wanted);
  expect_roots(&p, 2, 0.0, 2, wanted);
  p.c[0] += 2e-12;
  expect_roots(&p, 2, 0.0, 0, NULL);
}

/* A polynomial that is zero at an end to the last bit has no change of sign there, or by rounding one at that end. */
static void a_root_at_an_end_is_found_there_or_not_at_all(void **state)
{
  (void)state;
  const double ends[] = {0.0, 1.0}, with_middle[] = {0.0, 0.5, 1.0};
  struct sb_series p = product_of(1.0, 2, ends);
  expect_roots(&p, 2, 0.0, 0, NULL);
  p = product_of(1.0, 3, with_middle);
  for (int from = 0; from <= 1; from++) {
    double found[ROOT_MAX];
    const int count = sb_series_roots(&p, 3, 0.5 * from, solver, found, ROOT_MAX);
    int middles = 0;
    for (int i = 0; i < count; i++) {
      const double nearest = round(2.0 * found[i]) / 2.0;
      assert_near(found[i], nearest, root_limit(&p, 3, nearest));
      middles += nearest == 0.5;
    }
    assert_true(count <= 3 && middles <= 1 && (from == 1 || middles == 1));
  }
}

/* The side on which the new sign has come. */
static void a_root_lies_where_the_new_sign_has_come(void **state)
{
  (void)state;
  gsl_rng *rng = dice_of(0);
  for (int trial = 0; trial < 2000; trial++) {
    const int degree = 1 + trial % DEGREE;
    struct sb_series p = random_series(rng, degree);
    double found[ROOT_MAX];
    const int count = sb_series_roots(&p, degree, 0.0, solver, found, ROOT_MAX);
    double sign = p.c[0];
    for (int i = 0; i < count; i++) {
      assert_true(i == 0 || found[i] > found[i - 1]);
      assert_true(sb_series_at(&p, degree, found[i]) * sign <= 0.0);
      sign = -sign;
    }
    assert_true(sign * sb_series_at(&p, degree, 1.0) >= 0.0);
  }
  gsl_rng_free(rng);
}

/* Real roots between 0 and 1 by GSL, ascending; *is_clear: no complex pair is so near the axis that rounding decides. */
static int roots_by_gsl(const struct sb_series *p, int degree, double *roots, bool *is_clear)
{
  double z[2 * DEGREE];
  gsl_poly_complex_workspace *work = gsl_poly_complex_workspace_alloc((size_t)degree + 1);
  const int status = gsl_poly_complex_solve(p->c, (size_t)degree + 1, work, z);
  gsl_poly_complex_workspace_free(work);
  *is_clear = status == GSL_SUCCESS;
  int count = 0;
  for (int i = 0; i < degree; i++) {
    const double real = z[2 * i], imaginary = fabs(z[2 * i + 1]);
    if (real < -1e-6 || real > 1.0 + 1e-6) continue;
    if (imaginary > 0.0 && imaginary < 1e-5) *is_clear = false;
    if (fabs(real) < 1e-6 || fabs(real - 1.0) < 1e-6) *is_clear = false;
    if (imaginary > 0.0) continue;
    int at = count++;
    for (; at > 0 && roots[at - 1] > real; at--) roots[at] = roots[at - 1];
    roots[at] = real;
  }
  for (int i = 0; i + 1 < count; i++) *is_clear = *is_clear && roots[i + 1] - roots[i] > 1e-5;
  return count;
}

/* GSL's roots are eigenvalues: they err by a few rounding errors over the slope more, hence 1e-9. */
static void random_polynomials_have_the_roots_that_gsl_finds(void **state)
{
  (void)state;
  gsl_rng *rng = dice_of(0);
  int compared = 0, root_count = 0;
  for (int trial = 0; trial < 4000; trial++) {
    const int degree = 1 + trial % DEGREE;
    struct sb_series p = random_series(rng, degree);
    /* Half of them with roots put between 0 and 1. */
    if (trial % 2 == 0) {
      double put[DEGREE];
      for (int i = 0; i < degree; i++) put[i] = plane_between(rng, i % 3 == 0 ? 0.0 : -4.0, i % 3 == 0 ? 1.0 : 5.0);
      p = product_of(1.0, degree, put);
    }
    double wanted[DEGREE], found[ROOT_MAX];
    bool is_clear;
    const int count = roots_by_gsl(&p, degree, wanted, &is_clear);
    if (!is_clear) continue;
    bool is_sharp = true;
    for (int i = 0; i < count; i++) is_sharp = is_sharp && root_limit(&p, degree, wanted[i]) < 1e-9;
    if (!is_sharp) continue;
    assert_int_equal(sb_series_roots(&p, degree, 0.0, solver, found, ROOT_MAX), count);
    for (int i = 0; i < count; i++) assert_near(found[i], wanted[i], 1e-9);
    compared++;
    root_count += count;
  }
  print_message("%d polynomials compared, with %d roots\n", compared, root_count);
  assert_true(compared > 2000 && root_count > 2000);
  gsl_rng_free(rng);
}

/* What rises or falls all the way by its terms has one root where its ends have different signs, and none elsewhere. */
static void what_goes_one_way_has_its_only_root_or_none(void **state)
{
  (void)state;
  gsl_rng *rng = dice_of(0);
  for (int trial = 0; trial < 2000; trial++) {
    const int degree = 1 + trial % DEGREE;
    const double root = plane_between(rng, 0.01, 0.99);
    struct sb_series p = random_series(rng, degree);
    p.c[0] = p.c[1] = 0.0;
    const struct sb_series slope = sb_series_slope(&p, degree);
    double most = 0.01;
    for (int k = 0; k < degree; k++) most += fabs(slope.c[k]);
    p.c[1] = (trial % 2 == 0 ? 1.0 : -1.0) * most;
    p.c[0] = -sb_series_at(&p, degree, root);
    assert_true(sb_series_is_monotone(&p, degree));
    expect_roots(&p, degree, 0.0, 1, &root);
    expect_roots(&p, degree, 0.5 * root, 1, &root);
    expect_roots(&p, degree, root + 0.005, 0, NULL);
    p.c[0] += (p.c[0] > 0.0 ? 1.0 : -1.0) * 2.0 * sb_series_size(&p, degree); /* far above or below zero */
    expect_roots(&p, degree, 0.0, 0, NULL);
  }
  gsl_rng_free(rng);
}

/* The first ones, when there is room for no more; trailing zero terms do not matter. */
static void as_many_roots_as_there_is_room_for_are_the_first_ones(void **state)
{
  (void)state;
  const double wanted[] = {0.1, 0.35, 0.6, 0.9};
  const struct sb_series p = product_of(1.0, 4, wanted);
  double found[2];
  assert_int_equal(sb_series_roots(&p, DEGREE, 0.0, solver, found, 2), 2);
  assert_near(found[0], 0.1, root_limit(&p, 4, 0.1));
  assert_near(found[1], 0.35, root_limit(&p, 4, 0.35));
}

/* Falls ---------------------------------------------------------------------------------------------------------------- */

static double first_fall(int count, int degree, const struct sb_series *falls)
{
  return sb_series_first_fall(falls, count, degree, solver);
}

static void a_guard_falls_at_its_first_root(void **state)
{
  (void)state;
  const double roots[] = {0.2, 0.3, 0.7}, high[] = {1.5};
  const struct sb_series p = product_of(-1.0, 3, roots), never = product_of(-1.0, 1, high);
  assert_near(first_fall(1, 3, &p), 0.2, root_limit(&p, 3, 0.2));
  assert_true(isinf(first_fall(1, 1, &never)));
}

/* A body that has just started is at zero: its next stop counts, not the start. */
static void what_starts_at_zero_and_rises_falls_at_its_next_root(void **state)
{
  (void)state;
  const double up[] = {0.0, 0.4};
  struct sb_series p = product_of(-1.0, 2, up); /* s (0.4 - s) */
  assert_near(first_fall(1, 2, &p), 0.4, root_limit(&p, 2, 0.4));
  p.c[0] = -1e-18;
  assert_near(first_fall(1, 2, &p), 0.4, root_limit(&p, 2, 0.4));
  const struct sb_series rising = {{0.0, 1.0}}, falling = {{0.0, -1.0}}, below = {{-1e-18, -1.0}};
  assert_true(isinf(first_fall(1, 1, &rising)));
  assert_near(first_fall(1, 1, &falling), 0.0, 0.0);
  assert_near(first_fall(1, 1, &below), 0.0, 0.0);
}

/* So flat a start that its first values vanish below the smallest number: -2^-60 s^20 falls all the same. */
static void what_starts_too_flat_at_zero_to_be_seen_falls_there(void **state)
{
  (void)state;
  struct sb_series p = {{0.0}};
  p.c[20] = -0x1p-60;
  assert_near(first_fall(1, 20, &p), 0.0, 0.0);
}

/* A flat start: s^3 (0.5 - s). */
static void what_starts_flat_at_zero_falls_at_its_next_root(void **state)
{
  (void)state;
  const struct sb_series p = {{0.0, 0.0, 0.0, 0.5, -1.0}};
  assert_near(first_fall(1, 4, &p), 0.5, root_limit(&p, 4, 0.5));
}

/* A touch by rounding may be a fall at the touch; never one anywhere else. */
static void a_touch_is_no_fall(void **state)
{
  (void)state;
  const double twice[] = {0.5, 0.5};
  struct sb_series p = product_of(1.0, 2, twice);
  assert_true(isinf(first_fall(1, 2, &p)));
  for (double touch = 0.05; touch < 0.7; touch += 0.01) {
    const double then[] = {touch, touch, 0.75};
    p = product_of(-1.0, 3, then);
    const double got = first_fall(1, 3, &p);
    if (got < 0.74) {
      expect_touch(&p, 3, touch, 2.0 * (0.75 - touch), 2, (const double[]){got, got});
    } else {
      assert_near(got, 0.75, root_limit(&p, 3, 0.75));
    }
  }
}

/* What holds ahead and behind: a start needs both below zero at one time. */
static void two_guards_fall_when_both_are_below_zero(void **state)
{
  (void)state;
  const double early[] = {0.1, 0.3, 0.8}, late[] = {0.4, 0.6}, over[] = {0.35};
  struct sb_series two[2] = {product_of(-1.0, 3, early), product_of(1.0, 2, late)};
  /* The first is below zero on 0.1..0.3 and from 0.8 on, the second on 0.4..0.6: never both. */
  assert_true(isinf(first_fall(2, 3, two)));
  two[1] = product_of(-1.0, 1, over); /* below zero from 0.35 on: both from 0.8 on */
  assert_near(first_fall(2, 3, two), 0.8, root_limit(&two[0], 3, 0.8));
  const struct sb_series turned[2] = {two[1], two[0]};
  assert_near(first_fall(2, 3, turned), 0.8, root_limit(&two[0], 3, 0.8));
  const double later[] = {0.15};
  two[1] = product_of(-1.0, 1, later); /* both from 0.15 on */
  assert_near(first_fall(2, 3, two), 0.15, root_limit(&two[1], 1, 0.15));
  two[0] = two[1] = product_of(1.0, 1, (const double[]){1.0}); /* s - 1: at once */
  assert_near(first_fall(2, 1, two), 0.0, 0.0);
}

/* Random pairs against a fine search: where both are below zero first. */
static void random_pairs_fall_where_a_search_finds_both_below_zero(void **state)
{
  (void)state;
  enum { PLACES = 2000 };
  gsl_rng *rng = dice_of(0);
  int fallen = 0;
  for (int trial = 0; trial < 1000; trial++) {
    const int degree = 2 + trial % 8;
    struct sb_series pair[2];
    for (int i = 0; i < 2; i++) {
      double put[10];
      for (int k = 0; k < degree; k++) put[k] = plane_between(rng, 0.0, 1.2);
      pair[i] = product_of(1.0, degree, put);
      if (pair[i].c[0] < 0.0) pair[i] = sb_series_scaled(&pair[i], degree, -1.0, 0.0);
    }
    const double got = first_fall(2, degree, pair);
    double want = INFINITY;
    for (int i = PLACES; i >= 0; i--) {
      const double s = (double)i / PLACES;
      const bool is_below = sb_series_at(&pair[0], degree, s) < 0.0 && sb_series_at(&pair[1], degree, s) < 0.0;
      if (is_below) want = s;
    }
    if (isfinite(want)) {
      /* The search sees no earlier fall, and may overlook a short one. */
      assert_true(got <= want);
      fallen++;
    }
    if (!isfinite(got)) continue;
    for (int i = 0; i < 2; i++) assert_true(sb_series_at(&pair[i], degree, got) <= noise_at(&pair[i], degree, got));
  }
  assert_true(fallen > 200);
  gsl_rng_free(rng);
}

/* At a root the value is rounding: whether it falls there shows only beyond. Both are below zero from the first's root at
 * 0.668652087004 on (40-digit arithmetic); the first's slope there is so small that its rounding moves it by 1e-9. */
static void a_guard_that_is_zero_by_rounding_where_the_other_falls_is_not_taken_for_a_rise(void **state)
{
  (void)state;
  const struct sb_series pair[2] = {
      {{0.29012445012608495, -2.7518994912306538, 11.371393645964751, -26.73422290745328, 39.108032144321939,
        -36.446920931083099, 21.130186476275156, -6.9666926446370772, 1.0}},
      {{0.0079996909073840848, -0.1648647480503917, 1.3137656963953122, -5.3222752386273227, 12.211029678590982,
        -16.535685859501378, 13.09010372131916, -5.6001723630353801, 1.0}},
  };
  assert_near(first_fall(2, 8, pair), 0.668652087004, root_limit(&pair[0], 8, 0.668652087004));
}

/* It does not rise before it falls: of -s + 0.7 s^2, zero again at 1.43, only what is before 1 counts. */
static void what_falls_from_zero_and_would_rise_beyond_the_end_falls_at_once(void **state)
{
  (void)state;
  const struct sb_series p = {{0.0, -1.0, 0.7}};
  assert_near(first_fall(1, 2, &p), 0.0, 0.0);
}

/* s^19 (6e-12 - 1e-11 s) - 1e-18 is below zero by rounding until 0.4783, and again from 0.598266174138 on (40-digit
 * arithmetic): a rise that can be seen only in the second half of the stretch. */
static void what_rises_from_below_zero_only_late_falls_at_its_next_root(void **state)
{
  (void)state;
  struct sb_series p = {{-1e-18}};
  p.c[19] = 6e-12;
  p.c[20] = -1e-11;
  assert_near(first_fall(1, 20, &p), 0.59826617413860, 1e-12);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_floor_a_size_and_a_one_way_course_hold_at_every_place),
      cmocka_unit_test(bounds_are_as_close_as_their_terms_allow),
      cmocka_unit_test(integral_slope_scaling_and_sum_are_those_of_powers),
      cmocka_unit_test(known_simple_roots_are_found_in_order),
      cmocka_unit_test(roots_upon_which_the_halving_falls_are_found),
      cmocka_unit_test(twelve_roots_between_the_ends_are_all_found),
      cmocka_unit_test(roots_as_many_as_the_degree_are_all_found),
      cmocka_unit_test(roots_of_degree_twenty_are_found),
      cmocka_unit_test(what_touches_zero_and_turns_back_is_no_root),
      cmocka_unit_test(a_dip_just_below_zero_has_two_roots_and_one_just_above_has_none),
      cmocka_unit_test(a_root_at_an_end_is_found_there_or_not_at_all),
      cmocka_unit_test(a_root_lies_where_the_new_sign_has_come),
      cmocka_unit_test(random_polynomials_have_the_roots_that_gsl_finds),
      cmocka_unit_test(what_goes_one_way_has_its_only_root_or_none),
      cmocka_unit_test(as_many_roots_as_there_is_room_for_are_the_first_ones),
      cmocka_unit_test(a_guard_falls_at_its_first_root),
      cmocka_unit_test(what_starts_at_zero_and_rises_falls_at_its_next_root),
      cmocka_unit_test(what_starts_too_flat_at_zero_to_be_seen_falls_there),
      cmocka_unit_test(what_starts_flat_at_zero_falls_at_its_next_root),
      cmocka_unit_test(a_touch_is_no_fall),
      cmocka_unit_test(two_guards_fall_when_both_are_below_zero),
      cmocka_unit_test(a_guard_that_is_zero_by_rounding_where_the_other_falls_is_not_taken_for_a_rise),
      cmocka_unit_test(random_pairs_fall_where_a_search_finds_both_below_zero),
      cmocka_unit_test(what_falls_from_zero_and_would_rise_beyond_the_end_falls_at_once),
      cmocka_unit_test(what_rises_from_below_zero_only_late_falls_at_its_next_root),
  };
  return cmocka_run_group_tests_name("series", tests, set_up, tear_down);
}
