// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Paths that lock themselves: the output cannot drive the motor, and a load that helps holds the path unless the motor turns
 * with |eta_back| TL / N. Equations as in sim.h; the same machines by other means in oracle.h.
 */
#include "help/driven.h"

#include <gsl/gsl_randist.h>

static const double step_s = 2.5e-4;
static const double rounding = 1e-12;

/* A winch: 20 kg on a drum of 50 mm radius, 40:1 at 40 %, with the same friction both ways. */
static const double weight_nm = 20.0 * 9.80665 * 0.05, winch_ratio = 40.0;

static struct sb_model winch(double stall_nm, double rotor_inertia, double output_inertia)
{
  struct sb_model model = {.drive.limit_fraction = 1.0};
  model_set_line_motor(&model, 300.0, stall_nm, rotor_inertia);
  model_add_gear(&model, winch_ratio, 0.4, false)->back_efficiency = SB_BACK_EFFICIENCY_AUTO;
  model_set_shifter(&model, "selector");
  model.load.inertia_kg_m2 = output_inertia;
  model_add_constant(&model, -weight_nm, false); /* the weight helps: it is lowered */
  model.control = (struct sb_control){.start_gear = 1, .sample_period_s = 0.01, .debounce_count = 1};
  model.run = (struct sb_run_setup){.duration_s = 4.0, .step_s = step_s};
  model_finish(&model);
  return model;
}

/* The model page's figure: (1 / 0.4 - 2) 9.80665 N.m / 40 = 0.12258 N.m. */
static void lowering_needs_the_motor_torque_that_friction_takes_beyond_the_weight(void **state)
{
  (void)state;
  const double needed_nm = 0.5 * weight_nm / winch_ratio;
  assert_near(needed_nm, 0.1226, 5e-5);
  const struct sb_model model = winch(0.5, 2e-4, 0.05);
  assert_near(model.gearbox.gears[0].back_efficiency, -0.5, rounding);
  const struct driven got = drive(&model, 0, NULL, 0, 4.0);
  const double steady_rad_s = 300.0 * (1.0 - needed_nm / 0.5);
  assert_near(got.row.motor_speed_rad_s, steady_rad_s, 1e-9);
  assert_int_equal(got.state.is_driving, 0);
  assert_near(got.row.output_torque_nm, -weight_nm, 1e-9); /* the weight drives the gear, and yet the motor must push */
  assert_int_equal(got.sums.jam_count, 0);
}

static void a_motor_just_too_weak_to_lower_leaves_the_load_hanging(void **state)
{
  (void)state;
  const double needed_nm = 0.5 * weight_nm / winch_ratio;
  for (int is_stronger = 0; is_stronger <= 1; is_stronger++) {
    const struct sb_model model = winch(needed_nm * (is_stronger ? 1.0 + 1e-9 : 1.0 - 1e-9), 2e-4, 0.05);
    const struct driven got = drive(&model, 0, NULL, 0, 1.0);
    assert_int_equal(got.row.phase, is_stronger ? SB_PHASE_ENGAGED : SB_PHASE_STANDSTILL);
    assert_near(got.row.output_torque_nm, -weight_nm, 1e-6);
  }
}

/* Jm + Jo eta_back / N^2 = 1e-5 - 0.5 0.05 / 1600 < 0. The motor starts the load, which then runs ahead of it: at
 * (T0 - m x) Jo / N = Jm |TL| both stop at once. From rest to there the path drives: J w' = T - m w + |TL| / (N eta). */
static void a_path_whose_output_is_too_heavy_jams_as_soon_as_the_output_would_drive(void **state)
{
  (void)state;
  const double jm = 1e-5, jo = 0.05, stall_nm = 0.2, slope = stall_nm / 300.0;
  struct sb_model model = winch(stall_nm, jm, jo);
  assert_true(sb_model_overrun_inertia_kg_m2(&model, 0, jo) < 0.0);
  const double inertia = jm + jo / (0.4 * winch_ratio * winch_ratio);
  const double jam_rad_s = (stall_nm - jm * weight_nm * winch_ratio / jo) / slope;
  const double end_rad_s = (stall_nm + weight_nm / (0.4 * winch_ratio)) / slope;
  const double jam_s = -inertia / slope * log(1.0 - jam_rad_s / end_rad_s);
  const double impulse_nms = jo * jam_rad_s / winch_ratio;

  const struct driven got = drive(&model, 0, NULL, 0, step_s * floor(1.5 * jam_s / step_s));
  assert_int_equal(got.sums.jam_count, 1);
  assert_near(got.sums.jam_first_s, jam_s, 1e-9 * jam_s);
  assert_near_rel(got.sums.jam_greatest_nms, impulse_nms, 1e-9);
  assert_true(got.row.motor_speed_rad_s > 0.0 && got.row.motor_speed_rad_s < jam_rad_s); /* it began again at once */
  assert_near(sb_energy_residual_ratio(&got.sums.energy), 0.0, 1e-12);
  /* Before it the meshes take 60 % of what the motor brings beyond its own rotor; the jam takes all that moves. */
  const struct driven before = drive(&model, 0, NULL, 0, step_s * floor(jam_s / step_s));
  const double moved_j = 0.5 * (jm + jo / (winch_ratio * winch_ratio)) * jam_rad_s * jam_rad_s;
  assert_true(got.sums.energy.mesh_loss > before.sums.energy.mesh_loss + moved_j);
  assert_int_equal(before.sums.jam_count, 0);
}

