// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Simulated regions and limits against the closed forms of include/shiftband/closed_form.h, over seeded random boxes with
 * two gears under a constant load.
 *
 * Hunting: under a load TL the box hunts for thresholds d and u with Td(d) < TL < Tu(u), and for no others, once dwell and
 * start delay outlast all transients. What is left of a transient is at most exp(-dwell / tau), so that much around a
 * boundary (settling, below) is left out of the comparison; every other point of the lattice must agree. With rounded
 * readings the settled readings are rounded first.
 *
 * Dwell: the reading passes d on its way up after shift time + climb, so the box comes back down unless the dwell is that
 * long: the least whole number of samples that holds is that time in samples, rounded up.
 */
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "help/dice.h"
#include "help/models.h"
#include "help/near.h"
#include "help/plane.h"
#include "shiftband/map.h"
#include "theory/steady.h"
#include "theory/torque_balance.h"

enum { BOX_COUNT = 240 };

/* Dwell in time constants: exp(-16) = 1.1e-7. */
static const double dwell_in_tau = 16.0;
static const double settling = 1e-6; /* of the reference: ten times that, for overrun's and rounding's part */

/* A box with a constant load that is a share of what stalls its fast gear. */
static struct sb_model random_box(gsl_rng *rng, int index, double load_share)
{
  static const char *const shifters[] = {"swing arm", "selector", "clutch"};
  struct sb_model model = model_blank();
  const double speed = plane_between_log(rng, 20.0, 400.0), stall_nm = plane_between_log(rng, 0.02, 2.0);
  const double tau_s = plane_between_log(rng, 0.01, 0.03);
  model_set_line_motor(&model, speed, stall_nm, tau_s * stall_nm / speed);
  if (plane_chance(rng, 0.5)) {
    const double stall_a = 1.05 * stall_nm * speed / 12.0;
    model_set_currents(&model, stall_a, plane_between(rng, 0.01, 0.08) * stall_a,
                       plane_chance(rng, 0.5) ? 0.1 * 12.0 / stall_a : 0.0);
    model.supply.open_circuit_voltage_v = plane_between(rng, 11.0, 13.0);
  }
  const double fast_ratio = plane_between(rng, 2.0, 12.0);
  model_add_gear(&model, fast_ratio * plane_between(rng, 1.4, 3.0), plane_between(rng, 0.75, 1.0), false);
  model_add_gear(&model, fast_ratio, plane_between(rng, 0.75, 1.0), false);
  for (int g = 0; g < 2; g++) {
    if (plane_chance(rng, 0.4)) model.gearbox.gears[g].drag_nm = plane_between(rng, 0.0, 0.05) * stall_nm;
  }
  model_set_shifter(&model, shifters[index % 3]);
  if (index % 3 > 0 && plane_chance(rng, 0.7)) model_drive_forward(&model);
  model.shifter.swing_turns = plane_between(rng, 0.05, 0.6);
  model.shifter.travel_time_s = plane_between(rng, 0.01, 0.2);
  model.shifter.is_drive_cut = plane_chance(rng, 0.5);
  model.shifter.clutch_nm = plane_between(rng, 1.2, 2.0) * stall_nm; /* never the weakest part */
  model.load.inertia_kg_m2 =
      model.motor.rotor_inertia_kg_m2 * fast_ratio * fast_ratio * plane_between_log(rng, 0.2, 4.0);
  if (plane_chance(rng, 0.4)) {
    model_add_viscous(&model, plane_between(rng, 0.0, 0.1) * stall_nm * fast_ratio * fast_ratio / speed);
  }
  model_finish(&model);
  model_add_constant(&model, load_share * sb_closed_form_solve(&model).gears[1].stall_torque_nm,
                     plane_chance(rng, 0.8));
  return model;
}

/* The longer of both time constants. */
static double longest_tau_s(const struct sb_model *model)
{
  const struct sb_motor_line line = sb_torque_balance_line(model);
  return fmax(sb_torque_balance_time_constant_s(model, &line, 0), sb_torque_balance_time_constant_s(model, &line, 1));
}

/* Whole samples, so that nothing is rounded on the way. */
static double in_samples_s(const struct sb_model *model, double time_s)
{
  return ceil(time_s / model->control.sample_period_s) * model->control.sample_period_s;
}

