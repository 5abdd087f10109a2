// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Whole runs: when samples are taken and commands given, and each verdict brought about by a small scenario and absent
 * in a healthy one beside it. The two-gear machine of models.h carries Td = (1 - 0.5) 0.4 N m x 4 x 0.95 = 0.76 N m
 * in its fast gear at 50 %, Tu = (1 - 0.9) 0.4 N m x 12 x 0.9 = 0.432 N m in its slow gear at 90 %: no hunting band.
 */
#include "help/dice.h"
#include "help/models.h"
#include "help/near.h"
#include "help/runs.h"
#include "theory/torque_balance.h"

#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>

/* A machine that starts in a gear under a constant resisting load, given a second to get going. */
static struct sb_model loaded(int start_gear, double load_nm)
{
  struct sb_model model = model_two_gears("swing arm");
  model.control.start_gear = start_gear;
  model.control.start_delay_s = 1.0;
  model.control.dwell_s = 1.0;
  model.run.duration_s = 15.0;
  if (load_nm > 0.0) model_add_constant(&model, load_nm, true);
  model_finish(&model);
  return model;
}

/* Samples and commands --------------------------------------------------------------------------------------------- */

/* Four gears that no torque turns: every reading is 0, every decision goes down. */
static struct sb_model blocked(double travel_s)
{
  struct sb_model model = model_blank();
  model_set_line_motor(&model, model_rad_s(300.0), 0.4, 4e-4);
  static const double ratios[] = {40.0, 20.0, 10.0, 5.0};
  for (int g = 0; g < 4; g++) model_add_gear(&model, ratios[g], 0.9, false);
  model_drive_forward(&model);
  model.load.inertia_kg_m2 = 0.02;
  model.shifter.travel_time_s = travel_s;
  model_add_constant(&model, 100.0, true);
  model.control.start_gear = 4;
  model.control.sample_period_s = 0.02;
  model.run.duration_s = 3.0;
  model_finish(&model);
  return model;
}

static void commands_come_at(const struct sb_model *model, double first_s, double second_s, double third_s)
{
  const double wants_s[] = {first_s, second_s, third_s};
  struct sb_run_result result = run(model);
  assert_int_equal(result.monitor.shift_count, 3);
  for (int i = 0; i < 3; i++) {
    assert_near(result.monitor.shifts[i].command_s, wants_s[i], 1e-12);
    assert_int_equal(result.monitor.shifts[i].from, 4 - i);
    assert_int_equal(result.monitor.shifts[i].to, 3 - i);
    assert_true(result.monitor.shifts[i].reading_pct == 0.0);
  }
  assert_int_equal(result.end_gear, 1);
  sb_run_result_clear(&result);
}

static void the_first_sample_is_at_the_start(void **state)
{
  (void)state;
  struct sb_model model = blocked(0.01);
  model.control.dwell_s = 0.1;
  commands_come_at(&model, 0.0, 0.1, 0.2);
}

static void delay_and_dwell_count_whole_samples_rounded_up(void **state)
{
  (void)state;
  struct sb_model model = blocked(0.01);
  model.control.start_delay_s = 0.05;
  model.control.dwell_s = 0.13;
  commands_come_at(&model, 0.06, 0.06 + 0.14, 0.06 + 2.0 * 0.14);
  model.control.dwell_s = 0.14; /* 7 samples, though 0.14 / 0.02 is 7.000000000000001 */
  commands_come_at(&model, 0.06, 0.06 + 0.14, 0.06 + 2.0 * 0.14);
  const struct sb_controller_setup setup = sb_run_controller_setup(&model);
  assert_int_equal(setup.start_delay_samples, 3);
  assert_int_equal(setup.dwell_samples, 7);
  assert_int_equal(setup.gear_count, 4);
}

static void the_confirm_count_starts_when_the_dwell_ends(void **state)
{
  (void)state;
  struct sb_model model = blocked(0.01);
  model.control.debounce_count = 3;
  model.control.dwell_s = 0.1;
  commands_come_at(&model, 0.04, 0.04 + 0.1 + 0.04, 0.04 + 2.0 * (0.1 + 0.04));
}

static void nothing_is_decided_in_neutral(void **state)
{
  (void)state;
  struct sb_model model = blocked(0.51); /* longer than the dwell; the motor turns meanwhile, and stops on engaging */
  model.control.dwell_s = 0.1;
  model.load.inertia_kg_m2 = 50.0; /* the joining leaves a reading of next to nothing, below any threshold */
  model_finish(&model);
  struct sb_run_result result = run(&model);
  assert_int_equal(result.monitor.shift_count, 3);
  assert_near(result.monitor.shifts[1].command_s, 0.52, 1e-12);
  assert_near(result.monitor.shifts[2].command_s, 1.04, 1e-12);
  sb_run_result_clear(&result);
}

/* Free in neutral the motor runs up to 96 %; joined with the output at rest it falls to 40 %, below the 50 % that ask
 * for the next gear. The command shows which of the two the sample saw. */
