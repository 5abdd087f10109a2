// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * What tune answers to the shipped scenarios, each with its own loads alone, against runs of a coarse lattice: it shifts, and is within
 * 2 % of the fastest run that passes and shifts and 10 % of the one that takes least charge for the distance. Without an answer no run does.
 * SB_TUNE_SHIPPED=all in the environment tries every scenario, else those that are tuned quickly.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "help/loaded.h"
#include "help/near.h"
#include "help/plane.h"
#include "shiftband/tune.h"

static const char *const quick[] = {"tray-cart", "well-winch", NULL};
static const char *const all[] = {"balanced-lift",
                                  "braked-hoist",
                                  "crate-pusher",
                                  "dough-drum",
                                  "grindstone",
                                  "hump-cart",
                                  "hunting-crawler-fixed",
                                  "hunting-crawler",
                                  "mat-roller",
                                  "pellet-screw",
                                  "seed-drill",
                                  "shuttle-wagon",
                                  "stop-and-go",
                                  "tired-winder",
                                  "tray-cart-measured",
                                  "three-speed-feeder",
                                  "tray-cart",
                                  "twig-chipper",
                                  "well-winch",
                                  NULL};

/* Of both thresholds: the step of the answer's lattice, coarse since some scenarios are slow to map, and how many runs there are. */
static const double answer_step = 0.02;
enum { RUNS = 10 }; /* to the reference */

struct best {
  int passing;
  double speed_rad_s, turn_j; /* greatest; least for an angle of the output */
};

/* Runs of all pairs of thresholds, the other pairs of gears as they are. */
static struct best best_of_runs(const struct sb_model *model, double dwell_s)
{
  struct best best = {0, 0.0, INFINITY};
  for (int d = 1; d < RUNS; d++) {
    for (int u = d + 1; u <= RUNS; u++) {
      struct sb_map_verdict verdict;
      struct sb_map_figures figures;
      struct sb_error err = {SB_OK, ""};
      assert_int_equal(sb_tune_try(model, 0, (double)d / RUNS, (double)u / RUNS, dwell_s, &verdict, &figures, &err),
                       SB_OK);
      if (verdict.kinds != 0 || figures.shift_count == 0) continue;
      best.passing++;
      best.speed_rad_s = fmax(best.speed_rad_s, figures.way_rad / figures.end_s);
      best.turn_j = fmin(best.turn_j, figures.given_j / figures.way_rad);
    }
  }
  return best;
}

/* What gives energy back may end with a charge below nothing: a share of its magnitude. */
static bool is_thrifty(double turn_j, double least_j)
{
  return turn_j <= least_j + (SB_TUNE_CHARGE_KEPT - 1.0) * fabs(least_j) + 1e-9 * fabs(least_j);
}

static int tried, runs_passing;

static void expect_worth_having(const char *name)
{
  static struct sb_tune_machine machine;
  struct sb_tune_result result;
  struct sb_error err = {SB_OK, ""};
  loaded_take_shipped(name);
  machine = (struct sb_tune_machine){.model = loaded_scenario.model, .is_light = true};
  struct sb_tune_options options = sb_tune_options_default(&machine.model);
  options.is_cautious = false;
  options.dwell_s = machine.model.control.dwell_s;
  options.axis = (struct sb_map_axis){answer_step, answer_step, (int)lround(1.06 / answer_step)};
  assert_int_equal(sb_tune(&machine, 1, &options, &result, &err), SB_OK);
  const struct best best = best_of_runs(&machine.model, options.dwell_s);
  const struct sb_tune_choice *answer = &result.choices[0];
  tried++;
  runs_passing += best.passing;
  printf("%s: %d runs pass, fastest %.4g rad/s, least %.4g J/rad; ", name, best.passing, best.speed_rad_s, best.turn_j);
  if (!result.passes) {
    printf("no answer, %s\n", result.never_shifts ? "for nothing shifts" : "for nothing passes");
    assert_int_equal(best.passing, 0);
  } else {
    const double turn_j = answer->energy_j / answer->way_rad;
    printf("answer %g/%g: %.4g rad/s, %.4g J/rad, %ld shifts%s\n", answer->downshift_fraction, answer->upshift_fraction,
           answer->speed_rad_s, turn_j, answer->shift_count, result.is_speed_alone ? ", speed alone" : "");
    assert_true(answer->shift_count > 0);
    assert_int_equal(answer->failing, 0);
    assert_true(answer->speed_rad_s >= SB_TUNE_SPEED_KEPT * best.speed_rad_s * (1.0 - 1e-9));
    assert_true(result.is_speed_alone || is_thrifty(turn_j, best.turn_j));
  }
  sb_scenario_clear(&loaded_scenario);
}

static void answers_to_shipped_scenarios_are_near_the_best_run_that_passes(void **state)
{
  (void)state;
  const char *asked = getenv("SB_TUNE_SHIPPED");
  const char *const *names = asked != NULL && strcmp(asked, "all") == 0 ? all : quick;
  for (; *names != NULL; names++) expect_worth_having(*names);
  printf("shipped: %d scenarios, %d runs that pass\n", tried, runs_passing);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(answers_to_shipped_scenarios_are_near_the_best_run_that_passes),
  };
  return cmocka_run_group_tests_name("shipped", tests, plane_quiet_gsl, NULL);
}
