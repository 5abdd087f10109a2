// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Motion and events do not depend on the step, and repeatability to the last bit: the step is the grid of traces, samples
 * and ticks, and the motion between is exact to rounding.
 */
#include "help/driven.h"

#include <stdlib.h>
#include <string.h>

#include "sim/rest.h"
#include "sim/start.h"

/* The step --------------------------------------------------------------------------------------------------------- */

struct errors {
  double event_s; /* all event times together */
  double state;   /* end speeds and angle, each of its own greatest size */
};

static struct errors errors_of(const struct oracle_result *got, const struct oracle_result *best,
                               const struct sb_sums *scale)
{
  assert_int_equal(got->event_count, best->event_count);
  struct errors errors = {0.0, 0.0};
  for (size_t i = 0; i < best->event_count; i++) {
    assert_int_equal(got->events[i].event, best->events[i].event);
    errors.event_s = hypot(errors.event_s, got->events[i].time_s - best->events[i].time_s);
  }
  const double motor = (got->motor_speed_rad_s - best->motor_speed_rad_s) / fabs(scale->motor_speed_rad_s.value);
  const double output = (got->output_speed_rad_s - best->output_speed_rad_s) / fabs(scale->output_speed_rad_s.value);
  errors.state = hypot(hypot(motor, output), (got->output_angle_rad - best->output_angle_rad) / best->output_angle_rad);
  return errors;
}

/* Steps of 8, 4 and 2 ms against 1/8 ms; every command must have engaged, and so many stops happened. Measured 6e-14 at
 * worst. */
static void is_the_same_at_any_step(struct sb_model *model, int gear, const struct oracle_command *commands,
                                    size_t command_count, double end_s, size_t stops)
{
  const double step_s = 8e-3, rounding = 1e-12;
  model_finish(model);
  model->run.step_s = step_s / 64.0;
  const struct driven best = drive(model, gear, commands, command_count, end_s);
  assert_int_equal(driven_count(&best.seen, SB_EVENT_ENGAGED), command_count);
  assert_true(driven_count(&best.seen, SB_EVENT_STOPPED) >= stops);

  for (int k = 0; k < 3; k++) {
    model->run.step_s = step_s / (double)(1 << k);
    const struct driven got = drive(model, gear, commands, command_count, end_s);
    const struct errors errors = errors_of(&got.seen, &best.seen, &best.sums);
    print_message("step %g s: events %.1e s, state %.1e\n", model->run.step_s, errors.event_s, errors.state);
    assert_near(errors.event_s, 0.0, rounding);
    assert_near(errors.state, 0.0, rounding);
  }
}

static const double stop_s[] = {0.0, 0.4, 0.8, 1.6, 1.9}, stop_nm[] = {0.3, 0.3, 1.9, 1.9, 0.3};

static void a_swing_arm_with_two_shifts_a_ramp_and_a_standstill_is_the_same_at_any_step(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("swing arm");
  model_set_currents(&model, 2.6, 0.14, 0.2);
  model_add_viscous(&model, 0.02);
  model_add_profile(&model, SB_OVER_TIME, true, 5, stop_s, stop_nm)->breakaway_nm = 0.4;
  const struct oracle_command commands[] = {{1.28, 0}, {2.24, 1}};
  is_the_same_at_any_step(&model, 1, commands, 2, 2.56, 1);
}

static void a_selector_with_roll_back_in_neutral_is_the_same_at_any_step(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model.shifter.travel_time_s = 0.1;
  model_add_constant(&model, 0.6, false);
  model_add_constant(&model, 0.1, true)->breakaway_nm = 0.3;
  model_add_viscous(&model, 0.03);
  const struct oracle_command commands[] = {{0.56, 0}, {1.04, 1}};
  is_the_same_at_any_step(&model, 1, commands, 2, 1.36, 0);
}

