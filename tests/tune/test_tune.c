// SPDX-License-Identifier: GPL-3.0-or-later
/* Thresholds that hold: every claim of an answer is tried by runs of its own; samples against GSL's statistics. */
#include <gsl/gsl_rng.h>
#include <gsl/gsl_statistics.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "help/dice.h"
#include "help/models.h"
#include "help/near.h"
#include "shiftband/scenario.h"
#include "shiftband/tune.h"
#include "tune/raster.h"

static const double climb_s[] = {0.0, 3.0, 4.0, 7.0, 8.0};

/* A cart with a climb to a load, at a supply voltage. */
static struct sb_model cart(const double *climb_nm, double voltage_v)
{
  struct sb_model model = model_blank();
  model_set_line_motor(&model, 32.0, 0.42, 2.1e-4);
  model.supply.open_circuit_voltage_v = voltage_v;
  model_add_gear(&model, 8.0, 0.88, false);
  model_add_gear(&model, 4.0, 0.92, false);
  model_set_shifter(&model, "swing arm");
  model.shifter.swing_turns = 0.4;
  model.shifter.timeout_s = 2.0;
  model.load.inertia_kg_m2 = 0.004;
  model_add_profile(&model, SB_OVER_TIME, true, 5, climb_s, climb_nm);
  model_add_viscous(&model, 0.002);
  model.control.start_gear = 2;
  model.control.start_delay_s = 0.4;
  model.control.dwell_s = 0.5;
  model.control.sensor.resolution_fraction = 0.01;
  model_finish(&model);
  return model;
}

static const double steep_nm[] = {0.15, 0.15, 1.6, 1.6, 0.15};
static const double wall_nm[] = {0.15, 0.15, 3.4, 3.4, 0.15};

enum { VOLTAGE_COUNT = 3 };

static int carts(struct sb_tune_machine machines[VOLTAGE_COUNT], const double *climb_nm)
{
  static const double voltages_v[VOLTAGE_COUNT] = {12.0, 10.4, 12.6};
  for (int i = 0; i < VOLTAGE_COUNT; i++) {
    machines[i] = (struct sb_tune_machine){.model = cart(climb_nm, voltages_v[i]), .sample = i, .is_light = true};
    machines[i].model.control.sensor.reference_rad_s = 32.0;
  }
  return VOLTAGE_COUNT;
}

static struct sb_tune_result tune_so(const struct sb_tune_machine *machines, int count,
                                     const struct sb_tune_options *options)
{
  struct sb_error err = {SB_OK, ""};
  struct sb_tune_result result;
  assert_int_equal(sb_tune(machines, count, options, &result, &err), SB_OK);
  return result;
}

static struct sb_tune_result tune(const struct sb_tune_machine *machines, int count, enum sb_prefer prefer, int jobs)
{
  struct sb_tune_options options = sb_tune_options_default(&machines[0].model);
  options.prefer = prefer;
  options.jobs = jobs;
  return tune_so(machines, count, &options);
}

static unsigned try_at(const struct sb_model *model, double downshift, double upshift, double dwell_s)
{
  struct sb_error err = {SB_OK, ""};
  struct sb_map_verdict verdict;
  struct sb_map_figures figures;
  assert_int_equal(sb_tune_try(model, 0, downshift, upshift, dwell_s, &verdict, &figures, &err), SB_OK);
  return verdict.kinds;
}

static void answer_holds_in_every_machine_and_anywhere_within_its_margin(void **state)
{
  (void)state;
  struct sb_tune_machine machines[VOLTAGE_COUNT];
  const int count = carts(machines, steep_nm);
  const struct sb_tune_result result = tune(machines, count, SB_PREFER_MARGIN, 1);
  assert_true(result.passes);
  assert_true(result.is_cautious);
  assert_true(result.margin_fraction > 0.02);
  gsl_rng *random = dice_of(0);
  for (int k = 0; k < 200; k++) {
    /* Corners of the square first, then points inside it. */
    const double right = k < 4 ? (k & 1 ? 1.0 : -1.0) : 2.0 * gsl_rng_uniform(random) - 1.0;
    const double above = k < 4 ? (k & 2 ? 1.0 : -1.0) : 2.0 * gsl_rng_uniform(random) - 1.0;
    /* The nearest failure is a margin away, so all before it hold. */
    const double reach = result.margin_fraction / 0.001 - 1.0;
    const double downshift = result.downshift_fraction + 0.001 * round(right * reach);
    const double upshift = result.upshift_fraction + 0.001 * round(above * reach);
    for (int i = 0; i < count; i++) assert_int_equal(try_at(&machines[i].model, downshift, upshift, result.dwell_s), 0);
  }
  gsl_rng_free(random);
}

