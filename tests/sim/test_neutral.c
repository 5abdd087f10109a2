// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * In neutral motor and output are followed without a series. The series of the same motion (motion.h), which GSL's integrator
 * checks in test_sim_oracle, come to the same events, states and sums.
 */
#include "sim/neutral.h"

#include <gsl/gsl_randist.h>

#include "help/dice.h"
#include "help/models.h"
#include "help/near.h"
#include "sim/plain_events.h"
#include "sim/stretch.h"

/* Two gears under straight loads that help and hinder, grow and fall. */
static struct sb_model random_model(gsl_rng *dice, bool is_steady)
{
  struct sb_model model = model_two_gears(gsl_rng_uniform(dice) < 0.5 ? "selector" : "swing arm");
  if (gsl_rng_uniform(dice) < 0.5) model_set_currents(&model, 2.6, gsl_ran_flat(dice, 0.0, 0.2), 0.3);
  model.shifter.travel_time_s = gsl_ran_flat(dice, 0.01, 0.3);
  model.shifter.swing_turns = gsl_ran_flat(dice, 0.05, 1.0);
  model.shifter.is_drive_cut = gsl_rng_uniform(dice) < 0.3;
  static const double x[] = {0.0, 2.0};
  static double acting[2], resisting[2]; /* the model keeps hold of them */
  const double change = is_steady ? 0.0 : 1.0;
  acting[0] = gsl_ran_flat(dice, -1.0, 1.0);
  resisting[0] = gsl_ran_flat(dice, 0.0, 1.0);
  acting[1] = acting[0] + change * gsl_ran_flat(dice, -1.0, 1.0);
  resisting[1] = fmax(resisting[0] + change * gsl_ran_flat(dice, -1.0, 1.0), 0.0);
  model_add_profile(&model, SB_OVER_TIME, false, 2, x, acting);
  model_add_profile(&model, SB_OVER_TIME, true, 2, x, resisting);
  if (gsl_rng_uniform(dice) < 0.5) model_add_viscous(&model, gsl_ran_flat(dice, 0.0, 0.02));
  if (gsl_rng_uniform(dice) < 0.3) model.load.breakaway_nm = gsl_ran_flat(dice, 0.0, 0.5);
  model_finish(&model);
  return model;
}

/* The guard's place in its list; -1: none. */
static long place_of(const struct sb_guard *guard)
{
  return guard == NULL ? -1 : (long)(guard - sb_plain_events);
}

static long met[SB_EVENT_TURNED_ENOUGH + 2], told, untold;

/* From the present state on, for a time: the way against the series, as far as those come. */
static void expect_same_way(struct sb_sim *sim, double length_s)
{
  static struct sb_motion series; /* large, hence not on the stack */
  struct sb_neutral_way way;
  double share;
  const struct sb_neutral_start start = sb_neutral_start(sim);
  assert_true(sb_neutral_applies(sim));
  sb_motion_build(sim, length_s, &series);
  const struct sb_guard *guard = sb_guard_first(sim, &series, &share);
  const double seen_s = guard != NULL ? share * series.length_s : series.length_s;
  if (!sb_neutral_way(sim, &start, length_s, &way)) {
    untold++;
    return;
  }
  told++;
  if (guard != NULL || series.length_s == length_s) {
    met[1 + place_of(guard)]++;
    assert_int_equal(place_of(way.guard), place_of(guard));
    assert_near(way.length_s, seen_s, 1e-10 * length_s);
  } else {
    assert_true(way.length_s >= seen_s);
  }
  const double until = guard != NULL ? share : 1.0;
  const struct sb_neutral_end end = sb_neutral_end(sim->segment, &start, until * series.length_s);
  const double w0 = sim->model->motor.no_load_speed_rad_s;
  assert_near(end.motor.x, sb_series_at(&series.x, series.degree, until), 1e-11 * w0);
  assert_near(end.motor.turn, sb_series_at(&series.turn, series.degree, until), 1e-11 * w0 * length_s);
  assert_near(end.output.x, sb_series_at(&series.w, series.degree, until), 1e-11 * w0);
  assert_near(end.output.turn, sb_series_rise(&series.angle, series.degree, until), 1e-11 * w0 * length_s);
}

