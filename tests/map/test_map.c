// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The map of thresholds against brute force: points of its lattice, run on their own, do what their rectangle says; and
 * what it promises of its rectangles.
 *
 * Points are taken at the corners of rectangles above all, since a boundary that is off by one lattice point or by one
 * reading shows there and nowhere else.
 */
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "help/dice.h"
#include "help/models.h"
#include "help/near.h"
#include "help/plane.h"
#include "shiftband/closed_form.h"
#include "shiftband/map.h"
#include "shiftband/scenario.h"

static struct sb_map map_of(const struct sb_model *model, const struct sb_map_options *options, bool is_joined)
{
  struct sb_map map;
  struct sb_error err = {SB_OK, ""};
  if (sb_map_exact(model, options, is_joined, &map, &err) != SB_OK) fail_msg("%s: %s", model->name, err.text);
  return map;
}

/* Cells that are checked of one map: all when there are not many, else some spread over all of them. */
static void check_cells(const struct sb_model *model, const struct sb_map *map, size_t cell_max, gsl_rng *rng,
                        struct plane_seen *seen)
{
  const size_t count = map->cell_count < cell_max ? map->cell_count : cell_max;
  for (size_t k = 0; k < count; k++) {
    const size_t spread = (size_t)((double)k / (double)count * (double)map->cell_count);
    plane_check_cell(model, map, &map->cells[spread], rng, seen);
  }
}

/* Which cell holds each point of the lattice, -1: none. Fails when two do. Release with free(). */
static int *owners_of(const struct sb_map *map)
{
  const int width = map->options.upshift.count;
  int *owners = malloc((size_t)map->options.downshift.count * (size_t)width * sizeof *owners);
  assert_non_null(owners);
  memset(owners, 0xff, (size_t)map->options.downshift.count * (size_t)width * sizeof *owners);
  for (size_t k = 0; k < map->cell_count; k++) {
    const struct sb_map_cell *cell = &map->cells[k];
    assert_in_range(cell->downshift_last, cell->downshift_first, map->options.downshift.count - 1);
    assert_in_range(cell->upshift_last, cell->upshift_first, map->options.upshift.count - 1);
    for (int i = cell->downshift_first; i <= cell->downshift_last; i++) {
      for (int j = cell->upshift_first; j <= cell->upshift_last; j++) {
        assert_int_equal(owners[i * width + j], -1);
        owners[i * width + j] = (int)k;
      }
    }
  }
  return owners;
}

static bool is_meant(const struct sb_map *map, int downshift, int upshift)
{
  return sb_map_axis_at(&map->options.downshift, downshift) < sb_map_axis_at(&map->options.upshift, upshift);
}

/* Every point with down < up lies in exactly one cell of either map, and both say the same of it. */
static void check_cover_and_joining(const struct sb_map *plain, const struct sb_map *joined)
{
  const int width = plain->options.upshift.count;
  int *plain_owners = owners_of(plain), *joined_owners = owners_of(joined);
  assert_true(joined->cell_count <= plain->cell_count);
  for (int i = 0; i < plain->options.downshift.count; i++) {
    for (int j = 0; j < width; j++) {
      if (!is_meant(plain, i, j)) continue;
      const int a = plain_owners[i * width + j], b = joined_owners[i * width + j];
      assert_true(a >= 0 && b >= 0);
      const struct sb_map_cell *cell = &plain->cells[a], *greater = &joined->cells[b];
      assert_int_equal(cell->verdict.kinds, greater->verdict.kinds);
      assert_int_equal(cell->verdict.cause, greater->verdict.cause);
      assert_int_equal(cell->figures.shift_count, greater->figures.shift_count);
      assert_true(cell->figures.output_turns == greater->figures.output_turns);
      assert_true(cell->figures.given_j == greater->figures.given_j);
      assert_true(cell->figures.greatest_torque_nm == greater->figures.greatest_torque_nm);
    }
  }
  free(plain_owners);
  free(joined_owners);
}