/* A weight that the motor holds up, let down for a while: the drive's torque falls below what lowering needs, and back. */
static void a_locked_path_starts_again_when_the_weight_that_holds_it_gets_lighter(void **state)
{
  (void)state;
  static const double x[] = {0.0, 1.0, 2.0}, y[] = {-2.0 * 9.80665, -2.0 * 9.80665, 0.0};
  struct sb_model model = winch(0.2, 2e-4, 0.05);
  model.load.part_count = 0;
  model_add_profile(&model, SB_OVER_TIME, false, 3, x, y);
  model_add_constant(&model, 0.3, true)->breakaway_nm = 0.7;
  const struct driven got = drive(&model, 0, NULL, 0, 2.0);
  /* |TL| less the 0.3 N.m of friction in motion = 0.2 N.m 40 / 0.5; the 0.7 N.m at rest would let it start sooner, but it
   * would not go on. */
  const double start_s = 2.0 - (0.2 * winch_ratio / 0.5 + 0.3) / (2.0 * 9.80665);
  assert_near(driven_time_s(&got.seen, SB_EVENT_STARTED, 0), start_s, 1e-9);
}

/* A load that helps takes motor torque in gears that lock themselves, so a downshift under it is asked for by the load: it is
 * worth eta |eta_back| of one that opposes. */
static void a_load_that_helps_is_judged_by_what_it_takes_of_the_motor(void **state)
{
  (void)state;
  static const double x[] = {0.0, 1.0, 1.5, 3.0}, y[] = {0.0, 0.0, -9.0, -9.0};
  for (int is_locking = 0; is_locking <= 1; is_locking++) {
    struct sb_model model = model_two_gears("selector");
    model_drive_forward(&model);
    for (int g = 0; g < 2; g++) {
      model.gearbox.gears[g].meshes[0].efficiency = 0.4;
      model.gearbox.gears[g].back_efficiency = is_locking ? -0.5 : 0.4;
    }
    model.load.part_count = 0;
    model_add_profile(&model, SB_OVER_TIME, false, 4, x, y);
    model_finish(&model);
    const struct driven got = drive(&model, 1, NULL, 0, 2.0);
    assert_near_rel(got.row.external_torque_nm, -9.0, 1e-12);
    assert_near_rel(got.row.own_load_nm, is_locking ? 0.4 * 0.5 * 9.0 : -9.0, 1e-12);
  }
}

/* Random machines against GSL's rk8pd --------------------------------------------------------------------------------- */

/* A load that the path holds grows from nothing at 1 s to 30 N m within 50 ms and is gone, or is there at once and goes evenly, either way round.
 * Beyond 5 N m it is for 5/6 of that, with a mean of 17.5 N m: too short to last, but as much as 5 N m in 0.1 s and more. One of 12 N m stays
 * a crest. */
