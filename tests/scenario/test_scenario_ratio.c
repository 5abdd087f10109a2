// SPDX-License-Identifier: GPL-3.0-or-later
/* A gear as its ratio alone, and wheels that are set one by one. */
#include <stdio.h>

#include "help/near.h"
#include "help/place.h"
#include "shiftband/run.h"
#include "shiftband/scenario.h"

static struct sb_scenario scenario, other; /* large, hence not on the stack */

static void load_into(struct sb_scenario *out, const char *const *sets, size_t count)
{
  struct sb_faults faults;
  const enum sb_status status = sb_scenario_load("good/interface.yaml", sets, count, out, &faults);
  if (status != SB_OK) fail_msg("%s", faults.count > 0 ? faults.texts[0] : sb_status_text(status));
  sb_faults_clear(&faults);
}

static double turns_of(const struct sb_model *model)
{
  struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  struct sb_error err;
  assert_int_equal(sb_run(model, &options, &result, &err), SB_OK);
  const double way_rad = result.sums.way_rad;
  sb_run_result_clear(&result);
  return way_rad;
}

/* 15/30, 18/36, 14/42 is 12:1 and 15/30, 18/36 is 4:1, each mesh at 0.96: 0.884736 and 0.9216. Powers of two and whole numbers are exact
 * in a double, 12 = 2 x 2 x 3 too, and the efficiencies round alike when they are multiplied in the same order. */
static void a_ratio_is_the_machine_of_its_meshes(void **state)
{
  (void)state;
  const char *const sets[] = {
      "gearbox.gears=[{name: slow, ratio: 12, efficiency: 88.4736 %, motor_direction: reverse}, "
      "{name: fast, ratio: 4, efficiency: 92.16 %}]"};
  load_into(&scenario, NULL, 0);
  load_into(&other, sets, 1);
  const struct sb_gearbox *meshes = &scenario.model.gearbox, *ratios = &other.model.gearbox;
  for (int g = 0; g < 2; g++) {
    assert_near_rel(ratios->gears[g].ratio, meshes->gears[g].ratio, 1e-15);
    assert_near_rel(ratios->gears[g].efficiency, meshes->gears[g].efficiency, 1e-15);
    assert_int_equal(ratios->gears[g].output_direction, 1);
    assert_near(ratios->gears[g].given_ratio, g == 0 ? 12.0 : 4.0, 0.0);
    assert_near(meshes->gears[g].given_ratio, 0.0, 0.0);
  }
  assert_near_rel(turns_of(&other.model), turns_of(&scenario.model), 1e-9);
  sb_scenario_clear(&other);
  sb_scenario_clear(&scenario);
}

/* Beside a gear of two meshes in a forward motor, which turns the output forward, and one of one mesh, which turns it back. */
static void a_ratio_turns_the_output_as_the_gears_with_teeth_do(void **state)
{
  (void)state;
  const char *const even[] = {
      "gearbox.gears=[{name: slow, ratio: 12, motor_direction: reverse}, {name: fast, meshes: [15/30, 18/36]}]"};
  const char *const odd[] = {
      "gearbox.gears=[{name: slow, ratio: 12, motor_direction: reverse}, {name: fast, meshes: [15/60]}]"};
  for (int k = 0; k < 2; k++) {
    load_into(&scenario, k == 0 ? even : odd, 1);
    assert_int_equal(scenario.model.gearbox.gears[1].output_direction, 1);
    assert_int_equal(scenario.model.gearbox.gears[0].direction, k == 0 ? -1 : 1);
    sb_scenario_clear(&scenario);
  }
}

static void one_wheel_of_a_mesh_is_set_alone(void **state)
{
  (void)state;
  const char *const sets[] = {"gearbox.gears.slow.meshes.3.driven=56", "gearbox.gears.2.meshes.1.driver=10"};
  load_into(&scenario, sets, 2);
  assert_near(scenario.model.gearbox.gears[0].meshes[2].driver_teeth, 14.0, 0.0);
  assert_near(scenario.model.gearbox.gears[0].ratio, 16.0, 0.0);
  assert_near(scenario.model.gearbox.gears[1].ratio, 6.0, 0.0);
  sb_scenario_clear(&scenario);
  struct sb_faults faults;
  const char *const wrong[] = {"gearbox.gears.slow.meshes.3.driven=fifty"};
  assert_int_equal(sb_scenario_load("good/interface.yaml", wrong, 1, &scenario, &faults), SB_ERR_SCENARIO);
  assert_string_equal(faults.texts[0], "--set gearbox.gears.slow.meshes.3.driven: "
                                       "gearbox.gears.1.meshes.3: needs teeth as driver/driven, such as 15/30, each a "
                                       "whole number at least 1, at most 10000, found \"14/fifty\"");
  sb_faults_clear(&faults);
}

/* A tolerance of a ratio moves the model's, by name as by number. */
static void a_ratio_takes_a_tolerance(void **state)
{
  (void)state;
  const char *const sets[] = {
      "gearbox.gears=[{name: slow, ratio: 12, motor_direction: reverse}, {name: fast, ratio: 4}]",
      "tolerances={gearbox.gears.slow.ratio: 10.8..13.2}"};
  load_into(&scenario, sets, 2);
  assert_int_equal(scenario.tolerance_count, 1);
  assert_string_equal(scenario.tolerances[0].path, "gearbox.gears.1.ratio");
  assert_near_rel(scenario.tolerances[0].least, 10.8, 1e-15);
  assert_near_rel(scenario.tolerances[0].greatest, 13.2, 1e-15);
  sb_scenario_clear(&scenario);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_ratio_is_the_machine_of_its_meshes),
      cmocka_unit_test(a_ratio_turns_the_output_as_the_gears_with_teeth_do),
      cmocka_unit_test(one_wheel_of_a_mesh_is_set_alone),
      cmocka_unit_test(a_ratio_takes_a_tolerance),
  };
  return cmocka_run_group_tests_name("ratio", tests, place_in_tests, NULL);
}