/* Number of different thresholds, in counts, on an axis. */
static size_t distinct_counts(const struct sb_model *model, const struct sb_map_axis *axis,
                              int32_t (*count_of)(const struct sb_sensor *, double))
{
  size_t distinct = 0;
  int32_t last = INT32_MIN;
  for (int i = 0; i < axis->count; i++) {
    const int32_t count = count_of(&model->control.sensor, sb_map_axis_at(axis, i));
    distinct += i == 0 || count != last;
    last = count;
  }
  return distinct;
}

static void check_rectangle_count(const struct sb_model *model, const struct sb_map *map)
{
  const size_t downshift = distinct_counts(model, &map->options.downshift, sb_sensor_down_count);
  const size_t upshift = distinct_counts(model, &map->options.upshift, sb_sensor_up_count);
  assert_in_range(map->leaf_count, 1, downshift * upshift);
}

/* Tests ------------------------------------------------------------------------------------------------------------ */

static void check_scenario(const char *file, const char *const *sets, size_t set_count, size_t cell_max)
{
  struct sb_scenario scenario;
  struct sb_faults faults = {0};
  char path[1024];
  snprintf(path, sizeof path, "%s/scenarios/%s", SB_SOURCE_DIR, file);
  assert_int_equal(sb_scenario_load(path, sets, set_count, &scenario, &faults), SB_OK);
  sb_faults_clear(&faults);
  const struct sb_map_options options = sb_map_options_default(&scenario.model);
  struct sb_map plain = map_of(&scenario.model, &options, false), joined = map_of(&scenario.model, &options, true);
  gsl_rng *rng = dice_of(17);
  struct plane_seen seen = {0};
  check_cells(&scenario.model, &plain, cell_max, rng, &seen);
  check_cells(&scenario.model, &joined, cell_max / 4, rng, &seen);
  check_cover_and_joining(&plain, &joined);
  check_rectangle_count(&scenario.model, &plain);
  assert_true(seen.shifts > 0 && seen.kinds != 0);
  gsl_rng_free(rng);
  sb_map_clear(&plain);
  sb_map_clear(&joined);
  sb_scenario_clear(&scenario);
}

static void every_point_of_the_shipped_scenarios_does_what_its_rectangle_says(void **state)
{
  (void)state;
  static const char *const fine[] = {"controller.resolution=0.01 %"};
  check_scenario("tray-cart.yaml", NULL, 0, 150);
  check_scenario("tray-cart.yaml", fine, 1, 150);
  check_scenario("hunting-crawler.yaml", NULL, 0, 150);
  check_scenario("hunting-crawler-fixed.yaml", fine, 1, 150);
  check_scenario("well-winch.yaml", NULL, 0, 150);
  static const char *const minute[] = {"run.duration=60 s"};
  check_scenario("stop-and-go.yaml", minute, 1, 50);
}

/* A seed a case, so that one that fails can be looked at alone: SHIFTBAND_TEST_CASE=number. */
enum { CASE_COUNT = 150, CELLS_A_CASE = 20 };

