// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Gauges that read too much or too little throughout. The truth is that of fit_data.h; what it would have shown at a voltage
 * of v times the nominal one, which a voltmeter of gain 1 / v takes for that, follows from the same motor line:
 *
 *   stall torque v (Ts + Tf) - Tf,  no-load speed w0 (v (Ts + Tf) - Tf) / Ts,  the time constant as it is
 *
 * A half-width divided by the root of 3 is a standard uncertainty (GUM 4.3.7), and one gain in all rows does not average
 * out (GUM 5.2.2: ten resistors compared with one standard).
 */
#include <gsl/gsl_math.h>
#include <string.h>

#include "fit/cover.h"
#include "help/fit_data.h"
#include "help/slow.h"

/* ---- logs by gauges that err ---- */

static const char gauge_text[] = "torque=1 %, speed=0.5 %, current=1 %, voltage=0.5 %, clock=0.1 %";

/* Reading over truth. */
struct gains {
  double of[SB_FIT_GAUGE_COUNT];
};

static struct gains all_right(void)
{
  return (struct gains){{1.0, 1.0, 1.0, 1.0, 1.0}};
}

static double driven_stall_nm(const struct gains *gains)
{
  return (fit_ts + fit_tf) / gains->of[SB_FIT_GAUGE_VOLTAGE] - fit_tf;
}

/* How noisy a log is. */
struct noise {
  double points_rpm, points_a, motion_rpm;
  int point_count, motion_count;
};

static struct sb_log points_log(const struct gains *gains, const struct noise *noise, gsl_rng *rng)
{
  char text[FIT_TEXT_SIZE];
  size_t length = (size_t)snprintf(text, sizeof text, "torque_nm,speed [rad/s],current_a\n");
  for (int i = 0; i < noise->point_count; i++) {
    const double torque = 0.6 * fit_ts * pow((double)i / (noise->point_count - 1), 1.2);
    const double w = fit_w0 * (driven_stall_nm(gains) - torque) / fit_ts,
                 amp = (torque + fit_tf + fit_b * w) / fit_kt();
    const double read_w = (w + gsl_ran_gaussian(rng, noise->points_rpm * FIT_RPM)) * gains->of[SB_FIT_GAUGE_SPEED];
    const double read_a = (amp + gsl_ran_gaussian(rng, noise->points_a)) * gains->of[SB_FIT_GAUGE_CURRENT];
    length += (size_t)snprintf(text + length, sizeof text - length, "%.12g,%.12g,%.12g\n",
                               torque * gains->of[SB_FIT_GAUGE_TORQUE], read_w, read_a);
  }
  return fit_read("points.csv", text, length);
}

/* Driven at 0.0123 s and open at 0.2 s. */
static struct sb_log motion_log(const struct gains *gains, const struct noise *noise, gsl_rng *rng)
{
  char text[FIT_TEXT_SIZE];
  const struct fit_motion motion = {.start_s = 0.0123, .off_s = 0.2};
  const double end = driven_stall_nm(gains) / fit_ts, k = fit_tf / fit_b;
  size_t length = (size_t)snprintf(text, sizeof text, "time_s,speed [rad/s]\n");
  for (int i = 0; i < noise->motion_count; i++) {
    const double t = 0.55 * i / (noise->motion_count - 1);
    double w = end * fit_speed(&motion, fmin(t, motion.off_s));
    if (t > motion.off_s) w = fmax(0.0, (w + k) * exp(-(t - motion.off_s) * fit_b / fit_j) - k);
    length +=
        (size_t)snprintf(text + length, sizeof text - length, "%.9f,%.12g\n", t * gains->of[SB_FIT_GAUGE_CLOCK],
                         (w + gsl_ran_gaussian(rng, noise->motion_rpm * FIT_RPM)) * gains->of[SB_FIT_GAUGE_SPEED]);
  }
  return fit_read("motion.csv", text, length);
}

static struct sb_fit_setup setup_with(const char *gauges)
{
  struct sb_fit_setup setup = fit_setup();
  struct sb_error err = {0};
  assert_int_equal(sb_fit_setup_gauge(&setup, gauges, &err), SB_OK);
  return setup;
}

static struct sb_fit_result solved(const char *gauges, const struct gains *gains, const struct noise *noise,
                                   unsigned long seed)
{
  gsl_rng *rng = fit_rng(seed);
  const struct sb_fit_setup setup = setup_with(gauges);
  struct sb_log logs[] = {points_log(gains, noise, rng), motion_log(gains, noise, rng)};
  struct sb_fit_result result = fit_solved(&setup, logs, 2);
  for (int k = 0; k < 2; k++) sb_log_clear(&logs[k]);
  gsl_rng_free(rng);
  return result;
}

