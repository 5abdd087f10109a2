// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * What feeds the motor at ticks: how its errors follow the period, and delays that count whole ticks.
 */
#include "help/driven.h"
#include "sim/feed.h"

/* A battery of 8 A s that loses a volt with each tenth of its charge, and a winding that warms by ten kelvin a second at
 * the load: all that moves at ticks moves fast. */
static const double charges[] = {0.0, 1.0}, volts[] = {4.0, 14.0};

static struct sb_model hot_model(void)
{
  struct sb_model model = model_two_gears("selector");
  model_set_currents(&model, 2.6, 0.14, 0.5);
  model.battery = (struct sb_battery){
      .is_present = true, .curve = {2, charges, volts}, .series_count = 1, .capacity_as = 8.0, .charge_fraction = 1.0};
  model.supply.open_circuit_voltage_v = 14.0;
  model_set_winding(&model, 0.5, 6.0);
  model_add_housing(&model, 8.0, 6.0);
  model.control.sample_period_s = 0.04;
  model.run.step_s = 6.25e-4;
  model_add_constant(&model, 0.6, true);
  model_finish(&model);
  return model;
}

enum { FIGURES = 4 };

/* Energy, charge, temperature and place at the end of 1.92 s, at a period of the ticks. */
static void run_at(struct sb_model model, double period_s, double figures[FIGURES])
{
  model.drive.period_s = period_s;
  const struct driven end = drive(&model, 0, NULL, 0, 1.92);
  figures[0] = end.sums.energy.given;
  figures[1] = end.state.feed.drawn_as;
  figures[2] = end.state.feed.warmth.winding_c;
  figures[3] = end.state.output_angle_rad;
}

/* Errors at 20 ms and 10 ms against a run at 0.625 ms, which itself is off by a 1024th of the first. */
static void take_errors(const struct sb_model *model, double coarse[FIGURES], double fine[FIGURES])
{
  double exact[FIGURES];
  run_at(*model, 0.02, coarse);
  run_at(*model, 0.01, fine);
  run_at(*model, 6.25e-4, exact);
  for (int i = 0; i < FIGURES; i++) {
    coarse[i] -= exact[i];
    fine[i] -= exact[i];
  }
}

/* 4 (1 - 1/1024) / (1 - 1/256) = 4.01, and terms of third order: the period is 0.4 of a time constant. */
static void halving_the_period_quarters_the_errors_of_a_run(void **state)
{
  (void)state;
  double coarse[FIGURES], fine[FIGURES];
  const struct sb_model model = hot_model();
  take_errors(&model, coarse, fine);
  for (int i = 0; i < FIGURES; i++) assert_near(coarse[i] / fine[i], 4.01, 0.25);
}

/* A start, a stop, a start again, and the other way round, each on a tick of every period. Errors of both signs add up
 * here, so that one of them may fall by more than to a quarter, or turn its sign; to a half would be first order. */
static void across_switches_the_errors_fall_as_fast(void **state)
{
  (void)state;
  static const double times_s[] = {0.0, 0.48, 0.64, 1.2}, commands[] = {1.0, 0.0, 1.0, -1.0};
  struct sb_model model = hot_model();
  model.drive.schedule = (struct sb_table){4, times_s, commands};
  for (int off = SB_OFF_COAST; off <= SB_OFF_BRAKE; off++) {
    double coarse[FIGURES], fine[FIGURES];
    model.drive.off = (enum sb_drive_off)off;
    take_errors(&model, coarse, fine);
    for (int i = 0; i < FIGURES; i++) assert_near(fine[i] / coarse[i], 0.0, 0.3);
  }
}

