// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * No run exceeds a bound: random machines against loads that change at random and at the worst instants. SB_PROVE_MACHINES in the
 * environment tries more of them.
 */
#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "help/dice.h"
#include "help/games.h"
#include "help/near.h"
#include "help/proof.h"
#include "help/slow.h"
#include "shiftband/run.h"
#include "shiftband/scenario.h"

static struct sb_model tried; /* large, hence not on the stack */
static struct sb_prove prove;
static int outside_count, used_count;

static void try_machine(gsl_rng *dice, int machine, int games, bool is_slow)
{
  struct sb_error err;
  tried = proof_random(dice);
  struct sb_load_bounds *bounds = &tried.load.bounds;
  if (is_slow) bounds->rate_nm_s = (bounds->greatest_nm - bounds->least_nm) / gsl_ran_flat(dice, 0.1, 4.0);
  assert_int_equal(sb_prove_solve(&tried, &prove, &err), SB_OK);
  used_count += prove.is_rate_used ? 1 : 0;
  if (prove.outside != NULL) {
    outside_count++;
    return;
  }
  game_play_within(&tried, &prove, dice, machine, games);
}

static void no_run_exceeds_a_bound(void **state)
{
  (void)state;
  const char *asked = getenv("SB_PROVE_MACHINES");
  const int machines = asked != NULL ? atoi(asked) : IS_SLOW ? 4 : 15;
  gsl_rng *dice = dice_of(1411);
  for (int k = 0; k < machines; k++) try_machine(dice, k, 40, false);
  gsl_rng_free(dice);
  assert_in_range(outside_count, 0, machines / 4); /* weak clutches, short dwells */
}

/* The load is as fast as its rate allows, in stages of any length. */
static void no_run_under_a_slow_load_exceeds_a_bound(void **state)
{
  (void)state;
  const char *asked = getenv("SB_PROVE_MACHINES");
  const int machines = asked != NULL ? atoi(asked) : IS_SLOW ? 2 : 8;
  gsl_rng *dice = dice_of(1417);
  used_count = 0;
  for (int k = 0; k < machines; k++) try_machine(dice, k, 40, true);
  gsl_rng_free(dice);
  assert_in_range(used_count, machines / 3, machines); /* the others turn back, or shift for longer than the dwell */
}

/* What has come to rest, in a shift or at the start, is held by more than any load resists with in motion. */
static void no_run_of_a_machine_that_sticks_at_rest_exceeds_a_bound(void **state)
{
  (void)state;
  struct sb_error err;
  int proved = 0;
  const int machines = IS_SLOW ? 8 : 30;
  for (int k = 0; k < machines; k++) {
    gsl_rng *dice = dice_of(7000 + (unsigned long)k);
    tried = proof_random(dice);
    struct sb_load_bounds *bounds = &tried.load.bounds;
    bounds->manner = SB_BOUNDS_RESISTS;
    bounds->least_nm = fabs(bounds->least_nm);
    bounds->greatest_nm = fmax(fabs(bounds->greatest_nm), 1.5 * bounds->least_nm + 0.01);
    tried.load.breakaway_nm = bounds->greatest_nm * gsl_ran_flat(dice, 1.05, 2.5);
    model_finish(&tried);
    assert_int_equal(sb_prove_solve(&tried, &prove, &err), SB_OK);
    if (prove.outside == NULL) game_play_within(&tried, &prove, dice, k, 30);
    proved += prove.outside == NULL;
    gsl_rng_free(dice);
  }
  assert_in_range(proved, machines / 2, machines);
}

/* Worst profiles --------------------------------------------------------------------------------------------------------- */

static struct sb_scenario written; /* large */

/* A run of the scenario that is written for a bound, read back. */
static void run_written(int bound, struct sb_run_result *run)
{
  char *text = NULL;
  size_t length = 0;
  FILE *out = open_memstream(&text, &length);
  assert_non_null(out);
  assert_int_equal(sb_prove_write_scenario(&prove, (enum sb_prove_bound)bound, out), 0);
  fclose(out);
  struct sb_faults faults;
  const enum sb_status status = sb_scenario_parse("worst.yaml", text, length, NULL, 0, &written, &faults);
  if (status != SB_OK) fail_msg("%s\n%s", faults.count > 0 ? faults.texts[0] : sb_status_text(status), text);
  sb_faults_clear(&faults);
  struct sb_error err;
  const struct sb_run_options options = sb_run_options_default();
  assert_int_equal(sb_run(&written.model, &options, run, &err), SB_OK);
  free(text);
}

