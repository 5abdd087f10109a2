// SPDX-License-Identifier: GPL-3.0-or-later
/* The sections `choices` and `require`: what is kept of them, and what is refused with which words. */
#define _XOPEN_SOURCE 700 /* open_memstream, chdir */

#include <limits.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "help/near.h"
#include "scenario/choices.h"

#define SCENARIO SB_SOURCE_DIR "/scenarios/tray-cart.yaml"

static struct sb_scenario scenario; /* large, hence not on the stack */

static const struct sb_choices *load(const char *const *sets, size_t set_count)
{
  struct sb_faults faults;
  sb_scenario_clear(&scenario);
  if (sb_choices_load(SCENARIO, sets, set_count, &scenario, &faults) != SB_OK) {
    fail_msg("%s: %s", sets[0], faults.count > 0 ? faults.texts[0] : "no choices");
  }
  sb_faults_clear(&faults);
  assert_non_null(scenario.choices);
  return scenario.choices;
}

static void expect_option(const struct sb_choice_axis *axis, int option, const char *set, const char *words)
{
  assert_true(option < axis->option_count);
  assert_string_equal(axis->options[option].set, set);
  assert_string_equal(axis->options[option].words, words);
}

/* Quantities and wheels as they are written, sections as they are written or as they stand in a file; short: the file, the kind, or the
 * value. */
static void each_value_becomes_a_set_and_a_short_name(void **state)
{
  (void)state;
  static const char *const sets[] = {
      "choices={motor.stall_torque: [0.3 N.m, 40 N.cm, 0.5 N.m], controller.seed: [0, 4294967295], "
      "gearbox.gears.1.meshes.2.driven: [1, 10000], controller.resolution: [1 %, 3 rpm], "
      "supply: [tray-cart.yaml, {open_circuit_voltage: 9 V}], gearbox.shifter: [{kind: clutch, torque: 1 N.m}], "
      "gearbox.shifter.travel_time: [60 ms], load.parts.1.coefficient: [0.1 N.m.s/rad]}"};
  const struct sb_choices *choices = load(sets, 1);
  assert_int_equal(choices->axis_count, 8);
  assert_near(sb_choices_count(choices), 3.0 * 2.0 * 2.0 * 2.0 * 2.0, 0.0);
  assert_false(choices->shelf.is_present);
  assert_false(choices->require.is_present);
  const struct sb_choice_axis *axes = choices->axes;
  assert_string_equal(axes[0].path, "motor.stall_torque");
  assert_string_equal(axes[0].name, "stall_torque");
  assert_int_equal(axes[0].option_count, 3);
  expect_option(&axes[0], 1, "motor.stall_torque=40 N.cm", "40 N.cm");
  expect_option(&axes[1], 0, "controller.seed=0", "0");
  expect_option(&axes[1], 1, "controller.seed=4294967295", "4294967295");
  expect_option(&axes[2], 0, "gearbox.gears.1.meshes.2.driven=1", "1");
  expect_option(&axes[2], 1, "gearbox.gears.1.meshes.2.driven=10000", "10000");
  expect_option(&axes[3], 1, "controller.resolution=3 rpm", "3 rpm");
  assert_string_equal(axes[4].name, "supply");
  expect_option(&axes[4], 0, "supply={open_circuit_voltage: 12.2 V, internal_resistance: 1.2 ohm}", "tray-cart");
  expect_option(&axes[4], 1, "supply={open_circuit_voltage: 9 V}", "{open_circuit_voltage: 9 V}");
  expect_option(&axes[5], 0, "gearbox.shifter={kind: clutch, torque: 1 N.m}", "clutch");
  expect_option(&axes[6], 0, "gearbox.shifter.travel_time=60 ms", "60 ms");
  expect_option(&axes[7], 0, "load.parts.1.coefficient=0.1 N.m.s/rad", "0.1 N.m.s/rad");
}

