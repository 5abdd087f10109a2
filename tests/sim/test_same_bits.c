// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The same bits on every processor: glibc chooses its exp, log, sin and their like by what the processor can do, and their
 * last bits differ. This program calculates a digest of draws and of machines in motion twice, in processes of their own,
 * once with the C library kept from fused multiplications. Where a processor has none, both are alike by nature.
 */
#include <inttypes.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "help/loaded.h"
#include "help/models.h"
#include "help/near.h"
#include "help/shell.h"
#include "shiftband/sim.h"

static const char *const scenarios[] = {
    "balanced-lift", "braked-hoist", "crate-pusher",       "dough-drum",   "grindstone", "hump-cart", "seed-drill",
    "shuttle-wagon", "stop-and-go",  "three-speed-feeder", "tired-winder", "tray-cart",  "well-winch"};

static uint64_t stirred(uint64_t digest, double value)
{
  uint64_t bits;
  memcpy(&bits, &value, sizeof bits);
  return (digest ^ bits) * 1099511628211U;
}

/* As many draws as there must be for log() to differ in some of their tails. */
static uint64_t digest_draws(void)
{
  const struct sb_sensor sensor = {.reference_rad_s = 1.0, .noise_fraction = 0.01, .seed = 1};
  struct sb_reading reading;
  struct sb_error err;
  uint64_t digest = 0;
  assert_int_equal(sb_sensor_init(&reading, &sensor, 0.02, &err), SB_OK);
  for (int n = 0; n < 2000000; n++) digest = stirred(digest, sb_sensor_draw(&reading));
  sb_sensor_clear(&reading);
  return digest;
}

static uint64_t digest_now(uint64_t digest, const struct sb_sim *sim)
{
  const struct sb_state *state = &sim->state;
  const struct sb_row row = sb_sim_row(sim);
  const double values[] = {state->time_s,           state->motor_speed_rad_s, state->output_speed_rad_s,
                           state->output_angle_rad, state->far.speed_rad_s,   state->twist.twist_rad,
                           state->feed.voltage_v,   state->feed.drawn_as,     state->feed.warmth.winding_c,
                           state->feed.drive.duty,  row.external_torque_nm,   row.output_torque_nm,
                           row.next_load_nm};
  for (size_t i = 0; i < sizeof values / sizeof *values; i++) digest = stirred(digest, values[i]);
  return digest;
}

/* 200 s of a machine, a shift each 0.7 s. */
static uint64_t digest_motion(const struct sb_model *model)
{
  struct sb_sim sim;
  struct sb_error err;
  uint64_t digest = 0;
  assert_int_equal(sb_sim_init(&sim, model, 0, &err), SB_OK);
  for (int i = 1; i <= 10000; i++) {
    if (sb_sim_advance(&sim, sb_model_step_count(0.02 * i, model->run.step_s), &err) != SB_OK) fail_msg("%s", err.text);
    digest = digest_now(digest, &sim);
    if (i % 35 == 0) sb_sim_command(&sim, i / 35 % model->gearbox.gear_count);
  }
  sb_sim_clear(&sim);
  return digest;
}

/* Sines and warmings whose last bits nothing hides. */
static struct sb_model bare_model(void)
{
  struct sb_model model = model_two_gears("selector");
  model_set_currents(&model, 2.6, 0.14, 0.5);
  model_add_sine(&model, SB_OVER_TIME, false, 0.0, 1.0, 0.73);
  model_add_sine(&model, SB_OVER_TURNS, true, 0.3, 0.2, 1.7)->breakaway_nm = 0.25;
  model_set_winding(&model, 0.01, 2.0);
  model_add_housing(&model, 0.1, 3.0);
  model.drive.period_s = 0.02;
  model_finish(&model);
  return model;
}

static int write_digests(void)
{
  printf("draws %016" PRIx64 "\n", digest_draws());
  const struct sb_model bare = bare_model();
  printf("bare %016" PRIx64 "\n", digest_motion(&bare));
  for (size_t i = 0; i < sizeof scenarios / sizeof *scenarios; i++) {
    loaded_take_shipped(scenarios[i]);
    printf("%s %016" PRIx64 "\n", scenarios[i], digest_motion(&loaded_scenario.model));
    sb_scenario_clear(&loaded_scenario);
  }
  return 0;
}

static void draws_and_motion_are_the_same_without_fused_multiplication(void **state)
{
  (void)state;
  char self[512] = {0}, command[2048];
  assert_true(readlink("/proc/self/exe", self, sizeof self - 1) > 0);
  snprintf(
      command, sizeof command,
      "'%s' digests > $T/with && GLIBC_TUNABLES=glibc.cpu.hwcaps=-FMA,-AVX2,-AVX2_Usable '%s' digests > $T/without "
      "&& test $(wc -l < $T/with) = %zu && diff $T/with $T/without",
      self, self, 2 + sizeof scenarios / sizeof *scenarios);
  const struct said *said = shell_run(command);
  if (said->code != 0) fail_msg("%s", said->text);
}

int main(int argc, char **argv)
{
  if (argc == 2 && strcmp(argv[1], "digests") == 0) return write_digests();
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(draws_and_motion_are_the_same_without_fused_multiplication),
  };
  return cmocka_run_group_tests(tests, shell_setup, shell_teardown);
}