static void a_load_that_a_locked_path_holds_lasts_by_what_comes_together(void **state)
{
  (void)state;
  static const double off_s[] = {0.0}, off[] = {SB_COMMAND_STOP};
  for (int kind = 0; kind < 8; kind++) {
    const bool is_heavy = kind & 1, is_falling = kind & 2;
    const double greatest_nm = is_heavy ? 30.0 : 12.0, load_nm = kind & 4 ? -greatest_nm : greatest_nm;
    const double at_s[] = {0.0, 1.0, is_falling ? 1.0 : 1.05, 1.05, 2.0}, loads_nm[] = {0.0, 0.0, load_nm, 0.0, 0.0};
    struct sb_model model = winch(0.5, 2e-4, 0.05);
    model.load.part_count = 0;
    model_add_profile(&model, SB_OVER_TIME, false, 5, at_s, loads_nm);
    model.limits.output_torque_nm = 5.0;
    model.drive.schedule = (struct sb_table){1, off_s, off};
    model.drive.period_s = model.control.sample_period_s;
    struct sb_sums sums = drive(&model, 0, NULL, 0, 1.5).sums;
    sb_energy_close_over_limit(&sums, 5.0);
    const struct sb_over_limit *seen = is_heavy ? &sums.over_lasting : &sums.over_crests;
    const struct sb_over_limit *other = is_heavy ? &sums.over_crests : &sums.over_lasting;
    const double above_s = 0.05 * (1.0 - 5.0 / greatest_nm);
    assert_int_equal(seen->count, 1);
    assert_int_equal(other->count, 0);
    assert_near_rel(seen->total_s, above_s, 1e-9);
    assert_near_rel(seen->impulse_nms, 0.5 * (5.0 + greatest_nm) * above_s, 1e-9);
    assert_near_rel(seen->greatest_nm, greatest_nm, 1e-9);
  }
}

/* What a winch that stands holds beyond a limit in two periods of a swinging load, looked at once or after each step. */
static struct sb_sums held_swing(double mean_nm, double amplitude_nm, double period_s, double limit_nm,
                                 bool is_looked_at)
{
  static const double off_s[] = {0.0}, off[] = {SB_COMMAND_STOP};
  struct sb_model model = winch(0.5, 2e-4, 0.05);
  model.load.part_count = 0;
  model_add_sine(&model, SB_OVER_TIME, false, mean_nm, amplitude_nm, period_s);
  model.limits.output_torque_nm = limit_nm;
  model.drive.schedule = (struct sb_table){1, off_s, off};
  model.drive.period_s = model.control.sample_period_s;
  struct sb_sim sim;
  struct sb_error err;
  assert_int_equal(sb_sim_init(&sim, &model, 0, &err), SB_OK);
  const long long end = sb_model_step_count(2.0 * period_s, step_s);
  for (long long step = is_looked_at ? 1 : end; step <= end; step++) {
    assert_int_equal(sb_sim_advance(&sim, step, &err), SB_OK);
    (void)sb_sim_sums(&sim);
  }
  struct sb_sums sums = *sb_sim_sums(&sim);
  sb_energy_close_over_limit(&sums, limit_nm);
  assert_near(sums.standstill_time_s, 2.0 * period_s, rounding);
  sb_sim_clear(&sim);
  return sums;
}

/* One that swings by 10 N m about 10 N m is above 15 N m for a third of its period, with a mean of 10 (1 + 3 sqrt(3) / 2 pi): 0.28 s of period are
 * too short to last, but as much as 15 N m in 0.1 s and more. Between crossings and crest it counts as if it rose and fell evenly,
 * however often somebody looks. */
static void a_load_that_swings_while_it_is_held_lasts_by_its_mean(void **state)
{
  (void)state;
  const double period_s = 0.28, above_s = period_s / 3.0, mean_nm = 10.0 * (1.0 + 1.5 * sqrt(3.0) / model_pi);
  const struct sb_sums once = held_swing(10.0, 10.0, period_s, 15.0, false),
                       often = held_swing(10.0, 10.0, period_s, 15.0, true);
  assert_int_equal(once.over_lasting.count, 2);
  assert_int_equal(once.over_crests.count, 0);
  assert_near_rel(once.over_lasting.first_s, period_s / 12.0, 1e-9);
  assert_near_rel(once.over_lasting.total_s, 2.0 * above_s, 1e-9);
  assert_near_rel(once.over_lasting.greatest_nm, 20.0, 1e-12);
  assert_near_rel(once.over_lasting.impulse_nms, 2.0 * mean_nm * above_s, 0.05); /* a chord lies below the swing */
  assert_int_equal(often.over_lasting.count, 2);
  assert_near_rel(often.over_lasting.impulse_nms, once.over_lasting.impulse_nms, 1e-9);
  assert_near_rel(often.over_lasting.total_s, once.over_lasting.total_s, 1e-9);
}

