// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Weights, spreads and outliers of one unknown, the mean of a few speeds of a motor that nothing loads: all of it can be worked
 * out by hand.
 */
#include <string.h>

#include "fit/estimate.h"
#include "help/fit_data.h"

/* The median of what is normally distributed, by magnitude, in standard deviations. */
static const double median_of_one = 0.6745;

static struct sb_fit_setup bench_setup;
static struct sb_bench bench; /* large, hence not on the stack */
static struct sb_estimate estimate;
static struct sb_log speed_log;

enum { COUNT_MAX = 1000 };

/* Readings of the no-load speed, by how far they are from 100 rad/s; nothing else is sought. */
static void begin(const double *off, size_t count)
{
  static char text[24 * COUNT_MAX];
  size_t length = (size_t)snprintf(text, sizeof text, "torque_nm,speed_rad_s\n");
  for (size_t i = 0; i < count; i++) {
    length += (size_t)snprintf(text + length, sizeof text - length, "0,%.9g\n", 100.0 + off[i]);
  }
  speed_log = fit_read("speeds.csv", text, length);
  for (int c = 0; c < SB_LOG_COLUMN_COUNT; c++) speed_log.quantum[c] = 0.0; /* they are not rounded */
  struct sb_error err = {0};
  assert_int_equal(sb_bench_init(&bench, &bench_setup, &speed_log, 1, &err), SB_OK);
  assert_int_equal(sb_bench_start(&bench, &err), SB_OK);
  for (int c = 0; c < bench.channel_count; c++) bench.channels[c].quantum = 0.0;
  memset(bench.is_free, 0, sizeof bench.is_free);
  bench.is_free[SB_FIT_P_NO_LOAD_SPEED] = true;
  assert_int_equal(sb_estimate_init(&estimate, &bench, &err), SB_OK);
}

static void end(void)
{
  sb_estimate_clear(&estimate);
  sb_bench_clear(&bench);
  sb_log_clear(&speed_log);
}

static int set_up(void **state)
{
  (void)state;
  bench_setup = fit_setup();
  return 0;
}

/*
 * Off by -4, -2, 0, 1 and 5, in all 0. One of the five is as good as used for the mean; of the others, 1, 2, 4 and 5, the upper
 * middle one is the spread of the bulk.
 */
static void readings_alike_give_their_mean_and_the_spread_of_their_bulk(void **state)
{
  (void)state;
  static const double off[] = {-4.0, -2.0, 0.0, 1.0, 5.0};
  struct sb_error err = {0};
  bool is_sound = false;
  begin(off, 5);
  assert_int_equal(sb_estimate_run_plain(&estimate, &is_sound, &err), SB_OK);
  assert_true(is_sound);
  assert_near(bench.p[SB_FIT_P_NO_LOAD_SPEED], 100.0, 1e-6);
  assert_near_rel(bench.channels[0].sd, 4.0 / median_of_one, 1e-6);
  for (size_t i = 0; i < 5; i++) assert_near_rel(estimate.weights[i], pow(4.0 / median_of_one, -2.0), 1e-6);
  end();
}

/* Four degrees of freedom for the squares, 46; the mean is known to a fifth of that variance. */
static void spread_and_error_are_those_of_a_mean(void **state)
{
  (void)state;
  static const double off[] = {-4.0, -2.0, 0.0, 1.0, 5.0};
  struct sb_error err = {0};
  begin(off, 5);
  assert_int_equal(sb_estimate_run(&estimate, &err), SB_OK);
  assert_near_rel(bench.channels[0].sd, sqrt(46.0 / 4.0), 1e-6);
  assert_near_rel(bench.channels[0].freedom, 4.0, 1e-6);
  assert_near_rel(estimate.covariance[0], 46.0 / 4.0 / 5.0 / (100.0 * 100.0), 1e-6); /* of the logarithm */
  end();
}

/* One reading leaves nothing to see its spread by: 2 % of it, as a simple gauge has them. */
static void a_single_reading_is_taken_for_good_to_two_percent(void **state)
{
  (void)state;
  static const double off[] = {0.0};
  struct sb_error err = {0};
  begin(off, 1);
  assert_int_equal(sb_estimate_run(&estimate, &err), SB_OK);
  assert_near(bench.channels[0].freedom, 0.0, 0.0);
  assert_near_rel(bench.channels[0].sd, 2.0, 1e-6);
  end();
}

/* 95 % of a normal distribution lie within 1.959964 standard deviations to either side. */
static void a_figure_known_within_a_range_counts_by_its_deviation(void **state)
{
  (void)state;
  static const double off[] = {-1.0, 0.0, 1.0};
  bench_setup.known_count = 1;
  bench_setup.known[0] = (struct sb_fit_known){SB_FIT_NO_LOAD_SPEED, 90.0, 110.0};
  begin(off, 3);
  sb_estimate_weigh_roughly(&estimate);
  for (size_t i = 0; i < 3; i++) assert_near_rel(estimate.weights[i], pow(0.01 * 101.0, -2.0), 1e-9);
  assert_near_rel(estimate.weights[3], pow(10.0 / 1.959964, -2.0), 1e-6);
  end();
}