static void every_point_of_random_machines_does_what_its_rectangle_says(void **state)
{
  (void)state;
  struct plane_seen seen = {0};
  static struct plane_case it;
  const char *only = getenv("SHIFTBAND_TEST_CASE");
  for (unsigned long seed = 1; seed <= CASE_COUNT; seed++) {
    if (only != NULL && seed != strtoul(only, NULL, 10)) continue;
    gsl_rng *rng = dice_of(seed);
    plane_random_case(rng, &it);
    snprintf(it.model.name, sizeof it.model.name, "case %lu", seed);
    struct sb_map plain = map_of(&it.model, &it.options, false), joined = map_of(&it.model, &it.options, true);
    check_cover_and_joining(&plain, &joined);
    check_rectangle_count(&it.model, &plain);
    check_cells(&it.model, &plain, CELLS_A_CASE, rng, &seen);
    sb_map_clear(&plain);
    sb_map_clear(&joined);
    gsl_rng_free(rng);
  }
  print_message("%ld points, %ld shifts, worst difference: turns %.1e, energy %.1e\n", seen.points, seen.shifts,
                seen.worst_turns, seen.worst_given);
  if (only != NULL) return;
  /* The cases are worth something only when everything that can be found was found somewhere. */
  assert_int_equal(seen.kinds, 1U << SB_VERDICT_HUNTING | 1U << SB_VERDICT_BUSY_SHIFTING | 1U << SB_VERDICT_STALL |
                                   1U << SB_VERDICT_STUCK_LOW | 1U << SB_VERDICT_NEEDLESS_DOWNSHIFT |
                                   1U << SB_VERDICT_OVERLOAD | 1U << SB_VERDICT_NOT_ENGAGED |
                                   1U << SB_VERDICT_RUNS_BACK | 1U << SB_VERDICT_OVERSPEED |
                                   1U << SB_VERDICT_CLUTCH_SLIPS | 1U << SB_VERDICT_OUT_OF_REACH);
  assert_int_equal(seen.causes,
                   1U << SB_CAUSE_NONE | 1U << SB_CAUSE_THRESHOLDS | 1U << SB_CAUSE_DWELL | 1U << SB_CAUSE_LOAD);
}

/* The cell of a map that holds a point, when that passes; else NULL. */
static const struct sb_map_cell *passing_at(const struct sb_map *map, const int *owners, int downshift, int upshift)
{
  const int owner = owners[downshift * map->options.upshift.count + upshift];
  return owner >= 0 && map->cells[owner].verdict.kinds == 0 ? &map->cells[owner] : NULL;
}

/* Points are wanted by chance, in a pattern of their own. */
static int *choose_wanted(const struct sb_map_options *options, gsl_rng *rng)
{
  const int width = options->upshift.count + 1;
  const double share = plane_between(rng, 0.0, 0.2);
  int *wanted = calloc((size_t)((options->downshift.count + 1) * width), sizeof *wanted);
  assert_non_null(wanted);
  for (int i = 1; i <= options->downshift.count; i++) {
    for (int j = 1; j < width; j++) {
      int *here = &wanted[i * width + j];
      *here = here[-1] + here[-width] - here[-width - 1] + plane_chance(rng, share);
    }
  }
  return wanted;
}

/* Where a map that is asked for less says that points pass: there, and nowhere else among those wanted, whole maps do. */
static long compare_passing(const struct sb_model *model, const struct sb_map *whole, const int *wanted)
{
  struct sb_map_options options = whole->options;
  options.is_passing_asked = true;
  options.wanted = wanted;
  struct sb_map less = map_of(model, &options, false);
  int *owners = owners_of(whole), *less_owners = owners_of(&less);
  const int width = options.upshift.count + 1;
  long passing = 0;
  for (int i = 0; i < options.downshift.count; i++) {
    for (int j = 0; j + 1 < width; j++) {
      const int *here = wanted != NULL ? &wanted[i * width + j] : NULL;
      const bool is_wanted = here == NULL || here[width + 1] - here[width] - here[1] + here[0] > 0;
      const struct sb_map_cell *cell = passing_at(whole, owners, i, j), *other = passing_at(&less, less_owners, i, j);
      if (!is_wanted || !is_meant(whole, i, j)) continue;
      assert_int_equal(other != NULL, cell != NULL);
      if (cell == NULL) continue;
      passing++;
      assert_int_equal(other->figures.shift_count, cell->figures.shift_count);
      assert_near(other->figures.output_turns, cell->figures.output_turns, 1e-9 * fabs(cell->figures.output_turns));
      assert_near(other->figures.given_j, cell->figures.given_j, 1e-9 * fabs(cell->figures.given_j));
      assert_true(other->figures.greatest_torque_nm == cell->figures.greatest_torque_nm);
    }
  }
  assert_true(less.sample_count <= whole->sample_count || whole->options.memory_bytes > 0);
  free(owners);
  free(less_owners);
  sb_map_clear(&less);
  return passing;
}

