// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * What is advised where logs leave a parameter open: a small motor with two or fewer unknowns, and what readings good to 3 % would
 * leave of these, by hand.
 */
#include <math.h>
#include <string.h>

#include "fit/estimate.h"
#include "help/loaded.h"
#include "help/near.h"

enum { INERTIA = SB_FIT_P_ROTOR_INERTIA, FRICTION = SB_FIT_P_FRICTION_SHARE, TORQUE = SB_FIT_P_STALL_TORQUE };

static const double friction_share = 0.1, friction_scale = 0.2;

static struct sb_fit_setup setup;
static struct sb_bench bench; /* large, hence not on the stack */

/* 12 V, 300 rad/s, 0.1 N m, 2 A; without currents in its logs, and with all of it known. */
static void take_motor(const struct sb_model *model)
{
  setup = sb_fit_setup_default(model);
  bench = (struct sb_bench){.setup = &setup, .nominal_voltage_v = 12.0};
  for (int g = 0; g < SB_FIT_GAUGE_COUNT; g++) bench.gains[g] = 1.0;
  bench.p[SB_FIT_P_NO_LOAD_SPEED] = 300.0;
  bench.p[TORQUE] = 0.1;
  bench.p[SB_FIT_P_STALL_CURRENT] = 2.0;
  bench.p[FRICTION] = friction_share;
  bench.p[INERTIA] = 1e-5;
  bench.p[SB_FIT_P_MESH_EFFICIENCY] = 0.95;
  bench.p[SB_FIT_P_LOAD_INERTIA] = 1e-3;
  bench.scale[FRICTION] = friction_scale;
  bench.scale[SB_FIT_P_VISCOUS] = 1e-4;
  bench.scale[SB_FIT_P_LOAD_FRICTION] = 0.02;
}

/* What the logs know: rows of a Jacobian, each good to one standard deviation. */
static struct sb_estimate known(size_t rows, double *jacobian)
{
  static double weights[] = {1.0, 1.0, 1.0};
  struct sb_estimate estimate = {.bench = &bench, .rows = rows, .weights = weights, .jacobian = jacobian};
  estimate.terms = sb_bench_unknown_count(&bench);
  return estimate;
}

static void expect_advice(const char *advice, const char *words)
{
  assert_non_null(advice);
  if (strstr(advice, words) == NULL) fail_msg("advised: %s; wanted: %s", advice, words);
}

/* Friction over inertia and inertia times speed over torque are both good to 3 %: the coast-down needs less and has two readings. */
static void the_easier_one_of_two_measurements_that_do_as_well_is_advised(void **state)
{
  (void)state;
  const double along[] = {1.0};
  const char *advice[SB_FIT_ADVICE_MAX];
  take_motor(NULL);
  bench.is_free[INERTIA] = true;
  struct sb_estimate estimate = known(0, NULL);
  expect_advice(sb_advise_on(&estimate, along), "log a coast-down");
  assert_int_equal(sb_advise(&estimate, advice), 1);
  expect_advice(advice[0], "log a coast-down");
}

/* Without friction it turns on for ever, whatever its inertia. */
static void no_coast_down_is_advised_for_a_motor_without_friction(void **state)
{
  (void)state;
  const double along[] = {1.0};
  take_motor(NULL);
  bench.p[FRICTION] = 0.0;
  bench.is_free[INERTIA] = true;
  const struct sb_estimate estimate = known(0, NULL);
  expect_advice(sb_advise_on(&estimate, along), "log a spin-up from rest");
}

/*
 * The friction, kt I0 = Ts s / (1 - s), changes by 1 / (s (1 - s)) of itself with its share s. Known to a tenth, it lets a coast-down
 * tell the inertia to a tenth; a spin-up, which is good to 3 %, is clearly better. Known to 0.1 %, it leaves both alike.
 */
static void what_the_logs_know_already_counts(void **state)
{
  (void)state;
  const double along[] = {0.0, 1.0}; /* the friction share comes first among the unknowns */
  const double per_x = friction_scale / (friction_share * (1.0 - friction_share));
  take_motor(NULL);
  bench.is_free[INERTIA] = bench.is_free[FRICTION] = true;
  double roughly[] = {per_x / 0.1, 0.0}, exactly[] = {per_x / 0.001, 0.0};
  const struct sb_estimate rough = known(1, roughly), exact = known(1, exactly);
  expect_advice(sb_advise_on(&rough, along), "log a spin-up from rest");
  expect_advice(sb_advise_on(&exact, along), "log a coast-down");
}

