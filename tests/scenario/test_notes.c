// SPDX-License-Identifier: GPL-3.0-or-later
/* What is read otherwise than it is written, and said so; and the names that people use for materials and cells. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "help/near.h"
#include "help/shell.h"
#include "shiftband/scenario.h"

static struct sb_scenario scenario; /* large, hence not on the stack */

#define CART SB_SOURCE_DIR "/scenarios/tray-cart.yaml"
#define MEASURED SB_SOURCE_DIR "/scenarios/tray-cart-measured.yaml"

static enum sb_status load(const char *path, const char *const *sets, size_t set_count, char *fault, size_t size)
{
  struct sb_faults faults;
  const enum sb_status status = sb_scenario_load(path, sets, set_count, &scenario, &faults);
  snprintf(fault, size, "%s", faults.count > 0 ? faults.texts[0] : "");
  sb_faults_clear(&faults);
  return status;
}

/* Loads with one set; wants one note with a text in it, or none for NULL. */
static void expect_note(const char *path, const char *set, const char *note)
{
  char fault[512];
  if (load(path, &set, 1, fault, sizeof fault) != SB_OK) fail_msg("%s: %s", set, fault);
  assert_int_equal(scenario.notes.count, note != NULL);
  if (note != NULL && strstr(scenario.notes.texts[0], note) == NULL) fail_msg("%s: %s", set, scenario.notes.texts[0]);
}

static void expect_fault(const char *path, const char *set, const char *want)
{
  char fault[512];
  assert_int_equal(load(path, &set, 1, fault, sizeof fault), SB_ERR_SCENARIO);
  if (strstr(fault, want) == NULL) fail_msg("%s: %s", set, fault);
}

static void a_weight_by_a_length_is_noted_once(void **state)
{
  (void)state;
  expect_note(CART, "motor.stall_torque=4 kg.cm", "--set motor.stall_torque: note: \"4 kg.cm\" is taken as kgf.cm");
  assert_near_rel(scenario.model.motor.stall_torque_nm, 0.392266, 4e-16);
  sb_scenario_clear(&scenario);
  expect_note(CART, "motor.stall_torque=4 kgf cm", NULL);
  sb_scenario_clear(&scenario);
  expect_note(CART, "load.parts=[{kind: profile, manner: resists, points: [[0 s, 1 kg.cm], [5 s, 2 kg.cm]]}]",
              "note: load.parts.1.points.1: \"1 kg.cm\" is taken as kgf.cm, and so are others like it");
  assert_near_rel(scenario.model.load.parts[0].table.y[1], 0.196133, 4e-16);
  sb_scenario_clear(&scenario);
  expect_fault(CART, "load.inertia=4 kg.cm", "another kind of quantity, nearest is \"kg.cm2\"");
}

/* A tolerance of the file does not stand in the way of a --set, of its own key or of one that it follows. */
static void a_tolerance_that_a_set_leaves_is_left_out(void **state)
{
  (void)state;
  expect_note(
      CART, "supply.open_circuit_voltage=14 V",
      "tray-cart.yaml:41:32: note: tolerances.supply.open_circuit_voltage: left out under --set: needs a range with "
      "the value itself (14 V) in it, found 10.4..12.6 V");
  assert_int_equal(scenario.tolerance_count, 0);
  sb_scenario_clear(&scenario);
  expect_note(CART, "supply.open_circuit_voltage=11 V", NULL);
  assert_int_equal(scenario.tolerance_count, 1);
  sb_scenario_clear(&scenario);
  expect_note(CART, "supply={battery: {chemistry: NiMH, cells: 10, capacity: 2 Ah}, internal_resistance: 1 ohm}",
              "left out under --set: needs a key with a value, found one without");
  sb_scenario_clear(&scenario);
  expect_note(MEASURED, "motor.no_load_speed=400 rpm", "tolerances.motor.no_load_speed: left out under --set: ");
  assert_int_equal(scenario.tolerance_count, 5); /* the others stay */
  sb_scenario_clear(&scenario);
}

/* What is wrong without any set, or is asked for by one, stays a fault. */
static void a_tolerance_that_is_asked_for_must_fit(void **state)
{
  (void)state;
  expect_fault(CART, "tolerances.supply.open_circuit_voltage=13..14 V", "needs a range with the value itself");
  expect_fault(CART, "tolerances.supply.open_circuit_volt=1 V", "needs the path of a quantity");
  static const char text[] =
      "printf 'tolerances: {motor.stal_torque: 5 %%}\\n' | cat scenarios/hunting-crawler.yaml - > $T/a.yaml; ";
  char command[512];
  snprintf(command, sizeof command, "%s $SHIFTBAND check -q --set controller.dwell='1 s' $T/a.yaml", text);
  const struct said *said = shell_run(command);
  assert_int_equal(said->code, 3);
  shell_expect(said, "needs the path of a quantity, found \"motor.stal_torque\", nearest is \"motor.stall_torque\"");
}