static void a_slipping_clutch_is_the_same_at_any_step(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("clutch");
  model_drive_forward(&model);
  model.shifter.clutch_nm = 0.3;
  model_add_constant(&model, 0.3, true);
  model_add_quadratic(&model, 0.006);
  const struct oracle_command commands[] = {{0.56, 0}, {1.04, 1}};
  is_the_same_at_any_step(&model, 1, commands, 2, 1.36, 0);
}

static void loads_that_follow_speed_time_and_turns_are_the_same_at_any_step(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_add_viscous(&model, 0.02);
  model_add_quadratic(&model, 0.004);
  model_add_sine(&model, SB_OVER_TIME, true, 0.3, 0.2, 0.5)->phase_rad = 0.3;
  model_add_sine(&model, SB_OVER_TURNS, false, 0.0, 0.2, 3.0);
  is_the_same_at_any_step(&model, 1, NULL, 0, 1.2, 0);
}

static const double bend_rad[] = {0.0, 2.0, 5.0, 5.0, 9.0}, bend_nm[] = {0.1, 0.2, 0.9, 0.3, 0.7};

static void corners_over_turns_and_a_change_into_overrun_are_the_same_at_any_step(void **state)
{
  (void)state;
  static const double help_s[] = {0.0, 0.35, 0.9, 1.5}, help_nm[] = {0.1, 0.1, -1.6, 0.4};
  struct sb_model model = model_two_gears("selector");
  model.gearbox.gears[1].back_efficiency = 0.6;
  model_add_profile(&model, SB_OVER_TURNS, true, 5, bend_rad, bend_nm);
  model_add_profile(&model, SB_OVER_TIME, false, 4, help_s, help_nm);
  is_the_same_at_any_step(&model, 1, NULL, 0, 1.44, 0);
}

static void a_step_much_longer_than_the_time_constants_is_as_exact(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_finish(&model);
  model.run.step_s = 0.1;
  assert_true(sb_model_derive(&model).time_constant_s[1] < 0.05);
  const struct driven got = drive(&model, 0, NULL, 0, 1.0);
  assert_near(got.state.time_s, 1.0, 1e-12);
  /* From rest without load: x = w0 (1 - exp(-t / tau)). */
  const double tau_s = sb_model_derive(&model).time_constant_s[1];
  assert_near_rel(got.state.motor_speed_rad_s, model.motor.no_load_speed_rad_s * -expm1(-1.0 / tau_s), 1e-12);
}

/* Events that pile up ---------------------------------------------------------------------------------------------- */

/* A torque that jumps from a help to more than the motor can do: it bounces there ever faster, as a ball on the floor
 * does (all bounces of a ball end in finite time), and must come to rest there. */
static void a_wall_over_turns_is_met_again_and_again_until_the_machine_rests_there(void **state)
{
  (void)state;
  static const double wall_rad[] = {0.0, 5.0, 5.0, 9.0}, wall_nm[] = {0.1, 0.1, 3.0, 3.0};
  struct sb_model model = model_two_gears("selector");
  model_add_profile(&model, SB_OVER_TURNS, false, 4, wall_rad, wall_nm);
  model_finish(&model);
  const struct driven got = drive(&model, 1, NULL, 0, 20.0);
  assert_true(got.state.output_speed_rad_s == 0.0);
  assert_near(got.state.output_angle_rad, 5.0, 1e-9);
  assert_true(sb_energy_residual_ratio(&got.sums.energy) < 1e-6);
}

/* The same at the angle 0, where no rounding ends the bounces: only its slowness does. The motor is part of what holds it
 * there; the load alone would push it away. */
