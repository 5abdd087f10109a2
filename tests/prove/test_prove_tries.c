// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Where nothing can be proved, runs seek counterexamples: the machine of the proofs, with a little noise that takes it out of the
 * class and changes next to nothing.
 */
#include <math.h>
#include <string.h>

#include "help/near.h"
#include "help/proof.h"
#include "prove/edge.h"
#include "shiftband/prove.h"
#include "shiftband/run.h"

static struct sb_model tried; /* large, hence not on the stack */
static struct sb_prove prove, again;

static double upshift = proof_up;

static void try_machine(double dwell_s, double least_nm, double greatest_nm, struct sb_prove *out)
{
  const struct sb_prove_effort effort = {.tries = 120};
  struct sb_error err;
  tried = proof_machine("selector", 0.95, dwell_s, least_nm, greatest_nm);
  tried.control.sensor.noise_fraction = 1e-6;
  tried.control.upshift_fraction[0] = upshift;
  assert_int_equal(sb_prove_solve(&tried, out, &err), SB_OK);
  assert_non_null(out->outside);
  assert_int_equal(sb_prove_try(out, &effort, &err), SB_OK);
}

/* The verdict that a counterexample's own run comes to. */
static bool shows(enum sb_prove_statement statement, enum sb_verdict_kind kind)
{
  const struct sb_prove_profile *profile = &prove.profiles[sb_prove_bound_of(statement)];
  static struct sb_model model;
  const struct sb_run_options options = sb_run_options_default();
  struct sb_run_result run;
  struct sb_error err;
  model = tried;
  sb_edge_replace_parts(&model.load);
  struct sb_load_part *part = sb_edge_resisting_part(&model.load);
  part->ops = sb_load_kind_find("profile");
  part->is_held = !profile->is_linear;
  part->table = (struct sb_table){(size_t)profile->count, profile->time_s, profile->resisting_nm};
  model.run.duration_s = (double)sb_model_step_count(profile->duration_s, model.run.step_s) * model.run.step_s;
  assert_int_equal(sb_run(&model, &options, &run, &err), SB_OK);
  const bool is_shown = sb_monitor_find(&run.monitor, kind) != NULL;
  sb_run_result_clear(&run);
  return is_shown;
}

static void a_machine_of_which_all_would_be_proved_has_no_counterexample(void **state)
{
  (void)state;
  try_machine(1.5, 0.25, 1.75, &prove);
  for (int k = 0; k < SB_PROVE_STATEMENTS; k++) assert_int_equal(prove.statements[k], SB_PROOF_UNSHOWN);
  assert_in_range(prove.try_count, 60, 130); /* a simplex ends with its step */
}

static void the_same_scenario_gives_the_same_answer(void **state)
{
  (void)state;
  try_machine(0.1, 0.25, 3.3, &prove);
  const struct sb_prove first = prove;
  try_machine(0.1, 0.25, 3.3, &again);
  assert_int_equal(again.try_count, first.try_count);
  assert_memory_equal(again.statements, first.statements, sizeof first.statements);
  for (int k = 0; k < SB_PROVE_BOUNDS; k++) {
    assert_int_equal(again.profiles[k].count, first.profiles[k].count);
    assert_memory_equal(again.profiles[k].resisting_nm, first.profiles[k].resisting_nm,
                        sizeof(double) * (size_t)first.profiles[k].count);
  }
}

/* 3.3 N.m is above what the fast gear moves, and the dwell keeps it engaged. */
static void a_stall_is_found_and_its_profile_shows_it(void **state)
{
  (void)state;
  try_machine(1.5, 0.25, 3.3, &prove);
  assert_int_equal(prove.statements[SB_PROVE_STALL], SB_PROOF_DISPROVED);
  assert_true(shows(SB_PROVE_STALL, SB_VERDICT_STALL));
}

/* The fast gear stops at 0.9 N.m * 4 * 0.95^2 = 3.249 N.m: bounds below that hold no stall, bounds above it do. */
static void no_load_beyond_the_bounds_is_tried(void **state)
{
  (void)state;
  try_machine(1.5, 0.25, 3.2, &prove);
  assert_int_equal(prove.statements[SB_PROVE_STALL], SB_PROOF_UNSHOWN);
}