static void a_sample_that_falls_on_an_engagement_sees_the_state_after_it(void **state)
{
  (void)state;
  struct sb_model model = model_blank();
  model_set_line_motor(&model, model_rad_s(300.0), 0.4, 4e-4);
  static const double ratios[] = {12.0, 6.0, 3.0};
  for (int g = 0; g < 3; g++) model_add_gear(&model, ratios[g], 0.95, false);
  model_drive_forward(&model);
  model.load.inertia_kg_m2 = 0.02;
  model.shifter.travel_time_s = 0.1;
  model_add_constant(&model, 0.05, true);
  model.control.start_gear = 3;
  model.run.duration_s = 0.15;
  model_finish(&model);
  struct sb_run_result result = run(&model);
  assert_true(result.monitor.shift_count >= 2);
  const double tau = 4e-4 * model_rad_s(300.0) / 0.4, free = -expm1(-0.1 / tau);
  const double joined = free * 4e-4 / (4e-4 + 0.02 / 36.0);
  assert_true(free > 0.95 && joined < 0.5);
  assert_near(result.monitor.shifts[0].engaged_s, 0.1, 1e-12);
  assert_near(result.monitor.shifts[1].command_s, 0.1, 1e-12);
  assert_near(result.monitor.shifts[1].reading_pct, 100.0 * joined, 1e-4);
  sb_run_result_clear(&result);
}

static void a_locked_gear_stays(void **state)
{
  (void)state;
  const struct sb_model model = loaded(2, 1.2); /* in the fast gear at 21 %: a controller would shift down */
  struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  struct sb_error err = {0};
  options.locked_gear = 2;
  assert_int_equal(sb_run(&model, &options, &result, &err), SB_OK);
  assert_int_equal(result.monitor.shift_count, 0);
  assert_int_equal(result.end.gear, 2);
  assert_near(result.end.motor_speed_rad_s, -model_rad_s(300.0) * (1.0 - 1.2 / (0.4 * 4.0 * 0.95)), 1e-6);
  sb_run_result_clear(&result);
}

/* The greatest torque is the load's while no gear engages, and where nothing has turned the output at all; the engagement's where the
 * slow gear sets a load in motion again that has risen to 1.2 N m: the start took (0.02 1.52 + 0.0061 0.1) / 0.0261 = 1.19 N m. */
static void the_greatest_torque_has_its_source(void **state)
{
  (void)state;
  static const double off_s[] = {0.0}, off[] = {SB_COMMAND_STOP}, rise_s[] = {0.0, 2.0, 2.0},
                      loads_nm[] = {0.1, 0.1, 1.2};
  struct sb_model models[3] = {loaded(1, 0.3), loaded(2, 0.0), loaded(1, 0.0)};
  model_add_profile(&models[1], SB_OVER_TIME, true, 3, rise_s, loads_nm);
  models[2].drive.schedule = (struct sb_table){1, off_s, off};
  models[2].drive.period_s = models[2].control.sample_period_s;
  static const enum sb_torque_source wants[] = {SB_TORQUE_OF_LOAD, SB_TORQUE_OF_ENGAGEMENT, SB_TORQUE_OF_LOAD};
  for (int i = 0; i < 3; i++) {
    struct sb_run_options options = sb_run_options_default();
    options.locked_gear = i == 1 ? 0 : 1;
    struct sb_run_result result;
    struct sb_error err = {0};
    assert_int_equal(sb_run(&models[i], &options, &result, &err), SB_OK);
    const struct sb_report report = {.model = &models[i], .result = &result, .locked_gear = options.locked_gear};
    assert_int_equal(sb_run_facts(&report).torque_source, wants[i]);
    assert_true((result.sums.output_torque_nm.value == 0.0) == (i == 2));
    sb_run_result_clear(&result);
  }
}

/* A run of 100 s that takes from 0.9 to 0.6 of 3600 A s. */
static void a_charge_lasts_as_many_runs_as_it_is_times_what_one_took(void **state)
{
  (void)state;
  struct sb_model model = loaded(1, 0.3);
  model.battery = (struct sb_battery){.is_present = true, .capacity_as = 3600.0, .charge_fraction = 0.9};
  struct sb_run_result result = {.end = {.time_s = 100.0, .charge_fraction = 0.6}};
  const struct sb_report report = {.model = &model, .result = &result};
  const struct sb_run_facts facts = sb_run_facts(&report);
  assert_near_rel(facts.used_as, 1080.0, 1e-14);
  assert_near(facts.left_fraction, 0.6, 0.0);
  assert_near_rel(facts.runs_a_charge, 1.0 / 0.3, 1e-14);
  assert_near_rel(facts.empty_s, 200.0, 1e-14);
  /* One that was driven by its load gave some back, and one without a battery knows of none. */
  result.end.charge_fraction = 0.95;
  const struct sb_run_facts back = sb_run_facts(&report);
  assert_near_rel(back.used_as, -180.0, 1e-12);
  assert_true(isnan(back.runs_a_charge) && isnan(back.empty_s));
  model.battery.is_present = false;
  const struct sb_run_facts none = sb_run_facts(&report);
  assert_true(isnan(none.used_as) && isnan(none.left_fraction));
}

