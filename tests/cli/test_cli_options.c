// SPDX-License-Identifier: GPL-3.0-or-later
/* How the command line is read: help, options that exclude or need each other, standard input, messages. */
#include <stdio.h>
#include <string.h>

#include "help/near.h"
#include "help/shell.h"

static const char *const commands[] = {"check", "run", "map", "tune", "emit", "inspect", "fit", "new", "keys", "host"};

enum { COMMAND_COUNT = sizeof commands / sizeof commands[0] };

static const struct said *run_well(const char *format, const char *word)
{
  char command[512];
  // cppcheck-suppress wrongPrintfScanfArgNum ; a format may leave the word out
  snprintf(command, sizeof command, format, word, word);
  const struct said *said = shell_run(command);
  if (said->code != 0) fail_msg("%s: exit code %d: %s", command, said->code, said->text);
  return said;
}

static void help_of_a_command_is_the_same_from_both_sides_and_eighty_columns_wide(void **state)
{
  (void)state;
  for (int k = 0; k < COMMAND_COUNT; k++) {
    /* behind it comes the topic of that name */
    run_well("$SHIFTBAND %s --help > $T/a && $SHIFTBAND help %s > $T/b && head -n $(wc -l < $T/a) $T/b | cmp $T/a -",
             commands[k]);
    run_well("$SHIFTBAND %s -h | cmp $T/a -", commands[k]);
    const struct said *said = run_well("LC_ALL=C.UTF-8 awk 'length > 80' $T/a", "");
    assert_string_equal(said->text, "");
    shell_expect(run_well("$SHIFTBAND help", ""), commands[k]);
  }
  assert_string_equal(run_well("$SHIFTBAND help | awk 'length > 80'", "")->text, "");
}

static void version_is_said_before_and_after_a_command(void **state)
{
  (void)state;
  static const char *const asked[] = {"--version", "-V", "version", "run --version", "check -V", "fit -V"};
  for (size_t k = 0; k < sizeof asked / sizeof asked[0]; k++) {
    shell_expect(run_well("$SHIFTBAND %s", asked[k]), "shiftband 0.");
  }
}

static void slips_are_answered_with_the_nearest_word(void **state)
{
  (void)state;
  static const struct shell_fault faults[] = {
      {"$SHIFTBAND rum", "shiftband: no command rum; did you mean run?", 2},
      {"$SHIFTBAND help chekc", "shiftband: no command or topic chekc; did you mean check?", 2},
      {"$SHIFTBAND run --jsn x.yaml", "shiftband run: no option --jsn; did you mean --json?", 2},
      {"$SHIFTBAND run --fail-on huntng x.yaml", "found \"huntng\"; did you mean hunting?", 2},
      {"$SHIFTBAND emit --as headr x.yaml", "found \"headr\"; did you mean header?", 2},
      {"$SHIFTBAND --json run", "no option --json here; the command comes first", 2},
      {"$SHIFTBAND keys x", "shiftband keys: x writes no JSON; these do: check, run", 2},
      {"$SHIFTBAND run --json=1 x.yaml", "--json takes no value", 2},
      {"$SHIFTBAND run x.yaml --gear", "--gear needs a value: NAME", 2},
  };
  shell_expect_faults(faults, sizeof faults / sizeof faults[0]);
}

static void options_that_do_not_fit_are_refused_with_the_reason_and_help_says_it_before(void **state)
{
  (void)state;
  static const struct shell_fault faults[] = {
      {"$SHIFTBAND run --gear slow --compare x.yaml",
       "shiftband run: --gear and --compare exclude each other: a comparison runs every gear", 2},
      {"$SHIFTBAND run -o - --json x.yaml", "-o - and --json exclude each other: both use standard output", 2},
      {"$SHIFTBAND run -o /dev/stdout --json x.yaml", "both use standard output", 2},
      {"$SHIFTBAND tune --resume x.yaml", "--resume needs -o FILE: what was calculated is kept beside that file", 2},
      {"$SHIFTBAND inspect --fail-on deviation x.csv", "--fail-on deviation needs --against FILE: without a scenario",
       2},
      {"$SHIFTBAND check --quiet --json x.yaml", "-q and --json exclude each other: JSON is the report", 2},
      {"$SHIFTBAND fit -o a --residuals a x.csv", "-o and --residuals exclude each other: both want a", 2},
      {"$SHIFTBAND map x.yaml y.yaml", "more than one file needs --join: a map is of one scenario", 2},
  };
  shell_expect_faults(faults, sizeof faults / sizeof faults[0]);
  shell_expect(shell_run("$SHIFTBAND help run | tr -s ' \\n' '  '"), "not with --compare");
  shell_expect(shell_run("$SHIFTBAND help tune | tr -s ' \\n' '  '"), "was interrupted; needs -o");
}