/* A run on its own has the controller that was proved, as far as files tell it. */
static void what_is_written_has_the_controller_of_the_machine(void **state)
{
  (void)state;
  struct sb_error err;
  struct sb_run_result run;
  tried = proof_machine("selector", 0.95, 1.5, 0.25, 1.75);
  tried.control.debounce_count = 2;
  tried.control.sensor.resolution_fraction = 0.015;
  tried.control.sensor.filter_s = 0.04;
  assert_int_equal(sb_prove_solve(&tried, &prove, &err), SB_OK);
  assert_int_equal(sb_prove_search(&prove, &err), SB_OK);
  assert_true(prove.profiles[SB_PROVE_TORQUE].count > 0);
  run_written(SB_PROVE_TORQUE, &run);
  const struct sb_control *control = &written.model.control;
  assert_int_equal(control->start_gear, tried.control.start_gear);
  assert_int_equal(control->debounce_count, 2);
  assert_near_rel(control->sample_period_s, tried.control.sample_period_s, 1e-9);
  assert_near_rel(control->start_delay_s, tried.control.start_delay_s, 1e-9);
  assert_near_rel(control->dwell_s, 1.5, 1e-9);
  assert_near_rel(control->downshift_fraction[0], proof_down, 1e-9);
  assert_near_rel(control->upshift_fraction[0], proof_up, 1e-9);
  assert_near_rel(control->sensor.reference_rad_s, tried.control.sensor.reference_rad_s, 1e-9);
  assert_near_rel(control->sensor.resolution_fraction, 0.015, 1e-9);
  assert_near_rel(control->sensor.filter_s, 0.04, 1e-9);
  sb_run_result_clear(&run);
  sb_scenario_clear(&written);
}

/* The same figure from a run's own report; NAN: it has none. */
static double figure_of(int bound, const struct sb_run_result *run)
{
  const struct sb_shift_record *shifts = run->monitor.shifts;
  const size_t count = run->monitor.shift_count;
  double value = NAN;
  for (size_t k = 0; k < count; k++) {
    if (bound == SB_PROVE_SHIFT) value = fmax(value, shifts[k].engaged_s - shifts[k].command_s);
    const bool is_cycle = bound == SB_PROVE_CYCLE_ONCE || (bound == SB_PROVE_CYCLE_LASTING && k >= count / 2);
    if (is_cycle && k >= 2) value = fmin(value, shifts[k].command_s - shifts[k - 2].command_s);
  }
  const struct sb_prove_profile *profile = &prove.profiles[bound];
  if (count > 0 && (bound == SB_PROVE_RETURN_TIME || bound == SB_PROVE_REACTION_TIME)) {
    value = shifts[count - 1].engaged_s - profile->time_s[profile->count - 1];
  }
  if (bound == SB_PROVE_TORQUE) value = fabs(run->sums.output_torque_nm.value);
  if (bound == SB_PROVE_SPEED) value = fabs(run->sums.motor_speed_rad_s.value);
  if (bound == SB_PROVE_CURRENT && tried.motor.has_currents) value = fabs(run->sums.motor_current_a.value);
  if (bound == SB_PROVE_SHOCK && count > 0) value = fabs(run->sums.greatest_impulse_nms);
  return value;
}

/* What is written is what was played: to the digits of a file. Returns how many figures were compared. */
static int expect_written_reproduces(void)
{
  int compared = 0;
  for (int k = 0; k < SB_PROVE_BOUNDS; k++) {
    struct sb_run_result run;
    if (prove.profiles[k].count == 0 || isnan(prove.bounds[k])) continue;
    run_written(k, &run);
    const double value = figure_of(k, &run);
    if (!isnan(value)) {
      assert_near_rel(value, prove.reached[k], 1e-6);
      compared++;
    }
    sb_run_result_clear(&run);
    sb_scenario_clear(&written);
  }
  return compared;
}

/* Bounds of a selector are exact: a run of their own comes within 1 %. Those of the others are so but for the return and the reaction,
 * which add the longest shift and the latest command up although each needs another speed: within 4 %. */