/* 1000 J in 100 s into a winding of 5 J/K and 6 K/W in 20 deg C, which settles at 80 deg C with a time constant of 30 s. */
static void a_winding_gets_too_hot_when_the_mean_loss_has_taken_it_there(void **state)
{
  (void)state;
  static const struct {
    double now_c, limit_c, cut_out_c, want_s;
  } cases[] = {{50.0, 70.0, INFINITY, 30.0 * 1.0986122886681098}, /* ln 3 */
               {50.0, 90.0, 65.0, 30.0 * 0.6931471805599453},     /* ln 2 */
               {50.0, 81.0, INFINITY, INFINITY},
               {70.0, 70.0, INFINITY, 0.0},
               {50.0, INFINITY, INFINITY, NAN}};
  for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
    struct sb_model model = loaded(1, 0.3);
    model_set_winding(&model, 5.0, 6.0)->cut_out_c = cases[i].cut_out_c;
    model.limits.winding_c = cases[i].limit_c;
    struct sb_run_result result = {.end = {.time_s = 100.0, .winding_c = cases[i].now_c, .housing_c = 20.0}};
    result.sums.energy.winding_loss = 1000.0;
    const struct sb_report report = {.model = &model, .result = &result};
    const double got_s = sb_run_facts(&report).hot_s;
    if (isfinite(cases[i].want_s)) assert_near(got_s, cases[i].want_s, 1e-12 * cases[i].want_s);
    assert_int_equal(isnan(got_s), isnan(cases[i].want_s));
    assert_int_equal(isinf(got_s), isinf(cases[i].want_s));
  }
}

/* The trace -------------------------------------------------------------------------------------------------------- */

struct rows {
  size_t count, jumps; /* jumps: rows at the time of the row before */
  double first_s, last_s;
  size_t refuse_at;
};

static int take_row(void *context, const struct sb_row *row)
{
  struct rows *rows = context;
  if (rows->count == 0) rows->first_s = rows->last_s = row->time_s;
  assert_true(row->time_s >= rows->last_s);
  rows->jumps += rows->count > 0 && row->time_s == rows->last_s;
  rows->last_s = row->time_s;
  return ++rows->count == rows->refuse_at;
}

static void rows_come_in_order_from_start_to_end_with_two_at_each_command_and_joining(void **state)
{
  (void)state;
  const struct sb_model model = loaded(2, 0.9);
  struct rows rows = {0};
  struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  struct sb_error err = {0};
  options.on_row = take_row;
  options.context = &rows;
  assert_int_equal(sb_run(&model, &options, &result, &err), SB_OK);
  assert_int_equal(result.monitor.shift_count, 1);
  assert_true(rows.first_s == 0.0 && rows.last_s == 15.0);
  assert_int_equal(rows.jumps, 2);
  assert_int_equal(rows.count, 1501 + 1 + 2); /* every 10 ms, once more at the command, two at the joining */
  sb_run_result_clear(&result);

  rows = (struct rows){.refuse_at = 5};
  assert_int_equal(sb_run(&model, &options, &result, &err), SB_ERR_IO);
  assert_int_equal(rows.count, 5);
}

/* Hunting ---------------------------------------------------------------------------------------------------------- */

/* With up at 75 % the band is 0.76 to 1.08 N m. */
static struct sb_model with_band(double load_nm)
{
  struct sb_model model = loaded(2, load_nm);
  model.control.upshift_fraction[0] = 0.75;
  return model;
}

static void a_load_in_the_band_makes_threshold_driven_hunting(void **state)
{
  (void)state;
  const struct sb_model model = with_band(0.9);
  struct sb_run_result result = run(&model);
  const struct sb_verdict *hunting = find(&result, SB_VERDICT_HUNTING);
  assert_non_null(hunting);
  assert_int_equal(hunting->cause, SB_CAUSE_THRESHOLDS);
  assert_int_equal(hunting->gear, 1);
  assert_int_equal(hunting->count, result.monitor.shift_count);
  assert_true(hunting->first_s == result.monitor.shifts[0].command_s);
  assert_near_rel(hunting->least_nm, 0.9, 1e-12);
  assert_near_rel(hunting->greatest_nm, 0.9, 1e-12);
  /* Both gears decide when the dwell ends: a command a second, two to a period. */
  assert_near(hunting->period_s, 2.0, 1e-9);
  assert_null(find(&result, SB_VERDICT_NEEDLESS_DOWNSHIFT));
  sb_run_result_clear(&result);
}

static void loads_beside_the_band_make_no_hunting(void **state)
{
  (void)state;
  const struct sb_model below = with_band(0.7), above = with_band(1.15), no_band = loaded(2, 0.9);
  assert_false(has_verdict(&below, SB_VERDICT_HUNTING));
  assert_false(has_verdict(&above, SB_VERDICT_HUNTING));
  assert_false(has_verdict(&no_band, SB_VERDICT_HUNTING));
}