/* Hunting ------------------------------------------------------------------------------------------------------------- */

/* What a sensor of this resolution makes of a settled reading; 0: exact. */
static double rounded(double reading, double resolution)
{
  return resolution > 0.0 ? round(reading / resolution) * resolution : reading;
}

/* Whether the last bit of a transient can tip the comparison of a reading with a threshold. */
static bool is_at_edge(double reading, double resolution, double threshold)
{
  if (resolution == 0.0) return fabs(reading - threshold) <= settling;
  const double counts = reading / resolution;
  return fabs(counts - floor(counts) - 0.5) * resolution <= settling;
}

struct region {
  long hunting, quiet, edge; /* points */
};

static void compare_region(const struct sb_model *model, const struct sb_map *map, struct region *found)
{
  const struct sb_motor_line line = sb_torque_balance_line(model);
  const double load_nm = model->load.parts[model->load.part_count - 1].torque_nm;
  const double resolution = model->control.sensor.resolution_fraction;
  const double fast = sb_steady_reading(model, &line, 1, load_nm);
  const double slow = sb_steady_reading(model, &line, 0, load_nm);
  for (size_t k = 0; k < map->cell_count; k++) {
    const struct sb_map_cell *cell = &map->cells[k];
    const bool hunts = (cell->verdict.kinds & 1U << SB_VERDICT_HUNTING) != 0;
    for (int i = cell->downshift_first; i <= cell->downshift_last; i++) {
      for (int j = cell->upshift_first; j <= cell->upshift_last; j++) {
        const double downshift = sb_map_axis_at(&map->options.downshift, i),
                     upshift = sb_map_axis_at(&map->options.upshift, j);
        if (downshift >= upshift) continue;
        if (is_at_edge(fast, resolution, downshift) || is_at_edge(slow, resolution, upshift)) {
          found->edge++;
          continue;
        }
        const bool is_band = sb_steady_load_nm(model, &line, 1, downshift) < load_nm &&
                             load_nm < sb_steady_load_nm(model, &line, 0, upshift);
        const bool is_rounded_band =
            rounded(fast, resolution) < downshift - 1e-9 && rounded(slow, resolution) > upshift + 1e-9;
        assert_int_equal(hunts, resolution > 0.0 ? is_rounded_band : is_band);
        if (hunts) {
          found->hunting++;
          /* By the closed form alone the load lies in the band: the thresholds are at fault. Rounding widens that a bit. */
          if (is_band) assert_int_equal(cell->verdict.cause, SB_CAUSE_THRESHOLDS);
        } else {
          found->quiet++;
        }
      }
    }
  }
}

static void compare_hunting_regions(unsigned long seed, double resolution)
{
  gsl_rng *rng = dice_of(seed);
  struct region all = {0, 0, 0};
  for (int b = 0; b < BOX_COUNT; b++) {
    struct sb_model model = random_box(rng, b, plane_between(rng, 0.15, 0.75));
    struct sb_control *control = &model.control;
    control->sample_period_s = 0.01 * (1.0 + (double)gsl_rng_uniform_int(rng, 3));
    control->sensor.resolution_fraction = resolution;
    control->start_gear = 2;
    const double tau_s = longest_tau_s(&model);
    control->dwell_s = control->start_delay_s = in_samples_s(&model, dwell_in_tau * tau_s + 1.0);
    /* A threshold just beyond the settled reading is passed late: up to another dwell for each of three commands. */
    model.run.duration_s = 8.0 * control->dwell_s;
    struct sb_map_options options = sb_map_options_default(&model);
    const struct sb_map_axis axis = {plane_between(rng, 0.001, 0.01), 0.01, 100};
    options.downshift = options.upshift = axis;
    struct sb_map map;
    struct sb_error err = {SB_OK, ""};
    if (sb_map_exact(&model, &options, true, &map, &err) != SB_OK) fail_msg("box %d: %s", b, err.text);
    struct region found = {0, 0, 0};
    compare_region(&model, &map, &found);
    all.hunting += found.hunting;
    all.quiet += found.quiet;
    all.edge += found.edge;
    if (found.quiet == 0) fail_msg("box %d hunts everywhere", b);
    sb_map_clear(&map);
  }
  gsl_rng_free(rng);
  print_message("%d boxes: %ld points hunt, %ld don't, %ld too close to call\n", BOX_COUNT, all.hunting, all.quiet,
                all.edge);
  assert_true(all.hunting > 100 * BOX_COUNT);
  assert_true(all.edge < all.hunting / 100);
}