static bool is_held(const struct sb_fit_result *result, enum sb_fit_figure_kind kind)
{
  const struct sb_fit_figure *figure = &result->figures[kind];
  assert_int_equal(figure->state, SB_FIT_DETERMINED);
  return figure->least <= fit_truth(kind) && fit_truth(kind) <= figure->greatest;
}

/* ---- closed forms ---- */

static const struct noise quiet = {1e-5, 1e-8, 1e-5, 12, 300};

/* How each figure answers to a gain that is not known of, by the closed forms: w0 as V (with the friction that does not
 * scale), speeds and torques by their gauges, J = Ts tau / w0, ... Here for a gain of one: d ln figure. */
struct answer {
  enum sb_fit_figure_kind kind;
  double torque, speed, current, voltage, clock;
};

/* A gain of the voltage: the true one is less, and the figures at 12 V are taken from what less did. */
static const double less_nm = (0.42 + 0.02) / 0.42; /* (Ts + Tf) / Ts */

static const struct answer answers[] = {
    {SB_FIT_NO_LOAD_SPEED, 0.0, 1.0, 0.0, -less_nm, 0.0}, {SB_FIT_STALL_TORQUE, 1.0, 0.0, 0.0, -less_nm, 0.0},
    {SB_FIT_STALL_CURRENT, 0.0, 0.0, 1.0, -1.0, 0.0},     {SB_FIT_TIME_CONSTANT, 0.0, 0.0, 0.0, 0.0, 1.0},
    {SB_FIT_ROTOR_INERTIA, 1.0, -1.0, 0.0, 0.0, 1.0},     {SB_FIT_MOTOR_FRICTION, 1.0, 0.0, 0.0, 0.0, 0.0},
    {SB_FIT_MOTOR_VISCOUS, 1.0, -1.0, 0.0, 0.0, 0.0},     {SB_FIT_KT, 1.0, 0.0, -1.0, 0.0, 0.0},
    {SB_FIT_RESISTANCE, 0.0, 0.0, -1.0, 1.0, 0.0},        {SB_FIT_FRICTION_OVER_INERTIA, 0.0, 1.0, 0.0, 0.0, -1.0},
};

static void each_gauge_moves_each_figure_as_its_closed_form_says(void **state)
{
  (void)state;
  static const char *const names[] = {"torque", "speed", "current", "voltage", "clock"};
  for (size_t g = 0; g < sizeof names / sizeof *names; g++) {
    char text[32];
    snprintf(text, sizeof text, "none,%s=2 %%", names[g]);
    const struct gains right = all_right();
    struct sb_fit_result result = solved(text, &right, &quiet, 1);
    for (size_t k = 0; k < sizeof answers / sizeof *answers; k++) {
      const struct answer *answer = &answers[k];
      const double by[] = {answer->torque, answer->speed, answer->current, answer->voltage, answer->clock};
      const struct sb_fit_figure *figure = &result.figures[answer->kind];
      const double want = 0.02 / M_SQRT3 * fabs(by[g]);
      if (figure->state != SB_FIT_DETERMINED) fail_msg("%s is not determined", sb_fit_figures[answer->kind].key);
      assert_near(figure->standard_error / figure->value, want, 2e-5); /* what noise is left to figures near zero */
      /* One gauge alone: all of its half-width, for it may be as wrong as that. */
      assert_near(0.5 * (figure->greatest - figure->least) / figure->value, 0.02 * fabs(by[g]), 1e-4);
      assert_near(figure->gauge_share, by[g] != 0.0 ? 1.0 : 0.0, 0.02);
    }
    sb_fit_result_clear(&result);
  }
}

/* Rows without number leave the error of the scale as it is, where noise would be a tenth of that of 12 rows. */
static void a_scale_that_errs_does_not_average_out(void **state)
{
  (void)state;
  const struct noise noises[] = {{1.0, 0.005, 1.0, 12, 100}, {1.0, 0.005, 1.0, 1000, 100}};
  const struct gains right = all_right();
  for (int k = 0; k < 2; k++) {
    struct sb_fit_result result = solved("none, torque=1 %", &right, &noises[k], 3);
    const struct sb_fit_figure *figure = &result.figures[SB_FIT_STALL_TORQUE];
    assert_true(figure->standard_error > 0.01 / M_SQRT3 * figure->value);
    assert_true(k == 0 || figure->standard_error < 0.0105 / M_SQRT3 * figure->value);
    sb_fit_result_clear(&result);
  }
}

/* Without any gauge stated not one of twelve intervals has the stall torque in it. */
static void a_scale_that_is_one_percent_wrong_is_allowed_for(void **state)
{
  (void)state;
  const struct noise good = {0.3, 0.001, 1.0, 12, 100};
  const char *const gauges[] = {"none", "none, torque=1 %"};
  for (int k = 0; k < 2; k++) {
    int held = 0;
    for (unsigned long seed = 0; seed < 12; seed++) {
      struct gains gains = all_right();
      gains.of[SB_FIT_GAUGE_TORQUE] = 1.01;
      struct sb_fit_result result = solved(gauges[k], &gains, &good, seed);
      held += is_held(&result, SB_FIT_STALL_TORQUE);
      sb_fit_result_clear(&result);
    }
    assert_true(k == 0 ? held == 0 : held >= 10);
  }
}