static void a_shelf_is_kept_in_the_order_of_its_teeth(void **state)
{
  (void)state;
  static const char *const sets[] = {
      "choices={wheels: {teeth: [24, 5, 1000], module: 0.5 mm, stages: 1..5, speeds: 4, stock: {1000: 0, 5: 3}}}",
      "require={carry: [{load: 2 N.m}], output_speed: [{load: 0.5 N.m, maximum: 30 rpm}, {minimum: 30 rpm}], turns: 3, "
      "finish: 4 s}"};
  const struct sb_choices *choices = load(sets, 2);
  const struct sb_shelf *shelf = &choices->shelf;
  assert_int_equal(choices->axis_count, 0);
  assert_near(sb_choices_count(choices), 1.0, 0.0);
  assert_true(shelf->is_present);
  assert_int_equal(shelf->teeth_count, 3);
  assert_int_equal(shelf->teeth[0], 5);
  assert_int_equal(shelf->teeth[1], 24);
  assert_int_equal(shelf->teeth[2], 1000);
  assert_int_equal(shelf->stock[0], 3);
  assert_int_equal(shelf->stock[1], INT_MAX);
  assert_int_equal(shelf->stock[2], 0);
  assert_int_equal(shelf->stages[0], 1);
  assert_int_equal(shelf->stages[1], 5);
  assert_int_equal(shelf->speeds[0], 4);
  assert_int_equal(shelf->speeds[1], 4);
  assert_near(shelf->module_m, 0.5e-3, 0.0);
  assert_near(shelf->tolerance_m, 0.0, 0.0);
  assert_near(shelf->safety, 2.0, 0.0);
  assert_true(isnan(shelf->width_m));
  const struct sb_require *require = &choices->require;
  assert_true(require->is_present);
  assert_int_equal(require->speed_count, 2);
  assert_near_rel(require->speeds[0].maximum_rad_s, acos(-1.0), 1e-15); /* 30 rpm are half a turn a second */
  assert_true(isnan(require->speeds[0].minimum_rad_s));
  assert_near(require->speeds[1].load_nm, 0.0, 0.0);
  assert_near(require->carries[0].load_nm, 2.0, 0.0);
  assert_near(require->carries[0].minimum_rad_s, 0.0, 0.0);
  assert_near(require->turns, 3.0, 0.0);
  assert_near(require->finish_s, 4.0, 0.0);
  assert_true(isnan(require->charge_as) && isnan(require->length_m));

  static const char *const strong[] = {
      "choices={wheels: {teeth: [12], module: 1 mm, stages: 2..2, speeds: 1, stock: 1000000, width: 3 mm, "
      "bending_strength: 80 MPa, safety: 1}}"};
  shelf = &load(strong, 1)->shelf;
  assert_int_equal(shelf->stock[0], 1000000);
  assert_int_equal(shelf->stages[0], 2);
  assert_near(shelf->width_m, 0.003, 0.0);
  assert_near(shelf->bending_pa, 80e6, 0.0);
  static const char *const any[] = {"choices={wheels: {teeth: [12], module: 1 mm, stages: 1, speeds: 1, stock: any}}"};
  assert_int_equal(load(any, 1)->shelf.stock[0], INT_MAX);
}

/* The one table that a scenario needs: where it is, and its name beside what is written. */
struct taken {
  int count;
  char path[PATH_MAX], name[64];
};

static void take(void *context, const char *path, const char *name)
{
  struct taken *taken = context;
  taken->count++;
  snprintf(taken->path, sizeof taken->path, "%s", path);
  snprintf(taken->name, sizeof taken->name, "%s", name);
}

/* Its text, to be freed. */
static char *write_without(const char *path, struct taken *taken)
{
  static const char *const sets[] = {"choices={motor: [{a: 1}]}", "require={finish: 3 s}", "run.duration=9 s",
                                     "tolerances={motor.stall_torque: 5 %}"};
  const struct sb_table_taker taker = {take, taken};
  struct sb_faults faults;
  char *text = NULL;
  size_t size = 0;
  FILE *out = open_memstream(&text, &size);
  assert_int_equal(sb_choices_write_scenario(out, path, sets, 4, &taker, &faults), SB_OK);
  assert_int_equal(fclose(out), 0);
  sb_faults_clear(&faults);
  return text;
}

/* Whether the scenario is named from the root, from a folder above it or within its own. */
static void a_scenario_is_written_without_what_was_chosen_and_names_its_table_anew(void **state)
{
  (void)state;
  static const char *const rows[][2] = {{"/", SB_SOURCE_DIR "/scenarios/stop-and-go.yaml"},
                                        {SB_SOURCE_DIR, "scenarios/stop-and-go.yaml"},
                                        {SB_SOURCE_DIR "/scenarios", "stop-and-go.yaml"}};
  for (int k = 0; k < 3; k++) {
    struct taken taken = {.count = 0};
    assert_int_equal(chdir(rows[k][0]), 0);
    char *text = write_without(rows[k][1], &taken);
    assert_null(strstr(text, "choices"));
    assert_null(strstr(text, "require"));
    assert_non_null(strstr(text, "name: Parcel robot in stop-and-go traffic\n"));
    assert_non_null(strstr(text, "file: data-urban-stop-and-go.csv"));
    assert_non_null(strstr(text, "duration: 9 s"));
    assert_non_null(strstr(text, "motor.stall_torque: 5 %"));
    free(text);
    assert_int_equal(taken.count, 1);
    assert_string_equal(taken.path, SB_SOURCE_DIR "/scenarios/data/urban-stop-and-go.csv");
    assert_string_equal(taken.name, "data-urban-stop-and-go.csv");
  }
}