static void each_limit_is_the_last_step_before_the_named_machine_fails(void **state)
{
  (void)state;
  struct sb_tune_machine machines[VOLTAGE_COUNT];
  const int count = carts(machines, steep_nm);
  struct sb_tune_options options = sb_tune_options_default(&machines[0].model);
  options.is_cautious = false; /* only what runs come to */
  const struct sb_tune_result result = tune_so(machines, count, &options);
  int failures = 0;
  for (int d = 0; d < SB_TUNE_DIRECTIONS; d++) {
    const struct sb_tune_limit *limit = &result.limits[d];
    assert_false(limit->is_band || limit->is_low);
    if (limit->is_end) continue;
    failures++;
    const bool is_downshift = d == SB_TUNE_DOWNSHIFT_LOWER || d == SB_TUNE_DOWNSHIFT_HIGHER;
    const double back = d == SB_TUNE_DOWNSHIFT_LOWER || d == SB_TUNE_UPSHIFT_LOWER ? 0.001 : -0.001;
    const double at = limit->fails_at_fraction;
    const struct sb_model *model = &machines[limit->machine].model;
    const double downshift = is_downshift ? at : result.downshift_fraction,
                 upshift = is_downshift ? result.upshift_fraction : at;
    assert_int_equal(try_at(model, downshift, upshift, result.dwell_s), limit->verdict.kinds);
    assert_true(limit->verdict.kinds != 0);
    const double downshift_before = is_downshift ? at + back : downshift,
                 upshift_before = is_downshift ? upshift : at + back;
    for (int i = 0; i < count; i++) {
      assert_int_equal(try_at(&machines[i].model, downshift_before, upshift_before, result.dwell_s), 0);
    }
  }
  assert_true(failures > 0);
}

static void cautious_answer_has_no_hunting_band_in_any_machine(void **state)
{
  (void)state;
  struct sb_tune_machine machines[VOLTAGE_COUNT];
  const int count = carts(machines, steep_nm);
  const struct sb_tune_result result = tune(machines, count, SB_PREFER_MARGIN, 1);
  for (int i = 0; i < count; i++) {
    struct sb_model model = machines[i].model;
    model.control.downshift_fraction[0] = result.downshift_fraction;
    model.control.upshift_fraction[0] = result.upshift_fraction;
    assert_false(sb_closed_form_solve(&model).pairs[0].has_band);
  }
  const struct sb_tune_closed closed =
      sb_tune_closed_limits(machines, count, 0, result.downshift_fraction, result.upshift_fraction);
  assert_true(result.upshift_fraction >= closed.least_upshift);
  assert_true(result.downshift_fraction <= closed.greatest_downshift_band);
  assert_true(result.downshift_fraction <= closed.greatest_downshift_carried);
  assert_true(result.upshift_fraction <= closed.greatest_upshift);
}

static void preferring_time_or_energy_gains_it_and_keeps_half_the_margin(void **state)
{
  (void)state;
  struct sb_tune_machine machines[VOLTAGE_COUNT];
  const int count = carts(machines, steep_nm);
  const struct sb_tune_result margin = tune(machines, count, SB_PREFER_MARGIN, 1);
  const struct sb_tune_result time = tune(machines, count, SB_PREFER_TIME, 1);
  const struct sb_tune_result energy = tune(machines, count, SB_PREFER_ENERGY, 1);
  assert_true(time.turns >= margin.turns);
  assert_true(energy.energy_j / energy.turns <= margin.energy_j / margin.turns);
  assert_true(time.turns > energy.turns || energy.energy_j / energy.turns < time.energy_j / time.turns);
  assert_true(time.margin_fraction >= 0.5 * margin.margin_fraction);
  assert_true(energy.margin_fraction >= 0.5 * margin.margin_fraction);
}