/* A battery that is low from the first tick on, 1 period after the start, at any load: cut n ticks later. */
static void a_cutoff_delay_of_n_ticks_is_over_after_n_ticks(void **state)
{
  (void)state;
  static const struct {
    double step_s, period_s, delay_s;
    int ticks;
  } cases[] = {{1e-3, 1e-3, 0.1, 100},  {1e-3, 3e-3, 0.3, 100}, {1e-3, 3e-3, 0.1, 34}, {1e-3, 7e-3, 0.7, 100},
               {1e-3, 1e-2, 0.1, 10},   {1e-3, 1e-3, 0.3, 300}, {1e-3, 1e-3, 0.0, 0},  {0.1, 0.1, 0.3, 3},
               {1e-4, 1e-4, 0.1, 1000}, {3e-3, 3e-3, 0.9, 300}, {1e-3, 1e-3, 0.7, 700}};
  for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
    struct sb_model model = hot_model();
    model.run.step_s = cases[i].step_s;
    model.drive.period_s = cases[i].period_s;
    model.battery.cutoff_v = 100.0;
    model.battery.cutoff_delay_s = cases[i].delay_s;
    const long long cut = (cases[i].ticks + 1) * sb_model_step_count(cases[i].period_s, cases[i].step_s);
    struct sb_error err;
    struct sb_sim sim;
    assert_int_equal(sb_sim_init(&sim, &model, 0, &err), SB_OK);
    assert_int_equal(sb_sim_advance(&sim, cut - 1, &err), SB_OK);
    assert_int_equal(sim.state.feed.is_empty, 0);
    assert_int_equal(sb_sim_advance(&sim, cut, &err), SB_OK);
    assert_int_equal(sim.state.feed.is_empty, 1);
    sb_sim_clear(&sim);
  }
}

static void a_tick_takes_whole_steps_and_one_at_least(void **state)
{
  (void)state;
  static const double periods_s[] = {0.0, 1e-3, 2e-3, 5e-3};
  static const int steps[] = {1, 1, 2, 5};
  struct sb_model model = hot_model();
  for (int k = 0; k < 4; k++) {
    model.drive.period_s = periods_s[k];
    assert_int_equal(sb_feed_steps_per_tick(&model, 1e-3), steps[k]);
  }
  const struct sb_model plain = model_two_gears("selector");
  assert_int_equal(sb_feed_steps_per_tick(&plain, 1e-3), 0); /* nothing of it changes at ticks */
}

static void a_command_back_turns_the_drive_around(void **state)
{
  (void)state;
  static const double times_s[] = {0.0, 0.5, 1.0}, commands[] = {1.0, -1.0, 1.0};
  struct sb_model model = hot_model();
  model.drive.period_s = 0.01;
  model.drive.schedule = (struct sb_table){3, times_s, commands};
  model.control.start_delay_s = 0.1; /* 160 steps, from each turn on, too */
  struct sb_error err;
  struct sb_sim sim;
  assert_int_equal(sb_sim_init(&sim, &model, 0, &err), SB_OK);
  for (int k = 0; k < 3; k++) {
    assert_int_equal(sb_sim_advance(&sim, 640 * k + 64 * 5, &err), SB_OK); /* 0.2 s, 0.6 s, 1.0 s */
    assert_int_equal(sb_feed_direction(&sim), k == 1 ? -1 : +1);
    assert_int_equal(sim.state.feed.ready_step, k == 0 ? 0 : 800 * k + 160);
  }
  sb_sim_clear(&sim);
}

/* A drive that is turned around is told of, and so is one that heat cuts, and that comes back. */
static void each_switch_of_the_drive_is_told(void **state)
{
  (void)state;
  static const double times_s[] = {0.0, 0.5, 1.0, 1.5}, commands[] = {1.0, -1.0, 0.0, 1.0};
  struct sb_model model = hot_model();
  model.drive.period_s = 0.01;
  model.drive.schedule = (struct sb_table){4, times_s, commands};
  const struct driven ordered = drive(&model, 0, NULL, 0, 1.92);
  assert_int_equal(driven_count(&ordered.seen, SB_EVENT_SWITCHED), 3);
  for (int k = 0; k < 3; k++)
    assert_near(driven_time_s(&ordered.seen, SB_EVENT_SWITCHED, (size_t)k), times_s[k + 1], 1e-12);
  model.drive.schedule = (struct sb_table){1, times_s, commands};
  model.winding.cut_out_c = 22.0;
  model.winding.reset_c = 21.5;
  const struct driven cut = drive(&model, 0, NULL, 0, 1.92);
  assert_true(cut.sums.cut_count > 1);
  assert_int_equal(driven_count(&cut.seen, SB_EVENT_SWITCHED), 2 * cut.sums.cut_count - cut.state.feed.is_cut_out);
}