static void a_profile_of_its_own_comes_within_a_percent_of_each_bound(void **state)
{
  (void)state;
  static const char *const shifters[] = {"selector", "clutch", "swing arm"};
  for (int k = 0; k < 3; k++) {
    struct sb_error err;
    tried = proof_machine(shifters[k], 0.95, k == 1 ? 0.16 : 1.5, 0.25, 1.75);
    assert_int_equal(sb_prove_solve(&tried, &prove, &err), SB_OK);
    assert_int_equal(sb_prove_search(&prove, &err), SB_OK);
    for (int b = 0; b < SB_PROVE_BOUNDS; b++) {
      if (isnan(prove.bounds[b]) || prove.bounds[b] == 0.0) continue;
      const bool is_time = b == SB_PROVE_RETURN_TIME || b == SB_PROVE_REACTION_TIME;
      const double share = k > 0 && is_time ? 0.04 : 0.01;
      if (fabs(prove.reached[b] - prove.bounds[b]) > share * fabs(prove.bounds[b])) {
        fail_msg("%s, %s: a run comes to %.6g, the bound is %.6g", shifters[k], game_bounds[b].name, prove.reached[b],
                 prove.bounds[b]);
      }
    }
    assert_in_range(expect_written_reproduces(), 6, SB_PROVE_BOUNDS);
  }
}

/* Were the bounds a twentieth too narrow, runs would show it: of the torque, the times, or the lowest speed. */
static void runs_beyond_the_bounds_of_the_load_exceed_something_proved(void **state)
{
  (void)state;
  static const char *const shifters[] = {"selector", "swing arm"};
  for (int k = 0; k < 2; k++) {
    struct sb_error err;
    tried = proof_machine(shifters[k], 0.95, 1.5, 0.25, 1.75);
    assert_int_equal(sb_prove_solve(&tried, &prove, &err), SB_OK);
    double bounds[SB_PROVE_BOUNDS];
    memcpy(bounds, prove.bounds, sizeof bounds);
    tried.load.bounds.least_nm *= 0.95;
    tried.load.bounds.greatest_nm *= 1.05;
    assert_int_equal(sb_prove_solve(&tried, &prove, &err), SB_OK);
    assert_int_equal(sb_prove_search(&prove, &err), SB_OK);
    assert_true(prove.reached[SB_PROVE_TORQUE] > 1.005 * bounds[SB_PROVE_TORQUE]);
    assert_true(prove.reached[SB_PROVE_RETURN_TIME] > bounds[SB_PROVE_RETURN_TIME] - 5e-4);
    assert_true(prove.reached[SB_PROVE_STANDSTILL] > bounds[SB_PROVE_STANDSTILL] + 5e-4);
  }
}

/* The cycle of 0.3 N.m/s cannot be as fast as one of twice that rate, which a run shows; written out, profiles run the same. */
static void a_slow_load_is_bounded_by_what_a_faster_one_exceeds(void **state)
{
  (void)state;
  struct sb_error err;
  tried = proof_machine("selector", 0.95, 0.3, 0.25, 1.75);
  tried.load.bounds.rate_nm_s = 0.3;
  assert_int_equal(sb_prove_solve(&tried, &prove, &err), SB_OK);
  const double slow_s = prove.bounds[SB_PROVE_CYCLE_ONCE];
  assert_int_equal(sb_prove_search(&prove, &err), SB_OK);
  assert_in_range((int)(1e3 * prove.reached[SB_PROVE_CYCLE_ONCE]), (int)(1e3 * slow_s), (int)(1.1e3 * slow_s));
  assert_in_range(expect_written_reproduces(), 6, SB_PROVE_BOUNDS);
  tried.load.bounds.rate_nm_s = 0.6;
  assert_int_equal(sb_prove_solve(&tried, &prove, &err), SB_OK);
  assert_int_equal(sb_prove_search(&prove, &err), SB_OK);
  assert_true(prove.reached[SB_PROVE_CYCLE_ONCE] < 0.75 * slow_s);
}