static void a_wall_at_the_origin_is_rested_on_once_the_machine_is_slow(void **state)
{
  (void)state;
  static const double wall_rad[] = {-9.0, 0.0, 0.0, 9.0}, wall_nm[] = {0.1, 0.1, 3.0, 3.0};
  struct sb_model model = model_two_gears("selector");
  model_add_profile(&model, SB_OVER_TURNS, false, 4, wall_rad, wall_nm);
  model.run.initial_output_speed_rad_s = -1.0;
  model_finish(&model);
  const struct driven got = drive(&model, 1, NULL, 0, 2.0);
  assert_true(got.state.output_speed_rad_s == 0.0 && got.state.motor_speed_rad_s == 0.0);
  assert_true(got.state.output_angle_rad == 0.0);
  assert_int_equal(driven_count(&got.seen, SB_EVENT_STOPPED), 1);
}

static void add_nothing(const struct sb_load_part *part, const struct sb_load_at *at, double sign,
                        struct sb_load_curve *sum)
{
  (void)part, (void)at, (void)sign, (void)sum;
}

static double same_time_s(const struct sb_load_part *part, double time_s)
{
  return fmax(time_s, part->period);
}

/* A load whose corners do not go on: the run ends with an error, and not never. */
static void corners_without_end_at_one_instant_are_an_error(void **state)
{
  (void)state;
  static const struct sb_load_ops stuck = {.name = "stuck", .add = add_nothing, .next_time_s = same_time_s};
  struct sb_model model = model_two_gears("selector");
  model_finish(&model);
  model.load.parts[model.load.part_count++] = (struct sb_load_part){.ops = &stuck, .period = 0.25};
  struct sb_error err = {SB_OK, ""};
  struct sb_sim sim;
  assert_int_equal(sb_sim_init(&sim, &model, 0, &err), SB_OK);
  assert_int_equal(sb_sim_advance(&sim, sb_model_step_count(0.2, model.run.step_s), &err), SB_OK);
  assert_int_equal(sb_sim_advance(&sim, sb_model_step_count(0.5, model.run.step_s), &err), SB_ERR_NUMERICS);
  assert_non_null(strstr(err.text, "events pile up without end at t = 0.25 s"));
  sb_sim_clear(&sim);
}

static void the_least_speed_of_a_run_up_is_that_of_its_start(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model.run.initial_output_speed_rad_s = 1.0;
  model_finish(&model);
  const struct driven got = drive(&model, 0, NULL, 0, 0.5);
  assert_near(got.sums.least_output_speed_rad_s, 1.0, 0.0);
  assert_near(got.sums.greatest_output_speed_rad_s, got.state.output_speed_rad_s, 0.0);
  assert_true(got.state.output_speed_rad_s > 1.0);
}

/* A weight that pulls the machine back all the time. */
static void the_greatest_speed_of_a_run_backward_is_that_of_its_start(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_add_constant(&model, 9.0, false);
  model.run.initial_output_speed_rad_s = -1.0;
  model_finish(&model);
  const struct driven got = drive(&model, 0, NULL, 0, 0.5);
  assert_near(got.sums.greatest_output_speed_rad_s, -1.0, 0.0);
  assert_near(got.sums.least_output_speed_rad_s, got.state.output_speed_rad_s, 0.0);
  assert_true(got.state.output_speed_rad_s < -1.0);
}

/* The load gives way for less than a step: the output starts and stops again within it. */
static void a_start_and_a_stop_within_one_step_are_both_found(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  /* 1.52 N m is what the fast gear can do; the sine dips below it for 0.4 ms around 0.25 s. */
  const double dip = 1.52 * (1.0 - 1e-9), amplitude = 0.5, period = 1.0;
  struct sb_load_part *part =
      model_add_sine(&model, SB_OVER_TIME, true, dip + amplitude * cos(model_pi * 4e-4), amplitude, period);
  part->phase_rad = model_pi; /* least at 0.25 s */
  model.load.breakaway_nm = 0.0;
  model_finish(&model);
  const struct driven got = drive(&model, 1, NULL, 0, 0.9);
  assert_int_equal(driven_count(&got.seen, SB_EVENT_STARTED), 1);
  assert_int_equal(driven_count(&got.seen, SB_EVENT_STOPPED), 1);
  const double start_s = driven_time_s(&got.seen, SB_EVENT_STARTED, 0);
  assert_near(start_s, 0.25 - 2e-4, 1e-6);
  /* Net torque -A (cos(2 pi s) - cos(2 pi s0)) about the dip is a parabola: it stops twice as far behind the dip. */
  assert_near(driven_time_s(&got.seen, SB_EVENT_STOPPED, 0), 0.25 + 4e-4, 1e-6);
}