static void maps_that_are_asked_only_what_passes_say_the_same_of_it(void **state)
{
  (void)state;
  static struct plane_case it;
  long passing = 0, wanted_passing = 0;
  for (unsigned long seed = 1; seed <= 2 * CASE_COUNT; seed++) {
    gsl_rng *rng = dice_of(seed);
    plane_random_case(rng, &it);
    snprintf(it.model.name, sizeof it.model.name, "case %lu", seed);
    struct sb_map whole = map_of(&it.model, &it.options, false);
    int *wanted = choose_wanted(&it.options, rng);
    passing += compare_passing(&it.model, &whole, NULL);
    wanted_passing += compare_passing(&it.model, &whole, wanted);
    free(wanted);
    sb_map_clear(&whole);
    gsl_rng_free(rng);
  }
  print_message("%ld points pass, %ld of those wanted\n", passing, wanted_passing);
  assert_true(wanted_passing > 1000 && passing > 5 * wanted_passing);
}

/*
 * A hump in time parts the thresholds: some shift down and up again, at different samples, and turn less far meanwhile.
 * All settle to the very same speed again, in the same gear, before a step over turns is met: at different times, which a
 * map that took equal speeds for equal futures would get wrong.
 */
/* Gears that lock themselves under loads that help for a while: lowered by the motor, held, jammed. Wheels before and behind
 * the shifter. */
static void let_loads_help(gsl_rng *rng, struct plane_case *it)
{
  struct sb_model *model = &it->model;
  for (int g = 0; g < model->gearbox.gear_count; g++) {
    struct sb_gear *gear = &model->gearbox.gears[g];
    gear->meshes[0].efficiency = plane_between(rng, 0.3, 0.5);
    gear->back_efficiency = plane_chance(rng, 0.5) ? SB_BACK_EFFICIENCY_AUTO : plane_between(rng, -1.0, -0.1);
    gear->meshes[0].inertia_kg_m2 = plane_between(rng, 0.0, 0.5) * model->motor.rotor_inertia_kg_m2;
    gear->meshes[0].inertia_at = plane_chance(rng, 0.5);
  }
  model->gearbox.shifter_after_mesh = plane_chance(rng, 0.5);
  sb_gearbox_derive(&model->gearbox);
  for (int i = 0; i < model->load.part_count; i++) model->load.parts[i].is_resisting = i % 2 == 1;
  for (int k = 0; k < it->table_count; k++) {
    for (int i = 0; i < PLANE_POINT_MAX; i++) it->torque_nm[k][i] *= plane_chance(rng, 0.5) ? -0.7 : 0.4;
  }
}

static void every_point_of_machines_that_lock_does_what_its_rectangle_says(void **state)
{
  (void)state;
  static struct plane_case it;
  struct plane_seen seen = {0};
  long cells = 0;
  for (unsigned long seed = 1; seed <= 40; seed++) {
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(rng, seed);
    plane_random_case(rng, &it);
    let_loads_help(rng, &it);
    snprintf(it.model.name, sizeof it.model.name, "locking %lu", seed);
    struct sb_map map = map_of(&it.model, &it.options, false);
    check_cells(&it.model, &map, 12, rng, &seen);
    cells += (long)map.cell_count;
    sb_map_clear(&map);
    gsl_rng_free(rng);
  }
  print_message("%ld rectangles, %ld points, %ld shifts\n", cells, seen.points, seen.shifts);
  assert_true(seen.points > 800 && seen.shifts > 500);
}