static void what_is_written_of_a_random_machine_runs_the_same(void **state)
{
  (void)state;
  gsl_rng *dice = dice_of(77);
  for (int k = 0; k < (IS_SLOW ? 1 : 3); k++) {
    struct sb_error err;
    tried = proof_random(dice);
    snprintf(tried.gearbox.gears[0].name, SB_NAME_SIZE, "slow \"one\"");
    snprintf(tried.gearbox.gears[1].name, SB_NAME_SIZE, "fast");
    assert_int_equal(sb_prove_solve(&tried, &prove, &err), SB_OK);
    if (prove.outside != NULL) continue;
    assert_int_equal(sb_prove_search(&prove, &err), SB_OK);
    for (int b = 0; b < SB_PROVE_BOUNDS; b++) {
      if (b != SB_PROVE_SWING && !isnan(prove.bounds[b])) game_expect_within(&prove, b, prove.reached[b], k);
    }
    assert_in_range(expect_written_reproduces(), 2, SB_PROVE_BOUNDS);
  }
  gsl_rng_free(dice);
}

/* The holding brake closes in neutral, and no load of the bounds turns the drum then: 30 N.m stop what turns at 15 rad/s at most
 * within milliseconds, so it stands for nearly all of the 120 ms that the selector takes. */
static void what_a_holding_brake_stops_in_a_shift_stands(void **state)
{
  (void)state;
  struct sb_error err;
  struct sb_faults faults;
  assert_int_equal(sb_scenario_load(SB_SOURCE_DIR "/src/manual/new/winch.yaml", NULL, 0, &written, &faults), SB_OK);
  tried = written.model;
  assert_int_equal(sb_prove_solve_quickly(&tried, &prove, &err), SB_OK);
  assert_true(prove.bounds[SB_PROVE_STANDSTILL] > 0.11 && prove.bounds[SB_PROVE_STANDSTILL] < 0.12);
  gsl_rng *dice = dice_of(1423);
  game_play_within(&tried, &prove, dice, 0, IS_SLOW ? 10 : 40);
  gsl_rng_free(dice);
  sb_scenario_clear(&written);
}

/* The heaviest load turns the drum back while the selector is in neutral, so that the faster gear joins it turning backwards and brings it to
 * rest; a lesser one joins it just at rest, which then stands until the dwell of 1 s is over: 0.12 s of it are the shift. */
static void what_is_engaged_just_at_rest_stands_for_longer_than_under_the_heaviest_load(void **state)
{
  (void)state;
  static const char *const changes[] = {"motor.rotor_inertia=1.2e-4 kg.m2",
                                        "load.bounds={manner: acts, minimum: 5.3 N.m, maximum: 45.3 N.m}"};
  struct sb_error err;
  struct sb_faults faults;
  assert_int_equal(sb_scenario_load(SB_SOURCE_DIR "/src/manual/new/winch.yaml", changes, 2, &written, &faults), SB_OK);
  assert_int_equal(sb_prove_solve_quickly(&written.model, &prove, &err), SB_OK);
  assert_near(prove.bounds[SB_PROVE_STANDING], 1.0 - 0.12, 1e-9);
  assert_int_equal(sb_prove_search(&prove, &err), SB_OK);
  assert_true(prove.reached[SB_PROVE_STANDING] > 0.866); /* the heaviest load: 0.8639 s */
  assert_true(prove.reached[SB_PROVE_STANDING] <= prove.bounds[SB_PROVE_STANDING]);
  sb_scenario_clear(&written);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(what_is_written_has_the_controller_of_the_machine),
      cmocka_unit_test(no_run_exceeds_a_bound),
      cmocka_unit_test(no_run_of_a_machine_that_sticks_at_rest_exceeds_a_bound),
      cmocka_unit_test(no_run_under_a_slow_load_exceeds_a_bound),
      cmocka_unit_test(a_slow_load_is_bounded_by_what_a_faster_one_exceeds),
      cmocka_unit_test(what_a_holding_brake_stops_in_a_shift_stands),
      cmocka_unit_test(what_is_engaged_just_at_rest_stands_for_longer_than_under_the_heaviest_load),
      cmocka_unit_test(a_profile_of_its_own_comes_within_a_percent_of_each_bound),
      cmocka_unit_test(runs_beyond_the_bounds_of_the_load_exceed_something_proved),
      cmocka_unit_test(what_is_written_of_a_random_machine_runs_the_same),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