/* 1.8 N m + 0.8 N m sin(2 pi t / P + pi / 4) falls to the 1.52 N m that the fast gear can do where the sine is -0.35, whether the
 * wave acts or resists. No sample comes before, and a parabola would fall as far later. The limit is what the tolerance of a start
 * makes of the slope there. */
static void a_wave_over_time_lets_the_resting_output_go_where_it_falls_below_the_gear(void **state)
{
  (void)state;
  for (int is_resisting = 0; is_resisting < 2; is_resisting++) {
    struct sb_model model = model_two_gears("selector");
    const double period_s = 0.5;
    model_add_constant(&model, 1.2, true);
    model_add_sine(&model, SB_OVER_TIME, is_resisting, 0.6, 0.8, period_s)->phase_rad = 0.25 * model_pi;
    model.load.breakaway_nm = 0.0;
    model.control.sample_period_s = period_s;
    model_finish(&model);
    const struct driven got = drive(&model, 1, NULL, 0, 0.4);
    const double start_s = period_s * (0.375 + asin(0.35) / (2.0 * model_pi));
    assert_near(driven_time_s(&got.seen, SB_EVENT_STARTED, 0), start_s, 1e-12);
  }
}

/* Repeatability ---------------------------------------------------------------------------------------------------- */

/* Shifts, standstill, waves, corners, overrun and a controller at work. */
static struct sb_model busy_model(const char *shifter)
{
  static const double x[] = {0.0, 0.7, 1.3, 1.9, 2.6, 4.0}, nm[] = {0.2, 0.2, 2.0, 2.0, 0.2, 0.2};
  static const double helping_s[] = {0.0, 2.8, 3.1, 3.6}, helping_nm[] = {0.0, 0.0, -1.5, 0.3};
  struct sb_model model = model_two_gears(shifter);
  model_set_currents(&model, 2.6, 0.14, 0.2);
  model_add_profile(&model, SB_OVER_TIME, true, 6, x, nm)->breakaway_nm = 0.5;
  model_add_profile(&model, SB_OVER_TIME, false, 4, helping_s, helping_nm);
  model_add_sine(&model, SB_OVER_TURNS, true, 0.1, 0.1, 2.0);
  model_add_sine(&model, SB_OVER_TIME, false, 0.0, 0.05, 0.31);
  model_add_viscous(&model, 0.01);
  model.control.start_gear = 2;
  model.control.dwell_s = 0.3;
  model.control.sensor.noise_fraction = 0.01;
  model.control.sensor.seed = 5;
  model.limits.output_torque_nm = 1.2; /* passed while moving and at rest */
  model.run.duration_s = 4.0;
  model_finish(&model);
  return model;
}

static void advancing_in_one_call_or_in_many_gives_the_same_bits(void **state)
{
  (void)state;
  static const char *const kinds[] = {"swing arm", "selector", "clutch"};
  for (size_t i = 0; i < 3; i++) {
    const struct sb_model model = busy_model(kinds[i]);
    struct sb_error err = {0};
    struct sb_sim once, often;
    assert_int_equal(sb_sim_init(&once, &model, 1, &err), SB_OK);
    assert_int_equal(sb_sim_init(&often, &model, 1, &err), SB_OK);
    for (int leg = 1; leg <= 4; leg++) {
      assert_int_equal(sb_sim_advance(&once, leg * 1000, &err), SB_OK);
      for (int step = (leg - 1) * 1000; step < leg * 1000; step += 1 + step % 3) {
        assert_int_equal(sb_sim_advance(&often, step, &err), SB_OK);
      }
      assert_int_equal(sb_sim_advance(&often, leg * 1000, &err), SB_OK);
      assert_memory_equal(&once.state, &often.state, sizeof once.state);
      sb_sim_command(&once, leg % 2);
      sb_sim_command(&often, leg % 2);
      assert_memory_equal(&once.state, &often.state, sizeof once.state);
    }
    assert_memory_equal(sb_sim_sums(&once), sb_sim_sums(&often), sizeof(struct sb_sums));
    assert_true(once.sums.standstill_time_s > 0.0 && once.sums.neutral_time_s > 0.0);
    assert_true(once.sums.over_limit_s > 0.0);
    sb_sim_clear(&once);
    sb_sim_clear(&often);
  }
}

