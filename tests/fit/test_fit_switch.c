// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The instant at which a drive was switched, found from the speeds alone: a coast-down that begins before it, and a spin-up
 * switched on exactly at a row, where the squares have a minimum on either side.
 */
#include <string.h>

#include "help/fit_data.h"
#include "help/slow.h"

/* A coast-down with so long a lead-in at the no-load speed, which 10 time constants have brought within 5e-5 of its end. */
static struct fit_motion coast_after(double lead_in_s)
{
  return (struct fit_motion){
      .count = 140, .from_s = 0.3 - lead_in_s, .length_s = 0.3 + lead_in_s, .off_s = 0.3, .noise_rpm = 1.5};
}

static struct sb_fit_result solved_coast(double lead_in_s, gsl_rng *rng)
{
  const struct fit_motion motion = coast_after(lead_in_s);
  const struct sb_fit_setup setup = fit_setup();
  struct sb_log log = fit_motion_log(&motion, rng);
  struct sb_fit_result result = fit_solved(&setup, &log, 1);
  assert_int_equal(result.origins[0].phase, SB_FIT_COAST_DOWN);
  sb_log_clear(&log);
  return result;
}

/* A lead-in left in would make 1.3 times the friction of it, and less than no viscous one. */
static void the_switch_off_of_a_coast_down_is_found_wherever_it_is(void **state)
{
  (void)state;
  static const double lead_ins_s[] = {0.004, 0.01, 0.03, 0.1, 0.19};
  for (size_t k = 0; k < sizeof lead_ins_s / sizeof *lead_ins_s; k++) {
    gsl_rng *rng = fit_rng(60 + k);
    struct sb_fit_result result = solved_coast(lead_ins_s[k], rng);
    const struct sb_fit_origin *origin = &result.origins[0];
    assert_true(origin->off_se_s > 0.0 && isnan(origin->start_se_s));
    assert_near(origin->off_s, 0.3, 4.0 * origin->off_se_s);
    const struct sb_fit_figure *friction = &result.figures[SB_FIT_FRICTION_OVER_INERTIA];
    assert_near(friction->value, fit_tf / fit_j, 4.0 * friction->standard_error);
    assert_true(friction->standard_error < 0.05 * friction->value);
    sb_fit_result_clear(&result);
    gsl_rng_free(rng);
  }
}

/* Of lead-ins of any length, none among them: 500 trials know the share to 1 %. */
static void intervals_of_coast_downs_with_lead_ins_hold_the_truth_as_often_as_they_say(void **state)
{
  (void)state;
  const int trials = IS_SLOW ? 40 : 500;
  int held[2] = {0, 0};
  static const enum sb_fit_figure_kind kinds[] = {SB_FIT_FRICTION_OVER_INERTIA, SB_FIT_VISCOUS_OVER_INERTIA};
  for (int trial = 0; trial < trials; trial++) {
    gsl_rng *rng = fit_rng(70000 + (unsigned long)trial);
    struct sb_fit_result result = solved_coast(trial % 5 == 0 ? 0.0 : 0.2 * gsl_rng_uniform(rng), rng);
    for (int k = 0; k < 2; k++) {
      const struct sb_fit_figure *figure = &result.figures[kinds[k]];
      assert_int_equal(figure->state, SB_FIT_DETERMINED);
      held[k] += figure->least <= fit_truth(kinds[k]) && fit_truth(kinds[k]) <= figure->greatest;
    }
    sb_fit_result_clear(&result);
    gsl_rng_free(rng);
  }
  for (int k = 0; k < 2; k++) {
    const double share = (double)held[k] / trials;
    print_message("%s held in %.1f %%\n", sb_fit_figures[kinds[k]].key, 100.0 * share);
    assert_near(share, 0.95, IS_SLOW ? 0.1 : 0.03);
  }
}

/* Squares of a spin-up that begins at start_s with a time constant, its end speed the best one. */
static double squares_of(const struct sb_log *log, double start_s, double tau_s)
{
  double both = 0.0, model = 0.0, own = 0.0;
  for (size_t i = 0; i < log->count; i++) {
    const double t = log->time_s[i] - start_s, h = t > 0.0 ? 1.0 - exp(-t / tau_s) : 0.0;
    const double y = log->columns[SB_LOG_MOTOR_SPEED][i];
    both += h * y;
    model += h * h;
    own += y * y;
  }
  return own - both * both / model;
}

/* The least squares on a net of starts and time constants around the truth. */
static double least_squares_on_net(const struct sb_log *log, double start_s)
{
  double least = INFINITY;
  for (int i = -60; i <= 60; i++) {
    for (int k = -40; k <= 40; k++) {
      least = fmin(least, squares_of(log, start_s + 2.5e-5 * i, fit_tau() * (1.0 + 2e-3 * k)));
    }
  }
  return least;
}

static void the_better_of_two_minima_is_kept_where_a_switch_on_falls_on_a_row(void **state)
{
  (void)state;
  const struct fit_motion motion = {
      .count = 101, .length_s = 0.2, .start_s = 0.02, .off_s = INFINITY, .noise_rpm = 3.0}; /* rows 2 ms apart */
  const struct sb_fit_setup setup = fit_setup();
  for (unsigned long seed = 300; seed < (IS_SLOW ? 310 : 360); seed++) {
    gsl_rng *rng = fit_rng(seed);
    struct sb_log log = fit_motion_log(&motion, rng);
    struct sb_fit_result result = fit_solved(&setup, &log, 1);
    assert_int_equal(result.channels[0].outlier_count, 0);
    const double found = squares_of(&log, result.origins[0].start_s, result.figures[SB_FIT_TIME_CONSTANT].value);
    const double spread = result.channels[0].sd * result.channels[0].sd;
    assert_true(found < least_squares_on_net(&log, motion.start_s) + 0.01 * spread);
    sb_fit_result_clear(&result);
    sb_log_clear(&log);
    gsl_rng_free(rng);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_switch_off_of_a_coast_down_is_found_wherever_it_is),
      cmocka_unit_test(intervals_of_coast_downs_with_lead_ins_hold_the_truth_as_often_as_they_say),
      cmocka_unit_test(the_better_of_two_minima_is_kept_where_a_switch_on_falls_on_a_row),
  };
  return cmocka_run_group_tests_name("fit_switch", tests, NULL, NULL);
}