static void the_hunting_region_is_the_closed_form_band_for_exact_readings(void **state)
{
  (void)state;
  compare_hunting_regions(101, 0.0);
}

static void the_hunting_region_is_the_band_of_rounded_settled_readings(void **state)
{
  (void)state;
  compare_hunting_regions(102, 0.02);
}

/* Dwell and start delay -------------------------------------------------------------------------------------------------- */

/* Whether the box comes back down after its first upshift with a dwell of so many samples. */
static bool comes_back(const struct sb_model *model, int dwell_samples)
{
  struct sb_model own = *model;
  own.control.dwell_s = dwell_samples * own.control.sample_period_s;
  const struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  struct sb_error err = {SB_OK, ""};
  if (sb_run(&own, &options, &result, &err) != SB_OK) fail_msg("%s", err.text);
  assert_true(result.monitor.shift_count >= 1);
  assert_int_equal(result.monitor.shifts[0].to, 2);
  const bool is_back = result.monitor.shift_count > 1;
  sb_run_result_clear(&result);
  return is_back;
}

/* Whether a start in the fast gear with a start delay of so many samples is followed by a downshift. */
static bool gives_up(const struct sb_model *model, int delay_samples)
{
  struct sb_model own = *model;
  own.control.start_gear = 2;
  own.control.start_delay_s = delay_samples * own.control.sample_period_s;
  const struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  struct sb_error err = {SB_OK, ""};
  if (sb_run(&own, &options, &result, &err) != SB_OK) fail_msg("%s", err.text);
  const bool has_shifted = result.monitor.shift_count > 0;
  sb_run_result_clear(&result);
  return has_shifted;
}

/* The least number of samples with which it does not fail; it fails with 0, and the more the better. */
static int least_samples(const struct sb_model *model, bool (*fails)(const struct sb_model *, int), int most)
{
  int low = 0, high = most;
  assert_true(fails(model, low));
  assert_false(fails(model, high));
  while (high - low > 1) {
    const int middle = (low + high) / 2;
    if (fails(model, middle)) {
      low = middle;
    } else {
      high = middle;
    }
  }
  return high;
}

/*
 * One more sample at most, and when the time is not a whole number of samples to a thousandth (the integration's error,
 * and the count of 1e-8 in which exact readings come), exactly the time in samples, rounded up.
 */
static void expect_rounded_up(int least, double time_s, double period_s, int box)
{
  const double samples = time_s / period_s;
  if (!(fabs(least - samples) <= 1.0 + 1e-3)) {
    fail_msg("box %d: %d samples, closed form %.4f", box, least, samples);
  }
  if (fabs(samples - round(samples)) > 1e-3) assert_int_equal(least, (int)ceil(samples));
}

/* A box that goes up at once when its start delay is over, from the settled slow gear, and then holds the fast one. */
static struct sb_model holding_box(gsl_rng *rng, int index)
{
  struct sb_model model = random_box(rng, index, plane_between(rng, 0.1, 0.5));
  struct sb_control *control = &model.control;
  const struct sb_motor_line line = sb_torque_balance_line(&model);
  const double load_nm = model.load.parts[model.load.part_count - 1].torque_nm;
  const double fast_reading = sb_steady_reading(&model, &line, 1, load_nm);
  const double slow_reading = sb_steady_reading(&model, &line, 0, load_nm);
  control->sample_period_s = 0.002 * (1.0 + (double)gsl_rng_uniform_int(rng, 5));
  control->start_gear = 1;
  control->downshift_fraction[0] = fast_reading * plane_between(rng, 0.6, 0.98);
  control->upshift_fraction[0] = 0.5 * (slow_reading + control->downshift_fraction[0]);
  control->start_delay_s = in_samples_s(&model, dwell_in_tau * longest_tau_s(&model));
  model.run.duration_s = control->start_delay_s + 3.0;
  return model;
}