/* With a block of samples, and anywhere with a command that follows. */
static void a_state_put_back_goes_on_to_the_same_bits(void **state)
{
  (void)state;
  const struct sb_model model = busy_model("swing arm");
  struct sb_error err = {0};
  struct sb_sim first, second;
  int command_count = 0;
  assert_int_equal(sb_sim_init(&first, &model, 1, &err), SB_OK);
  assert_int_equal(sb_sim_init(&second, &model, 0, &err), SB_OK);
  const long long block = SB_SIM_BLOCK * first.samples.of;
  for (int step = 0; step <= 4000; step += 20) {
    assert_int_equal(sb_sim_advance(&first, step, &err), SB_OK);
    if (step > 0) assert_int_equal(sb_sim_advance(&second, step, &err), SB_OK);
    const bool is_command = step % 1000 == 500;
    if (step % block != 0 && !is_command) continue;
    sb_sim_sums(&first); /* what comes together is in a state only when it was asked for */
    sb_sim_sums(&second);
    if (step > 0) assert_memory_equal(&first.state, &second.state, sizeof first.state);
    sb_sim_restore(&second, &first.state);
    if (!is_command) continue;
    sb_sim_command(&first, !first.state.gear);
    sb_sim_command(&second, !second.state.gear);
    command_count++;
  }
  assert_int_equal(command_count, 4);
  sb_sim_clear(&first);
  sb_sim_clear(&second);
}

/* Who looks at sums within a stretch and takes it back has changed no bit of what follows, nor of what comes together. */
static void a_simulation_taken_back_goes_on_as_if_nobody_had_looked(void **state)
{
  (void)state;
  const struct sb_model model = busy_model("clutch");
  struct sb_error err = {0};
  struct sb_sim quiet, asked;
  struct sb_sim_kept *kept = sb_sim_kept_new();
  assert_non_null(kept);
  assert_int_equal(sb_sim_init(&quiet, &model, 1, &err), SB_OK);
  assert_int_equal(sb_sim_init(&asked, &model, 1, &err), SB_OK);
  for (int step = 20; step <= 4000; step += 20) {
    assert_int_equal(sb_sim_advance(&quiet, step, &err), SB_OK);
    assert_int_equal(sb_sim_advance(&asked, step, &err), SB_OK);
    sb_sim_keep(&asked, kept);
    const double given_j = sb_sim_sums(&asked)->energy.given;
    assert_true(given_j > 0.0);
    sb_sim_take_back(&asked, kept);
    if (step % 1000 != 0) continue;
    sb_sim_command(&quiet, !quiet.state.gear);
    sb_sim_command(&asked, !asked.state.gear);
  }
  assert_memory_equal(sb_sim_sums(&quiet), sb_sim_sums(&asked), sizeof(struct sb_sums));
  assert_memory_equal(&quiet.state, &asked.state, sizeof quiet.state);
  free(kept);
  sb_sim_clear(&quiet);
  sb_sim_clear(&asked);
}