static void hunting_takes_three_commands(void **state)
{
  (void)state;
  struct sb_model model = with_band(0.9);
  model.run.duration_s = 2.5; /* commands at 1 s and 2 s */
  struct sb_run_result result = run(&model);
  assert_int_equal(result.monitor.shift_count, 2);
  assert_null(find(&result, SB_VERDICT_HUNTING));
  sb_run_result_clear(&result);
  model.run.duration_s = 3.5;
  result = run(&model);
  assert_int_equal(result.monitor.shift_count, 3);
  assert_int_equal(find(&result, SB_VERDICT_HUNTING)->count, 3);
  sb_run_result_clear(&result);
}

static void a_window_shorter_than_the_dwell_lets_no_chain_begin(void **state)
{
  (void)state;
  struct sb_model model = with_band(0.9);
  model.limits.hunt_window_s = 0.9;
  assert_false(has_verdict(&model, SB_VERDICT_HUNTING));
  model.limits.hunt_window_s = 1.1;
  assert_true(has_verdict(&model, SB_VERDICT_HUNTING));
}

/* Without a band, but deciding before the fast gear has climbed back. */
static void a_dwell_too_short_makes_dwell_driven_hunting_and_needless_downshifts(void **state)
{
  (void)state;
  struct sb_model model = loaded(1, 0.2);
  model.control.dwell_s = 0.1;
  struct sb_run_result result = run(&model);
  const struct sb_verdict *hunting = find(&result, SB_VERDICT_HUNTING);
  assert_non_null(hunting);
  assert_int_equal(hunting->cause, SB_CAUSE_DWELL);
  const struct sb_verdict *needless = find(&result, SB_VERDICT_NEEDLESS_DOWNSHIFT);
  assert_non_null(needless);
  assert_int_equal(needless->count, result.monitor.shift_count / 2);
  assert_int_equal(needless->gear, 1);
  sb_run_result_clear(&result);

  model.control.dwell_s = 1.0;
  result = run(&model);
  assert_int_equal(result.monitor.shift_count, 1);
  assert_int_equal(result.end_gear, 2);
  assert_int_equal(result.monitor.verdict_count, 0);
  sb_run_result_clear(&result);
}

/* 0.2 and 1.0 N m in turn, half a period each, about both thresholds. */
static struct sb_model with_alternating_load(double half_period_s, double x[3])
{
  static const double nm[] = {0.2, 1.0, 1.0};
  struct sb_model model = loaded(2, 0.0);
  x[0] = 0.0;
  x[1] = half_period_s;
  x[2] = 2.0 * half_period_s;
  struct sb_load_part *part = model_add_profile(&model, SB_OVER_TIME, true, 3, x, nm);
  part->is_held = part->is_repeating = true;
  model.control.dwell_s = 0.4;
  model.run.duration_s = 40.0;
  return model;
}

static void a_load_that_comes_and_goes_makes_the_box_shift_busily(void **state)
{
  (void)state;
  double x[3];
  struct sb_model model = with_alternating_load(1.0, x); /* the window is 1.2 s, a shift and 5 tau */
  struct sb_run_result result = run(&model);
  assert_null(find(&result, SB_VERDICT_HUNTING));
  const struct sb_verdict *busy = find(&result, SB_VERDICT_BUSY_SHIFTING);
  assert_non_null(busy);
  assert_int_equal(busy->cause, SB_CAUSE_LOAD);
  assert_near(busy->period_s, 2.0, 0.02); /* the load's, but for whole samples */
  assert_near_rel(busy->least_nm, 0.2, 1e-12);
  assert_near_rel(busy->greatest_nm, 1.0, 1e-12);
  sb_run_result_clear(&result);

  model = with_alternating_load(7.0, x); /* slower than 10 a minute */
  model.run.duration_s = 70.0;
  result = run(&model);
  assert_true(result.monitor.shift_count >=
              8); /* as many loads as before, but each shift has its reason and its time */
  assert_null(find(&result, SB_VERDICT_HUNTING));
  assert_null(find(&result, SB_VERDICT_BUSY_SHIFTING));
  sb_run_result_clear(&result);
}

/* The other verdicts ----------------------------------------------------------------------------------------------- */

/* The slow gear carries 12 x 0.9 x 0.4 = 4.32 N m at most. */
static void a_load_beyond_the_slow_gear_is_a_stall(void **state)
{
  (void)state;
  struct sb_model model = loaded(1, 4.4);
  struct sb_run_result result = run(&model);
  const struct sb_verdict *stall = find(&result, SB_VERDICT_STALL);
  assert_non_null(stall);
  assert_int_equal(stall->gear, 1);
  assert_true(stall->first_s == 0.0);
  assert_near(stall->duration_s, 15.0, 1e-9);
  sb_run_result_clear(&result);
  model = loaded(1, 4.2);
  assert_false(has_verdict(&model, SB_VERDICT_STALL));
}