static void answer_does_not_depend_on_the_number_of_threads(void **state)
{
  (void)state;
  struct sb_tune_machine machines[VOLTAGE_COUNT];
  const int count = carts(machines, steep_nm);
  const struct sb_tune_result one = tune(machines, count, SB_PREFER_TIME, 1);
  const struct sb_tune_result three = tune(machines, count, SB_PREFER_TIME, 3);
  assert_true(one.downshift_fraction == three.downshift_fraction && one.upshift_fraction == three.upshift_fraction);
  assert_true(one.dwell_s == three.dwell_s && one.turns == three.turns && one.energy_j == three.energy_j);
  for (int d = 0; d < SB_TUNE_DIRECTIONS; d++) {
    assert_true(one.limits[d].margin_fraction == three.limits[d].margin_fraction);
    assert_int_equal(one.limits[d].machine, three.limits[d].machine);
  }
}

/* A wall that no gear climbs: nothing holds; the remedy, applied, opens a region. */
static void hopeless_load_is_told_with_the_one_change_that_opens_a_region(void **state)
{
  (void)state;
  struct sb_tune_machine machines[VOLTAGE_COUNT];
  const int count = carts(machines, wall_nm);
  const struct sb_tune_result result = tune(machines, count, SB_PREFER_MARGIN, 2);
  assert_false(result.passes);
  assert_true(result.failing > 0);
  assert_true(result.first_verdict.kinds & (1U << SB_VERDICT_STALL));
  assert_int_equal(result.remedy, SB_REMEDY_RATIO);
  assert_true(result.remedy_amount > 1.0);
  for (int i = 0; i < count; i++) {
    machines[i].model.gearbox.gears[0].meshes[0].driven_teeth *= result.remedy_amount;
    sb_gearbox_derive(&machines[i].model.gearbox);
  }
  const struct sb_tune_result tuned = tune(machines, count, SB_PREFER_MARGIN, 2);
  assert_true(tuned.passes);
  assert_near(tuned.margin_fraction, result.remedy_margin_fraction, 1e-12);
}

/* A sensor that tells rest, 60 % and 120 % apart, no more: a finer one is enough, and its gain is what tuning with it gives. */
static void a_sensor_that_is_too_coarse_is_told_to_be_finer(void **state)
{
  (void)state;
  struct sb_tune_machine machines[VOLTAGE_COUNT];
  const int count = carts(machines, steep_nm);
  for (int i = 0; i < count; i++) machines[i].model.control.sensor.resolution_fraction = 0.6;
  const struct sb_tune_result result = tune(machines, count, SB_PREFER_MARGIN, 2);
  assert_false(result.passes);
  assert_int_equal(result.remedy, SB_REMEDY_SENSOR);
  for (int i = 0; i < count; i++) machines[i].model.control.sensor.resolution_fraction = result.remedy_amount;
  const struct sb_tune_result tuned = tune(machines, count, SB_PREFER_MARGIN, 2);
  assert_true(tuned.passes);
  assert_near(tuned.margin_fraction, result.remedy_margin_fraction, 1e-12);
}

/* At rest the output takes 95 % of the slow gear's stall torque, in motion much less: with 5.3 % more it never starts. */
static void more_load_takes_more_torque_at_rest_too(void **state)
{
  (void)state;
  struct sb_tune_machine machine = {.model = cart(steep_nm, 12.0), .is_light = true};
  machine.model.control.sensor.reference_rad_s = 32.0;
  machine.model.control.start_gear = 1;
  machine.model.load.breakaway_nm = 0.95 * 0.42 * 8.0 * 0.88;
  const struct sb_tune_result result = tune(&machine, 1, SB_PREFER_MARGIN, 2);
  assert_true(result.passes);
  const struct sb_tune_reserve *more_load = NULL;
  for (int r = 0; r < result.reserve_count; r++) {
    if (result.reserves[r].quantity == SB_TUNE_LOAD && result.reserves[r].is_more) more_load = &result.reserves[r];
  }
  assert_non_null(more_load);
  assert_true(more_load->passes_share <= 1.0 / 0.95 - 1.0 && more_load->fails_share >= 1.0 / 0.95 - 1.0);
  assert_true(more_load->fails_share < 0.06);
  assert_true(more_load->verdict.kinds & (1U << SB_VERDICT_STALL));
}

static struct sb_supply_sensor following(const struct sb_motor *motor)
{
  return (struct sb_supply_sensor){.is_present = true,
                                   .nominal_v = motor->nominal_voltage_v,
                                   .drop_v = motor->no_load_current_a * motor->resistance_ohm};
}

