// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The JSON Schema of scenarios, asked by a validator of somebody else (python3-jsonschema): every good scenario is accepted, and of
 * those whose first fault is a key, a type or a unit, nearly all are refused.
 */
#include <glob.h>
#include <string.h>

#include "help/near.h"
#include "help/shell.h"

#define PYTHON "P=python3; $P -c 'import jsonschema, yaml' 2> /dev/null || P=/usr/bin/python3; "
#define VALIDATE "$P tests/scenario/validate_schema.py $T/schema.json "

static bool can_validate(void)
{
  const struct said *said =
      shell_run("$SHIFTBAND keys --json > $T/schema.json; " PYTHON "$P -c 'import jsonschema, yaml; print(\"found\")'");
  return shell_find(said->text, "found") != NULL;
}

static void each_good_scenario_is_accepted(void **state)
{
  (void)state;
  if (!can_validate()) skip();
  const struct said *said = shell_run(PYTHON VALIDATE "scenarios/*.yaml tests/good/*.yaml");
  assert_int_equal(said->code, 0);
  shell_expect_not(said, "refused");
  shell_expect(said, "accepted scenarios/tray-cart.yaml");
  shell_expect(said, "accepted tests/good/everything.yaml");
}

/* Parts of the program's messages by which a fault is one of a key, a type or a unit. */
static const char *const parts[] = {
    "unknown key",  "found no such key", "bare number",     ", which is a",         "another kind of quantity",
    "unknown unit", "found a list",      "found a section", "found a single value", "decimal comma",
    "needs a kind", "true or false",     "is now called"};

static bool is_of_schema(const char *message)
{
  for (size_t k = 0; k < sizeof parts / sizeof *parts; k++) {
    if (strstr(message, parts[k]) != NULL) return true;
  }
  return false;
}

/* The first line of what the program says about a scenario. */
static void read_message(const char *path, char message[1024])
{
  char expected[1024];
  snprintf(expected, sizeof expected, "%.*s.expected", (int)(strlen(path) - strlen(".yaml")), path);
  FILE *file = fopen(expected, "r");
  message[0] = 0;
  if (file == NULL) return;
  if (fgets(message, 1024, file) == NULL) message[0] = 0;
  fclose(file);
}

static void faults_of_keys_types_and_units_are_refused(void **state)
{
  (void)state;
  if (!can_validate()) skip();
  glob_t found;
  char message[1024], line[256];
  int wanted = 0, refused = 0;
  const struct said *said = shell_run(PYTHON VALIDATE "tests/bad/*.yaml");
  assert_int_equal(glob(SB_SOURCE_DIR "/tests/bad/*.yaml", 0, NULL, &found), 0);
  for (size_t k = 0; k < found.gl_pathc; k++) {
    read_message(found.gl_pathv[k], message);
    if (!is_of_schema(message)) continue;
    snprintf(line, sizeof line, "refused tests/bad/%s", strrchr(found.gl_pathv[k], '/') + 1);
    wanted++;
    refused += strstr(said->text, line) != NULL;
    if (strstr(said->text, line) == NULL) print_message("accepted: %s", message);
  }
  globfree(&found);
  print_message("%d of %d refused\n", refused, wanted);
  assert_true(wanted >= 90);
  assert_true(refused >= 0.95 * wanted);
}

/* `make console` writes it again. */
static void the_schema_beside_the_scenarios_is_the_one_printed(void **state)
{
  (void)state;
  shell_expect(shell_run("$SHIFTBAND keys --json | cmp - scenarios/scenario.schema.json && echo same"), "same");
  const struct said *said = shell_run(
      "for f in scenarios/*.yaml; do grep -qx '# yaml-language-server: $schema=scenario.schema.json' $f || echo lacks $f;"
      " done; echo done");
  shell_expect_not(said, "lacks");
}

/* A unit that nobody offers is known by its kind. */
static void units_are_known_by_their_kind(void **state)
{
  (void)state;
  if (!can_validate()) skip();
  static const char *const good[] = {"0.42 N.m",   "420 mNm",   "4.2 kgf.cm", "60 ozf-in",
                                     "0.3 lbf*ft", "4.2 kg cm", "+1e-1 N m"};
  static const char *const bad[] = {"0.42", "0.42 N", "420 rpm", "0,42 N.m", "0.42 N.m x", "1 kg.m2", "N.m"};
  char command[512];
  for (size_t k = 0; k < 7; k++) {
    for (int is_bad = 0; is_bad < 2; is_bad++) {
      snprintf(command, sizeof command,
               PYTHON
               "sed 's/^  stall_torque: [^#]*/  stall_torque: %s /' scenarios/tray-cart.yaml > $T/one.yaml; " VALIDATE
               "$T/one.yaml",
               is_bad ? bad[k] : good[k]);
      shell_expect(shell_run(command), is_bad ? "refused" : "accepted");
    }
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(each_good_scenario_is_accepted),
      cmocka_unit_test(faults_of_keys_types_and_units_are_refused),
      cmocka_unit_test(the_schema_beside_the_scenarios_is_the_one_printed),
      cmocka_unit_test(units_are_known_by_their_kind),
  };
  return cmocka_run_group_tests_name("schema", tests, shell_setup, shell_teardown);
}