/* A section, and what follows its name. */
struct refused {
  const char *set, *words;
};

static void expect_refused(const struct refused *rows, size_t count)
{
  for (size_t k = 0; k < count; k++) {
    struct sb_faults faults;
    char want[512];
    sb_scenario_clear(&scenario);
    snprintf(want, sizeof want, "--set %.*s: %s", (int)strcspn(rows[k].set, "="), rows[k].set, rows[k].words);
    assert_int_equal(sb_choices_load(SCENARIO, &rows[k].set, 1, &scenario, &faults), SB_ERR_SCENARIO);
    assert_int_equal(faults.count, 1);
    assert_string_equal(faults.texts[0], want);
    sb_faults_clear(&faults);
  }
}

#define SEED "choices.controller.seed: needs a whole number at least 0, at most 4294967295, found "
#define WHEEL "choices.gearbox.gears.1.meshes.1.driver: needs a whole number at least 1, at most 10000, found "
#define SPEEDS "choices.controller.resolution: needs a percentage (%) or an angular speed (rpm, rad/s, deg/s, rev/s)"
#define LINES "needs 1 to 12 lines PATH: [VALUE, ...], found "
#define PATHS "needs the path of a quantity, of a section, or wheels, found "

static void what_cannot_be_chosen_is_refused(void **state)
{
  (void)state;
  static const struct refused rows[] = {
      {"choices={controller.seed: ['']}", SEED "\"\""},
      {"choices={controller.seed: [-1]}", SEED "\"-1\""},
      {"choices={controller.seed: [1.5]}", SEED "\"1.5\""},
      {"choices={controller.seed: [4294967296]}", SEED "\"4294967296\""},
      {"choices={controller.seed: [0000000000000001]}", SEED "\"0000000000000001\""},
      {"choices={gearbox.gears.1.meshes.1.driver: [0]}", WHEEL "\"0\""},
      {"choices={gearbox.gears.1.meshes.1.driver: [10001]}", WHEEL "\"10001\""},
      {"choices={controller.resolution: [101 %]}", SPEEDS " above 0 %, at most 100 %, found \"101 %\""},
      {"choices={controller.resolution: [3 A]}", SPEEDS ", found \"3 A\", which is a current"},
      {"choices={run.step: [[1]]}", "choices.run.step: needs a single value, found a list"},
      {"choices={run.step: [{a: 1}]}", "choices.run.step: needs a single value, found a section"},
      {"choices={run.step: 1 ms}", "choices.run.step: needs a list of 1 to 64 values, found something else"},
      {"choices={run.step: []}", "choices.run.step: needs a list of 1 to 64 values, found an empty one"},
      {"choices={motor: [3]}", "choices.motor: needs a section, or a file NAME.yaml that holds it, found \"3\""},
      {"choices={motor: [[1, 2]]}", "choices.motor: needs a section, or a file NAME.yaml that holds it, found a list"},
      {"choices={magnet: [tray-cart.yaml]}", PATHS "\"magnet\""},
      {"choices={drive: [hunting-crawler.yaml]}",
       "choices.drive: needs a file with a section drive, found none in " SB_SOURCE_DIR
       "/scenarios/hunting-crawler.yaml"},
      {"choices={drive: [tray-cart.yaml]}",
       "choices.drive: needs a section, or a file NAME.yaml that holds it, found \"100 %\""},
      {"choices={supply: [../tests/good/least.yaml]}",
       "choices.supply: \"../tests/good/least.yaml\": it is not in the scenario's folder or below it; --allow-outside "
       "lets it be read"},
      {"choices={}", LINES "something else"},
      {"choices=3", LINES "something else"},
      {"choices=[1]", LINES "something else"},
      {"choices={nonsense: [1]}", PATHS "\"nonsense\""},
      {"choices={controller.start_gear: [slow]}", PATHS "\"controller.start_gear\", which is none"},
      {"choices={gearbox.gears: [1 kg]}", PATHS "\"gearbox.gears\", which is none"},
      {"choices={gearbox.gears.1: [1 kg]}", PATHS "\"gearbox.gears.1\""},
      {"choices={motor.stall_torque.x: [1]}", PATHS "\"motor.stall_torque.x\""},
      {"choices={load.parts.1.driver: [3]}", PATHS "\"load.parts.1.driver\""},
  };
  expect_refused(rows, sizeof rows / sizeof rows[0]);
}