/* Puts a state back, forgets what came together, and moves on. */
static struct sb_sums go_on_from(struct sb_sim *sim, const struct sb_state *from, long long step)
{
  struct sb_error err = {0};
  sb_sim_restore(sim, from);
  sim->sums = sb_sim_sums_empty();
  assert_int_equal(sb_sim_advance(sim, step, &err), SB_OK);
  return *sb_sim_sums(sim);
}

/* What the simulator did before does not matter: a fresh one and one in the middle of something else go on alike. */
static void a_state_put_back_leaves_nothing_of_what_was(void **state)
{
  (void)state;
  const struct sb_model model = busy_model("selector");
  struct sb_error err = {0};
  struct sb_sim first, fresh, used;
  assert_int_equal(sb_sim_init(&first, &model, 1, &err), SB_OK);
  int rest_count = 0;
  for (int step = 100; step <= 4000; step += 100) {
    assert_int_equal(sb_sim_advance(&first, step, &err), SB_OK);
    assert_int_equal(sb_sim_init(&fresh, &model, 0, &err), SB_OK);
    assert_int_equal(sb_sim_init(&used, &model, 0, &err), SB_OK);
    assert_int_equal(sb_sim_advance(&used, 333, &err), SB_OK);
    const struct sb_sums one = go_on_from(&fresh, &first.state, step + 400);
    const struct sb_sums other = go_on_from(&used, &first.state, step + 400);
    assert_memory_equal(&fresh.state, &used.state, sizeof fresh.state);
    assert_memory_equal(&one, &other, sizeof one);
    rest_count += first.state.motor_direction == 0;
    sb_sim_clear(&fresh);
    sb_sim_clear(&used);
  }
  assert_true(rest_count > 1 && rest_count < 40);
  sb_sim_clear(&first);
}

/* All that a run leaves behind, in one comparable piece. */
struct outcome {
  struct sb_sums sums;
  struct sb_row end;
  size_t shift_count, verdict_count;
  struct sb_shift_record shifts[64];
  struct sb_verdict verdicts[64];
};

static int count_row(void *context, const struct sb_row *row)
{
  (void)row;
  ++*(size_t *)context;
  return 0;
}

static void outcome_of(const struct sb_model *model, bool has_trace, struct outcome *out, size_t *row_count)
{
  struct sb_run_options options = sb_run_options_default();
  *row_count = 0;
  if (has_trace) {
    options.on_row = count_row;
    options.context = row_count;
  }
  struct sb_error err = {0};
  struct sb_run_result result;
  assert_int_equal(sb_run(model, &options, &result, &err), SB_OK);
  memset(out, 0, sizeof *out);
  out->sums = result.sums;
  out->end = result.end;
  out->shift_count = result.monitor.shift_count;
  out->verdict_count = result.monitor.verdict_count;
  assert_true(out->shift_count <= 64 && out->verdict_count <= 64);
  if (out->shift_count > 0) memcpy(out->shifts, result.monitor.shifts, out->shift_count * sizeof out->shifts[0]);
  for (size_t i = 0; i < out->verdict_count; i++) {
    /* Field by field: bytes between fields mean nothing. */
    const struct sb_verdict *v = &result.monitor.verdicts[i];
    struct sb_verdict *own = &out->verdicts[i];
    own->kind = v->kind;
    own->cause = v->cause;
    own->gear = v->gear;
    own->first_s = v->first_s;
    own->last_s = v->last_s;
    own->count = v->count;
    own->period_s = v->period_s;
    own->duration_s = v->duration_s;
    own->least_nm = v->least_nm;
    own->greatest_nm = v->greatest_nm;
  }
  sb_run_result_clear(&result);
}

