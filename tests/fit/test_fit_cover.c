// SPDX-License-Identifier: GPL-3.0-or-later
/* Intervals that say 95 % hold the truth in 93 to 97 of 100 seeded noisy logs. 500 trials know that share to 1 %. */
#include <string.h>

#include "help/fit_data.h"
#include "help/slow.h"

/* Under the sanitizers fewer trials look for faults of memory; their share is bounded at three of its own deviations. */
static const int trial_count = IS_SLOW ? 60 : 500;

struct tally {
  int told, held;
};

static void count_result(const struct sb_fit_result *result, struct tally tallies[SB_FIT_FIGURE_COUNT])
{
  for (int k = 0; k < SB_FIT_FIGURE_COUNT; k++) {
    const struct sb_fit_figure *figure = &result->figures[k];
    const double truth = fit_truth((enum sb_fit_figure_kind)k);
    if (figure->state != SB_FIT_DETERMINED) continue;
    tallies[k].told++;
    tallies[k].held += truth >= figure->least && truth <= figure->greatest;
  }
}

static void expect_cover(const struct tally tallies[SB_FIT_FIGURE_COUNT], const enum sb_fit_figure_kind *kinds,
                         size_t count)
{
  const double margin = IS_SLOW ? 3.0 * sqrt(0.95 * 0.05 / trial_count) : 0.02;
  for (size_t k = 0; k < count; k++) {
    const struct tally *tally = &tallies[kinds[k]];
    if (tally->told != trial_count) fail_msg("%s: told %d times", sb_fit_figures[kinds[k]].key, tally->told);
    const double share = (double)tally->held / trial_count;
    if (fabs(share - 0.95) > margin) fail_msg("%s: held in %.1f %%", sb_fit_figures[kinds[k]].key, 100.0 * share);
  }
}

/* 120 readings of a spin-up with 1 % noise: speed, time constant, and, the inertia known, the stall torque. */
static void intervals_of_a_spin_up_hold_the_truth_as_often_as_they_say(void **state)
{
  (void)state;
  struct tally tallies[SB_FIT_FIGURE_COUNT] = {{0, 0}};
  struct sb_fit_setup setup = fit_setup();
  setup.known[setup.known_count++] = (struct sb_fit_known){SB_FIT_ROTOR_INERTIA, fit_j, fit_j};
  for (int trial = 0; trial < trial_count; trial++) {
    gsl_rng *rng = fit_rng(1000 + (unsigned long)trial);
    const struct fit_motion motion = {
        .count = 120, .length_s = 8.0 * fit_tau(), .start_s = 0.0123, .off_s = INFINITY, .noise_rpm = 3.0};
    struct sb_log log = fit_motion_log(&motion, rng);
    struct sb_fit_result result = fit_solved(&setup, &log, 1);
    count_result(&result, tallies);
    sb_fit_result_clear(&result);
    sb_log_clear(&log);
    gsl_rng_free(rng);
  }
  static const enum sb_fit_figure_kind kinds[] = {SB_FIT_NO_LOAD_SPEED, SB_FIT_STALL_TORQUE, SB_FIT_TIME_CONSTANT,
                                                  SB_FIT_TORQUE_OVER_INERTIA};
  expect_cover(tallies, kinds, sizeof kinds / sizeof *kinds);
}

/* Seven points with speed and current and one log with a spin-up and a coast-down, each noisy in its own way. The seven have
 * few degrees of freedom: without Student's t their intervals would be far too short. */
static void intervals_of_points_and_motion_together_hold_the_truth_as_often_as_they_say(void **state)
{
  (void)state;
  struct tally tallies[SB_FIT_FIGURE_COUNT] = {{0, 0}};
  const struct sb_fit_setup setup = fit_setup();
  for (int trial = 0; trial < trial_count; trial++) {
    gsl_rng *rng = fit_rng(5000 + (unsigned long)trial);
    const struct fit_motion motion = {
        .count = 100, .length_s = 0.55, .start_s = 0.0123, .off_s = 0.2, .noise_rpm = 3.0};
    struct sb_log logs[] = {fit_points_log(7, 1.5, 0.004, rng), fit_motion_log(&motion, rng)};
    struct sb_fit_result result = fit_solved(&setup, logs, 2);
    count_result(&result, tallies);
    sb_fit_result_clear(&result);
    for (int k = 0; k < 2; k++) sb_log_clear(&logs[k]);
    gsl_rng_free(rng);
  }
  static const enum sb_fit_figure_kind kinds[] = {SB_FIT_NO_LOAD_SPEED,   SB_FIT_STALL_TORQUE,  SB_FIT_STALL_CURRENT,
                                                  SB_FIT_NO_LOAD_CURRENT, SB_FIT_ROTOR_INERTIA, SB_FIT_MOTOR_FRICTION,
                                                  SB_FIT_MOTOR_VISCOUS,   SB_FIT_RESISTANCE,    SB_FIT_KT};
  expect_cover(tallies, kinds, sizeof kinds / sizeof *kinds);
}

/* Speeds rounded to 10 rpm with 1 rpm of noise: the rounding of neighbours is one, so averages promise less than they would
 * with independent errors. Too wide is allowed here, too narrow is not. */
static void coarse_rounding_never_makes_intervals_too_narrow(void **state)
{
  (void)state;
  struct tally tallies[SB_FIT_FIGURE_COUNT] = {{0, 0}};
  struct sb_fit_setup setup = fit_setup();
  setup.known[setup.known_count++] = (struct sb_fit_known){SB_FIT_ROTOR_INERTIA, fit_j, fit_j};
  const int count = trial_count / 5;
  for (int trial = 0; trial < count; trial++) {
    gsl_rng *rng = fit_rng(9000 + (unsigned long)trial);
    const struct fit_motion motion = {
        .count = 120, .length_s = 0.8, .start_s = 0.0123, .off_s = 0.25, .noise_rpm = 1.0, .step_rpm = 10.0};
    struct sb_log log = fit_motion_log(&motion, rng);
    struct sb_fit_result result = fit_solved(&setup, &log, 1);
    assert_near(result.channels[0].quantum, 10.0 * FIT_RPM, 1e-9);
    count_result(&result, tallies);
    sb_fit_result_clear(&result);
    sb_log_clear(&log);
    gsl_rng_free(rng);
  }
  static const enum sb_fit_figure_kind kinds[] = {SB_FIT_NO_LOAD_SPEED, SB_FIT_STALL_TORQUE, SB_FIT_MOTOR_FRICTION,
                                                  SB_FIT_MOTOR_VISCOUS};
  for (size_t k = 0; k < sizeof kinds / sizeof *kinds; k++) {
    assert_int_equal(tallies[kinds[k]].told, count);
    assert_true(tallies[kinds[k]].held >= 93 * count / 100);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(intervals_of_a_spin_up_hold_the_truth_as_often_as_they_say),
      cmocka_unit_test(intervals_of_points_and_motion_together_hold_the_truth_as_often_as_they_say),
      cmocka_unit_test(coarse_rounding_never_makes_intervals_too_narrow),
  };
  return cmocka_run_group_tests_name("fit_cover", tests, NULL, NULL);
}