/* One that swings by 11 N m both ways is beyond 10 N m at each crest alone, for acos(10 / 11) / pi of its period. */
static void a_load_that_swings_both_ways_while_it_is_held_is_beyond_its_limit_at_its_crests(void **state)
{
  (void)state;
  const double period_s = 0.3, above_s = acos(10.0 / 11.0) / model_pi * period_s;
  for (int is_looked_at = 0; is_looked_at < 2; is_looked_at++) {
    const struct sb_sums sums = held_swing(0.0, 11.0, period_s, 10.0, is_looked_at);
    assert_int_equal(sums.over_lasting.count, 0);
    assert_int_equal(sums.over_crests.count, 4);
    assert_near_rel(sums.over_crests.first_s, 0.25 * period_s - 0.5 * above_s, 1e-9);
    assert_near_rel(sums.over_crests.total_s, 4.0 * above_s, 1e-9);
    assert_near_rel(sums.over_crests.impulse_nms, 4.0 * 10.5 * above_s, 0.05); /* as above */
  }
}

/* Two weights of 24 N m, each up and gone within 30 ms: above 5 N m for 19/24 of that, with a mean of 14.5 N m, so that one alone is a crest and
 * both within a tenth of a second are as much as 5 N m that last. */
static void short_loads_within_a_tenth_of_a_second_are_judged_together(void **state)
{
  (void)state;
  static const double off_s[] = {0.0}, off[] = {SB_COMMAND_STOP};
  for (int is_apart = 0; is_apart < 2; is_apart++) {
    const double second_s = is_apart ? 1.2 : 1.05;
    const double at_s[] = {0.0, 1.0, 1.03, 1.03, second_s, second_s + 0.03, second_s + 0.03, 2.0};
    const double loads_nm[] = {0.0, 0.0, 24.0, 0.0, 0.0, 24.0, 0.0, 0.0};
    struct sb_model model = winch(0.5, 2e-4, 0.05);
    model.load.part_count = 0;
    model_add_profile(&model, SB_OVER_TIME, false, 8, at_s, loads_nm);
    model.limits.output_torque_nm = 5.0;
    model.drive.schedule = (struct sb_table){1, off_s, off};
    model.drive.period_s = model.control.sample_period_s;
    struct sb_sums sums = drive(&model, 0, NULL, 0, 1.5).sums;
    sb_energy_close_over_limit(&sums, 5.0);
    assert_int_equal(sums.over_lasting.count, is_apart ? 0 : 2);
    assert_int_equal(sums.over_crests.count, is_apart ? 2 : 0);
    const struct sb_over_limit *seen = is_apart ? &sums.over_crests : &sums.over_lasting;
    assert_near_rel(seen->total_s, 2.0 * 0.03 * 19.0 / 24.0, 1e-9);
    assert_near_rel(seen->impulse_nms, 14.5 * seen->total_s, 1e-9);
  }
}

static void compare(const struct driven *got, const struct oracle_result *want, int run)
{
  const double motor = fabs(got->sums.motor_speed_rad_s.value), output = fabs(got->sums.output_speed_rad_s.value);
  for (size_t i = 0; i < want->event_count && i < got->seen.event_count; i++) {
    const struct oracle_event *one = &got->seen.events[i], *other = &want->events[i];
    if (one->event != other->event)
      fail_msg("machine %d, event %zu: kind %d at %.9g s, want %d at %.9g s", run, i, (int)one->event, one->time_s,
               (int)other->event, other->time_s);
    assert_near(one->time_s, other->time_s, 1e-9);
    assert_near(one->motor_speed_rad_s, other->motor_speed_rad_s, 1e-8 * motor);
  }
  assert_int_equal(got->seen.event_count, want->event_count);
  assert_int_equal(got->sums.jam_count, want->jam_count);
  assert_near(got->seen.motor_speed_rad_s, want->motor_speed_rad_s, 1e-8 * motor);
  assert_near(got->seen.output_speed_rad_s, want->output_speed_rad_s, 1e-8 * output);
  assert_near(got->seen.output_angle_rad, want->output_angle_rad, 1e-8 * output);
}

/* The tables stay where they are until the next machine. */
static void random_load(gsl_rng *dice, struct sb_model *model)
{
  static double x[4], acting[4], resisting[4];
  for (int i = 0; i < 4; i++) {
    x[i] = i > 0 ? gsl_ran_flat(dice, 0.5 * i - 0.4, 0.5 * i) : 0.0;
    acting[i] = gsl_ran_flat(dice, -3.0, 1.5);
    resisting[i] = gsl_ran_flat(dice, 0.0, 0.5);
  }
  model_add_profile(model, SB_OVER_TIME, false, 4, x, acting);
  model_add_profile(model, SB_OVER_TIME, true, 4, x, resisting)->breakaway_nm = gsl_ran_flat(dice, 0.0, 0.6);
  model_add_viscous(model, gsl_ran_flat(dice, 0.0, 0.02));
  if (gsl_ran_flat(dice, 0.0, 1.0) < 0.5) model_add_quadratic(model, gsl_ran_flat(dice, 0.0, 0.002));
  if (gsl_ran_flat(dice, 0.0, 1.0) < 0.3)
    model_add_sine(model, SB_OVER_TURNS, false, 0.0, gsl_ran_flat(dice, 0.0, 0.3), gsl_ran_flat(dice, 2.0, 6.0));
  model->load.breakaway_nm = gsl_ran_flat(dice, 0.0, 1.0) < 0.5 ? gsl_ran_flat(dice, 0.0, 0.4) : 0.0;
}

