// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Seeded random machines that mix everything: energies close, the same run gives the same bits, and a state put back
 * goes on as if nothing had happened.
 */
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "help/mix.h"
#include "help/models.h"
#include "help/near.h"
#include "help/slow.h"
#include "shiftband/run.h"

enum { CASE_COUNT = IS_SLOW ? 200 : 400 };

static void take_case(unsigned long seed, struct mix_case *it)
{
  mix_seeded_case(seed, it);
  snprintf(it->plane.model.name, sizeof it->plane.model.name, "case %lu", seed);
}

static void run(const struct sb_model *model, struct sb_run_result *result)
{
  struct sb_error err = {SB_OK, ""};
  const struct sb_run_options options = sb_run_options_default();
  if (sb_run(model, &options, result, &err) != SB_OK) fail_msg("%s: %s", model->name, err.text);
}

/* The residual that the project promises: 1e-10 of the energy moved. */
static void four_hundred_machines_of_everything_balance_their_energies(void **state)
{
  (void)state;
  static struct mix_case it;
  double worst = 0.0;
  unsigned long worst_seed = 0;
  long slips = 0, impacts = 0, cuts = 0, finishes = 0, shifts = 0, shafts = 0, brakes = 0, locks = 0, jams = 0,
       wheels = 0, magnets = 0;
  for (unsigned long seed = 1; seed <= CASE_COUNT; seed++) {
    if (!mix_is_wanted(seed)) continue;
    take_case(seed, &it);
    const struct sb_model *model = &it.plane.model;
    struct sb_run_result result;
    run(model, &result);
    const double residual = sb_energy_residual_ratio(&result.sums.energy);
    if (!(residual <= 1e-10)) print_error("%s: residual %.3g\n", model->name, residual);
    if (!(residual <= worst)) {
      worst = residual;
      worst_seed = seed;
    }
    slips += result.sums.slip_s > 0.0;
    impacts += result.sums.impact_count;
    cuts += result.sums.cut_count;
    finishes += result.step_count < sb_model_step_count(model->run.duration_s, model->run.step_s);
    shifts += (long)result.monitor.shift_count;
    shafts += model->driveshaft.is_present;
    brakes += model->load.brake_nm > 0.0;
    locks += model->gearbox.gears[0].back_efficiency <= 0.0;
    jams += result.sums.jam_count;
    magnets += model->magnet.is_present && result.sums.winding_c.value > model->winding.start_c + 10.0;
    wheels += model->driveshaft.is_present && model->gearbox.output_wheels_kg_m2 > 0.0;
    sb_run_result_clear(&result);
  }
  print_message(
      "worst residual %.2e (case %lu); %ld machines slipped, %ld bodies met, %ld cuts, %ld ways ended, %ld "
      "shifts, %ld shafts (%ld with wheels), %ld brakes, %ld self-locking gears, %ld jams, %ld warm magnets\n",
      worst, worst_seed, slips, impacts, cuts, finishes, shifts, shafts, wheels, brakes, locks, jams, magnets);
  assert_near(worst, 0.0, 1e-10);
  if (getenv("SHIFTBAND_TEST_CASE") != NULL) return;
  assert_true(slips > 30 && impacts > 60 && cuts > 10 && finishes > (IS_SLOW ? 2 : 5));
  assert_true(shifts > 200 && shafts > 30 && brakes > 15 && locks > 5 && wheels > 10 && magnets > 10);
  assert_true(jams > (IS_SLOW ? 1 : 15)); /* most are one machine's */
}

static bool is_same_figure(double one, double other)
{
  return one == other || (isnan(one) && isnan(other));
}

static void assert_same_bits(const struct sb_model *model, const double *one, const double *other, size_t count)
{
  for (size_t i = 0; i < count; i++) {
    if (!is_same_figure(one[i], other[i]))
      fail_msg("%s: figure %zu: %.17g and %.17g", model->name, i, one[i], other[i]);
  }
}

static void the_same_machine_run_twice_gives_the_same_bits(void **state)
{
  (void)state;
  static struct mix_case it;
  for (unsigned long seed = 1; seed <= CASE_COUNT; seed += 4) {
    if (!mix_is_wanted(seed)) continue;
    take_case(seed, &it);
    struct sb_run_result one, other;
    run(&it.plane.model, &one);
    run(&it.plane.model, &other);
    assert_same_bits(&it.plane.model, &one.sums.energy.given, &other.sums.energy.given,
                     sizeof one.sums.energy / sizeof(double));
    const double ones[] = {one.end.motor_speed_rad_s,
                           one.end.output_speed_rad_s,
                           one.end.output_turns,
                           one.end.vehicle_angle_rad,
                           one.end.twist_rad,
                           one.end.winding_c,
                           one.end.charge_fraction,
                           one.sums.slip_s,
                           one.sums.output_torque_nm.value,
                           one.sums.impact_greatest_nms};
    const double others[] = {other.end.motor_speed_rad_s,
                             other.end.output_speed_rad_s,
                             other.end.output_turns,
                             other.end.vehicle_angle_rad,
                             other.end.twist_rad,
                             other.end.winding_c,
                             other.end.charge_fraction,
                             other.sums.slip_s,
                             other.sums.output_torque_nm.value,
                             other.sums.impact_greatest_nms};
    assert_same_bits(&it.plane.model, ones, others, sizeof ones / sizeof *ones);
    assert_int_equal(one.monitor.shift_count, other.monitor.shift_count);
    sb_run_result_clear(&one);
    sb_run_result_clear(&other);
  }
}