/* What has cut the drive is told apart: a battery below its cut-off, or a winding above its own. */
static void a_cut_by_heat_and_one_by_the_battery_are_told_apart(void **state)
{
  (void)state;
  for (int is_by_heat = 0; is_by_heat < 2; is_by_heat++) {
    struct sb_model model = hot_model();
    model.drive.period_s = 0.01;
    if (is_by_heat) {
      model.winding.cut_out_c = model.winding.reset_c = 20.5;
    } else {
      model.battery.cutoff_v = 100.0;
    }
    const struct driven got = drive(&model, 0, NULL, 0, 1.92);
    assert_true(got.sums.cut_count > 0);
    assert_int_equal(got.sums.was_cut_by_heat, is_by_heat);
    assert_int_equal(got.sums.was_cut_by_battery, !is_by_heat);
  }
}

/* At a tick the feed takes what there will be in the middle of the next period, were the present current to flow until then: of the
 * duty from now on, through the voltage and resistance held so far. */
static void a_duty_that_rises_counts_from_its_tick_on(void **state)
{
  (void)state;
  struct sb_model model = hot_model();
  model.drive.period_s = 0.01;
  model.drive.ramp_s = 0.5;
  struct sb_error err;
  struct sb_sim sim;
  assert_int_equal(sb_sim_init(&sim, &model, 0, &err), SB_OK);
  for (int tick = 1; tick <= 20; tick++) {
    const struct sb_feed before = sim.state.feed;
    assert_int_equal(sb_sim_advance(&sim, 16 * tick, &err), SB_OK);
    const struct sb_feed *now = &sim.state.feed;
    assert_true(now->drive.duty > before.drive.duty);
    const struct sb_motor_circuit circuit = {
        .voltage_v = before.voltage_v, .motor_ohm = before.resistance_ohm, .supply_ohm = 0.5, .magnet_ratio = 1.0};
    const struct sb_motor_line line = sb_motor_line_of_circuit(&model.motor, &circuit, now->drive.duty);
    const double drawn_a = line.duty * sb_motor_current_a(&line, sim.state.motor_speed_rad_s);
    /* Ten volts for 8 A s. */
    assert_near_rel(now->voltage_v, 14.0 - 10.0 * (now->drawn_as + drawn_a * 0.005) / 8.0, 1e-13);
  }
  sb_sim_clear(&sim);
}

/* The speed that a warm winding and a tired battery leave under a load is that of a motor as the data sheet has it under another
 * load: what its line, less the drag, leaves there. */
static void a_load_is_told_as_that_which_brings_a_fresh_motor_to_the_same_speed(void **state)
{
  (void)state;
  struct sb_model model = hot_model();
  model.drive.period_s = 0.01;
  for (int g = 0; g < 2; g++) model.gearbox.gears[g].drag_nm = 0.01 * (g + 1);
  const struct driven got = drive(&model, 0, NULL, 0, 1.9);
  const struct sb_feed *feed = &got.state.feed;
  const struct sb_motor_circuit circuit = {
      .voltage_v = feed->voltage_v, .motor_ohm = feed->resistance_ohm, .supply_ohm = 0.5, .magnet_ratio = 1.0};
  const struct sb_motor_line tired = sb_motor_line_of_circuit(&model.motor, &circuit, 1.0);
  const struct sb_motor_line fresh = sb_motor_line_driven(&model.motor, &model.supply, 1.0);
  for (int g = 0; g < 2; g++) {
    const struct sb_gear *gear = &model.gearbox.gears[g];
    const double carried = gear->ratio * gear->efficiency;
    const double speed = (tired.stall_nm - tired.friction_nm - gear->drag_nm - 0.6 / carried) / tired.slope_nms_rad;
    const double want_nm = carried * (fresh.stall_nm - fresh.friction_nm - gear->drag_nm - fresh.slope_nms_rad * speed);
    assert_near_rel(g == 0 ? got.row.own_load_nm : got.row.next_load_nm, want_nm, 1e-12);
    assert_true(want_nm > 0.7);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(halving_the_period_quarters_the_errors_of_a_run),
      cmocka_unit_test(across_switches_the_errors_fall_as_fast),
      cmocka_unit_test(a_tick_takes_whole_steps_and_one_at_least),
      cmocka_unit_test(a_command_back_turns_the_drive_around),
      cmocka_unit_test(each_switch_of_the_drive_is_told),
      cmocka_unit_test(a_cut_by_heat_and_one_by_the_battery_are_told_apart),
      cmocka_unit_test(a_cutoff_delay_of_n_ticks_is_over_after_n_ticks),
      cmocka_unit_test(a_duty_that_rises_counts_from_its_tick_on),
      cmocka_unit_test(a_load_is_told_as_that_which_brings_a_fresh_motor_to_the_same_speed),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