static struct sb_model random_machine(gsl_rng *dice, int run)
{
  struct sb_model model = model_two_gears(run % 3 == 0 ? "swing arm" : "selector");
  if (run % 2 == 0) model_set_currents(&model, 2.6, gsl_ran_flat(dice, 0.0, 0.2), gsl_ran_flat(dice, 0.0, 1.0));
  if (run % 3 != 0 && run % 5 == 0) model_drive_forward(&model);
  model.shifter.travel_time_s = 0.001 * floor(gsl_ran_flat(dice, 10.0, 200.0));
  model.motor.rotor_inertia_kg_m2 = 1e-4 * exp(gsl_ran_flat(dice, -2.0, 1.0));
  model.load.inertia_kg_m2 = 0.004 * exp(gsl_ran_flat(dice, -2.0, 1.5));
  for (int g = 0; g < 2; g++) {
    model.gearbox.gears[g].meshes[0].efficiency = gsl_ran_flat(dice, 0.25, 0.6);
    model.gearbox.gears[g].back_efficiency =
        gsl_ran_flat(dice, 0.0, 1.0) < 0.3 ? SB_BACK_EFFICIENCY_AUTO : gsl_ran_flat(dice, -1.0, 0.1);
    model.gearbox.gears[g].drag_nm = gsl_ran_flat(dice, 0.0, 0.02);
  }
  random_load(dice, &model);
  model.run.step_s = step_s;
  model_finish(&model);
  return model;
}

static void two_hundred_random_machines_that_lock_follow_the_equations(void **state)
{
  (void)state;
  static struct oracle_result want;
  gsl_rng *dice = gsl_rng_alloc(gsl_rng_mt19937);
  gsl_rng_set(dice, 15);
  size_t jams = 0, stops = 0, starts = 0, locked = 0;
  double worst = 0.0;
  for (int run = 0; run < 200; run++) {
    const struct sb_model model = random_machine(dice, run);
    const struct oracle_command commands[] = {{0.5, !(run & 1)}, {1.1, run & 1}};
    const struct driven got = drive(&model, run & 1, commands, 2, 1.7);
    assert_int_equal(oracle_run(&model, run & 1, commands, 2, 1.7, &want), 0);
    compare(&got, &want, run);
    worst = fmax(worst, sb_energy_residual_ratio(&got.sums.energy));
    jams += (size_t)got.sums.jam_count;
    locked += model.gearbox.gears[0].back_efficiency < 0.0 || model.gearbox.gears[1].back_efficiency < 0.0;
    stops += driven_count(&got.seen, SB_EVENT_STOPPED);
    starts += driven_count(&got.seen, SB_EVENT_STARTED);
  }
  gsl_rng_free(dice);
  print_message("%zu machines lock, %zu jams, %zu stops, %zu starts; worst residual %.2g\n", locked, jams, stops,
                starts, worst);
  assert_near(worst, 0.0, 1e-10);
  assert_true(locked > 150 && jams > 50 && stops > 100 && starts > 100);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(lowering_needs_the_motor_torque_that_friction_takes_beyond_the_weight),
      cmocka_unit_test(a_motor_just_too_weak_to_lower_leaves_the_load_hanging),
      cmocka_unit_test(a_path_whose_output_is_too_heavy_jams_as_soon_as_the_output_would_drive),
      cmocka_unit_test(a_locked_path_starts_again_when_the_weight_that_holds_it_gets_lighter),
      cmocka_unit_test(a_load_that_helps_is_judged_by_what_it_takes_of_the_motor),
      cmocka_unit_test(a_load_that_a_locked_path_holds_lasts_by_what_comes_together),
      cmocka_unit_test(a_load_that_swings_while_it_is_held_lasts_by_its_mean),
      cmocka_unit_test(a_load_that_swings_both_ways_while_it_is_held_is_beyond_its_limit_at_its_crests),
      cmocka_unit_test(short_loads_within_a_tenth_of_a_second_are_judged_together),
      cmocka_unit_test(two_hundred_random_machines_that_lock_follow_the_equations),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
