// SPDX-License-Identifier: GPL-3.0-or-later
/* How fine a lattice is tuned on: as fine as the controller's step where that is little work, coarser where maps take long. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "help/near.h"
#include "help/shell.h"
#include "help/slow.h"
#include "shiftband/map.h"
#include "shiftband/units.h"
#include "tune/fineness.h"

/* The lattice that is chosen for a scenario, and its finest. */
struct chosen {
  struct sb_map_axis axis, finest;
  int machine_count;
};

static struct chosen choose(const char *path, long samples, long points)
{
  const struct sb_tune_request request = {
      .paths = &path, .path_count = 1, .samples = samples, .seed = 1, .jobs = 1, .pair = 1, .points = points};
  static struct sb_rounds rounds;
  struct sb_faults faults;
  struct sb_error err;
  struct chosen chosen;
  assert_int_equal(sb_rounds_load(&request, &rounds, &faults, &err), SB_OK);
  assert_int_equal(sb_fineness_choose(&request, &rounds, &chosen.axis, &err), SB_OK);
  chosen.finest = sb_tune_options_default(&rounds.machines[0].model).axis;
  chosen.machine_count = rounds.machine_count;
  sb_faults_clear(&faults);
  sb_rounds_clear(&rounds);
  return chosen;
}

static void light_machines_are_tuned_at_their_own_step(void **state)
{
  (void)state;
  static const char *const paths[] = {SB_SOURCE_DIR "/scenarios/tray-cart.yaml",
                                      SB_SOURCE_DIR "/scenarios/hunting-crawler.yaml",
                                      SB_SOURCE_DIR "/scenarios/well-winch.yaml"};
  for (size_t k = 0; k < sizeof paths / sizeof *paths; k++) {
    const struct chosen chosen = choose(paths[k], 24, 0);
    assert_int_equal(chosen.axis.count, chosen.finest.count);
    assert_true(chosen.axis.first_fraction == chosen.finest.first_fraction);
    assert_true(chosen.axis.step_fraction == chosen.finest.step_fraction);
  }
}

/* Heavy enough to be coarsened with its samples; alone it is finer. */
static void heavy_machines_get_a_coarser_lattice(void **state)
{
  (void)state;
  if (IS_SLOW) skip();
  const char *path = SB_SOURCE_DIR "/scenarios/hump-cart.yaml";
  const struct chosen all = choose(path, 24, 0), alone = choose(path, 0, 0), again = choose(path, 24, 0);
  assert_true(all.machine_count > alone.machine_count);
  assert_true(all.axis.count < all.finest.count);
  assert_true(all.axis.count >= 41);
  assert_true(alone.axis.count > all.axis.count);
  assert_int_equal(again.axis.count, all.axis.count);
  const double stride = all.axis.step_fraction / all.finest.step_fraction;
  assert_true(fabs(stride - round(stride)) < 1e-9);
  assert_true(all.axis.first_fraction == all.axis.step_fraction);
}

/* The measure of work grows with what is mapped, and is the same each time. */
static void effort_is_of_the_work_alone(void **state)
{
  (void)state;
  const char *path = SB_SOURCE_DIR "/scenarios/tray-cart.yaml";
  struct sb_scenario scenario;
  struct sb_faults faults = {.count = 0};
  struct sb_error err;
  double efforts[3];
  assert_int_equal(sb_scenario_load(path, NULL, 0, &scenario, &faults), SB_OK);
  for (int k = 0; k < 3; k++) {
    struct sb_map_options options = sb_map_options_default(&scenario.model);
    const int stride = k == 0 ? 20 : 1;
    options.downshift.step_fraction *= stride;
    options.downshift.first_fraction = options.downshift.step_fraction;
    options.downshift.count /= stride;
    options.upshift = options.downshift;
    struct sb_map map;
    assert_int_equal(sb_map_exact(&scenario.model, &options, false, &map, &err), SB_OK);
    assert_true(map.effort > (double)map.sample_count);
    efforts[k] = map.effort;
    sb_map_clear(&map);
  }
  assert_true(efforts[1] > 1.2 * efforts[0]);
  assert_true(efforts[2] == efforts[1]);
  sb_faults_clear(&faults);
  sb_scenario_clear(&scenario);
}

/* The dwells that are tried are as coarse as the lattice; for someone else's controller they stay as they are. */
static void dwells_are_tried_as_coarsely_as_thresholds(void **state)
{
  (void)state;
  const char *path = SB_SOURCE_DIR "/scenarios/tray-cart.yaml";
  const struct sb_decider other = {.name = "other"};
  struct sb_tune_request request = {.paths = &path, .path_count = 1, .seed = 1, .jobs = 1, .pair = 1};
  static struct sb_rounds rounds;
  struct sb_faults faults;
  struct sb_error err;
  assert_int_equal(sb_rounds_load(&request, &rounds, &faults, &err), SB_OK);
  rounds.axis = sb_tune_options_default(&rounds.machines[0].model).axis;
  assert_int_equal(sb_fineness_dwell_stride(&request, &rounds, 20), 20);
  rounds.axis.step_fraction *= 4.0;
  assert_int_equal(sb_fineness_dwell_stride(&request, &rounds, 20), 5);
  assert_int_equal(sb_fineness_dwell_stride(&request, &rounds, 3), 1);
  request.decider = &other;
  assert_int_equal(sb_fineness_dwell_stride(&request, &rounds, 20), 20);
  sb_faults_clear(&faults);
  sb_rounds_clear(&rounds);
}

/* Points that are asked for: every threshold and margin lies on that lattice, and the answer says so. */
static void points_can_be_asked_for(void **state)
{
  (void)state;
  const struct chosen chosen = choose(SB_SOURCE_DIR "/scenarios/tray-cart.yaml", 0, 50);
  assert_true(fabs(chosen.axis.step_fraction - 0.02) < 1e-12);
  shell_expect(shell_run("$SHIFTBAND tune --samples 0 --points 50 scenarios/tray-cart.yaml | tr -s ' \\n' '  '"),
               "on a lattice of 2 %");
  const struct said *said =
      shell_run("$SHIFTBAND tune --samples 0 --points 50 --json scenarios/tray-cart.yaml | python3 -c '\n"
                "import json, sys\n"
                "tuned = json.load(sys.stdin)\n"
                "pair = tuned[\"pairs\"][0]\n"
                "even = lambda pct: abs(pct / 2 - round(pct / 2)) < 1e-6\n"
                "assert even(pair[\"downshift_below_pct\"]) and even(pair[\"upshift_above_pct\"])\n"
                "assert even(pair[\"margin_pct\"]) and pair[\"margin_pct\"] > 0\n"
                "print(tuned[\"lattice_pct\"])'");
  assert_int_equal(said->code, 0);
  assert_string_equal(said->text, "2\n");
  said = shell_run("$SHIFTBAND tune --samples 0 scenarios/tray-cart.yaml");
  assert_null(strstr(said->text, "lattice of"));
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(light_machines_are_tuned_at_their_own_step),
      cmocka_unit_test(heavy_machines_get_a_coarser_lattice),
      cmocka_unit_test(effort_is_of_the_work_alone),
      cmocka_unit_test(dwells_are_tried_as_coarsely_as_thresholds),
      cmocka_unit_test(points_can_be_asked_for),
  };
  return cmocka_run_group_tests_name("fineness", tests, shell_setup, shell_teardown);
}