/* The same carts on cells from tired to fresh: what a reference that follows them would give is what tuning with it gives. */
static void what_a_measured_supply_would_gain_is_what_tuning_with_it_gives(void **state)
{
  (void)state;
  struct sb_tune_machine machines[VOLTAGE_COUNT];
  const int count = carts(machines, steep_nm);
  for (int i = 0; i < count; i++) machines[i].model.supply.open_circuit_voltage_v = 8.0 + 2.8 * i;
  const struct sb_tune_result fixed = tune(machines, count, SB_PREFER_MARGIN, 2);
  assert_true(fixed.passes && fixed.margin_fraction < 0.03);
  assert_true(fixed.reference_margin_fraction > 3.0 * fixed.margin_fraction);
  for (int i = 0; i < count; i++) machines[i].model.control.sensor.supply = following(&machines[0].model.motor);
  const struct sb_tune_result tuned = tune(machines, count, SB_PREFER_MARGIN, 2);
  assert_true(tuned.passes && isnan(tuned.reference_margin_fraction));
  assert_near(tuned.margin_fraction, fixed.reference_margin_fraction, 1e-12);
}

/* Where voltages do not differ, a reference that follows them is the same reference: nobody asks for it. */
static void a_measured_supply_is_not_asked_for_where_there_is_one_voltage(void **state)
{
  (void)state;
  struct sb_tune_machine machines[VOLTAGE_COUNT];
  const int count = carts(machines, wall_nm);
  for (int i = 0; i < count; i++) machines[i].model.supply.open_circuit_voltage_v = 12.0;
  assert_true(isnan(tune(machines, count, SB_PREFER_MARGIN, 2).reference_margin_fraction));
}

/* Against a wall that no gear climbs no reference helps. */
static void a_measured_supply_is_no_remedy_for_too_heavy_a_load(void **state)
{
  (void)state;
  struct sb_tune_machine machines[VOLTAGE_COUNT];
  const int count = carts(machines, wall_nm);
  const struct sb_tune_result result = tune(machines, count, SB_PREFER_MARGIN, 2);
  assert_int_equal(result.remedy, SB_REMEDY_RATIO);
  assert_near(result.reference_margin_fraction, 0.0, 0.0);
}

/* The two-pass distance against the definition, on seeded random pictures of 25 x 25 points. */
static void margin_of_a_raster_is_the_chessboard_distance_to_the_nearest_failure(void **state)
{
  (void)state;
  enum { SIDE = 25 };
  gsl_rng *random = dice_of(0);
  for (int picture = 0; picture < 40; picture++) {
    struct sb_raster raster;
    assert_int_equal(sb_raster_init(&raster, SIDE, false, NULL), SB_OK);
    struct sb_map_cell cells[60];
    struct sb_map map = {.cells = cells, .cell_count = 60};
    bool fails[SIDE][SIDE] = {{false}};
    const int holes = 1 + (int)gsl_rng_uniform_int(random, 20);
    for (int k = 0; k < holes; k++) fails[gsl_rng_uniform_int(random, SIDE)][gsl_rng_uniform_int(random, SIDE)] = true;
    map.cell_count = 0;
    for (int d = 0; d < SIDE; d++) {
      for (int u = 0; u < SIDE; u++) {
        if (fails[d][u]) continue;
        cells[0] =
            (struct sb_map_cell){.downshift_first = d, .downshift_last = d, .upshift_first = u, .upshift_last = u};
        cells[0].figures.shift_count = 1;
        map.cell_count = 1;
        sb_raster_add(&raster, &map);
      }
    }
    sb_raster_finish(&raster, 1);
    for (int d = 0; d < SIDE; d++) {
      for (int u = 0; u < SIDE; u++) {
        int nearest = d + 1 < SIDE - d ? d + 1 : SIDE - d;
        if (u + 1 < nearest) nearest = u + 1;
        if (SIDE - u < nearest) nearest = SIDE - u;
        for (int e = 0; e < SIDE; e++) {
          for (int v = 0; v < SIDE; v++) {
            if (!fails[e][v] && e < v) continue;
            const int far = abs(e - d) > abs(v - u) ? abs(e - d) : abs(v - u);
            nearest = far < nearest ? far : nearest;
          }
        }
        assert_int_equal(sb_raster_margin(&raster, d, u), nearest);
      }
    }
    sb_raster_clear(&raster);
  }
  gsl_rng_free(random);
}