static void the_same_model_gives_the_same_bits_with_or_without_a_trace_of_any_interval(void **state)
{
  (void)state;
  static const char *const kinds[] = {"swing arm", "selector", "clutch"};
  for (size_t i = 0; i < 3; i++) {
    struct sb_model model = busy_model(kinds[i]);
    static struct outcome first, other;
    size_t row_count, more_rows;
    outcome_of(&model, false, &first, &row_count);
    assert_int_equal(row_count, 0);
    assert_true(first.shift_count >= 2);
    outcome_of(&model, false, &other, &row_count);
    assert_memory_equal(&first, &other, sizeof first);
    outcome_of(&model, true, &other, &row_count);
    assert_true(row_count > 400);
    assert_memory_equal(&first, &other, sizeof first);
    model.run.trace_interval_s = 0.003; /* not in step with the samples */
    outcome_of(&model, true, &other, &more_rows);
    assert_true(more_rows > 3 * row_count);
    assert_memory_equal(&first, &other, sizeof first);
  }
}

/* A machine that stalls under a steady load is not stepped one by one: that must not show either. */
static void a_long_standstill_gives_the_same_bits_whoever_looks_on(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_add_constant(&model, 2.5, true);
  model.control.start_gear = 2;
  model.control.start_delay_s = 1e6;
  model.limits.output_torque_nm = 1.2;
  model.run.initial_output_speed_rad_s = 3.0;
  model_finish(&model);
  static struct outcome first, other;
  size_t row_count;
  outcome_of(&model, false, &first, &row_count);
  assert_true(first.sums.standstill_time_s > 9.0);
  assert_near_rel(first.sums.over_limit_s, 10.0, 1e-9);
  model.run.trace_interval_s = 0.003;
  outcome_of(&model, true, &other, &row_count);
  assert_memory_equal(&first, &other, sizeof first);
}

/* Balance at standstill ----------------------------------------------------------------------------------------------- */

/* A weight that is just what the gear brings, to the last bit or so, stays where it is. */
static void a_machine_in_balance_but_for_roundings_does_not_start(void **state)
{
  (void)state;
  for (int k = 1; k <= 100; k++) {
    for (int g = 0; g < 2; g++) {
      struct sb_model model = model_two_gears("selector");
      const double stall_nm = 0.013 * k, ratio = 3.0 + 0.1 * k;
      model_set_line_motor(&model, 30.0, stall_nm, 4e-4);
      model.gearbox.gear_count = 0;
      model_add_gear(&model, ratio, 1.0, false);
      model_add_gear(&model, 0.3 * ratio, 1.0, false);
      model_finish(&model);
      model_add_constant(&model, model.gearbox.gears[g].ratio * stall_nm, false);
      const struct driven got = drive(&model, g, NULL, 0, 0.5);
      assert_near(got.sums.standstill_time_s, 0.5, 1e-12);
      assert_int_equal(driven_count(&got.seen, SB_EVENT_STARTED), 0);
    }
  }
}

/* At rest on a corner over turns: the load ahead counts, and how great its parts are. The fast gear brings 1.52 N m; what lies ahead
 * takes `ahead_nm` and 1 N m that falls as the cosine of 2 pi t / 2 s. */
static void expect_start(struct sb_model *model, double ahead_nm, int sense)
{
  model_add_sine(model, SB_OVER_TIME, false, 0.0, sense * 1.0, 2.0)->phase_rad = 0.5 * model_pi;
  model_finish(model);
  const struct driven got = drive(model, 1, NULL, 0, 0.6);
  const double start_s = 2.0 / (2.0 * model_pi) * acos(1.52 - ahead_nm);
  assert_near(driven_time_s(&got.seen, SB_EVENT_STARTED, 0), start_s, 1e-10);
}

static void a_machine_at_rest_on_a_corner_starts_by_the_load_ahead(void **state)
{
  (void)state;
  static const double turns[] = {-5.0, 0.0, 0.0, 5.0}, steps_nm[] = {0.1, 0.1, 1.0, 1.0},
                      pull_nm[] = {0.0, 0.0, -500.0, -500.0}, hold_nm[] = {0.0, 0.0, 501.0, 501.0};
  for (int is_resisting = 0; is_resisting < 2; is_resisting++) {
    struct sb_model model = model_two_gears("selector");
    model_add_profile(&model, SB_OVER_TURNS, is_resisting, 4, turns, steps_nm);
    expect_start(&model, 1.0, +1);
  }
  /* Two great parts that leave 1 N m between them: their roundings are far greater than those of what lies behind. */
  struct sb_model model = model_two_gears("selector");
  model_add_profile(&model, SB_OVER_TURNS, false, 4, turns, pull_nm);
  model_add_profile(&model, SB_OVER_TURNS, true, 4, turns, hold_nm);
  expect_start(&model, 1.0, +1);
}