/* Restoring --------------------------------------------------------------------------------------------------------- */

/* All that a state holds, as numbers. */
enum { STATE_FIGURES = 41 };

static size_t figures_of(const struct sb_state *s, double f[STATE_FIGURES])
{
  const double all[] = {(double)s->step,
                        s->time_s,
                        s->load_time_s,
                        s->load_angle_rad,
                        s->motor_speed_rad_s,
                        s->output_speed_rad_s,
                        s->output_angle_rad,
                        s->turned_rad,
                        s->plan.engage_time_s,
                        s->plan.engage_turn_rad,
                        s->plan.clutch_nm,
                        s->plan.is_drive_cut,
                        s->gear,
                        (double)s->link,
                        s->motor_direction,
                        s->output_direction,
                        s->slip_direction,
                        s->is_driving,
                        s->is_turned,
                        s->far.speed_rad_s,
                        s->far.angle_rad,
                        s->far.load_angle_rad,
                        s->far.left_rad,
                        s->far.met_count,
                        s->far.direction,
                        s->far.is_slipping,
                        s->far.slip_direction,
                        s->far.is_finished,
                        s->twist.twist_rad,
                        s->twist.side,
                        s->feed.drive.duty,
                        s->feed.drive.integral_rad,
                        s->feed.drive.command,
                        s->feed.warmth.winding_c,
                        s->feed.warmth.housing_c,
                        s->feed.resistance_ohm,
                        s->feed.voltage_v,
                        s->feed.magnet_ratio,
                        (double)s->feed.ready_step,
                        s->feed.is_cut_out,
                        s->feed.is_empty};
  _Static_assert(sizeof all / sizeof *all == STATE_FIGURES, "every figure has its place");
  memcpy(f, all, sizeof all);
  return STATE_FIGURES;
}

static void assert_same_state(const struct sb_model *model, const struct sb_state *one, const struct sb_state *other)
{
  double ones[STATE_FIGURES], others[STATE_FIGURES];
  const size_t count = figures_of(one, ones);
  figures_of(other, others);
  assert_same_bits(model, ones, others, count);
}

static void start(struct sb_sim *sim, const struct sb_model *model)
{
  struct sb_error err = {SB_OK, ""};
  if (sb_sim_init(sim, model, model->control.start_gear - 1, &err) != SB_OK) fail_msg("%s", err.text);
}

static void advance(struct sb_sim *sim, long long step)
{
  struct sb_error err = {SB_OK, ""};
  if (sb_sim_advance(sim, step, &err) != SB_OK) fail_msg("%s: %s", sim->model->name, err.text);
}

/* Shifts to and fro at fixed steps, whether it makes sense or not; as a controller, only in mesh. */
static void command_at(struct sb_sim *sim, long long step, long long every)
{
  if (step % every != 0 || !sb_sim_is_deciding(sim)) return;
  const int count = sim->model->gearbox.gear_count;
  sb_sim_command(sim, (int)(step / every) % count);
}

/*
 * Two simulations of one machine: one goes on, its state is handed over to the other with each block of samples after that one was
 * spoilt by another state. What charge and loss have run up since the last tick travels in the state with a different
 * rounding (the integrals of a segment restart at a hand-over), so hand-overs stand at samples, which are ticks.
 */
static void hand_over(unsigned long seed)
{
  static struct mix_case it;
  if (!mix_is_wanted(seed)) return;
  take_case(seed, &it);
  const struct sb_model *model = &it.plane.model;
  const long long last = sb_model_step_count(model->run.duration_s, model->run.step_s);
  const long long every = sb_model_step_count(model->control.sample_period_s, model->run.step_s);
  struct sb_sim straight, handed;
  start(&straight, model);
  start(&handed, model);
  const struct sb_state first = handed.state;
  for (long long step = every; step <= last; step += every) {
    advance(&straight, step);
    advance(&handed, step);
    assert_same_state(model, &straight.state, &handed.state);
    command_at(&straight, step, 11 * every);
    command_at(&handed, step, 11 * every);
    if (step / every % SB_SIM_BLOCK == 0 && sb_sim_is_engaged(&handed) && !handed.state.far.is_finished) {
      const struct sb_state kept = handed.state;
      sb_sim_sums(&handed);
      sb_sim_restore(&handed, &first);
      sb_sim_restore(&handed, &kept);
    }
  }
  sb_sim_clear(&straight);
  sb_sim_clear(&handed);
}

static void a_state_put_back_with_any_block_goes_on_with_the_same_bits(void **state)
{
  (void)state;
  for (unsigned long seed = 1; seed <= CASE_COUNT; seed += 4) hand_over(seed);
  hand_over(609); /* a tolerance at the shaft that followed the state */
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(four_hundred_machines_of_everything_balance_their_energies),
      cmocka_unit_test(the_same_machine_run_twice_gives_the_same_bits),
      cmocka_unit_test(a_state_put_back_with_any_block_goes_on_with_the_same_bits),
  };
  return cmocka_run_group_tests_name("mix", tests, plane_quiet_gsl, NULL);
}