static struct sb_scenario with_tolerances(int count)
{
  struct sb_scenario scenario = {.tolerance_count = count};
  for (int k = 0; k < count; k++) {
    scenario.tolerances[k] = (struct sb_tolerance){.nominal = 2.0, .least = 1.0, .greatest = 4.0, .unit_scale = 1.0};
  }
  return scenario;
}

static void samples_begin_nominal_then_take_the_corners_then_stay_inside(void **state)
{
  (void)state;
  struct sb_error err = {SB_OK, ""};
  for (int count = 1; count <= 6; count++) {
    const struct sb_scenario scenario = with_tolerances(count);
    const int corners = sb_samples_corner_count(&scenario);
    assert_int_equal(corners, count <= 4 ? 1 << count : 2 * count);
    double all[(16 + 40) * 6];
    assert_int_equal(sb_samples_draw(&scenario, SB_SAMPLES_SEARCH, 7, corners + 40, all, &err), SB_OK);
    for (int index = 0; index < corners + 40; index++) {
      const double *values = all + index * count;
      int ends = 0;
      for (int k = 0; k < count; k++) {
        assert_true(values[k] >= 1.0 && values[k] <= 4.0);
        ends += values[k] == 1.0 || values[k] == 4.0;
        if (index == 0) assert_true(values[k] == 2.0);
      }
      if (index >= 1 && index <= corners) assert_int_equal(ends, count <= 4 ? count : 1);
    }
  }
}

/*
 * Means against what the distributions have: 2.5 and, for n independent uniform draws on 1..4, a standard deviation of
 * the mean of sqrt(9/12/n) (standard); quasi-random points come much nearer (Sobol 1967, discrepancy ~ log(n)^k / n,
 * from memory): within a tenth of that.
 */
static void samples_cover_the_range_evenly(void **state)
{
  (void)state;
  enum { COUNT = 512 };
  struct sb_error err = {SB_OK, ""};
  const struct sb_scenario scenario = with_tolerances(3);
  static double even[COUNT], independent[COUNT], values[(COUNT + 9) * 3];
  assert_int_equal(sb_samples_draw(&scenario, SB_SAMPLES_SEARCH, 3, COUNT + 9, values, &err), SB_OK);
  for (int i = 0; i < COUNT; i++) even[i] = values[(i + 9) * 3 + 1];
  assert_int_equal(sb_samples_draw(&scenario, SB_SAMPLES_RANDOM, 3, COUNT, values, &err), SB_OK);
  for (int i = 0; i < COUNT; i++) independent[i] = values[i * 3 + 1];
  const double deviation = sqrt(9.0 / 12.0 / COUNT);
  assert_near(gsl_stats_mean(even, 1, COUNT), 2.5, 0.1 * deviation);
  assert_near(gsl_stats_mean(independent, 1, COUNT), 2.5, 4.0 * deviation);
  assert_near(gsl_stats_sd(independent, 1, COUNT), sqrt(9.0 / 12.0), 4.0 * sqrt(9.0 / 12.0) / sqrt(2.0 * COUNT));
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(answer_holds_in_every_machine_and_anywhere_within_its_margin),
      cmocka_unit_test(each_limit_is_the_last_step_before_the_named_machine_fails),
      cmocka_unit_test(cautious_answer_has_no_hunting_band_in_any_machine),
      cmocka_unit_test(preferring_time_or_energy_gains_it_and_keeps_half_the_margin),
      cmocka_unit_test(answer_does_not_depend_on_the_number_of_threads),
      cmocka_unit_test(hopeless_load_is_told_with_the_one_change_that_opens_a_region),
      cmocka_unit_test(more_load_takes_more_torque_at_rest_too),
      cmocka_unit_test(a_sensor_that_is_too_coarse_is_told_to_be_finer),
      cmocka_unit_test(what_a_measured_supply_would_gain_is_what_tuning_with_it_gives),
      cmocka_unit_test(a_measured_supply_is_not_asked_for_where_there_is_one_voltage),
      cmocka_unit_test(a_measured_supply_is_no_remedy_for_too_heavy_a_load),
      cmocka_unit_test(margin_of_a_raster_is_the_chessboard_distance_to_the_nearest_failure),
      cmocka_unit_test(samples_begin_nominal_then_take_the_corners_then_stay_inside),
      cmocka_unit_test(samples_cover_the_range_evenly),
  };
  return cmocka_run_group_tests_name("tune", tests, NULL, NULL);
}
