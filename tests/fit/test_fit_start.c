// SPDX-License-Identifier: GPL-3.0-or-later
/* First values, from which a search sets out: near enough to the truth by straight lines through the logs alone. */
#include <string.h>

#include "fit/bench.h"
#include "help/fit_data.h"
#include "help/loaded.h"
#include "help/worn.h"

static struct sb_bench bench; /* large, hence not on the stack */

/* Plans the bench and gives it its first values. */
static void start(const struct sb_fit_setup *setup, const struct sb_log *logs, size_t count)
{
  struct sb_error err = {0};
  if (sb_bench_init(&bench, setup, logs, count, &err) != SB_OK || sb_bench_start(&bench, &err) != SB_OK) {
    fail_msg("%s", err.text);
  }
}

/* Rows are so far apart that the first one above rest comes a sixth of the time constant late. */
static void a_rise_is_followed_back_to_where_it_began(void **state)
{
  (void)state;
  const struct fit_motion motion = {.count = 30, .length_s = 0.15, .start_s = 0.0123, .off_s = INFINITY};
  const struct sb_fit_setup setup = fit_setup();
  struct sb_log log = fit_motion_log(&motion, NULL);
  start(&setup, &log, 1);
  assert_near(bench.tests[0].own[SB_OWN_START], motion.start_s, 0.05 * fit_tau());
  assert_near_rel(bench.p[SB_FIT_P_NO_LOAD_SPEED], fit_w0, 0.02);
  const double tau_s =
      bench.p[SB_FIT_P_ROTOR_INERTIA] * bench.p[SB_FIT_P_NO_LOAD_SPEED] / bench.p[SB_FIT_P_STALL_TORQUE];
  assert_near_rel(tau_s, fit_tau(), 0.1);
  sb_bench_clear(&bench);
  sb_log_clear(&log);
}

/* A log of 0.1 s that begins while the motor already turns, at an hour by its clock; behind its back stands what is no time. */
static void nothing_before_the_first_row_counts(void **state)
{
  (void)state;
  const struct fit_motion motion = {
      .count = 40, .from_s = 3600.02, .length_s = 0.1, .start_s = 3600.0123, .off_s = INFINITY};
  const struct sb_fit_setup setup = fit_setup();
  struct sb_log log = fit_motion_log(&motion, NULL);
  double times[64] = {NAN}, *own = log.time_s;
  memcpy(times + 1, log.time_s, log.count * sizeof *log.time_s);
  log.time_s = times + 1;
  start(&setup, &log, 1);
  assert_near_rel(bench.p[SB_FIT_P_NO_LOAD_SPEED], fit_w0, 0.02);
  log.time_s = own;
  sb_bench_clear(&bench);
  sb_log_clear(&log);
}

/* A log of 4 s, of which the motor needs a twentieth to reach its end speed. */
static void a_long_time_at_the_end_speed_does_not_outvote_the_way_there(void **state)
{
  (void)state;
  const struct fit_motion motion = {
      .count = 2000, .length_s = 4.0, .start_s = 0.0123, .off_s = INFINITY, .noise_rpm = 3.0};
  const struct sb_fit_setup setup = fit_setup();
  gsl_rng *rng = fit_rng(1);
  struct sb_log log = fit_motion_log(&motion, rng);
  start(&setup, &log, 1);
  const double tau_s =
      bench.p[SB_FIT_P_ROTOR_INERTIA] * bench.p[SB_FIT_P_NO_LOAD_SPEED] / bench.p[SB_FIT_P_STALL_TORQUE];
  assert_near_rel(tau_s, fit_tau(), 0.1);
  gsl_rng_free(rng);
  sb_bench_clear(&bench);
  sb_log_clear(&log);
}

/* The motor turns at its full speed for 0.1 s of a log that is told to show a coast-down. */
static void the_instant_at_which_a_drive_is_switched_off_is_found(void **state)
{
  (void)state;
  const struct fit_motion motion = {.count = 300, .from_s = 0.2, .length_s = 0.6, .off_s = 0.3, .noise_rpm = 0.5};
  struct sb_fit_setup setup = fit_setup();
  setup.phases[0] = SB_FIT_COAST_DOWN;
  gsl_rng *rng = fit_rng(1);
  struct sb_log log = fit_motion_log(&motion, rng);
  start(&setup, &log, 1);
  assert_true(bench.tests[0].is_own_free[SB_OWN_START]);
  assert_near(bench.tests[0].own[SB_OWN_START], 0.3, 0.01); /* in 0.01 s friction takes no more than 0.8 of 31 rad/s */
  assert_near_rel(sb_bench_figure(&bench, bench.p, SB_FIT_FRICTION_OVER_INERTIA), fit_tf / fit_j, 0.1);
  gsl_rng_free(rng);
  sb_bench_clear(&bench);
  sb_log_clear(&log);
}

static void start_from_points(const char *text)
{
  const struct sb_fit_setup setup = fit_setup();
  struct sb_log log = fit_read("points.csv", text, strlen(text));
  start(&setup, &log, 1);
  sb_bench_clear(&bench); /* its parameters stay */
  sb_log_clear(&log);
}

/*
 * By hand: three points have their middle at 0.1 N m, 61 / 3 rad/s and the slope (12 - 30) / 0.2 = -90 rad/s / N m; four have it at
 * 0.15 N m, 17.5 rad/s and -3.5 / 0.05 = -70. So few are not judged by each other, as a robust fit would.
 */
