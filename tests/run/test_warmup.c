// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * A scenario repeated until its motor is warm: against the closed form of a load that stays, and against simulating
 * every single repeat with the warmth that the last one left.
 */
#include <math.h>
#include <string.h>

#include "help/loaded.h"
#include "help/models.h"
#include "help/near.h"
#include "shiftband/closed_form.h"
#include "shiftband/run.h"
#include "theory/steady.h"
#include "theory/torque_balance.h"
#include "theory/warmth.h"

static const double torque_nm = 0.55;

/* One gear under a constant torque, already turning as fast as it will; 5 s a repeat. */
static struct sb_model steady_model(void)
{
  struct sb_model model = model_blank();
  model_set_line_motor(&model, model_rad_s(300.0), 0.4, 4e-4);
  model_add_gear(&model, 4.0, 0.95, false);
  model.load.inertia_kg_m2 = 0.002;
  model_set_currents(&model, 3.0, 0.2, 0.1);
  model_set_winding(&model, 6.0, 4.0);
  model_add_housing(&model, 30.0, 6.0);
  model.drive.period_s = 0.02;
  model.run.duration_s = 5.0;
  model_finish(&model);
  model_add_constant(&model, torque_nm, true);
  const struct sb_motor_line line = sb_torque_balance_line(&model);
  model.run.initial_output_speed_rad_s =
      sb_steady_reading(&model, &line, 0, torque_nm) * model.control.sensor.reference_rad_s / 4.0;
  return model;
}

static struct sb_warmup warmed(const struct sb_model *model)
{
  struct sb_warmup warmup;
  struct sb_error err = {SB_OK, ""};
  const enum sb_status status = sb_warmup_run(model, 0, &warmup, &err);
  if (status != SB_OK) fail_msg("%s", err.text);
  return warmup;
}

/* Each repeat starts a shade faster than a warm motor turns: a hundredth of the loss at most, which the windings' own
 * curve would tell apart from the closed form by a hundredth of the rise. */
static void under_a_constant_load_it_settles_where_the_closed_form_says(void **state)
{
  (void)state;
  const struct sb_model model = steady_model();
  const struct sb_warmth settled = sb_warmth_steady(&model, 0, torque_nm);
  const struct sb_warmup warmup = warmed(&model);
  assert_int_equal(warmup.end, SB_WARMUP_STEADY);
  assert_true(settled.winding_c > 40.0);
  assert_near(warmup.start.winding_c, settled.winding_c, 0.01 * (settled.winding_c - 20.0) + SB_WARMUP_STEADY_K);
  assert_near(warmup.start.housing_c, settled.housing_c, 0.01 * (settled.housing_c - 20.0) + SB_WARMUP_STEADY_K);
  assert_near(warmup.finish.winding_c, warmup.start.winding_c, SB_WARMUP_STEADY_K);
  assert_near(warmup.end_s, 5.0 * (double)warmup.repeat_count, 1e-9);
}

static void under_a_constant_load_it_passes_a_limit_when_the_closed_form_says(void **state)
{
  (void)state;
  struct sb_model model = steady_model();
  const double settled_c = sb_warmth_steady(&model, 0, torque_nm).winding_c;
  model.limits.winding_c = 20.0 + 0.8 * (settled_c - 20.0);
  const struct sb_warmth_reach reach = sb_warmth_reached(&model, 0, torque_nm, model.limits.winding_c);
  const struct sb_warmup warmup = warmed(&model);
  assert_int_equal(warmup.end, SB_WARMUP_TOO_HOT);
  /* A hundredth of the rise, as above, of which the last fifth takes as long as the rest. */
  assert_near_rel(warmup.end_s, reach.time_s, 0.05);
  assert_near(ceil(warmup.end_s / 5.0), (double)warmup.repeat_count, 0.0);
  assert_true(warmup.peak_c >= model.limits.winding_c);
}

/* What a run as warm as the last one ended comes to, one repeat after the other. */
struct plain {
  int repeat_count;
  double passed_s; /* since the first start; NAN: never */
  struct sb_warmth start;
};

static double limit_c;
static double passed_s;

static int look(void *context, const struct sb_row *row)
{
  (void)context;
  if (isnan(passed_s) && row->winding_c >= limit_c) passed_s = row->time_s;
  return 0;
}

/* Repeats one after the other, without passing any over, up to a limit or for so many. */
static struct plain repeated(const struct sb_model *first, double until_c, int count)
{
  struct sb_model model = *first;
  struct plain plain = {0, NAN, {NAN, NAN}};
  struct sb_run_options options = sb_run_options_default();
  struct sb_error err;
  options.on_row = look;
  limit_c = until_c;
  passed_s = NAN;
  while (plain.repeat_count < count && isnan(plain.passed_s)) {
    struct sb_run_result result;
    plain.start = sb_winding_start(&model.winding);
    assert_int_equal(sb_run(&model, &options, &result, &err), SB_OK);
    plain.passed_s = plain.repeat_count * model.run.duration_s + passed_s;
    model.winding.start_c = result.end.winding_c;
    model.winding.housing_start_c = result.end.housing_c;
    plain.repeat_count++;
    sb_run_result_clear(&result);
  }
  return plain;
}

