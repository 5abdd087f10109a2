// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * How long a box waits at worst: until it is settled under its last load, and how long its output stands. Scenarios so small that one chain of
 * events is the worst, which is worked out by hand or run.
 */
#include <math.h>

#include "help/near.h"
#include "help/proof.h"
#include "help/runs.h"
#include "shiftband/prove.h"

static const double dwell_s = 1.5, travel_s = 0.137, delay_s = 0.6;
static struct sb_model waited; /* large, hence not on the stack */
static struct sb_prove prove;

static void solve(void)
{
  struct sb_error err;
  assert_int_equal(sb_prove_solve_quickly(&waited, &prove, &err), SB_OK);
  assert_null(prove.outside);
}

/* Starts at rest in a gear; a load that hardly changes. */
static void set_narrow(int start_gear, double load_nm)
{
  waited = proof_machine("selector", 0.95, dwell_s, load_nm, load_nm + 0.01);
  waited.control.start_gear = start_gear;
}

/* With 0.25 N.m the slow gear is above its threshold when the start delay is over, and with 1.75 N.m the fast one below its: as many readings
 * later as it counts, the one shift is commanded that the last load needs. */
static void a_box_that_starts_under_its_last_load_shifts_after_the_start_delay(void **state)
{
  (void)state;
  for (int readings = 1; readings <= 2; readings++) {
    const double shifted_s = delay_s + (readings - 1) * proof_sample + travel_s;
    set_narrow(1, 0.25);
    waited.control.debounce_count = readings;
    solve();
    assert_near(prove.bounds[SB_PROVE_RETURN_TIME], shifted_s, 1e-9);
    set_narrow(2, 1.75);
    waited.control.debounce_count = readings;
    solve();
    assert_near(prove.bounds[SB_PROVE_REACTION_TIME], shifted_s, 1e-9);
  }
}

/* An output of 0.25 kg.m2 takes the fast gear 0.639 s to its threshold, J w0 / Ts ln(0.923 / (0.923 - 0.55)): the readings of 0.60 s and 0.62 s call
 * for the slow gear, in which the motor then turns at more than its no-load speed, and the first readings after the dwell call for the fast one. */
static void a_heavy_output_that_starts_in_the_fast_gear_comes_back_after_two_shifts(void **state)
{
  (void)state;
  const double ratio = 4.0, k = ratio * 0.95 * 0.95, inertia_kg_m2 = 0.25, steady = 1.0 - 0.25 / (proof_stall * k);
  const double constant_s = (proof_rotor + inertia_kg_m2 / (ratio * k)) * proof_w0 / proof_stall;
  assert_true(constant_s * log(steady / (steady - proof_down)) > delay_s + proof_sample);
  set_narrow(2, 0.25);
  waited.load.inertia_kg_m2 = inertia_kg_m2;
  waited.control.debounce_count = 2;
  solve();
  assert_near(prove.bounds[SB_PROVE_RETURN_TIME], delay_s + proof_sample + dwell_s + proof_sample + travel_s, 1e-9);
}

/* The motor is above the threshold when the start delay is over, what its filter of 0.5 s holds is not: a run shows when. */
static void a_filtered_reading_is_waited_for(void **state)
{
  (void)state;
  set_narrow(1, 0.25);
  waited.control.sensor.filter_s = 0.5;
  solve();
  struct sb_model model = waited;
  model.load.bounds = (struct sb_load_bounds){.manner = SB_BOUNDS_NONE};
  model_add_constant(&model, 0.25, true);
  model.run.duration_s = 3.0;
  struct sb_run_result result = run(&model);
  assert_int_equal(result.monitor.shift_count, 1);
  const double shifted_s = result.monitor.last_shift.engaged_s;
  assert_true(shifted_s > delay_s + travel_s + 0.3);
  assert_true(prove.bounds[SB_PROVE_RETURN_TIME] >= shifted_s - 1e-9);
  assert_true(prove.bounds[SB_PROVE_RETURN_TIME] <= shifted_s + proof_sample + 1e-9);
  sb_run_result_clear(&result);
}

/* 3.3 N.m holds the fast gear at rest from the start on, until as many readings as are counted have called for the slow one. */
static void what_is_held_at_the_start_stands_for_the_readings_that_are_counted(void **state)
{
  (void)state;
  for (int k = 0; k < 4; k++) {
    const int readings = 1 + k % 2;
    waited = proof_machine("selector", 0.95, 0.3, 0.25, 3.3);
    waited.control.debounce_count = readings;
    if (k > 1) waited.load.bounds.rate_nm_s = 1.0;
    solve();
    assert_int_equal(prove.is_rate_used, k > 1);
    assert_near(prove.bounds[SB_PROVE_STANDING], delay_s + (readings - 1) * proof_sample, 1e-9);
  }
}

/* A clutch of 0.42 N.m passes on 4 * 0.95^2 * 0.42 = 1.516 N.m through the fast gear: 1.6 N.m stop the output, while the motor goes from 0.923 of its
 * no-load speed at most towards 1 - 0.42 / 0.9, and is below the threshold after 0.039 s: the third reading after the dwell calls for the slow gear.
 * Under 0.25 N.m the output would have come up to it long before, and stayed. */
static void an_output_that_its_clutch_cannot_turn_stands_until_the_motor_has_slowed_down(void **state)
{
  (void)state;
  const double capacity_nm = 0.42, end = 1.0 - capacity_nm / proof_stall;
  const double fastest = 1.0 - 0.25 / (proof_stall * 4.0 * 0.95 * 0.95);
  const double slowed_s = proof_rotor * proof_w0 / proof_stall * log((fastest - end) / (proof_down - end));
  assert_true(slowed_s > proof_sample && slowed_s < 2.0 * proof_sample);
  waited = proof_machine("clutch", 0.95, dwell_s, 0.25, 1.6);
  waited.load.inertia_kg_m2 = 0.006;
  waited.shifter.clutch_nm = capacity_nm;
  solve();
  assert_true(prove.has_boxes);
  assert_true(prove.bounds[SB_PROVE_STANDING] <= dwell_s + 3.0 * proof_sample + 1e-9);
  assert_true(prove.bounds[SB_PROVE_STANDING] >= dwell_s - 0.1);
}

/* 3.3 N.m stops the fast gear, 3.249 N.m, which no reading takes into the slow one: however slowly that load comes. */
static void a_slow_load_stops_a_gear_for_good_that_no_reading_leaves(void **state)
{
  (void)state;
  waited = proof_machine("selector", 0.95, dwell_s, 0.25, 3.3);
  waited.load.bounds.rate_nm_s = 1.0;
  waited.control.start_gear = 1;
  waited.control.sensor.resolution_fraction = 0.01;
  waited.control.downshift_fraction[0] = 1e-20;
  solve();
  assert_true(prove.is_rate_used);
  assert_true(isinf(prove.bounds[SB_PROVE_STANDING]));
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_box_that_starts_under_its_last_load_shifts_after_the_start_delay),
      cmocka_unit_test(a_heavy_output_that_starts_in_the_fast_gear_comes_back_after_two_shifts),
      cmocka_unit_test(a_filtered_reading_is_waited_for),
      cmocka_unit_test(what_is_held_at_the_start_stands_for_the_readings_that_are_counted),
      cmocka_unit_test(an_output_that_its_clutch_cannot_turn_stands_until_the_motor_has_slowed_down),
      cmocka_unit_test(a_slow_load_stops_a_gear_for_good_that_no_reading_leaves),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
