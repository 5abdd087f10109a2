// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * What check says of a sensor of pulses: the closed forms of its section, and that they are neither too bold nor for nothing, held
 * against runs with many phases.
 */
#define _XOPEN_SOURCE 700 /* open_memstream */

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "help/near.h"
#include "shiftband/check.h"
#include "shiftband/run.h"
#include "text/words.h"

static const char cart[] =
    "name: Cart\n"
    "motor: {nominal_voltage: 12 V, no_load_speed: 310 rpm, stall_torque: 0.42 N.m, rotor_inertia: 2.1e-4 kg.m2}\n"
    "gearbox:\n"
    "  mesh_efficiency: 0.96\n"
    "  shifter: {kind: swing arm, swing_turns: 0.4}\n"
    "  gears:\n"
    "    - {name: slow, meshes: [15/30, 18/36, 20/40], motor_direction: reverse}\n"
    "    - {name: fast, meshes: [15/30, 18/36]}\n"
    "load: {inertia: 0.02 kg.m2, parts: [{kind: constant, manner: resists, torque: 0.15 N.m}]}\n"
    "controller: {start_gear: fast, sample_period: 10 ms, start_delay: 600 ms, dwell: 1 s, downshift_below: 50 %,\n"
    "             upshift_above: 78 %, sensor: {pulses: 24, window: 50 ms}}\n"
    "run: {duration: 8 s, step: 1 ms}\n";

static struct sb_scenario scenario;
static struct sb_check *check;

#define CHECK(...) check_with((const char *const[]){__VA_ARGS__, NULL})

static const struct sb_check *check_with(const char *const *sets)
{
  size_t count = 0;
  while (sets[count] != NULL) count++;
  struct sb_faults faults;
  struct sb_error err = {SB_OK, ""};
  sb_scenario_clear(&scenario);
  if (sb_scenario_parse("cart", cart, strlen(cart), sets, count, &scenario, &faults) != SB_OK) {
    fail_msg("%s", faults.count > 0 ? faults.texts[0] : "no scenario");
  }
  assert_int_equal(sb_check_solve(&scenario, check, &err), SB_OK);
  return check;
}

static bool is_found(const char *kind)
{
  for (int k = 0; k < check->findings.count; k++) {
    if (strcmp(check->findings.items[k].kind, kind) == 0) return true;
  }
  return false;
}

/* In how many of 40 phases the scenario's run shifts at all. */
static int phases_that_shift(void)
{
  enum { PHASES = 40 };
  int shifting = 0;
  for (int i = 0; i < PHASES; i++) {
    struct sb_model model = scenario.model;
    model.control.sensor.pulses.phase = (i + 0.5) / PHASES;
    const struct sb_run_options options = sb_run_options_default();
    struct sb_run_result result;
    assert_int_equal(sb_run(&model, &options, &result, NULL), SB_OK);
    shifting += result.monitor.shift_count > 0;
    sb_run_result_clear(&result);
  }
  return shifting;
}

static void a_window_has_its_closed_forms(void **state)
{
  (void)state;
  const struct sb_check_sensor *sensor = &CHECK("run.duration=8 s")->sensor;
  assert_true(sensor->is_present);
  assert_near_rel(sensor->count_rad_s / (6.283185307179586 / 60.0), 60.0 / (24.0 * 0.05), 1e-14);
  assert_near_rel(sensor->count_fraction, 50.0 / 310.0, 1e-14);
  assert_near(sensor->lag_s, 0.025, 1e-15);
  assert_near(sensor->pairs[0].stall_seen_s, 0.05, 1e-15);
  assert_near(sensor->pairs[0].dwell_s, check->cases[0].pairs[0].needed_dwell_s + 0.05, 1e-12);
  assert_false(is_found("sensor too coarse"));
  assert_false(is_found("dwell too short"));
}

/* Whether the text for people holds the words, as on a line without an end. */
static bool is_said(const char *words)
{
  char *text = NULL;
  size_t size = 0;
  FILE *out = open_memstream(&text, &size);
  sb_text_set_width(SB_TEXT_WIDTH_MOST);
  assert_int_equal(sb_check_write_text(check, out), 0);
  sb_text_set_width(SB_TEXT_WIDTH_DEFAULT);
  fclose(out);
  const bool has_words = strstr(text, words) != NULL;
  free(text);
  return has_words;
}