/* Speeds over time tell torque over inertia alone; a torque, or an inertia, in known units parts them. */
static void a_known_weight_is_advised_where_only_a_ratio_to_the_torque_is_known(void **state)
{
  (void)state;
  const double along[] = {1.0, 1.0};
  double ratio[] = {100.0, -100.0};
  take_motor(NULL);
  bench.is_free[TORQUE] = bench.is_free[INERTIA] = true;
  const struct sb_estimate estimate = known(1, ratio);
  expect_advice(sb_advise_on(&estimate, along), "hang a known weight");
}

/* A log's own unknown, its start, is tied to the inertia: one row tells only both together, and so nothing of the inertia. */
static void what_tells_a_parameter_only_together_with_the_logs_own_unknowns_tells_nothing(void **state)
{
  (void)state;
  const double along[] = {1.0};
  double together[] = {100.0, 100.0}, apart[] = {100.0, 100.0, 0.0, 100.0};
  take_motor(NULL);
  bench.is_free[INERTIA] = true;
  bench.test_count = 1;
  bench.tests[0].is_own_free[SB_OWN_START] = true;
  const struct sb_estimate open = known(1, together), told = known(2, apart);
  expect_advice(sb_advise_on(&open, along), "log a coast-down");
  /* A second row for the start alone leaves 0.014 of the inertia: nothing is clearly better. */
  assert_null(sb_advise_on(&told, along));
}

/* Nearly all of its stall current runs it free: with any more friction there is no motor, and so no reading of one. */
static void nothing_is_advised_whose_reading_no_machine_has(void **state)
{
  (void)state;
  const double along[] = {1.0};
  take_motor(NULL);
  bench.has_currents = true;
  bench.p[FRICTION] = 1.0 - 1e-6;
  bench.is_free[FRICTION] = true;
  const struct sb_estimate estimate = known(0, NULL);
  assert_null(sb_advise_on(&estimate, along));
  bench.p[FRICTION] = friction_share;
  expect_advice(sb_advise_on(&estimate, along), "log a coast-down");
}

/* Without friction an output in neutral does not tell its inertia either; the last gear's spin-up does, for most of it is the load's. */
static void a_loads_inertia_is_told_by_a_spin_up_in_the_last_gear(void **state)
{
  (void)state;
  const double along[] = {1.0};
  loaded_take_shipped("tray-cart");
  const struct sb_model *model = &loaded_scenario.model;
  const struct sb_gear *last = &model->gearbox.gears[model->gearbox.gear_count - 1];
  const double to_motor = 1.0 / (last->ratio * last->ratio);
  take_motor(model);
  bench.p[SB_FIT_P_LOAD_INERTIA] = 0.002;
  assert_true(0.002 * to_motor > 10.0 * bench.p[INERTIA]);
  bench.is_free[SB_FIT_P_LOAD_INERTIA] = true;
  const struct sb_estimate estimate = known(0, NULL);
  expect_advice(sb_advise_on(&estimate, along), "log a spin-up in the last gear");
  bench.p[SB_FIT_P_LOAD_FRICTION] = 0.02;
  expect_advice(sb_advise_on(&estimate, along), "log a coast-down of the output");
  sb_scenario_clear(&loaded_scenario);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_easier_one_of_two_measurements_that_do_as_well_is_advised),
      cmocka_unit_test(no_coast_down_is_advised_for_a_motor_without_friction),
      cmocka_unit_test(what_the_logs_know_already_counts),
      cmocka_unit_test(a_known_weight_is_advised_where_only_a_ratio_to_the_torque_is_known),
      cmocka_unit_test(what_tells_a_parameter_only_together_with_the_logs_own_unknowns_tells_nothing),
      cmocka_unit_test(a_loads_inertia_is_told_by_a_spin_up_in_the_last_gear),
      cmocka_unit_test(nothing_is_advised_whose_reading_no_machine_has),
  };
  return cmocka_run_group_tests_name("fit advice", tests, NULL, NULL);
}
