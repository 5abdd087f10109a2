// SPDX-License-Identifier: GPL-3.0-or-later
/* Every name that once was another one is refused with the one that it has now, wherever it is written. */
#include <stdio.h>
#include <string.h>

#include "help/near.h"
#include "help/shell.h"
#include "scenario/old_names.h"
#include "shiftband/scenario.h"
#include "study/axis.h"

enum { PATH_SIZE = 128 };

/* What command lines once said, and say now. */
static const struct {
  const char *was, *now;
} options[] = {{"down", "downshift"}, {"up", "upshift"}},
  verdicts[] = {{"downshift-for-nothing", "needless-downshift"}, {"parting", "deviation"}};

static struct sb_scenario scenario; /* large, hence not on the stack */

/* A pattern with a number for each "*". */
static void write_path(const char *pattern, char path[PATH_SIZE])
{
  snprintf(path, PATH_SIZE, "%s", pattern);
  for (char *star = path; (star = strchr(star, '*')) != NULL;) *star = '2';
}

static void assert_refused(const char *set, const char *want)
{
  struct sb_faults faults;
  const enum sb_status status = sb_scenario_load(SB_SOURCE_DIR "/tests/good/way.yaml", &set, 1, &scenario, &faults);
  assert_int_equal(status, SB_ERR_SCENARIO);
  bool is_found = false;
  for (size_t i = 0; i < faults.count; i++) is_found |= strcmp(faults.texts[i], want) == 0;
  if (!is_found) fail_msg("--set %s: \"%s\" is not among the faults, the first is \"%s\"", set, want, faults.texts[0]);
  sb_faults_clear(&faults);
}

static void a_set_by_an_old_key_names_the_new_path(void **state)
{
  (void)state;
  for (const struct sb_old_key *key = sb_old_keys; key->path != NULL; key++) {
    char path[PATH_SIZE], set[PATH_SIZE + 8], want[2 * PATH_SIZE + 64];
    write_path(key->path, path);
    snprintf(set, sizeof set, "%s=1 x", path);
    const int section = (int)(strrchr(path, '.') - path);
    snprintf(want, sizeof want, "--set %s: is now called %.*s.%s", path, section, path, key->now);
    assert_refused(set, want);
  }
}

static void a_set_to_an_old_value_names_the_new_one(void **state)
{
  (void)state;
  for (const struct sb_old_value *value = sb_old_values; value->path != NULL; value++) {
    char path[PATH_SIZE], set[2 * PATH_SIZE], want[2 * PATH_SIZE + 64];
    write_path(value->path, path);
    snprintf(set, sizeof set, "%s=%s", path, value->was);
    snprintf(want, sizeof want, "--set %s: \"%s\" is now called %s", path, value->was, value->now);
    assert_refused(set, want);
  }
}

/* tests/bad/old-names.yaml is held to its lines by test_bad.c; here: no row of the tables is left out of it. */
static void the_broken_file_of_old_names_has_all_of_them(void **state)
{
  (void)state;
  const char *lines = shell_run("cat tests/bad/old-names.expected")->text;
  char want[PATH_SIZE];
  for (const struct sb_old_key *key = sb_old_keys; key->path != NULL; key++) {
    snprintf(want, sizeof want, "%s: is now called %s\n", strrchr(key->path, '.'), key->now);
    if (strstr(lines, want) == NULL) fail_msg("%s is not in tests/bad/old-names.expected", key->path);
  }
  for (const struct sb_old_value *value = sb_old_values; value->path != NULL; value++) {
    snprintf(want, sizeof want, ": \"%s\" is now called %s\n", value->was, value->now);
    if (strstr(lines, want) == NULL) fail_msg("%s is not in tests/bad/old-names.expected", value->was);
  }
}