static void the_least_dwell_that_holds_is_shift_time_and_climb_in_whole_samples(void **state)
{
  (void)state;
  gsl_rng *rng = dice_of(103);
  int compared[3] = {0, 0, 0};
  for (int b = 0; b < 2000 && compared[0] + compared[1] + compared[2] < BOX_COUNT; b++) {
    const struct sb_model model = holding_box(rng, b);
    const struct sb_closed_form form = sb_closed_form_solve(&model);
    const struct sb_pair_figures *pair = &form.pairs[0];
    const double dwell_s = pair->shortest_dwell_steady_s;
    if (pair->is_stuck_low || isnan(dwell_s)) continue;
    /* A box that comes into mesh above d needs no dwell, since nothing is decided in neutral. */
    if (!comes_back(&model, 0)) continue;
    const int least = least_samples(&model, comes_back, (int)(2.5 / model.control.sample_period_s));
    expect_rounded_up(least, dwell_s, model.control.sample_period_s, b);
    compared[b % 3]++;
  }
  gsl_rng_free(rng);
  print_message("compared: %d swing arms, %d selectors, %d clutches\n", compared[0], compared[1], compared[2]);
  assert_true(compared[0] + compared[1] + compared[2] >= 200);
  for (int i = 0; i < 3; i++) assert_true(compared[i] >= 20);
}

static void the_least_start_delay_that_holds_is_the_run_up_in_whole_samples(void **state)
{
  (void)state;
  gsl_rng *rng = dice_of(104);
  for (int b = 0; b < BOX_COUNT; b++) {
    struct sb_model model = holding_box(rng, b);
    model.run.duration_s = in_samples_s(&model, dwell_in_tau * longest_tau_s(&model));
    model.control.upshift_fraction[0] = 0.99;
    const struct sb_closed_form form = sb_closed_form_solve(&model);
    const double delay_s = form.pairs[0].shortest_start_delay_s;
    assert_true(delay_s > 0.0);
    const int least = least_samples(&model, gives_up, (int)(model.run.duration_s / model.control.sample_period_s));
    expect_rounded_up(least, delay_s, model.control.sample_period_s, b);
  }
  gsl_rng_free(rng);
}

/* One that takes just as long as the timeout has engaged in time, one that takes a step longer has not. All times are whole in
 * binary, so that no rounding decides. The map and a run say the same. */
static void a_shift_may_take_as_long_as_the_timeout(void **state)
{
  (void)state;
  for (int is_late = 0; is_late < 2; is_late++) {
    struct sb_model model = model_two_gears("selector");
    model_add_constant(&model, 1.0, true); /* two thirds of what stalls the fast gear: it reads a third of the speed */
    model.run = (struct sb_run_setup){.duration_s = 2.0, .step_s = 0x1p-10, .trace_interval_s = 0x1p-10};
    model.control.start_gear = 2;
    model.control.sample_period_s = 0.125;
    model.control.start_delay_s = 0.5;
    model.control.dwell_s = 0.5;
    model.shifter.timeout_s = 0.25;
    model.shifter.travel_time_s = 0.25 + (is_late ? 0x1p-10 : 0.0);
    model_finish(&model);
    struct sb_map_options options = sb_map_options_default(&model);
    options.downshift = (struct sb_map_axis){0.5, 0.1, 1};
    options.upshift = (struct sb_map_axis){0.99, 0.01, 1};
    struct sb_map map;
    struct sb_error err;
    assert_int_equal(sb_map_exact(&model, &options, true, &map, &err), SB_OK);
    assert_int_equal(map.cells[0].figures.shift_count, 1);
    assert_int_equal(map.cells[0].verdict.kinds >> SB_VERDICT_NOT_ENGAGED & 1U, is_late);
    struct plane_seen seen = {.points = 0};
    plane_check_point(&model, &map, &map.cells[0], 0, 0, &seen);
    sb_map_clear(&map);
  }
}

/* A wagon on a slope that a shift leaves in neutral for 0.7 s comes to rest and rolls back some 30 mm. A hundredth of its way is
 * allowed, 10 mm at least: after 10 s, 4 m, that is enough, after 2 s, 0.8 m, it is not. The map and a run say the same. */