static void notes_go_to_standard_error_of_every_command(void **state)
{
  (void)state;
  static const char *const commands[] = {"run -q", "check -q", "emit -o $T/a.h",
                                         "tune -q --set controller.threshold_step='5 %' --samples 0 -o $T/a.txt"};
  for (size_t k = 0; k < sizeof commands / sizeof *commands; k++) {
    char command[512];
    snprintf(command, sizeof command,
             "$SHIFTBAND %s --set motor.stall_torque='4.2 kg.cm' scenarios/tray-cart.yaml 2>&1 >$T/out", commands[k]);
    const struct said *said = shell_run(command);
    shell_expect(said, "--set motor.stall_torque: note: \"4.2 kg.cm\" is taken as kgf.cm");
  }
}

/* Ranges, options and headings of logs: the same units, the same notes. */
static void other_places_of_units_are_noted_too(void **state)
{
  (void)state;
  expect_note(CART, "tolerances={motor.stall_torque: 4..5 kg.cm}",
              "note: tolerances.motor.stall_torque: \"4..5 kg.cm\" is taken as kgf.cm");
  sb_scenario_clear(&scenario);
  const struct said *said =
      shell_run("$SHIFTBAND map --vary motor.stall_torque='4..5 kg.cm' --points 2 scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "shiftband map: note: --vary motor.stall_torque: \"4..5 kg.cm\" is taken as kgf.cm\n");
  said =
      shell_run("$SHIFTBAND fit --known motor.stall_torque='4.2 kg.cm' scenarios/data/cart-spin.csv --voltage '12 V'");
  shell_expect(said, "shiftband fit: note: --known motor.stall_torque: \"4.2 kg.cm\" is taken as kgf.cm\n");
  said =
      shell_run("$SHIFTBAND run -q -o $T/a.csv scenarios/tray-cart.yaml && "
                "sed -e '1s/motor_speed_rpm/motor_speed [1\\/min]/' $T/a.csv > $T/b.csv && "
                "$SHIFTBAND inspect --json $T/a.csv > $T/a.json && $SHIFTBAND inspect --json $T/b.csv > $T/b.json && "
                "head -n 1 $T/b.csv && sed -e 's/b.csv/a.csv/' $T/b.json | cmp - $T/a.json");
  shell_expect(said, "motor_speed [1/min],");
  assert_int_equal(said->code, 0);
}

static void cells_go_by_the_names_that_people_use(void **state)
{
  (void)state;
  static const char *const names[][2] = {
      {"NiMH", "nickel metal hydride"}, {"Ni-MH", "nickel metal hydride"},     {"Li-ion", "lithium ion"},
      {"lithium-ion", "lithium ion"},   {"LiFePO4", "lithium iron phosphate"}, {"Lead Acid", "lead acid"}};
  for (size_t k = 0; k < sizeof names / sizeof *names; k++) {
    char set[160], fault[512];
    const char *const sets[] = {set, "tolerances={}"};
    snprintf(set, sizeof set, "supply={battery: {chemistry: %s, cells: 6, capacity: 2 Ah}}", names[k][0]);
    if (load(CART, sets, 2, fault, sizeof fault) != SB_OK) fail_msg("%s: %s", set, fault);
    assert_string_equal(scenario.model.battery.chemistry->name, names[k][1]);
    sb_scenario_clear(&scenario);
  }
}

static void materials_go_by_the_names_that_people_use(void **state)
{
  (void)state;
  static const struct {
    const char *name;
    double yield_pa;
  } names[] = {{"PLA", 26e6},        {"pla", 26e6},       {"PETG", 25e6},
               {"aluminium", 250e6}, {"aluminum", 250e6}, {"brass", 140e6}};
  for (size_t k = 0; k < sizeof names / sizeof *names; k++) {
    char set[160], fault[512];
    const char *const sets[] = {set};
    snprintf(set, sizeof set, "limits={shaft: {section: round, diameter: 1 mm, material: %s, safety: 1}}",
             names[k].name);
    if (load(CART, sets, 1, fault, sizeof fault) != SB_OK) fail_msg("%s: %s", set, fault);
    /* pi d^3 / 16 by 0.577 of the yield */
    assert_near_rel(scenario.model.limits.output_torque_nm, 3.14159265358979 * 1e-9 / 16.0 * 0.577 * names[k].yield_pa,
                    1e-12);
    sb_scenario_clear(&scenario);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_weight_by_a_length_is_noted_once),
      cmocka_unit_test(a_tolerance_that_a_set_leaves_is_left_out),
      cmocka_unit_test(a_tolerance_that_is_asked_for_must_fit),
      cmocka_unit_test(notes_go_to_standard_error_of_every_command),
      cmocka_unit_test(other_places_of_units_are_noted_too),
      cmocka_unit_test(cells_go_by_the_names_that_people_use),
      cmocka_unit_test(materials_go_by_the_names_that_people_use),
  };
  return cmocka_run_group_tests_name("notes", tests, shell_setup, shell_teardown);
}