/* One more than the most, which are taken. */
static void too_many_lines_or_values_are_refused(void **state)
{
  (void)state;
  enum { SIZE = 2048 };
  static const char *const paths[] = {"motor.stall_torque",
                                      "motor.stall_current",
                                      "motor.no_load_current",
                                      "motor.no_load_speed",
                                      "motor.rotor_inertia",
                                      "motor.nominal_voltage",
                                      "controller.dwell",
                                      "controller.start_delay",
                                      "controller.sample_period",
                                      "run.duration",
                                      "run.step",
                                      "supply.open_circuit_voltage",
                                      "supply.internal_resistance"};
  static const char *const values[] = {"1 N.m", "1 A", "1 A", "1 rpm", "1 kg.m2", "1 V",  "1 s",
                                       "1 s",   "1 s", "1 s", "1 s",   "1 V",     "1 ohm"};
  for (int more = 0; more < 2; more++) {
    char lines[SIZE] = "choices={", list[SIZE] = "choices={controller.seed: [1";
    for (int k = 0; k < SB_CHOICE_AXIS_MAX + more; k++) {
      snprintf(lines + strlen(lines), SIZE - strlen(lines), "%s%s: [%s]", k > 0 ? ", " : "", paths[k], values[k]);
    }
    for (int k = 1; k < SB_CHOICE_OPTION_MAX + more; k++) strcat(list, ", 1");
    strcat(lines, "}");
    strcat(list, "]}");
    if (more > 0) {
      const struct refused rows[] = {{lines, LINES "more"},
                                     {list, "choices.controller.seed: needs a list of 1 to 64 values, found more"}};
      expect_refused(rows, 2);
    } else {
      const char *const sets[] = {lines, list};
      assert_int_equal(load(&sets[0], 1)->axis_count, SB_CHOICE_AXIS_MAX);
      assert_int_equal(load(&sets[1], 1)->axes[0].option_count, SB_CHOICE_OPTION_MAX);
    }
  }
}

#define SHELF_OF(teeth, others) "choices={wheels: {teeth: " teeth ", module: 1 mm, " others "}}"
#define TEETH(words) "choices.wheels.teeth: needs a " words
#define TOOTH TEETH("whole number at least 5, at most 1000, found ")
#define STAGES "choices.wheels.stages: needs a "
#define STOCK "choices.wheels.stock: needs "