static void a_wagon_may_roll_back_a_hundredth_of_its_way(void **state)
{
  (void)state;
  for (int is_early = 0; is_early < 2; is_early++) {
    struct sb_model model = model_blank();
    model_set_line_motor(&model, 100.0, 0.1, 1e-5);
    model_add_gear(&model, 40.0, 0.9, false);
    model_add_gear(&model, 16.0, 0.9, false);
    model_drive_forward(&model);
    model.shifter.travel_time_s = 0.7;
    model.bodies[0] = (struct sb_body){
        .ops = sb_body_kind_find("vehicle"),
        .as.vehicle = {
            .mass_kg = 5.0, .wheel_radius_m = 0.1, .gravity_m_s2 = 9.81, .grade_fraction = 0.1, .driven_share = 1.0}};
    model.body_count = 1;
    struct sb_error err;
    assert_int_equal(sb_body_lower(&model.bodies[0], NULL, &model.load, &err), SB_OK);
    model.control.start_gear = 2;
    model.control.start_delay_s = is_early ? 2.0 : 10.0;
    model.control.dwell_s = 20.0;
    model.run.duration_s = 13.0;
    model_finish(&model);
    struct sb_map_options options = sb_map_options_default(&model);
    options.downshift = (struct sb_map_axis){0.8, 0.1, 1};
    options.upshift = (struct sb_map_axis){0.99, 0.01, 1};
    struct sb_map map;
    assert_int_equal(sb_map_exact(&model, &options, true, &map, &err), SB_OK);
    assert_int_equal(map.cells[0].figures.shift_count, 1);
    assert_int_equal(map.cells[0].verdict.kinds >> SB_VERDICT_RUNS_BACK & 1U, is_early);
    struct plane_seen seen = {.points = 0};
    plane_check_point(&model, &map, &map.cells[0], 0, 0, &seen);
    sb_map_clear(&map);
  }
}

/* Every point of the lattice lies in one rectangle, its edges too, and beyond it in none. A map stops only when it is asked to. */
static void each_point_finds_its_rectangle_and_a_stop_is_heard(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_add_constant(&model, 0.8, true);
  model.run.duration_s = 3.0;
  model_finish(&model);
  struct sb_map_options options = sb_map_options_default(&model);
  options.downshift = options.upshift = (struct sb_map_axis){0.4, 0.05, 12};
  static volatile sig_atomic_t stop = 0;
  options.stop = &stop;
  struct sb_map map;
  struct sb_error err;
  assert_int_equal(sb_map_exact(&model, &options, true, &map, &err), SB_OK);
  assert_true(map.cell_count > 1);
  for (size_t i = 0; i < map.cell_count; i++) {
    const struct sb_map_cell *cell = &map.cells[i];
    for (int down = cell->downshift_first; down <= cell->downshift_last; down++) {
      for (int up = cell->upshift_first; up <= cell->upshift_last; up++)
        assert_ptr_equal(sb_map_cell_at(&map, down, up), cell);
    }
  }
  assert_null(sb_map_cell_at(&map, 12, 11));
  assert_null(sb_map_cell_at(&map, 0, 12));
  sb_map_clear(&map);
  stop = 1;
  assert_int_equal(sb_map_exact(&model, &options, true, &map, &err), SB_ERR_STOPPED);
  /* Where every upshift threshold lies below every downshift threshold there is no point, and so no rectangle. */
  stop = 0;
  options.upshift.first_fraction = 0.1;
  options.upshift.step_fraction = 0.01;
  assert_int_equal(sb_map_exact(&model, &options, true, &map, &err), SB_OK);
  assert_int_equal(map.cell_count, 0);
  sb_map_clear(&map);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_hunting_region_is_the_closed_form_band_for_exact_readings),
      cmocka_unit_test(the_hunting_region_is_the_band_of_rounded_settled_readings),
      cmocka_unit_test(a_wagon_may_roll_back_a_hundredth_of_its_way),
      cmocka_unit_test(each_point_finds_its_rectangle_and_a_stop_is_heard),
      cmocka_unit_test(a_shift_may_take_as_long_as_the_timeout),
      cmocka_unit_test(the_least_dwell_that_holds_is_shift_time_and_climb_in_whole_samples),
      cmocka_unit_test(the_least_start_delay_that_holds_is_the_run_up_in_whole_samples),
  };
  return cmocka_run_group_tests_name("map against closed forms", tests, plane_quiet_gsl, NULL);
}