static void a_standstill_shorter_than_the_limit_is_no_stall(void **state)
{
  (void)state;
  static const double x[] = {0.0, 4.0, 4.4}, nm[] = {0.3, 5.0, 0.3};
  struct sb_model model = loaded(1, 0.0);
  model_add_profile(&model, SB_OVER_TIME, true, 3, x, nm)->is_held = true;
  model.control.upshift_fraction[0] = 0.99;
  assert_false(has_verdict(&model, SB_VERDICT_STALL));
  model.limits.stall_time_s = 0.2;
  struct sb_run_result result = run(&model);
  const struct sb_verdict *stall = find(&result, SB_VERDICT_STALL);
  assert_non_null(stall);
  assert_near(stall->last_s, 4.4, 1e-9);
  /* x = s2 + (s1 - s2) exp(-t / tau) down to 0, s = 1 - TL / 4.32 of the no-load speed. */
  const double tau = (4e-4 + 0.02 / (144.0 * 0.9)) * model_rad_s(300.0) / 0.4;
  const double s1 = 1.0 - 0.3 / 4.32, s2 = 1.0 - 5.0 / 4.32;
  assert_near(stall->first_s, 4.0 + tau * log((s1 - s2) / -s2), 1e-6);
  assert_near(stall->duration_s, stall->last_s - stall->first_s, 1e-12);
  sb_run_result_clear(&result);
}

/* The same load twice as above, for 1 s and for 1.5 s: one verdict says how long in all. */
static void two_stalls_of_one_gear_are_one_verdict_of_both(void **state)
{
  (void)state;
  static const double x[] = {0.0, 4.0, 5.0, 8.0, 9.5}, nm[] = {0.3, 5.0, 0.3, 5.0, 0.3};
  struct sb_model model = loaded(1, 0.0);
  model_add_profile(&model, SB_OVER_TIME, true, 5, x, nm)->is_held = true;
  model.control.upshift_fraction[0] = 0.99;
  struct sb_run_result result = run(&model);
  const struct sb_verdict *stall = find(&result, SB_VERDICT_STALL);
  assert_non_null(stall);
  assert_int_equal(stall->count, 2);
  assert_near(stall->last_s, 9.5, 1e-9);
  const double late_s = stall->first_s - 4.0;
  assert_near(stall->duration_s, (1.0 - late_s) + (1.5 - late_s), 1e-6);
  sb_run_result_clear(&result);
}

/* At 10 V of 12 V the slow gear ends at 83 %, below up = 90 %, whatever the load. */
static void a_tired_battery_leaves_the_box_stuck_low(void **state)
{
  (void)state;
  struct sb_model model = loaded(1, 0.2);
  model.supply.open_circuit_voltage_v = 10.0;
  struct sb_run_result result = run(&model);
  const struct sb_verdict *stuck = find(&result, SB_VERDICT_STUCK_LOW);
  assert_non_null(stuck);
  assert_int_equal(stuck->gear, 1);
  assert_int_equal(result.monitor.shift_count, 0);
  assert_near(stuck->last_s, 15.0, 1e-9);
  sb_run_result_clear(&result);
  model.control.start_delay_s = 14.9; /* before that nothing is decided */
  assert_false(has_verdict(&model, SB_VERDICT_STUCK_LOW));
  model.control.start_delay_s = 1.0;
  model.supply.open_circuit_voltage_v = 12.0;
  assert_false(has_verdict(&model, SB_VERDICT_STUCK_LOW));
}

/* Td = 0.76 N m is what counts: a load above it has its place in the slow gear. */
static void a_slow_gear_that_is_needed_is_not_stuck_low(void **state)
{
  (void)state;
  const struct sb_model model = loaded(1, 0.8);
  assert_false(has_verdict(&model, SB_VERDICT_STUCK_LOW));
}

static void a_downshift_before_the_start_is_over_is_needless(void **state)
{
  (void)state;
  struct sb_model model = loaded(2, 0.2);
  model.control.start_delay_s = 0.0;
  struct sb_run_result result = run(&model);
  const struct sb_verdict *needless = find(&result, SB_VERDICT_NEEDLESS_DOWNSHIFT);
  assert_non_null(needless);
  assert_true(needless->first_s == 0.0);
  assert_int_equal(needless->count, 1);
  sb_run_result_clear(&result);
  model.control.start_delay_s = 1.0;
  assert_false(has_verdict(&model, SB_VERDICT_NEEDLESS_DOWNSHIFT));
}

static void a_downshift_for_a_reason_is_not_needless(void **state)
{
  (void)state;
  const struct sb_model model = loaded(2, 0.8);
  struct sb_run_result result = run(&model);
  assert_int_equal(result.monitor.shift_count, 1);
  assert_null(find(&result, SB_VERDICT_NEEDLESS_DOWNSHIFT));
  sb_run_result_clear(&result);
}

/* 0.5 N m, from x[1] to x[2] 3 N m, in the slow gear; 2.5 N m is the limit. */
static struct sb_model pressed(const double x[3])
{
  static const double nm[] = {0.5, 3.0, 0.5};
  struct sb_model model = loaded(1, 0.0);
  model.control.start_delay_s = 1e3;
  model_add_profile(&model, SB_OVER_TIME, true, 3, x, nm)->is_held = true;
  model.limits.output_torque_nm = 2.5;
  return model;
}