/* An upshift at 62 % opens a hunting band from 1.461 N.m on, where the fast gear falls below 55 %. */
static void a_constant_load_that_hunts_is_found_and_shows_it(void **state)
{
  (void)state;
  upshift = 0.62;
  try_machine(1.5, 0.25, 1.75, &prove);
  upshift = proof_up;
  assert_int_equal(prove.statements[SB_PROVE_CONSTANT], SB_PROOF_DISPROVED);
  assert_int_equal(prove.profiles[SB_PROVE_SWING].count, 2);
  assert_true(prove.profiles[SB_PROVE_SWING].resisting_nm[1] > 1.461);
  assert_true(shows(SB_PROVE_CONSTANT, SB_VERDICT_HUNTING));
}

/* Above 1.157 N.m the slow gear never reaches its upshift threshold; a little more makes the difference. */
static void a_box_that_does_not_come_back_is_found(void **state)
{
  (void)state;
  try_machine(1.5, 1.10, 1.75, &prove);
  assert_int_equal(prove.statements[SB_PROVE_RETURN], SB_PROOF_UNSHOWN);
  try_machine(1.5, 1.10 * 1.06, 1.75, &prove);
  assert_int_equal(prove.statements[SB_PROVE_RETURN], SB_PROOF_DISPROVED);
}

static void profiles_keep_to_the_bounds_and_their_rate(void **state)
{
  (void)state;
  const struct sb_prove_effort effort = {.tries = 120};
  struct sb_error err;
  tried = proof_machine("selector", 0.95, 1.5, 0.25, 8.0);
  tried.control.sensor.noise_fraction = 1e-6;
  tried.load.bounds.rate_nm_s = 0.7;
  assert_int_equal(sb_prove_solve(&tried, &prove, &err), SB_OK);
  assert_int_equal(sb_prove_try(&prove, &effort, &err), SB_OK);
  assert_int_equal(prove.statements[SB_PROVE_STALL], SB_PROOF_DISPROVED);
  const struct sb_prove_profile *profile = &prove.profiles[SB_PROVE_STANDING];
  assert_in_range(profile->count, 2, SB_PROVE_CORNERS_MAX);
  for (int k = 0; k < profile->count; k++) {
    assert_true(profile->resisting_nm[k] >= 0.25 && profile->resisting_nm[k] <= 8.0);
    if (k == 0) continue;
    const double time_s = profile->time_s[k] - profile->time_s[k - 1];
    assert_true(fabs(profile->resisting_nm[k] - profile->resisting_nm[k - 1]) <= 0.7 * time_s * (1.0 + 1e-9));
  }
  assert_true(shows(SB_PROVE_STALL, SB_VERDICT_STALL));
}

/* Half of the tries, rounded up, are random ones; what came nearest in them is bettered, from a simplex of five profiles for each statement. */
static void a_single_try_is_made(void **state)
{
  (void)state;
  const struct sb_prove_effort effort = {.tries = 1};
  struct sb_error err;
  tried = proof_machine("selector", 0.95, 1.5, 0.25, 1.75);
  tried.control.sensor.noise_fraction = 1e-6;
  assert_int_equal(sb_prove_solve(&tried, &prove, &err), SB_OK);
  assert_int_equal(sb_prove_try(&prove, &effort, &err), SB_OK);
  assert_in_range(prove.try_count, 1, 1 + 5 * SB_PROVE_STATEMENTS);
}

static void a_request_to_stop_ends_it(void **state)
{
  (void)state;
  const volatile sig_atomic_t stop = 2;
  const struct sb_prove_effort effort = {.tries = 1000, .stop = &stop};
  struct sb_error err;
  tried = proof_machine("selector", 0.95, 1.5, 0.25, 1.75);
  tried.control.sensor.noise_fraction = 1e-6;
  assert_int_equal(sb_prove_solve(&tried, &prove, &err), SB_OK);
  assert_int_equal(sb_prove_try(&prove, &effort, &err), SB_ERR_STOPPED);
  assert_int_equal(prove.try_count, 0);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_machine_of_which_all_would_be_proved_has_no_counterexample),
      cmocka_unit_test(the_same_scenario_gives_the_same_answer),
      cmocka_unit_test(a_stall_is_found_and_its_profile_shows_it),
      cmocka_unit_test(no_load_beyond_the_bounds_is_tried),
      cmocka_unit_test(a_constant_load_that_hunts_is_found_and_shows_it),
      cmocka_unit_test(a_box_that_does_not_come_back_is_found),
      cmocka_unit_test(profiles_keep_to_the_bounds_and_their_rate),
      cmocka_unit_test(a_single_try_is_made),
      cmocka_unit_test(a_request_to_stop_ends_it),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
