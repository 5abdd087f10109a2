// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * What a map says of a point depends on the point alone: the whole plane, a window of it, and a run of its own come to the same
 * verdicts, on random machines with everything, readings of duty and current and gears that reverse the output among them.
 */
#include <gsl/gsl_rng.h>
#include <stdio.h>
#include <stdlib.h>

#include "help/dice.h"
#include "help/mix.h"
#include "help/models.h"
#include "help/near.h"
#include "shiftband/run.h"

enum { CASE_COUNT = 150, POINTS_A_CASE = 6 };

static const double step = 0.01;
enum { FIRST = 20, COUNT = 80 }; /* the whole: 20 % to 100 % */

static struct sb_map_axis axis_of(int first, int count)
{
  return (struct sb_map_axis){first * step, step, count};
}

/* What plane and mix leave out. */
static void add_rarities(gsl_rng *rng, struct sb_model *model)
{
  struct sb_sensor *sensor = &model->control.sensor;
  if (model->drive.mode == SB_DRIVE_SPEED_CONTROL && plane_chance(rng, 0.5)) {
    sensor->quantity = SB_SENSES_DUTY;
  } else if (model->motor.has_currents && plane_chance(rng, 0.2)) {
    sensor->quantity = SB_SENSES_CURRENT;
    sensor->reference_a = model->motor.stall_current_a;
  }
  if (plane_chance(rng, 0.15)) {
    struct sb_gear *gear = &model->gearbox.gears[gsl_rng_uniform_int(rng, (unsigned long)model->gearbox.gear_count)];
    gear->meshes[0].is_internal = !gear->meshes[0].is_internal;
    sb_gearbox_derive(&model->gearbox);
  }
}

static void map_of(const struct sb_model *model, const struct sb_map_options *options, struct sb_map *map)
{
  struct sb_error err = {SB_OK, ""};
  if (sb_map_exact(model, options, true, map, &err) != SB_OK) fail_msg("%s: %s", model->name, err.text);
}

static struct sb_map_verdict run_of(const struct sb_model *model, int pair, double downshift, double upshift)
{
  struct sb_model own = *model;
  own.control.downshift_fraction[pair] = downshift;
  own.control.upshift_fraction[pair] = upshift;
  const struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  struct sb_error err = {SB_OK, ""};
  if (sb_run(&own, &options, &result, &err) != SB_OK) fail_msg("%s: %s", model->name, err.text);
  const struct sb_map_verdict verdict = plane_verdict_of(&result.monitor);
  sb_run_result_clear(&result);
  return verdict;
}

static void expect_same(unsigned long seed, const char *what, const struct sb_map_verdict *got,
                        const struct sb_map_verdict *want, double downshift, double upshift)
{
  if (got->kinds == want->kinds && got->cause == want->cause) return;
  fail_msg("case %lu, down %g up %g: %s has verdicts 0x%x cause %d, a run 0x%x cause %d", seed, downshift, upshift,
           what, got->kinds, (int)got->cause, want->kinds, (int)want->cause);
}

static unsigned check_case(unsigned long seed)
{
  static struct mix_case it;
  gsl_rng *rng = dice_of(seed);
  mix_random_case(rng, &mix_everything, &it);
  struct sb_model *model = &it.plane.model;
  add_rarities(rng, model);
  struct sb_map_options options = it.plane.options;
  options.downshift = options.upshift = axis_of(FIRST, COUNT);
  struct sb_map whole;
  map_of(model, &options, &whole);
  unsigned seen = 0;
  for (int k = 0; k < POINTS_A_CASE; k++) {
    const int downshift = (int)gsl_rng_uniform_int(rng, COUNT - 1);
    const int upshift = downshift + 1 + (int)gsl_rng_uniform_int(rng, (unsigned long)(COUNT - 1 - downshift));
    const int back = (int)gsl_rng_uniform_int(rng, 5), on = (int)gsl_rng_uniform_int(rng, 5);
    const int first_down = downshift > back ? downshift - back : 0, first_up = upshift > on ? upshift - on : 0;
    struct sb_map_options window = options;
    window.downshift = axis_of(FIRST + first_down, downshift - first_down + 1);
    window.upshift = axis_of(FIRST + first_up, upshift - first_up + 1);
    struct sb_map part;
    map_of(model, &window, &part);
    const struct sb_map_cell *cell = sb_map_cell_at(&whole, downshift, upshift);
    const struct sb_map_cell *own = sb_map_cell_at(&part, downshift - first_down, upshift - first_up);
    assert_non_null(cell);
    assert_non_null(own);
    const double down_at = sb_map_axis_at(&options.downshift, downshift),
                 up_at = sb_map_axis_at(&options.upshift, upshift);
    const struct sb_map_verdict run = run_of(model, options.pair, down_at, up_at);
    expect_same(seed, "the whole map", &cell->verdict, &run, down_at, up_at);
    expect_same(seed, "a window", &own->verdict, &run, down_at, up_at);
    seen |= run.kinds;
    sb_map_clear(&part);
  }
  sb_map_clear(&whole);
  gsl_rng_free(rng);
  return seen;
}

static void the_whole_a_window_and_a_run_say_the_same_of_a_point(void **state)
{
  (void)state;
  unsigned seen = 0;
  for (unsigned long seed = 1; seed <= CASE_COUNT; seed++) {
    if (mix_is_wanted(seed)) seen |= check_case(seed);
  }
  if (getenv("SHIFTBAND_TEST_CASE") == NULL) assert_int_equal(seen, (1U << SB_VERDICT_KIND_COUNT) - 1U);
}

int main(void)
{
  const struct CMUnitTest tests[] = {cmocka_unit_test(the_whole_a_window_and_a_run_say_the_same_of_a_point)};
  return cmocka_run_group_tests_name("map_windows", tests, plane_quiet_gsl, NULL);
}