/* From 2 s to 3.5 s. The gear delivers TL + Jo W', and W' dies away with tau. */
static void overload_counts_the_time_above_the_limit(void **state)
{
  (void)state;
  static const double x[] = {0.0, 2.0, 3.5};
  struct sb_model model = pressed(x);
  struct sb_run_result result = run(&model);
  const struct sb_verdict *overload = find(&result, SB_VERDICT_OVERLOAD);
  assert_non_null(overload);
  const double n = 12.0, n2e = 12.0 * 12.0 * 0.9, slope = 0.4 / model_rad_s(300.0), inertia = 4e-4 + 0.02 / n2e;
  const double tau = inertia / slope, step_nm = 0.02 / n * (2.5 * n / n2e / slope) / tau; /* Jo W' just after a step */
  assert_true(step_nm > 0.5 && step_nm < 2.0);
  const double late_s = tau * log(step_nm / 0.5); /* 3 - step exp(-t / tau) = 2.5; after the load it is below at once */
  /* Crossings are interpolated within a step of 1 ms: (h / tau)^2 / 8 of a step's change, some 1e-6 s. */
  assert_near(overload->first_s, 2.0 + late_s, 1e-5);
  assert_near(overload->duration_s, 1.5 - late_s, 1e-5);
  assert_near(overload->last_s, 3.5, 1e-9);
  assert_near(overload->greatest_nm, 3.0, 1e-6);
  assert_true(overload->least_nm == 2.5);
  assert_false(overload->is_crest); /* for more than the 100 ms after which a torque lasts */
  sb_run_result_clear(&result);
  model.limits.output_torque_nm = 3.1;
  assert_false(has_verdict(&model, SB_VERDICT_OVERLOAD));
}

/* For 90 ms, of which less than that is above the limit. */
static void an_overload_of_an_instant_is_a_crest(void **state)
{
  (void)state;
  static const double x[] = {0.0, 2.0, 2.09};
  const struct sb_model model = pressed(x);
  struct sb_run_result result = run(&model);
  const struct sb_verdict *overload = find(&result, SB_VERDICT_OVERLOAD);
  assert_non_null(overload);
  assert_true(overload->is_crest);
  sb_run_result_clear(&result);
}

static void a_shift_that_takes_longer_than_its_timeout_is_not_engaged(void **state)
{
  (void)state;
  struct sb_model model = loaded(2, 0.9);
  model_set_shifter(&model, "selector");
  model.shifter.travel_time_s = 0.6;
  model.shifter.timeout_s = 0.5;
  struct sb_run_result result = run(&model);
  const struct sb_verdict *late = find(&result, SB_VERDICT_NOT_ENGAGED);
  assert_non_null(late);
  assert_int_equal(late->gear, 1);
  assert_near(late->first_s, 1.0, 1e-9);
  assert_near(late->duration_s, 0.6, 1e-9);
  sb_run_result_clear(&result);
  model.shifter.timeout_s = 0.7;
  assert_false(has_verdict(&model, SB_VERDICT_NOT_ENGAGED));
  model.shifter.travel_time_s = 1e3; /* never: the run ends in neutral */
  result = run(&model);
  assert_non_null(find(&result, SB_VERDICT_NOT_ENGAGED));
  assert_int_equal(result.end.gear, 0);
  sb_run_result_clear(&result);
}

/* The command comes at 1 s; a drive that is switched in the meantime excuses the 0.6 s of this shift. */
static void a_drive_that_is_switched_during_a_shift_excuses_its_time(void **state)
{
  (void)state;
  double at_s[] = {0.0, 1.2, 1.3}, command[] = {SB_COMMAND_FORWARD, SB_COMMAND_STOP, SB_COMMAND_FORWARD};
  for (int is_during = 0; is_during < 2; is_during++) {
    struct sb_model model = loaded(2, 0.9);
    model_set_shifter(&model, "selector");
    model.shifter.travel_time_s = 0.6;
    model.shifter.timeout_s = 0.5;
    model.drive.period_s = 0.01;
    at_s[1] = is_during ? 1.2 : 5.0;
    at_s[2] = at_s[1] + 0.1;
    model.drive.schedule = (struct sb_table){3, at_s, command};
    struct sb_run_result result = run(&model);
    assert_true(result.monitor.shift_count >= 1);
    assert_true((find(&result, SB_VERDICT_NOT_ENGAGED) == NULL) == (is_during == 1));
    sb_run_result_clear(&result);
  }
}

/* Hunting is exactly the band -------------------------------------------------------------------------------------- */

struct band {
  double downshift_nm, upshift_nm, stall_nm; /* Td, Tu, and what the slow gear carries at most */
};

/* The closed forms, from the given figures: m = kt ke / R', wv, v and Tv at the supply, then
 * Td = ((1 - d / v) Tv - Df) Kf and Tu = ((1 - u / v) Tv - Ds) Ks. */