static void machines_of_equal_speed_at_different_angles_are_kept_apart(void **state)
{
  (void)state;
  static const double hump_s[] = {0.0, 1.0, 1.6, 2.2, 3.0}, hump_nm[] = {0.1, 0.1, 1.0, 1.0, 0.1};
  static const double step_rad[] = {0.0, 62.0}, step_nm[] = {0.0, 1.0};
  struct sb_model model = model_two_gears("selector");
  model_add_profile(&model, SB_OVER_TIME, true, 5, hump_s, hump_nm);
  model_add_profile(&model, SB_OVER_TURNS, true, 2, step_rad, step_nm)->is_held = true;
  model.control.start_gear = 2;
  model.control.start_delay_s = model.control.dwell_s = 0.6;
  model.run.duration_s = 12.0;
  model_finish(&model);
  const struct sb_map_options options = sb_map_options_default(&model);
  struct sb_map map = map_of(&model, &options, false);
  gsl_rng *rng = dice_of(5);
  struct plane_seen seen = {0};
  check_cells(&model, &map, 60, rng, &seen);
  assert_true(seen.shifts > seen.points);
  gsl_rng_free(rng);
  sb_map_clear(&map);
}

/* A load of just the torque at which the next gear comes down again: whoever stays below is not stuck low yet, in the map
 * as in a run; a trifle lighter and it is. The map is of the upper pair, the load is at the threshold of the lower one. */
static void a_load_at_the_threshold_of_another_pair_is_judged_as_a_run_does(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_add_gear(&model, 2.0, 1.0, false);
  model.run.duration_s = 6.0;
  model.control.upshift_fraction[0] = 1.5; /* never: it stays in gear 1 */
  struct sb_load_part *load = model_add_constant(&model, 0.0, true);
  model_finish(&model);
  const double down_nm = sb_closed_form_solve(&model).pairs[0].downshift_torque_nm;
  const double torques_nm[] = {down_nm, nextafter(down_nm, 0.0)};
  for (int k = 0; k < 2; k++) {
    load->torque_nm = torques_nm[k];
    struct sb_map_options options = sb_map_options_default(&model);
    options.pair = 1;
    struct sb_map map = map_of(&model, &options, false);
    gsl_rng *rng = dice_of(3);
    struct plane_seen seen = {0};
    check_cells(&model, &map, 20, rng, &seen);
    assert_int_equal((seen.kinds & 1U << SB_VERDICT_STUCK_LOW) != 0, k == 1);
    gsl_rng_free(rng);
    sb_map_clear(&map);
  }
}

static void a_map_of_more_rectangles_than_allowed_is_refused(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_add_constant(&model, 0.8, true);
  model_finish(&model);
  struct sb_map_options options = sb_map_options_default(&model);
  struct sb_map map = map_of(&model, &options, false), same;
  struct sb_error err = {SB_OK, ""};
  const size_t leaf_count = map.leaf_count;
  assert_true(leaf_count > 2);
  sb_map_clear(&map);

  options.leaf_max = leaf_count;
  same = map_of(&model, &options, false);
  assert_int_equal(same.leaf_count, leaf_count);
  sb_map_clear(&same);
  options.leaf_max = leaf_count - 1;
  assert_int_equal(sb_map_exact(&model, &options, false, &map, &err), SB_ERR_NUMERICS);
  assert_non_null(strstr(err.text, "rectangles"));
}

static void the_worst_verdict_is_the_one_that_stops_the_machine_first(void **state)
{
  (void)state;
  const unsigned all = (1U << SB_VERDICT_KIND_COUNT) - 1U;
  struct sb_map_verdict verdict = {all, SB_CAUSE_LOAD};
  static const enum sb_verdict_kind order[] = {
      SB_VERDICT_STALL,      SB_VERDICT_REVERSED,      SB_VERDICT_RUNS_BACK,         SB_VERDICT_NOT_ENGAGED,
      SB_VERDICT_HUNTING,    SB_VERDICT_BUSY_SHIFTING, SB_VERDICT_DRIVE_CUT,         SB_VERDICT_OVERSPEED,
      SB_VERDICT_OVERHEATED, SB_VERDICT_OVERLOAD,      SB_VERDICT_CLUTCH_SLIPS,      SB_VERDICT_SLIPPING,
      SB_VERDICT_STUCK_LOW,  SB_VERDICT_OUT_OF_REACH,  SB_VERDICT_NEEDLESS_DOWNSHIFT};
  assert_int_equal(sizeof order / sizeof *order, SB_VERDICT_KIND_COUNT);
  for (size_t k = 0; k < sizeof order / sizeof *order; k++) {
    assert_int_equal(sb_map_verdict_worst(&verdict), order[k]);
    verdict.kinds &= ~(1U << order[k]);
  }
  assert_int_equal(sb_map_verdict_worst(&verdict), -1);
}