/* ---- intervals of noise and gauges together ---- */

/* Shares of draws of s T + sum of d U in which an interval of that reach holds zero: inside the half-widths, and at their ends. */
static void count_cover(double error, double freedom, const double *parts, size_t count, double shares[2])
{
  const double reach = sb_cover_reach(error, freedom, parts, count);
  const int draws = 100000;
  gsl_rng *rng = fit_rng(17);
  int held[2] = {0, 0};
  for (int i = 0; i < draws; i++) {
    const double noise = error * gsl_ran_tdist(rng, freedom);
    double inside = noise, ends = noise;
    for (size_t k = 0; k < count; k++) {
      inside += parts[k] * (2.0 * gsl_rng_uniform(rng) - 1.0);
      ends += parts[k];
    }
    held[0] += fabs(inside) <= reach;
    held[1] += fabs(ends) <= reach;
  }
  for (int k = 0; k < 2; k++) shares[k] = (double)held[k] / draws;
  gsl_rng_free(rng);
}

/* 100 000 draws know a share to 0.1 %. One of the two is reached exactly, the other one is more than asked for. */
static void a_reach_holds_what_it_says_of_any_mixture(void **state)
{
  (void)state;
  static const struct {
    double error, freedom;
    size_t count;
    double parts[5];
  } cases[] = {
      {1.0, 5.0, 0, {0.0}},
      {1.0, 1.0, 1, {3.0}},
      {1.0, 8.0, 1, {1.0}},
      {0.05, 100.0, 1, {-1.0}},
      {1.0, 30.0, 2, {1.0, -1.0}},
      {0.01, 30.0, 2, {1.0, -1.0}},
      {0.3, 3.0, 3, {1.0, 0.5, 1e-3}},
      {0.2, 50.0, 5, {1.0, -0.9, 0.8, -0.7, 0.6}},
  };
  for (size_t k = 0; k < sizeof cases / sizeof *cases; k++) {
    double shares[2];
    count_cover(cases[k].error, cases[k].freedom, cases[k].parts, cases[k].count, shares);
    assert_true(shares[0] > 0.95 - 0.003 && shares[1] > 0.90 - 0.003);
    assert_true(fmin(shares[0] - 0.95, shares[1] - 0.90) < 0.003);
  }
  /* The sum of two equal ones has a triangular density, 95 % of which lie within 2 (1 - sqrt 0.05) of them. */
  const double equal[] = {1.0, -1.0};
  assert_near(sb_cover_reach(0.0, 10.0, equal, 2), 2.0 * (1.0 - sqrt(0.05)), 2e-3);
}

/* The sum of a great and a small one has a density with sloping ends: (1.5 - h)^2 / (4 x 1 x 0.5) of it lie beyond h. */
static void the_order_of_gauges_does_not_count(void **state)
{
  (void)state;
  static const double two[][2] = {{1.0, -0.5}, {-0.5, 1.0}};
  static const double three[][3] = {{1.0, -0.5, 0.2}, {-0.5, 1.0, 0.2}, {0.2, -0.5, 1.0}, {-0.5, 0.2, 1.0}};
  assert_near(sb_cover_reach(0.0, 10.0, two[0], 2), 1.5 - sqrt(0.05 * 4.0 * 0.5), 4e-3); /* a tenth of its steps */
  assert_near_rel(sb_cover_reach(0.0, 10.0, two[1], 2), sb_cover_reach(0.0, 10.0, two[0], 2), 1e-9);
  for (size_t k = 1; k < sizeof three / sizeof *three; k++) {
    assert_near_rel(sb_cover_reach(0.1, 10.0, three[k], 3), sb_cover_reach(0.1, 10.0, three[0], 3), 1e-9);
  }
}