static struct band band_of(const struct sb_model *model)
{
  const struct sb_motor *m = &model->motor;
  double slope = m->stall_torque_nm / m->no_load_speed_rad_s;
  double stall =
      m->stall_torque_nm * model->drive.limit_fraction * model->supply.open_circuit_voltage_v / m->nominal_voltage_v;
  if (m->has_currents) {
    const double ohm = m->nominal_voltage_v / m->stall_current_a;
    const double kt = m->stall_torque_nm / (m->stall_current_a - m->no_load_current_a);
    const double ke = (m->nominal_voltage_v - m->no_load_current_a * ohm) / m->no_load_speed_rad_s;
    const double loop =
        ohm + model->drive.limit_fraction * model->drive.limit_fraction * model->supply.internal_resistance_ohm;
    slope = kt * ke / loop;
    stall = kt * model->drive.limit_fraction * model->supply.open_circuit_voltage_v / loop - kt * m->no_load_current_a;
  }
  const double v = stall / slope / m->no_load_speed_rad_s;
  const struct sb_gear *slow = &model->gearbox.gears[0], *fast = &model->gearbox.gears[1];
  const double ks = slow->meshes[0].driven_teeth / slow->meshes[0].driver_teeth * slow->meshes[0].efficiency;
  const double kf = fast->meshes[0].driven_teeth / fast->meshes[0].driver_teeth * fast->meshes[0].efficiency;
  return (struct band){.downshift_nm = ((1.0 - model->control.downshift_fraction[0] / v) * stall - fast->drag_nm) * kf,
                       .upshift_nm = ((1.0 - model->control.upshift_fraction[0] / v) * stall - slow->drag_nm) * ks,
                       .stall_nm = (stall - slow->drag_nm) * ks};
}

static struct sb_model random_box(gsl_rng *dice)
{
  static const char *const kinds[] = {"selector", "swing arm", "clutch"};
  struct sb_model model = model_blank();
  const double no_load = gsl_ran_flat(dice, 10.0, 200.0), stall = gsl_ran_flat(dice, 0.05, 2.0);
  model_set_line_motor(&model, no_load, stall, gsl_ran_flat(dice, 0.02, 0.06) * stall / no_load);
  if (gsl_rng_uniform(dice) < 0.5)
    model_set_currents(&model, 5.0, gsl_ran_flat(dice, 0.0, 0.4), gsl_ran_flat(dice, 0.0, 0.3));
  model.supply.open_circuit_voltage_v = gsl_ran_flat(dice, 11.0, 13.0);
  const double fast = gsl_ran_flat(dice, 2.0, 6.0);
  model_add_gear(&model, fast * gsl_ran_flat(dice, 1.5, 3.5), gsl_ran_flat(dice, 0.75, 0.95), false);
  model_add_gear(&model, fast, gsl_ran_flat(dice, 0.85, 1.0), false)->drag_nm = gsl_ran_flat(dice, 0.0, 0.03) * stall;
  model_set_shifter(&model, kinds[gsl_rng_uniform_int(dice, 3)]);
  model.shifter.swing_turns = gsl_ran_flat(dice, 0.0, 0.5);
  model.shifter.clutch_nm = 1.5 * stall; /* else it slips for ever where the fast gear can't move the load */
  model.load.inertia_kg_m2 = model.motor.rotor_inertia_kg_m2 * fast * fast * gsl_ran_flat(dice, 0.3, 2.0);
  model.control.downshift_fraction[0] = gsl_ran_flat(dice, 0.3, 0.6);
  model.control.upshift_fraction[0] = gsl_ran_flat(dice, model.control.downshift_fraction[0] + 0.02, 0.85);
  model.control.start_gear = 2;
  model_finish(&model);
  /* Long enough for a shift and for all transients to die. */
  const double tau =
      3.0 * sb_torque_balance_time_constant_s(&model, &(struct sb_motor_line){.slope_nms_rad = stall / no_load}, 1);
  model.control.start_delay_s = model.control.dwell_s = 1.5 + 4.0 * tau;
  model.run.duration_s = 7.0 * model.control.dwell_s;
  return model;
}

static void a_box_hunts_under_a_constant_load_exactly_when_the_load_is_in_the_band(void **state)
{
  (void)state;
  const double edge = 0.02;
  gsl_rng *dice = dice_of(3); /* 6000 boxes of another seed agree as well */
  int hunts = 0, rests = 0;
  for (int i = 0; i < 300; i++) {
    struct sb_model model = random_box(dice);
    const struct band band = band_of(&model);
    const bool is_near_band = band.downshift_nm < band.upshift_nm && gsl_rng_uniform(dice) < 0.7;
    const double load_nm = is_near_band ? gsl_ran_flat(dice, 0.9 * band.downshift_nm, 1.1 * band.upshift_nm)
                                        : gsl_ran_flat(dice, 0.0, 0.95 * band.stall_nm);
    model_add_constant(&model, load_nm, true);
    if (fabs(load_nm / band.downshift_nm - 1.0) < edge || fabs(load_nm / band.upshift_nm - 1.0) < edge) continue;

    const bool is_in_band = load_nm > band.downshift_nm && load_nm < band.upshift_nm;
    struct sb_run_result result = run(&model);
    const struct sb_verdict *hunting = find(&result, SB_VERDICT_HUNTING);
    if ((hunting != NULL) != is_in_band) {
      fail_msg("box %d (%s): load %g, band %g to %g, %zu shifts", i, model.shifter.ops->name, load_nm,
               band.downshift_nm, band.upshift_nm, result.monitor.shift_count);
    }
    if (is_in_band) assert_int_equal(hunting->cause, SB_CAUSE_THRESHOLDS);
    if (!is_in_band) assert_int_equal(result.monitor.shift_count, load_nm > band.downshift_nm);
    hunts += is_in_band;
    rests += !is_in_band;
    sb_run_result_clear(&result);
  }
  gsl_rng_free(dice);
  assert_true(hunts > 50 && rests > 50);
}