static void a_shelf_that_is_none_is_refused(void **state)
{
  (void)state;
  static const struct refused rows[] = {
      {SHELF_OF("[]", "stages: 1, speeds: 2"), TEETH("list of 1 to 128 whole numbers, found an empty shelf")},
      {SHELF_OF("3", "stages: 1, speeds: 2"), TEETH("list of 1 to 128 whole numbers, found something else")},
      {SHELF_OF("[4]", "stages: 1, speeds: 2"), TOOTH "\"4\""},
      {SHELF_OF("[1001]", "stages: 1, speeds: 2"), TOOTH "\"1001\""},
      {SHELF_OF("['']", "stages: 1, speeds: 2"), TOOTH "\"\""},
      {SHELF_OF("[12.5]", "stages: 1, speeds: 2"), TOOTH "\"12.5\""},
      {SHELF_OF("[00000012]", "stages: 1, speeds: 2"), TOOTH "\"00000012\""},
      {SHELF_OF("[[5]]", "stages: 1, speeds: 2"), TOOTH "something else"},
      {SHELF_OF("[18, 12, 18, 12]", "stages: 1, speeds: 2"),
       "choices.wheels.teeth: needs each number of teeth once, found 12 twice; stock says how many wheels there are"},
      {SHELF_OF("[12, 18]", "stages: 2..1, speeds: 2"), STAGES "range from the least to the greatest, found \"2..1\""},
      {SHELF_OF("[12, 18]", "stages: 0..2, speeds: 2"), STAGES "whole number at least 1, at most 5, found \"0\""},
      {SHELF_OF("[12, 18]", "stages: 1..6, speeds: 2"), STAGES "whole number at least 1, at most 5, found \"6\""},
      {SHELF_OF("[12, 18]", "stages: 2.., speeds: 2"), STAGES "whole number at least 1, at most 5, found \"\""},
      {SHELF_OF("[12, 18]", "stages: [1], speeds: 2"),
       STAGES "whole number at least 1, at most 5, found something else"},
      {SHELF_OF("[12, 18]", "stages: 1, speeds: 5"),
       "choices.wheels.speeds: needs a whole number at least 1, at most 4, found \"5\""},
      {SHELF_OF("[12]", "stages: 1, speeds: 2, stock: [1]"),
       STOCK "the word any, a whole number or a section, found a list"},
      {SHELF_OF("[12]", "stages: 1, speeds: 2, stock: some"),
       STOCK "a whole number at least 0, at most 1000000, found \"some\""},
      {SHELF_OF("[12]", "stages: 1, speeds: 2, stock: 1000001"),
       STOCK "a whole number at least 0, at most 1000000, found \"1000001\""},
      {SHELF_OF("[12]", "stages: 1, speeds: 2, stock: {12: -1}"),
       STOCK "a whole number at least 0, at most 1000000, found \"-1\""},
      {SHELF_OF("[12]", "stages: 1, speeds: 2, stock: {13: 1}"), STOCK "teeth that are on the shelf, found 13"},
      {SHELF_OF("[12]", "stages: 1, speeds: 2, width: 3 mm"),
       "choices.wheels.material: needs one of material and bending_strength with width, found neither"},
      {SHELF_OF("[12]", "stages: 1, speeds: 2, width: 3 mm, material: steel, bending_strength: 100 MPa"),
       "choices.wheels.bending_strength: needs one of material and bending_strength with width, found both"},
      {SHELF_OF("[11, 18]", "stages: 1, speeds: 2, width: 3 mm, material: brass"),
       "choices.wheels.teeth: needs at least 12 teeth for the strength of a tooth, found 11"},
  };
  expect_refused(rows, sizeof rows / sizeof rows[0]);
}

#define CANNOT_BE \
  "needs a minimum that can be: output_speed.1 allows at most 60 rpm under a load that is not heavier, found "

/* A speed of 60 rpm at least and at most under one load can be; more under the same or a heavier load cannot. */
static void what_cannot_be_required_together_is_refused(void **state)
{
  (void)state;
  static const struct refused rows[] = {
      {"require={output_speed: [{load: 1 N.m}]}",
       "require.output_speed.1: needs a minimum or a maximum, found neither"},
      {"require={finish: 3 s}", "require.finish: needs turns beside it, or run.distance, found neither"},
      {"require={turns: 3}", "require.turns: needs finish beside it, the time for them"},
      {"require={output_speed: [{load: 0.5 N.m, maximum: 60 rpm}, {load: 0.5 N.m, minimum: 61 rpm}]}",
       "require.output_speed.2.minimum: " CANNOT_BE "61 rpm"},
      {"require={output_speed: [{load: 0.5 N.m, maximum: 60 rpm}], carry: [{load: 0.6 N.m, minimum: 90 rpm}]}",
       "require.carry.1.minimum: " CANNOT_BE "90 rpm"},
  };
  expect_refused(rows, sizeof rows / sizeof rows[0]);
  static const char *const can_be[] = {
      "require={output_speed: [{load: 0.5 N.m, maximum: 60 rpm}, {load: 0.5 N.m, minimum: 60 rpm}, "
      "{load: 0.4 N.m, minimum: 61 rpm}], carry: [{load: 0.5 N.m, minimum: 60 rpm}, {load: 0.4 N.m, minimum: 90 rpm}]}"};
  assert_int_equal(load(can_be, 1)->require.speed_count, 3);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(each_value_becomes_a_set_and_a_short_name),
      cmocka_unit_test(a_shelf_is_kept_in_the_order_of_its_teeth),
      cmocka_unit_test(a_scenario_is_written_without_what_was_chosen_and_names_its_table_anew),
      cmocka_unit_test(what_cannot_be_chosen_is_refused),
      cmocka_unit_test(too_many_lines_or_values_are_refused),
      cmocka_unit_test(a_shelf_that_is_none_is_refused),
      cmocka_unit_test(what_cannot_be_required_together_is_refused),
  };
  const int failed = cmocka_run_group_tests_name("shelf", tests, NULL, NULL);
  sb_scenario_clear(&scenario);
  return failed;
}