static void a_dash_is_standard_input_also_where_a_scenario_is_read_many_times(void **state)
{
  (void)state;
  static const char *const asked[] = {"check --json", "run --json", "run --compare --json",
                                      "map --samples 2 --seed 3 --json", "emit"};
  for (size_t k = 0; k < sizeof asked / sizeof asked[0]; k++) {
    char command[512];
    snprintf(
        command, sizeof command,
        "cd scenarios && $SHIFTBAND %s tray-cart.yaml > $T/a 2> /dev/null; $SHIFTBAND %s - < "
        "tray-cart.yaml 2> /dev/null | sed 's/standard input by/tray-cart.yaml by/' > $T/b && test -s $T/a && diff $T/a $T/b",
        asked[k], asked[k]);
    const struct said *said = shell_run(command);
    if (said->code != 0) fail_msg("%s: %s", asked[k], said->text);
  }
}

static void faults_of_standard_input_bear_its_name(void **state)
{
  (void)state;
  static const struct shell_fault faults[] = {
      {"printf 'name: x\\nmotr: {}\\n' | $SHIFTBAND check -",
       "standard input:2:1: unknown key \"motr\", nearest known is \"motor\"", 3},
      {"$SHIFTBAND run --until-warm - < scenarios/tray-cart.yaml",
       "shiftband run: standard input: --until-warm needs a winding", 3},
      {"$SHIFTBAND run - - < scenarios/tray-cart.yaml", "standard input (-) can be only one of the files", 2},
      {"$SHIFTBAND inspect --against - - < scenarios/tray-cart.yaml", "standard input (-) can be only one of", 2},
  };
  shell_expect_faults(faults, sizeof faults / sizeof faults[0]);
  run_well("mkdir $T/out && $SHIFTBAND run -o $T/out - < scenarios/tray-cart.yaml && test -s $T/out/standard-input.csv",
           "");
}

static void quiet_leaves_the_exit_code_and_the_files(void **state)
{
  (void)state;
  assert_string_equal(run_well("$SHIFTBAND run -q -o $T/q.csv scenarios/tray-cart.yaml", "")->text, "");
  run_well("test -s $T/q.csv", "");
  const struct said *said = shell_run("$SHIFTBAND run --quiet --fail-on any scenarios/hunting-crawler.yaml");
  assert_int_equal(said->code, 1);
  assert_string_equal(said->text, "");
  /* A note is a message; one shipped scenario has one. */
  assert_string_equal(run_well("$SHIFTBAND check --quiet scenarios/*.yaml 2> $T/notes", "")->text, "");
  assert_string_equal(run_well("sed 's/.*: note:/note:/' $T/notes", "")->text,
                      "note: choices: used by shiftband design alone\n");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(help_of_a_command_is_the_same_from_both_sides_and_eighty_columns_wide),
      cmocka_unit_test(version_is_said_before_and_after_a_command),
      cmocka_unit_test(slips_are_answered_with_the_nearest_word),
      cmocka_unit_test(options_that_do_not_fit_are_refused_with_the_reason_and_help_says_it_before),
      cmocka_unit_test(a_dash_is_standard_input_also_where_a_scenario_is_read_many_times),
      cmocka_unit_test(faults_of_standard_input_bear_its_name),
      cmocka_unit_test(quiet_leaves_the_exit_code_and_the_files),
  };
  return cmocka_run_group_tests_name("cli_options", tests, shell_setup, shell_teardown);
}
