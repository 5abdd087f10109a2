// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The exact map against brute force where machines have more to remember than speeds and angles: vehicles that slip, push
 * bodies and arrive, batteries, windings with a cut-out, drives that hold a speed, ramp and take orders, shafts that give.
 */
#include <gsl/gsl_rng.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "help/dice.h"
#include "help/mix.h"
#include "help/models.h"
#include "help/near.h"
#include "shiftband/run.h"

enum { CELLS_A_CASE = 8 };

/* What else the points have met, by runs of their own. */
struct met {
  long slipped, bodies, arrived, cut, weakened;
};

static void count_what_is_met(const struct sb_model *model, struct met *met)
{
  const struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  struct sb_error err = {SB_OK, ""};
  assert_int_equal(sb_run(model, &options, &result, &err), SB_OK);
  met->slipped += result.sums.slip_s > 0.0;
  met->bodies += result.sums.impact_count;
  met->arrived += result.step_count < sb_model_step_count(model->run.duration_s, model->run.step_s);
  met->cut += result.sums.cut_count > 0;
  met->weakened += model->magnet.is_present && fabs(sb_magnet_ratio(&model->magnet, result.end.magnet_c) - 1.0) > 0.02;
  sb_run_result_clear(&result);
}

/* Cells from all over the plane. */
static void check_cells(const struct sb_model *model, const struct sb_map *map, gsl_rng *rng, struct plane_seen *seen)
{
  const size_t stride = 1 + map->cell_count / CELLS_A_CASE;
  for (size_t k = 0; k < map->cell_count; k += stride) plane_check_cell(model, map, &map->cells[k], rng, seen);
}

static void check_some_cells(const struct sb_model *model, const struct sb_map_options *options, gsl_rng *rng,
                             struct plane_seen *seen)
{
  struct sb_map map;
  struct sb_error err = {SB_OK, ""};
  if (sb_map_exact(model, options, false, &map, &err) != SB_OK) fail_msg("%s: %s", model->name, err.text);
  check_cells(model, &map, rng, seen);
  sb_map_clear(&map);
}

/* A seed a case, so that one that fails can be looked at alone: SHIFTBAND_TEST_CASE=number. */
static void check_cases(const struct mix_chances *chances, unsigned long first, unsigned long count,
                        struct plane_seen *seen, struct met *met)
{
  static struct mix_case it;
  const char *only = getenv("SHIFTBAND_TEST_CASE");
  for (unsigned long seed = first; seed < first + count; seed++) {
    if (only != NULL && seed != strtoul(only, NULL, 10)) continue;
    gsl_rng *rng = dice_of(seed);
    mix_random_case(rng, chances, &it);
    const struct sb_model *model = &it.plane.model;
    snprintf(it.plane.model.name, sizeof it.plane.model.name, "case %lu", seed);
    if (only != NULL) print_message("%s\n", model->name);
    check_some_cells(model, &it.plane.options, rng, seen);
    count_what_is_met(model, met);
    gsl_rng_free(rng);
  }
  print_message(
      "%ld points, %ld shifts, worst difference: turns %.1e, energy %.1e; machines: %ld slipped, %ld arrived, "
      "%ld cut, %ld with other magnets; %ld bodies met\n",
      seen->points, seen->shifts, seen->worst_turns, seen->worst_given, met->slipped, met->arrived, met->cut,
      met->weakened, met->bodies);
}

static bool is_whole(void)
{
  return getenv("SHIFTBAND_TEST_CASE") == NULL;
}

static void every_point_of_vehicles_that_slip_push_and_arrive_does_what_its_rectangle_says(void **state)
{
  (void)state;
  static const struct mix_chances chances = {.vehicle = 1.0, .grip = 0.9, .obstacles = 0.8, .finish = 0.5};
  struct plane_seen seen = {0};
  struct met met = {0};
  check_cases(&chances, 1001, 60, &seen, &met);
  if (!is_whole()) return;
  assert_true(met.slipped > 20 && met.bodies > 50 && met.arrived > 8 && seen.shifts > seen.points / 2);
  assert_true((seen.kinds & 1U << SB_VERDICT_SLIPPING) != 0 && (seen.kinds & 1U << SB_VERDICT_STALL) != 0);
}

static void every_point_of_machines_that_tire_warm_and_follow_a_schedule_does_what_its_rectangle_says(void **state)
{
  (void)state;
  static const struct mix_chances chances = {.hoist = 0.3,
                                             .rotor = 0.3,
                                             .battery = 0.6,
                                             .winding = 0.6,
                                             .hold = 0.4,
                                             .ramp = 0.3,
                                             .schedule = 0.5,
                                             .shaft = 0.4,
                                             .backlash = 0.5,
                                             .magnet = 1.0};
  struct plane_seen seen = {0};
  struct met met = {0};
  check_cases(&chances, 2001, 40, &seen, &met);
  if (!is_whole()) return;
  assert_true(met.cut > 4 && met.weakened > 10 && seen.shifts > seen.points / 4);
  assert_true((seen.kinds & 1U << SB_VERDICT_DRIVE_CUT) != 0 && (seen.kinds & 1U << SB_VERDICT_OVERHEATED) != 0);
}

static void every_point_of_machines_of_everything_does_what_its_rectangle_says(void **state)
{
  (void)state;
  struct plane_seen seen = {0};
  struct met met = {0};
  check_cases(&mix_everything, 3001, 40, &seen, &met);
  if (!is_whole()) return;
  assert_true(met.slipped > 10 && met.bodies > 8 && met.cut > 2);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(every_point_of_vehicles_that_slip_push_and_arrive_does_what_its_rectangle_says),
      cmocka_unit_test(every_point_of_machines_that_tire_warm_and_follow_a_schedule_does_what_its_rectangle_says),
      cmocka_unit_test(every_point_of_machines_of_everything_does_what_its_rectangle_says),
  };
  return cmocka_run_group_tests_name("map of vehicles and of what feeds the motor", tests, plane_quiet_gsl, NULL);
}