static void take_drill(const char *first, const char *second)
{
  const char *sets[] = {first, second};
  loaded_take(SB_SOURCE_DIR "/scenarios/seed-drill.yaml", sets, 2);
}

/* Passing repeats over by half a kelvin at a time changes the losses by 0.2 % at most, and the time by no more than a
 * repeat here. */
static void the_cut_out_opens_when_it_does_without_passing_any_over(void **state)
{
  (void)state;
  take_drill("controller.downshift_below=45 %", "run.duration=39 s"); /* the scenario's gear, and another length */
  const struct sb_model *model = &loaded_scenario.model;
  const struct plain plain = repeated(model, model->winding.cut_out_c, 200);
  const struct sb_warmup warmup = warmed(model);
  assert_int_equal(warmup.end, SB_WARMUP_CUT_OUT);
  assert_near(warmup.end_s, plain.passed_s, model->run.duration_s);
  assert_true(plain.repeat_count > 20);
  assert_near((double)warmup.repeat_count, plain.repeat_count, 1.0);
  assert_near(warmup.start.winding_c, plain.start.winding_c, 1.0);
  sb_scenario_clear(&loaded_scenario);
}

/* The drill with the higher threshold: the low gear takes over on a warm repeat, and later the warmer it is. */
static void it_settles_where_repeats_one_after_the_other_do(void **state)
{
  (void)state;
  take_drill("controller.downshift_below=56 %", "run.duration=40 s");
  const struct plain plain = repeated(&loaded_scenario.model, INFINITY, 150);
  const struct sb_warmup warmup = warmed(&loaded_scenario.model);
  assert_int_equal(warmup.end, SB_WARMUP_STEADY);
  assert_near(warmup.start.winding_c, plain.start.winding_c, SB_WARMUP_STEADY_K);
  assert_near(warmup.start.housing_c, plain.start.housing_c, 2.0 * SB_WARMUP_STEADY_K); /* 26 repeats a time constant */
  assert_true(warmup.simulated_count < warmup.repeat_count);
  sb_scenario_clear(&loaded_scenario);
}

static void what_is_settled_at_the_start_is_simulated_once(void **state)
{
  (void)state;
  struct sb_model model = steady_model();
  const struct sb_warmup first = warmed(&model);
  model.winding.start_c = first.start.winding_c;
  model.winding.housing_start_c = first.start.housing_c;
  const struct sb_warmup second = warmed(&model);
  assert_int_equal(second.end, SB_WARMUP_STEADY);
  assert_int_equal(second.simulated_count, 1);
  assert_int_equal(second.repeat_count, 1);
}

static void a_start_above_the_limit_passes_it_at_once(void **state)
{
  (void)state;
  struct sb_model model = steady_model();
  model.limits.winding_c = 60.0;
  model.winding.start_c = 61.0;
  const struct sb_warmup warmup = warmed(&model);
  assert_int_equal(warmup.end, SB_WARMUP_TOO_HOT);
  assert_near(warmup.end_s, 0.0, 0.0);
  assert_int_equal(warmup.repeat_count, 1);
}

/* The model handed back runs to the same end by itself. */
static void the_repeat_reported_can_be_run_again(void **state)
{
  (void)state;
  const struct sb_model model = steady_model();
  const struct sb_warmup warmup = warmed(&model);
  struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  struct sb_error err;
  assert_int_equal(sb_run(&warmup.model, &options, &result, &err), SB_OK);
  assert_near(result.end.winding_c, warmup.finish.winding_c, 0.0);
  assert_near(warmup.model.run.trace_interval_s, model.run.trace_interval_s, 0.0);
  sb_run_result_clear(&result);
}

/* Under losses that hardly change it goes up in leaps of SB_WARMUP_LEAP_K: with a housing and without, no more repeats are simulated than such
 * leaps fit into the rise, and the first and the last one. */
static void a_motor_that_only_warms_is_simulated_once_a_leap(void **state)
{
  (void)state;
  for (int has_housing = 0; has_housing <= 1; has_housing++) {
    struct sb_model model = steady_model();
    if (!has_housing) model.winding.housing_capacity_j_k = model.winding.housing_resistance_k_w = 0.0;
    const struct sb_warmup warmup = warmed(&model);
    assert_int_equal(warmup.end, SB_WARMUP_STEADY);
    assert_true(warmup.simulated_count <= 2.0 + (warmup.start.winding_c - model.winding.ambient_c) / SB_WARMUP_LEAP_K);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(under_a_constant_load_it_settles_where_the_closed_form_says),
      cmocka_unit_test(under_a_constant_load_it_passes_a_limit_when_the_closed_form_says),
      cmocka_unit_test(the_cut_out_opens_when_it_does_without_passing_any_over),
      cmocka_unit_test(it_settles_where_repeats_one_after_the_other_do),
      cmocka_unit_test(what_is_settled_at_the_start_is_simulated_once),
      cmocka_unit_test(a_start_above_the_limit_passes_it_at_once),
      cmocka_unit_test(a_motor_that_only_warms_is_simulated_once_a_leap),
      cmocka_unit_test(the_repeat_reported_can_be_run_again),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