/* A box whose fast gear turns the output the other way, and its twin that does not, under a load against the motion. */
static struct sb_model turning(bool is_reversing, double load_nm)
{
  struct sb_model model = model_blank();
  model_set_line_motor(&model, model_rad_s(300.0), 0.4, 2e-4);
  model_add_gear(&model, 4.0, 0.97, false);
  model_add_gear(&model, 2.0, 0.97, is_reversing);
  model_set_shifter(&model, "swing arm");
  model.shifter.swing_turns = 0.5;
  model.load.inertia_kg_m2 = 0.004;
  model_add_constant(&model, load_nm, true);
  model.control.start_gear = 2;
  model.control.start_delay_s = model.control.dwell_s = 1.0;
  model.control.upshift_fraction[0] = 0.78;
  model_finish(&model);
  return model;
}

static void a_gear_that_reverses_the_output_is_judged_by_the_load_against_it(void **state)
{
  (void)state;
  for (int k = 0; k < 2; k++) {
    const struct sb_model heavy = turning(k == 1, 0.45), light = turning(k == 1, 0.3);
    struct sb_run_result result = run(&heavy);
    assert_int_equal(result.monitor.shifts[0].to, 1);
    assert_near(result.monitor.shifts[0].external_torque_nm, 0.45, 1e-12);
    assert_null(find(&result, SB_VERDICT_NEEDLESS_DOWNSHIFT)); /* fast carries 0.388 N m at 50 % */
    sb_run_result_clear(&result);
    assert_false(has_verdict(&light, SB_VERDICT_NEEDLESS_DOWNSHIFT));
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_first_sample_is_at_the_start),
      cmocka_unit_test(delay_and_dwell_count_whole_samples_rounded_up),
      cmocka_unit_test(the_confirm_count_starts_when_the_dwell_ends),
      cmocka_unit_test(nothing_is_decided_in_neutral),
      cmocka_unit_test(a_sample_that_falls_on_an_engagement_sees_the_state_after_it),
      cmocka_unit_test(a_locked_gear_stays),
      cmocka_unit_test(the_greatest_torque_has_its_source),
      cmocka_unit_test(a_charge_lasts_as_many_runs_as_it_is_times_what_one_took),
      cmocka_unit_test(a_winding_gets_too_hot_when_the_mean_loss_has_taken_it_there),
      cmocka_unit_test(rows_come_in_order_from_start_to_end_with_two_at_each_command_and_joining),
      cmocka_unit_test(a_load_in_the_band_makes_threshold_driven_hunting),
      cmocka_unit_test(loads_beside_the_band_make_no_hunting),
      cmocka_unit_test(hunting_takes_three_commands),
      cmocka_unit_test(a_window_shorter_than_the_dwell_lets_no_chain_begin),
      cmocka_unit_test(a_dwell_too_short_makes_dwell_driven_hunting_and_needless_downshifts),
      cmocka_unit_test(a_load_that_comes_and_goes_makes_the_box_shift_busily),
      cmocka_unit_test(a_load_beyond_the_slow_gear_is_a_stall),
      cmocka_unit_test(a_standstill_shorter_than_the_limit_is_no_stall),
      cmocka_unit_test(two_stalls_of_one_gear_are_one_verdict_of_both),
      cmocka_unit_test(a_tired_battery_leaves_the_box_stuck_low),
      cmocka_unit_test(a_slow_gear_that_is_needed_is_not_stuck_low),
      cmocka_unit_test(a_downshift_before_the_start_is_over_is_needless),
      cmocka_unit_test(a_downshift_for_a_reason_is_not_needless),
      cmocka_unit_test(overload_counts_the_time_above_the_limit),
      cmocka_unit_test(an_overload_of_an_instant_is_a_crest),
      cmocka_unit_test(a_gear_that_reverses_the_output_is_judged_by_the_load_against_it),
      cmocka_unit_test(a_shift_that_takes_longer_than_its_timeout_is_not_engaged),
      cmocka_unit_test(a_drive_that_is_switched_during_a_shift_excuses_its_time),
      cmocka_unit_test(a_box_hunts_under_a_constant_load_exactly_when_the_load_is_in_the_band),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