/*
 * A thousand readings, one above and one below in turn, and four far off: the bulk spreads by 1 / 0.6745, and one sound log in a
 * thousand has a reading beyond 4.9 times that, 7.3.
 */
static void run_with(const double far[4], double before, double after)
{
  static double off[COUNT_MAX];
  struct sb_error err = {0};
  for (size_t i = 0; i < COUNT_MAX; i++) off[i] = i % 2 == 1 ? 1.0 : -1.0;
  off[499] = before;
  memcpy(off + 500, far, 4 * sizeof *far);
  off[504] = after;
  begin(off, COUNT_MAX);
  assert_int_equal(sb_estimate_run_robust(&estimate, &err), SB_OK);
}

static void expect_outliers(size_t outliers, size_t deviating)
{
  assert_int_equal(bench.channels[0].outlier_count, outliers);
  assert_int_equal(bench.channels[0].deviating_count, deviating);
  for (size_t i = 0; i < COUNT_MAX; i++) {
    assert_int_equal(bench.readings[i].is_outlier, outliers > 0 && i >= 500 && i < 504);
  }
  end();
}

/* A machine that moves in another way than the model's does so gradually: by less than half of what it is off at most. */
static void a_burst_is_set_aside_and_a_gradual_run_has_its_say(void **state)
{
  (void)state;
  static const double comes[] = {8.5, 16.0, 16.0, 16.0}, goes[] = {16.0, 16.0, 16.0, 8.5},
                      burst[] = {16.0, 16.0, 16.0, 16.0};
  run_with(comes, 1.0, -1.0);
  expect_outliers(0, 4);
  run_with(goes, 1.0, 1.0);
  expect_outliers(0, 4);
  run_with(burst, 1.0, -1.0);
  expect_outliers(4, 0);
  /* From -1 to 8.5 is more than half of 16. */
  run_with(comes, -1.0, -1.0);
  expect_outliers(4, 0);
}

/* A single reading far off tells that the model is not the machine, or the sensor not sound. */
static void a_plain_solution_is_sound_where_no_reading_is_far_off(void **state)
{
  (void)state;
  enum { COUNT = 20 };
  for (int far_count = 0; far_count < 2; far_count++) {
    double off[COUNT];
    struct sb_error err = {0};
    bool is_sound = false;
    for (size_t i = 0; i < COUNT; i++) off[i] = i % 2 == 1 ? 1.0 : -1.0;
    if (far_count > 0) off[7] = 1000.0;
    begin(off, COUNT);
    assert_int_equal(sb_estimate_run_plain(&estimate, &is_sound, &err), SB_OK);
    assert_int_equal(is_sound, far_count == 0);
    assert_int_equal(bench.channels[0].outlier_count, far_count);
    end();
  }
}

/* From a fourth to four times an inertia, 15 % to either side of an efficiency that stays within 1, a friction by 3 / 4 of its scale. */
static void a_search_looks_as_far_to_either_side_of_a_parameter(void **state)
{
  (void)state;
  bench.scale[SB_FIT_P_VISCOUS] = 4.0;
  for (int side = -1; side <= 1; side++) {
    const double u = 0.5 + 0.5 * side;
    assert_near_rel(sb_explore_parameter(&bench, SB_FIT_P_ROTOR_INERTIA, 2.0, u), 2.0 * pow(4.0, side), 1e-15);
    assert_near_rel(sb_explore_parameter(&bench, SB_FIT_P_LOAD_INERTIA, 2.0, u), 2.0 * pow(4.0, side), 1e-15);
    assert_near_rel(sb_explore_parameter(&bench, SB_FIT_P_MESH_EFFICIENCY, 0.5, u), 0.5 * pow(1.15, side), 1e-15);
    assert_near_rel(sb_explore_parameter(&bench, SB_FIT_P_STALL_TORQUE, 2.0, u), 2.0 * pow(1.3, side), 1e-15);
    assert_near(sb_explore_parameter(&bench, SB_FIT_P_VISCOUS, 5.0, u), 5.0 + 3.0 * side, 1e-15);
  }
  assert_near(sb_explore_parameter(&bench, SB_FIT_P_MESH_EFFICIENCY, 0.9, 1.0), 1.0, 0.0);
  assert_near(sb_explore_parameter(&bench, SB_FIT_P_VISCOUS, 1.0, 0.0), 0.0, 0.0);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test_setup(readings_alike_give_their_mean_and_the_spread_of_their_bulk, set_up),
      cmocka_unit_test_setup(spread_and_error_are_those_of_a_mean, set_up),
      cmocka_unit_test_setup(a_single_reading_is_taken_for_good_to_two_percent, set_up),
      cmocka_unit_test_setup(a_figure_known_within_a_range_counts_by_its_deviation, set_up),
      cmocka_unit_test_setup(a_burst_is_set_aside_and_a_gradual_run_has_its_say, set_up),
      cmocka_unit_test_setup(a_plain_solution_is_sound_where_no_reading_is_far_off, set_up),
      cmocka_unit_test_setup(a_search_looks_as_far_to_either_side_of_a_parameter, set_up),
  };
  return cmocka_run_group_tests_name("fit estimate", tests, NULL, NULL);
}