static void an_axis_by_an_old_key_names_the_new_one(void **state)
{
  (void)state;
  struct sb_faults faults;
  assert_int_equal(sb_scenario_load(SB_SOURCE_DIR "/tests/good/way.yaml", NULL, 0, &scenario, &faults), SB_OK);
  for (const struct sb_old_key *key = sb_old_keys; key->path != NULL; key++) {
    char path[PATH_SIZE], text[PATH_SIZE + 8], want[2 * PATH_SIZE];
    struct sb_axis axis;
    struct sb_error err;
    write_path(key->path, path);
    snprintf(text, sizeof text, "%s=1..2", path);
    const int section = (int)(strrchr(path, '.') - path);
    snprintf(want, sizeof want, "%s is now called %.*s.%s", path, section, path, key->now);
    assert_int_equal(sb_axis_parse(text, &scenario, 3, &axis, &err), SB_ERR_USAGE);
    assert_string_equal(err.text, want);
  }
  sb_scenario_clear(&scenario);
}

static void an_axis_by_an_old_name_alone_names_the_new_one(void **state)
{
  (void)state;
  struct sb_faults faults;
  struct sb_axis axis;
  struct sb_error err;
  assert_int_equal(sb_scenario_load(SB_SOURCE_DIR "/tests/good/interface.yaml", NULL, 0, &scenario, &faults), SB_OK);
  assert_int_equal(sb_axis_parse("down=40..60 %", &scenario, 3, &axis, &err), SB_ERR_USAGE);
  assert_string_equal(err.text, "down is now called downshift_below");
  sb_scenario_clear(&scenario);
}

static void an_old_option_names_the_new_one(void **state)
{
  (void)state;
  for (size_t k = 0; k < sizeof options / sizeof *options; k++) {
    char command[256], want[256];
    snprintf(command, sizeof command, "$SHIFTBAND map --%s 40..60 scenarios/tray-cart.yaml", options[k].was);
    snprintf(want, sizeof want, "shiftband map: --%s is now called --%s\n", options[k].was, options[k].now);
    const struct said *said = shell_run(command);
    assert_int_equal(said->code, 2);
    assert_ptr_equal(strstr(said->text, want), said->text);
    snprintf(command, sizeof command, "tools/plot/plot-trace none.csv -o none.png --%s 40", options[k].was);
    snprintf(want, sizeof want, "plot-trace: --%s is now called --%s\n", options[k].was, options[k].now);
    said = shell_run(command);
    assert_int_equal(said->code, 2);
    assert_string_equal(said->text, want);
  }
  const struct said *said = shell_run("tools/data/cycle-to-load --mass 1 --rolling 0.1 tests/data/uddscol.txt");
  assert_int_equal(said->code, 2);
  assert_string_equal(said->text, "cycle-to-load: --rolling is now called --rolling-resistance\n");
}

/* A command that never had the option does not speak of it. */
static void an_old_option_of_another_command_is_unknown(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND run --down 40 scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 2);
  assert_non_null(strstr(said->text, "shiftband run: no option --down"));
}

static void an_old_verdict_names_the_new_one(void **state)
{
  (void)state;
  static const char *const commands[] = {"run", "inspect"};
  for (size_t k = 0; k < 2 * sizeof verdicts / sizeof *verdicts; k++) {
    char command[256], want[256];
    const char *was = verdicts[k / 2].was, *now = verdicts[k / 2].now;
    snprintf(command, sizeof command, "$SHIFTBAND %s --fail-on hunting,%s,stall none.yaml", commands[k % 2], was);
    snprintf(want, sizeof want, "shiftband %s: --fail-on: %s is now called %s\n", commands[k % 2], was, now);
    const struct said *said = shell_run(command);
    assert_int_equal(said->code, 2);
    assert_ptr_equal(strstr(said->text, want), said->text);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_set_by_an_old_key_names_the_new_path),
      cmocka_unit_test(a_set_to_an_old_value_names_the_new_one),
      cmocka_unit_test(the_broken_file_of_old_names_has_all_of_them),
      cmocka_unit_test(an_axis_by_an_old_key_names_the_new_one),
      cmocka_unit_test(an_axis_by_an_old_name_alone_names_the_new_one),
      cmocka_unit_test(an_old_option_names_the_new_one),
      cmocka_unit_test(an_old_option_of_another_command_is_unknown),
      cmocka_unit_test(an_old_verdict_names_the_new_one),
  };
  return cmocka_run_group_tests_name("old names", tests, shell_setup, shell_teardown);
}