/* Against 49 N m an output at rest starts by what is brought beyond the roundings of both, 2 times 49 N m times the tolerance; who waits
 * for the start waits for twice as much. */
static void an_output_starts_by_more_than_the_roundings_of_load_and_drive(void **state)
{
  (void)state;
  const double load_nm = 49.0;
  struct sb_model model = model_two_gears("selector");
  model_add_constant(&model, load_nm, true);
  model_finish(&model);
  struct sb_sim sim;
  struct sb_error err;
  assert_int_equal(sb_sim_init(&sim, &model, 0, &err), SB_OK);
  sb_start_take_resting(&sim);
  for (int direction = -1; direction <= 1; direction += 2) {
    for (int strictness = 1; strictness <= 2; strictness++) {
      for (int is_more = 0; is_more < 2; is_more++) {
        const double roundings = 2.0 * strictness * sb_rest_tolerance * (is_more ? 1.2 : 0.8);
        const double brought_nm = direction * load_nm * (1.0 + roundings);
        assert_true((sb_start_brought_margin(&sim, 0.0, direction, brought_nm, strictness) > 0.0) == is_more);
      }
    }
  }
  sb_sim_clear(&sim);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_swing_arm_with_two_shifts_a_ramp_and_a_standstill_is_the_same_at_any_step),
      cmocka_unit_test(a_selector_with_roll_back_in_neutral_is_the_same_at_any_step),
      cmocka_unit_test(a_slipping_clutch_is_the_same_at_any_step),
      cmocka_unit_test(loads_that_follow_speed_time_and_turns_are_the_same_at_any_step),
      cmocka_unit_test(corners_over_turns_and_a_change_into_overrun_are_the_same_at_any_step),
      cmocka_unit_test(a_step_much_longer_than_the_time_constants_is_as_exact),
      cmocka_unit_test(a_wall_over_turns_is_met_again_and_again_until_the_machine_rests_there),
      cmocka_unit_test(a_wall_at_the_origin_is_rested_on_once_the_machine_is_slow),
      cmocka_unit_test(corners_without_end_at_one_instant_are_an_error),
      cmocka_unit_test(the_least_speed_of_a_run_up_is_that_of_its_start),
      cmocka_unit_test(the_greatest_speed_of_a_run_backward_is_that_of_its_start),
      cmocka_unit_test(a_start_and_a_stop_within_one_step_are_both_found),
      cmocka_unit_test(a_wave_over_time_lets_the_resting_output_go_where_it_falls_below_the_gear),
      cmocka_unit_test(advancing_in_one_call_or_in_many_gives_the_same_bits),
      cmocka_unit_test(a_state_put_back_goes_on_to_the_same_bits),
      cmocka_unit_test(a_simulation_taken_back_goes_on_as_if_nobody_had_looked),
      cmocka_unit_test(a_state_put_back_leaves_nothing_of_what_was),
      cmocka_unit_test(a_long_standstill_gives_the_same_bits_whoever_looks_on),
      cmocka_unit_test(the_same_model_gives_the_same_bits_with_or_without_a_trace_of_any_interval),
      cmocka_unit_test(a_machine_in_balance_but_for_roundings_does_not_start),
      cmocka_unit_test(a_machine_at_rest_on_a_corner_starts_by_the_load_ahead),
      cmocka_unit_test(an_output_starts_by_more_than_the_roundings_of_load_and_drive),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