static void the_default_lattice_reaches_beyond_the_fastest_reading_in_steps_of_a_tenth_of_a_percent(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model.supply.open_circuit_voltage_v = 15.0; /* a quarter above nominal: the motor turns at up to 125 % */
  model_finish(&model);
  const struct sb_map_options options = sb_map_options_default(&model);
  assert_near(options.downshift.step_fraction, 0.001, 0.0);
  assert_near(sb_map_axis_at(&options.downshift, 0), 0.001, 0.0);
  assert_true(sb_map_axis_at(&options.upshift, options.upshift.count - 1) > 1.25);

  struct sb_map map = map_of(&model, &options, true);
  const struct sb_map_cell *cell = sb_map_cell_at(&map, 599, 899);
  assert_non_null(cell);
  assert_in_range(599, cell->downshift_first, cell->downshift_last);
  assert_in_range(899, cell->upshift_first, cell->upshift_last);
  assert_null(sb_map_cell_at(&map, 5, options.upshift.count));
  sb_map_clear(&map);
  assert_int_equal(map.cell_count, 0);
}

/* A duty of more than 80 % is never given, so that no load at all brings the reading below 20 %: the shift point is infinite there. */
static void thresholds_that_no_load_reaches_do_as_runs_do(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_add_constant(&model, 0.5, true);
  model.drive.mode = SB_DRIVE_SPEED_CONTROL;
  model.drive.target_rad_s = 15.0;
  model.drive.gain_per_rad_s = 0.2;
  model.drive.integral_per_rad = 1.0;
  model.drive.limit_fraction = 0.8;
  model.drive.period_s = 0.02;
  model.control.sensor.quantity = SB_SENSES_DUTY;
  model.control.start_gear = 2;
  model.run.duration_s = 4.0;
  model_finish(&model);
  struct sb_map_options options = sb_map_options_default(&model);
  options.downshift = (struct sb_map_axis){0.05, 0.05, 8};
  options.upshift = (struct sb_map_axis){0.1, 0.1, 8};
  struct sb_map map = map_of(&model, &options, true);
  struct plane_seen seen = {0};
  gsl_rng *rng = dice_of(1);
  check_cells(&model, &map, 100, rng, &seen);
  assert_true(seen.points > 5 && (seen.kinds & 1U << SB_VERDICT_OUT_OF_REACH) != 0);
  gsl_rng_free(rng);
  sb_map_clear(&map);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(every_point_of_the_shipped_scenarios_does_what_its_rectangle_says),
      cmocka_unit_test(every_point_of_random_machines_does_what_its_rectangle_says),
      cmocka_unit_test(maps_that_are_asked_only_what_passes_say_the_same_of_it),
      cmocka_unit_test(every_point_of_machines_that_lock_does_what_its_rectangle_says),
      cmocka_unit_test(machines_of_equal_speed_at_different_angles_are_kept_apart),
      cmocka_unit_test(a_load_at_the_threshold_of_another_pair_is_judged_as_a_run_does),
      cmocka_unit_test(a_map_of_more_rectangles_than_allowed_is_refused),
      cmocka_unit_test(the_worst_verdict_is_the_one_that_stops_the_machine_first),
      cmocka_unit_test(the_default_lattice_reaches_beyond_the_fastest_reading_in_steps_of_a_tenth_of_a_percent),
      cmocka_unit_test(thresholds_that_no_load_reaches_do_as_runs_do),
  };
  return cmocka_run_group_tests_name("map", tests, plane_quiet_gsl, NULL);
}
