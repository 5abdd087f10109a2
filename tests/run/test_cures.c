// SPDX-License-Identifier: GPL-3.0-or-later
/* A cure that a verdict names with a value cures it: typed in as --set KEY=VALUE, the run no longer comes to that verdict. */
#include <stdio.h>
#include <string.h>

#include "help/near.h"
#include "help/shell.h"

enum { KEY_SIZE = 64, TEXT_SIZE = 1024, CURES_MAX = 8 };

/* "cure":[{"key":"...","bound":...,"value":"..."}] as it stands in a verdict; value "" where it is null. */
struct cure {
  char key[KEY_SIZE], value[KEY_SIZE];
};

/* Copies the string that follows a member's name, or nothing when it is null. */
static void take_string(const char *at, const char *name, char out[KEY_SIZE])
{
  out[0] = 0;
  at = strstr(at, name);
  assert_non_null(at);
  at += strlen(name);
  if (*at != '"') return;
  const size_t length = strcspn(++at, "\"");
  assert_true(length < KEY_SIZE);
  memcpy(out, at, length);
  out[length] = 0;
}

/* The cures of the first verdict of a kind. */
static size_t take_cures(const char *json, const char *kind, struct cure cures[CURES_MAX])
{
  char wanted[KEY_SIZE];
  size_t count = 0;
  snprintf(wanted, sizeof wanted, "{\"kind\":\"%s\"", kind);
  const char *at = strstr(json, wanted);
  if (at == NULL) fail_msg("no verdict \"%s\" in %s", kind, json);
  if (at != NULL) at = strstr(at, "\"cure\":[");
  if (at == NULL) {
    fail_msg("the verdict \"%s\" has no cures", kind);
    return 0;
  }
  const char *end = strchr(at, ']');
  for (at = strstr(at, "{\"key\":"); at != NULL && at < end; at = strstr(at + 1, "{\"key\":")) {
    assert_true(count < CURES_MAX);
    take_string(at, "\"key\":", cures[count].key);
    take_string(at, "\"value\":", cures[count++].value);
  }
  return count;
}

static const struct case_of {
  const char *kind, *arguments; /* of run, the scenario last */
  const char *keys[CURES_MAX];  /* of its cures, in order; "=" before one with a value */
} cases[] = {
    {"hunting", "scenarios/hunting-crawler.yaml", {"=controller.upshift_above", "=controller.downshift_below"}},
    {"stuck low", "scenarios/stop-and-go.yaml", {"=controller.upshift_above"}},
    {"stuck low", "scenarios/three-speed-feeder.yaml", {"=controller.upshift_above.1"}},
    {"needless downshift",
     "--set controller.start_delay='20 ms' scenarios/tray-cart.yaml",
     {"=controller.start_delay"}},
    {"needless downshift",
     "--set controller.dwell='40 ms' scenarios/hunting-crawler-fixed.yaml",
     {"=controller.dwell"}},
    {"hunting", "--set controller.dwell='40 ms' scenarios/hunting-crawler-fixed.yaml", {"=controller.dwell"}},
    {"busy shifting",
     "scenarios/shuttle-wagon.yaml",
     {"controller.downshift_below", "controller.upshift_above", "controller.dwell"}},
    {"clutch slips",
     "--set 'gearbox.shifter={kind: clutch, torque: 0.1 N.m}' scenarios/tray-cart.yaml",
     {"=gearbox.shifter.torque"}},
    {"runs back",
     "--set load.bodies.1.holding_brake='0 N.m' scenarios/braked-hoist.yaml",
     {"=load.bodies.1.holding_brake"}},
    {"overspeed",
     "--set load.bodies.1.holding_brake='0 N.m' scenarios/braked-hoist.yaml",
     {"=drive.when_off", "=limits.motor_speed"}},
    {"overspeed", "--set limits.motor_speed='100 rpm' scenarios/tray-cart.yaml", {"=limits.motor_speed"}},
    {"threshold out of reach",
     "--set controller.upshift_above='120 %' scenarios/tray-cart.yaml",
     {"=controller.upshift_above"}},
    {"stall",
     "--gear third --set gearbox.shifter.torque='1 N.m' scenarios/three-speed-feeder.yaml",
     {"=supply.open_circuit_voltage", "gearbox.gears.3.meshes"}},
    {"stall", "--gear third scenarios/three-speed-feeder.yaml", {"gearbox.gears.3.meshes"}},
    {"stall",
     "--gear slow --set 'gearbox.shifter={kind: clutch, torque: 0.1 N.m}' scenarios/tray-cart.yaml",
     {"=gearbox.shifter.torque"}},
    {"overload", "--set limits.output_torque='0.3 N.m' scenarios/tray-cart.yaml", {"=limits.output_torque"}},
    {"shift not engaged", "--set gearbox.shifter.shift_timeout='10 ms' scenarios/hump-cart.yaml", {"gearbox.shifter"}},
    {"slipping", "--set 'load.bodies.1.mass=18 kg' scenarios/crate-pusher.yaml", {"load.bodies.1.mass"}},
    {"drive cut",
     "--set supply.battery.charge='3 %' scenarios/tired-winder.yaml",
     {"supply.battery.charge", "supply.battery.capacity"}},
};

static void expect_cured(const struct case_of *of, const struct cure *cure)
{
  char command[TEXT_SIZE], wanted[KEY_SIZE];
  /* Behind the scenario: of two settings of one key the last counts. */
  snprintf(command, sizeof command, "$SHIFTBAND run --json %s --set %s='%s'", of->arguments, cure->key, cure->value);
  snprintf(wanted, sizeof wanted, "{\"kind\":\"%s\"", of->kind);
  const struct said *said = shell_run(command);
  assert_int_equal(said->code, 0);
  if (strstr(said->text, wanted) != NULL) fail_msg("%s: still %s", command, of->kind);
}

static void cures_with_values_cure(void **state)
{
  (void)state;
  for (size_t k = 0; k < sizeof cases / sizeof *cases; k++) {
    const struct case_of *of = &cases[k];
    char command[TEXT_SIZE];
    struct cure cures[CURES_MAX];
    snprintf(command, sizeof command, "$SHIFTBAND run --json %s", of->arguments);
    const size_t count = take_cures(shell_run(command)->text, of->kind, cures);
    for (size_t i = 0; i < count; i++) {
      const bool has_value = of->keys[i] != NULL && of->keys[i][0] == '=';
      assert_non_null(of->keys[i]);
      assert_string_equal(cures[i].key, of->keys[i] + has_value);
      assert_int_equal(cures[i].value[0] != 0, has_value);
      if (has_value) expect_cured(of, &cures[i]);
    }
    assert_null(of->keys[count]);
  }
}

/* The sentence names the same keys and values. */
static void the_sentence_tells_the_cure_too(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND run scenarios/hunting-crawler.yaml");
  shell_expect(said,
               "lies in the hunting band of 0.349..0.408 N.m; set controller.upshift_above to at least 78.9 %, or "
               "controller.downshift_below to at most 58.9 %.");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(cures_with_values_cure),
      cmocka_unit_test(the_sentence_tells_the_cure_too),
  };
  return cmocka_run_group_tests_name("cures", tests, shell_setup, shell_teardown);
}