static void few_points_make_the_line_of_least_squares(void **state)
{
  (void)state;
  start_from_points("torque_nm,speed_rad_s\n0,30\n0.1,19\n0.2,12\n");
  assert_near_rel(bench.p[SB_FIT_P_NO_LOAD_SPEED], 61.0 / 3.0 + 9.0, 1e-9);
  assert_near_rel(bench.p[SB_FIT_P_STALL_TORQUE], (61.0 / 3.0 + 9.0) / 90.0, 1e-9);
  start_from_points("torque_nm,speed_rad_s\n0,30\n0.1,19\n0.2,12\n0.3,9\n");
  assert_near_rel(bench.p[SB_FIT_P_NO_LOAD_SPEED], 28.0, 1e-9);
  assert_near_rel(bench.p[SB_FIT_P_STALL_TORQUE], 0.4, 1e-9);
}

/* Two speeds near no load, by noise the wrong way round: no stall torque, least of all one below zero. */
static void speeds_that_hardly_rise_tell_no_stall_torque(void **state)
{
  (void)state;
  start_from_points("torque_nm,speed_rad_s\n0,30\n0.01,30.005\n0.02,30.01\n");
  assert_near_rel(bench.p[SB_FIT_P_NO_LOAD_SPEED], 30.0, 1e-9);
  assert_true(bench.p[SB_FIT_P_STALL_TORQUE] > 0.0);
}

/* A machine whose inertias are ten times the scenario's, or a third, gets them at once; any other figure stays. */
static void a_pace_far_from_the_scenarios_is_taken_at_once(void **state)
{
  (void)state;
  static const double factors[] = {1.0, 0.3, 3.0, 0.1, 10.0};
  const char *const sets[] = {"load.parts=[]", "run.duration=8 s"};
  char path[256];
  snprintf(path, sizeof path, "%s/scenarios/tray-cart.yaml", SB_SOURCE_DIR);
  loaded_take(path, sets, 2);
  const struct sb_model *model = &loaded_scenario.model;
  for (size_t k = 0; k < sizeof factors / sizeof *factors; k++) {
    struct sb_fit_setup setup = fit_exact(sb_fit_setup_default(model));
    struct sb_model other = *model;
    struct sb_run_result result;
    struct sb_log log;
    other.motor.rotor_inertia_kg_m2 *= factors[k];
    other.load.inertia_kg_m2 *= factors[k];
    worn_log(&other, 0.02, &log, &result);
    for (int c = 0; c < SB_LOG_COLUMN_COUNT; c++) {
      if (c != SB_LOG_MOTOR_SPEED && log.columns[c] != NULL) worn_strip(&log, (enum sb_log_column)c);
    }
    for (size_t i = 0; i < log.count; i++) log.columns[SB_LOG_MOTOR_SPEED][i] *= FIT_RPM; /* a fit has radians */
    setup.is_fitted[SB_FIT_P_ROTOR_INERTIA] = setup.is_fitted[SB_FIT_P_LOAD_INERTIA] = true;
    setup.gear = 2;
    start(&setup, &log, 1);
    assert_near_rel(bench.p[SB_FIT_P_ROTOR_INERTIA], factors[k] * model->motor.rotor_inertia_kg_m2, 1e-12);
    assert_near_rel(bench.p[SB_FIT_P_LOAD_INERTIA], factors[k] * model->load.inertia_kg_m2, 1e-12);
    assert_near_rel(bench.p[SB_FIT_P_STALL_TORQUE], model->motor.stall_torque_nm, 1e-12);
    sb_bench_clear(&bench);
    sb_log_clear(&log);
    sb_run_result_clear(&result);
  }
  sb_scenario_clear(&loaded_scenario);
}

/* Three times the torque moves the log's inertia three times as fast; both are given, and stay. */
static void what_is_known_stays_whatever_pace_the_log_has(void **state)
{
  (void)state;
  struct sb_fit_setup setup = fit_setup();
  struct sb_log log =
      fit_motion_log(&(struct fit_motion){.count = 200, .length_s = 0.2, .start_s = 0.0123, .off_s = INFINITY}, NULL);
  setup.known_count = 2;
  setup.known[0] = (struct sb_fit_known){SB_FIT_STALL_TORQUE, 3.0 * fit_ts, 3.0 * fit_ts};
  setup.known[1] = (struct sb_fit_known){SB_FIT_ROTOR_INERTIA, fit_j, fit_j};
  start(&setup, &log, 1);
  assert_near_rel(bench.p[SB_FIT_P_STALL_TORQUE], 3.0 * fit_ts, 1e-12);
  assert_near_rel(bench.p[SB_FIT_P_ROTOR_INERTIA], fit_j, 1e-12);
  sb_bench_clear(&bench);
  sb_log_clear(&log);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_rise_is_followed_back_to_where_it_began),
      cmocka_unit_test(nothing_before_the_first_row_counts),
      cmocka_unit_test(a_long_time_at_the_end_speed_does_not_outvote_the_way_there),
      cmocka_unit_test(the_instant_at_which_a_drive_is_switched_off_is_found),
      cmocka_unit_test(few_points_make_the_line_of_least_squares),
      cmocka_unit_test(speeds_that_hardly_rise_tell_no_stall_torque),
      cmocka_unit_test(a_pace_far_from_the_scenarios_is_taken_at_once),
      cmocka_unit_test(what_is_known_stays_whatever_pace_the_log_has),
  };
  return cmocka_run_group_tests_name("fit start", tests, NULL, NULL);
}