static void the_text_has_a_dwell_for_each_pair_of_gears(void **state)
{
  (void)state;
  char words[160];
  CHECK("run.duration=8 s");
  snprintf(words, sizeof words, "Between slow and fast it is fit for a dwell from %s s on.",
           sb_words_figure(check->sensor.pairs[0].dwell_s).text);
  assert_true(is_said(words));
  assert_true(is_said("is seen below the downshift threshold after 0.05 s at most."));
  CHECK("controller={start_gear: fast, dwell: 1 s, downshift_below: 50 %, upshift_above: 78 %}");
  assert_false(is_said("it is fit for a dwell"));
}

static void times_between_pulses_have_theirs(void **state)
{
  (void)state;
  const struct sb_check_sensor *sensor = &CHECK("controller.sensor={pulses: 24, between: pulses}")->sensor;
  assert_true(isnan(sensor->window_s) && isnan(sensor->count_fraction));
  assert_near_rel(sensor->lag_s, 0.5 * 60.0 / (24.0 * 310.0), 1e-12);
  assert_near_rel(sensor->pairs[0].stall_seen_s, 60.0 / (24.0 * 155.0), 1e-12); /* 50 % of 310 rpm */
  assert_near_rel(sensor->pairs[0].dwell_s, check->cases[0].pairs[0].needed_dwell_s + 120.0 / (24.0 * 155.0), 1e-12);
}

static void without_pulses_there_is_no_sensor(void **state)
{
  (void)state;
  assert_false(CHECK("controller={start_gear: fast, dwell: 1 s, downshift_below: 50 %, upshift_above: 78 %}")
                   ->sensor.is_present);
}

/* The fast gear reads 90.3 %, 5.6 pulses: a threshold of 6 counts shifts down at nearly every phase, one of 5 at none. */
static void a_count_that_falls_below_the_threshold_is_found_and_happens(void **state)
{
  (void)state;
  CHECK("controller.downshift_below=85 %", "controller.upshift_above=95 %");
  assert_true(is_found("sensor too coarse"));
  assert_true(phases_that_shift() > 30);
  CHECK("controller.downshift_below=80 %", "controller.upshift_above=95 %");
  assert_false(is_found("sensor too coarse"));
  assert_int_equal(phases_that_shift(), 0);
}

/* The slow gear reads 95 %, 5.89 and 1.96 pulses: sooner or later it counts more than 5, or 1, whatever the phase. */
static void a_speed_above_the_upshift_threshold_shifts_up_at_every_phase(void **state)
{
  (void)state;
  static const char *const sensors[] = {"controller.sensor={pulses: 24, window: 50 ms}",
                                        "controller.sensor={pulses: 8, window: 50 ms}"};
  for (int k = 0; k < 2; k++) {
    CHECK("controller.start_gear=slow", "controller.upshift_above=94 %", "controller.downshift_below=40 %", sensors[k]);
    assert_int_equal(check->findings.count, 0);
    assert_int_equal(phases_that_shift(), 40);
  }
}

/* With the start delay that check names no phase shifts down; with half of it some do, and check says so. */
static void the_start_delay_that_is_named_is_long_enough(void **state)
{
  (void)state;
  static const char sensor[] = "controller.sensor={pulses: 24, window: 200 ms}";
  const double named_s = CHECK(sensor)->sensor.pairs[0].start_delay_s;
  char delay[64];
  snprintf(delay, sizeof delay, "controller.start_delay=%.3f s", named_s);
  CHECK(sensor, delay);
  assert_false(is_found("start delay too short"));
  assert_int_equal(phases_that_shift(), 0);
  snprintf(delay, sizeof delay, "controller.start_delay=%.3f s", 0.5 * named_s);
  CHECK(sensor, delay);
  assert_true(is_found("start delay too short"));
  assert_true(phases_that_shift() > 0);
}

static int begin(void **state)
{
  (void)state;
  check = malloc(sizeof *check);
  return check == NULL;
}

static int end(void **state)
{
  (void)state;
  sb_scenario_clear(&scenario);
  free(check);
  return 0;
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_window_has_its_closed_forms),
      cmocka_unit_test(the_text_has_a_dwell_for_each_pair_of_gears),
      cmocka_unit_test(times_between_pulses_have_theirs),
      cmocka_unit_test(without_pulses_there_is_no_sensor),
      cmocka_unit_test(a_count_that_falls_below_the_threshold_is_found_and_happens),
      cmocka_unit_test(a_speed_above_the_upshift_threshold_shifts_up_at_every_phase),
      cmocka_unit_test(the_start_delay_that_is_named_is_long_enough),
  };
  return cmocka_run_group_tests_name("check_sensor", tests, begin, end);
}