/* What each figure's interval held of so many logs, and the least of these shares. */
static double least_share(const struct noise *noise, int ends, int trials, double *greatest)
{
  static const enum sb_fit_figure_kind kinds[] = {SB_FIT_NO_LOAD_SPEED,   SB_FIT_STALL_TORQUE,  SB_FIT_STALL_CURRENT,
                                                  SB_FIT_NO_LOAD_CURRENT, SB_FIT_ROTOR_INERTIA, SB_FIT_MOTOR_FRICTION,
                                                  SB_FIT_MOTOR_VISCOUS,   SB_FIT_RESISTANCE,    SB_FIT_KT};
  enum { KIND_COUNT = sizeof kinds / sizeof *kinds };
  const struct sb_fit_setup setup = setup_with(gauge_text);
  int held[KIND_COUNT] = {0};
  for (int trial = 0; trial < trials; trial++) {
    gsl_rng *rng = fit_rng(20000 + (unsigned long)trial);
    struct gains gains;
    for (int g = 0; g < SB_FIT_GAUGE_COUNT; g++) {
      const double u = ends != 0 ? ends : 2.0 * gsl_rng_uniform(rng) - 1.0;
      gains.of[g] = 1.0 + setup.gauges[g].half_width * u;
    }
    struct sb_fit_result result = solved(gauge_text, &gains, noise, 80000 + (unsigned long)trial);
    for (int k = 0; k < KIND_COUNT; k++) held[k] += is_held(&result, kinds[k]);
    sb_fit_result_clear(&result);
    gsl_rng_free(rng);
  }
  double least = 1.0;
  *greatest = 0.0;
  for (int k = 0; k < KIND_COUNT; k++) {
    print_message("%s held in %.1f %%\n", sb_fit_figures[kinds[k]].key, 100.0 * held[k] / trials);
    least = fmin(least, (double)held[k] / trials);
    *greatest = fmax(*greatest, (double)held[k] / trials);
  }
  return least;
}

/* Gauges make two thirds of some intervals here and next to nothing of others. */
static const struct noise usual = {1.5, 0.005, 3.0, 10, 100};

static void intervals_hold_the_truth_as_often_as_they_say_with_gauges_that_err(void **state)
{
  (void)state;
  double greatest;
  const double least = least_share(&usual, 0, IS_SLOW ? 40 : 300, &greatest);
  assert_true(least >= (IS_SLOW ? 0.85 : 0.92));
  assert_true(greatest <= (IS_SLOW ? 1.0 : 0.98));
}

static void intervals_hold_the_truth_with_all_gauges_at_the_ends_of_their_half_widths(void **state)
{
  (void)state;
  double greatest;
  for (int ends = -1; ends <= 1; ends += 2) {
    assert_true(least_share(&usual, ends, IS_SLOW ? 20 : 100, &greatest) >= (IS_SLOW ? 0.75 : 0.90));
  }
}

/* ---- words ---- */

static void expect_refusal(const char *text, const char *wanted)
{
  struct sb_fit_setup setup = fit_setup();
  struct sb_error err = {.text = ""};
  assert_int_equal(sb_fit_setup_gauge(&setup, text, &err), SB_ERR_USAGE);
  assert_string_equal(err.text, wanted);
}

static void half_widths_are_read_and_the_others_stay_usual(void **state)
{
  (void)state;
  struct sb_fit_setup setup = sb_fit_setup_default(NULL);
  struct sb_error err = {0};
  assert_int_equal(sb_fit_setup_gauge(&setup, "torque=1.5 %,clock=0.05 %", &err), SB_OK);
  assert_near(setup.gauges[SB_FIT_GAUGE_TORQUE].half_width, 0.015, 1e-15);
  assert_near(setup.gauges[SB_FIT_GAUGE_CLOCK].half_width, 0.0005, 1e-15);
  assert_false(setup.gauges[SB_FIT_GAUGE_CLOCK].is_default);
  assert_true(setup.gauges[SB_FIT_GAUGE_SPEED].is_default);
  assert_true(setup.gauges[SB_FIT_GAUGE_SPEED].half_width == sb_fit_gauges[SB_FIT_GAUGE_SPEED].usual);
  assert_int_equal(sb_fit_setup_gauge(&setup, "none", &err), SB_OK);
  assert_true(setup.gauges[SB_FIT_GAUGE_SPEED].half_width == 0.0 && !setup.gauges[SB_FIT_GAUGE_SPEED].is_default);
  expect_refusal("weight=1 %", "--gauge needs torque, speed, current, voltage or clock, found \"weight\"");
  expect_refusal("torque=40 %", "--gauge torque: needs 0 to 30 %, found \"40 %\"");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_order_of_gauges_does_not_count),
      cmocka_unit_test(each_gauge_moves_each_figure_as_its_closed_form_says),
      cmocka_unit_test(a_scale_that_errs_does_not_average_out),
      cmocka_unit_test(a_scale_that_is_one_percent_wrong_is_allowed_for),
      cmocka_unit_test(a_reach_holds_what_it_says_of_any_mixture),
      cmocka_unit_test(intervals_hold_the_truth_as_often_as_they_say_with_gauges_that_err),
      cmocka_unit_test(intervals_hold_the_truth_with_all_gauges_at_the_ends_of_their_half_widths),
      cmocka_unit_test(half_widths_are_read_and_the_others_stay_usual),
  };
  return cmocka_run_group_tests_name("fit_gauge", tests, NULL, NULL);
}