static void neutral_comes_to_the_events_and_states_of_its_series(void **state)
{
  (void)state;
  gsl_rng *dice = dice_of(7);
  for (int trial = 0; trial < 600; trial++) {
    struct sb_model model = random_model(dice, trial % 2 == 0);
    struct sb_sim sim;
    struct sb_error err;
    assert_int_equal(sb_sim_init(&sim, &model, trial & 1, &err), SB_OK);
    const long long command = 1 + (long long)gsl_rng_uniform_int(dice, 900);
    assert_int_equal(sb_sim_advance(&sim, command, &err), SB_OK);
    sb_sim_command(&sim, 1 - sim.state.gear);
    for (int k = 1; k < 60 && sim.state.link == SB_LINK_OPEN; k++) {
      expect_same_way(&sim, gsl_ran_flat(dice, 0.002, 0.3));
      assert_int_equal(sb_sim_advance(&sim, command + 5 * k, &err), SB_OK);
    }
    sb_sim_clear(&sim);
  }
  gsl_rng_free(dice);
  /* Each kind came up often, and few ways had to be left to series. */
  assert_true(met[0] > 500);
  assert_true(met[1 + SB_EVENT_FREE_MOTOR_STOPS] > 50);
  assert_true(met[1 + SB_EVENT_OUTPUT_STOPS] > 50);
  assert_true(met[1 + SB_EVENT_TURNED_ENOUGH] > 50);
  printf("neutral: %ld told, %ld left to series\n", told, untold);
  assert_true(untold > 20 && 4 * untold < told);
}

/* Composed of two parts, what comes together is that of the whole; by the series' integrals, too. */
static void what_comes_together_in_neutral_is_that_of_its_series(void **state)
{
  (void)state;
  gsl_rng *dice = dice_of(8);
  int count = 0;
  for (int trial = 0; trial < 300; trial++) {
    static struct sb_motion series; /* large, hence not on the stack */
    struct sb_model model = random_model(dice, false);
    struct sb_sim sim;
    struct sb_error err;
    assert_int_equal(sb_sim_init(&sim, &model, trial & 1, &err), SB_OK);
    assert_int_equal(sb_sim_advance(&sim, 1 + (long long)gsl_rng_uniform_int(dice, 900), &err), SB_OK);
    sb_sim_command(&sim, 1 - sim.state.gear);
    const struct sb_neutral_start start = sb_neutral_start(&sim);
    if (sim.state.link == SB_LINK_OPEN && sim.state.output_direction != 0) {
      sb_motion_build(&sim, 0.004, &series);
      const struct sb_gauss rule = {
          .count = 4,
          .place = {0.069431844202973712, 0.33000947820757187, 0.66999052179242813, 0.93056815579702629},
          .weight = {0.17392742256872693, 0.32607257743127307, 0.32607257743127307,
                     0.17392742256872693}}; /* Gauss-Legendre, Abramowitz and Stegun 25.4 */
      const struct sb_gain want = sb_motion_gain(&sim, &series, &rule, 1.0);
      struct sb_gain got = {0};
      sb_neutral_add_gain(sim.segment, &start, series.length_s, false, &got);
      const double w0 = model.motor.no_load_speed_rad_s, h = series.length_s;
      assert_near(got.motor.turn, want.motor.turn, 1e-11 * w0 * h);
      assert_near(got.motor.square, want.motor.square, 1e-8 * w0 * w0 * h);
      assert_near(got.output_turn, want.output_turn, 1e-11 * w0 * h);
      assert_near(got.load_work_j, want.load_work_j, 1e-10 * w0 * h);
      sb_neutral_add_gain(sim.segment, &start, series.length_s, true, &got);
      assert_near(got.output_turn, 2.0 * want.output_turn, 1e-11 * w0 * h);
      count++;
    }
    sb_sim_clear(&sim);
  }
  gsl_rng_free(dice);
  assert_true(count > 150);
}

/* An output that nothing slows turns by 1 rad/s 0.5 s, to the bit: a corner just there is left to the series, one beyond is not met. */
static void a_corner_at_the_very_end_takes_a_series(void **state)
{
  (void)state;
  for (int is_beyond = 0; is_beyond <= 1; is_beyond++) {
    const double corner_rad = is_beyond ? 0.5 + 1e-9 : 0.5, x[] = {0.0, corner_rad, 1.0}, nm[] = {0.0, 0.0, 1.0};
    struct sb_model model = model_two_gears("selector");
    model_drive_forward(&model);
    model_add_profile(&model, SB_OVER_TURNS, false, 3, x, nm);
    model.shifter.travel_time_s = 1.0;
    model.run.initial_output_speed_rad_s = 1.0;
    model_finish(&model);
    struct sb_sim sim;
    struct sb_error err;
    assert_int_equal(sb_sim_init(&sim, &model, 0, &err), SB_OK);
    sb_sim_command(&sim, 1);
    const struct sb_neutral_start start = sb_neutral_start(&sim);
    assert_true(sb_neutral_applies(&sim));
    assert_near(sb_neutral_end(sim.segment, &start, 0.5).output.turn, 0.5, 0.0);
    struct sb_neutral_way way;
    assert_int_equal(sb_neutral_way(&sim, &start, 0.5, &way), is_beyond);
    sb_sim_clear(&sim);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(neutral_comes_to_the_events_and_states_of_its_series),
      cmocka_unit_test(what_comes_together_in_neutral_is_that_of_its_series),
      cmocka_unit_test(a_corner_at_the_very_end_takes_a_series),
  };
  return cmocka_run_group_tests_name("neutral", tests, NULL, NULL);
}
