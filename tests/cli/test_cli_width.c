// SPDX-License-Identifier: GPL-3.0-or-later
/* No line for people is wider than the terminal: every command over every shipped scenario in 80 columns. */
#include <glob.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "help/near.h"
#include "help/shell.h"

/* Columns of the widest line, which is put into `line`. */
static int widest(const struct said *said, const char **line)
{
  int most = 0;
  for (const char *at = said->text; *at != 0;) {
    const size_t length = strcspn(at, "\n");
    int columns = 0;
    for (size_t k = 0; k < length; k++) columns += ((unsigned char)at[k] & 0xC0) != 0x80; /* characters, not bytes */
    if (columns > most) {
      most = columns;
      *line = at;
    }
    at += length + (at[length] != 0);
  }
  return most;
}

/* Runs a command in a width and looks at what it said, which is something. */
static void expect_within(const char *command, int columns)
{
  char text[2048];
  const char *line = "";
  snprintf(text, sizeof text, "export COLUMNS=%d; %s", columns, command);
  const struct said *said = shell_run(text);
  if (said->code != 0) fail_msg("%s: exit code %d: %s", command, said->code, said->text);
  assert_true(said->text[0] != 0);
  const int most = widest(said, &line);
  if (most > columns) fail_msg("%s: a line of %d columns:\n%.*s", command, most, (int)strcspn(line, "\n"), line);
}

/* Commands over each shipped scenario; NEEDS: only where the file has this word. */
static const struct over_scenarios {
  const char *command, *needs;
} over_scenarios[] = {
    {"run", ""},
    {"run --verbose --compare", ""},
    {"run --verbose --until-warm", "  winding:"},
};

static void run_command(const char *command, const char *path)
{
  char text[1024];
  snprintf(text, sizeof text, "$SHIFTBAND %s %s", command, path);
  expect_within(text, 80);
}

static bool has_word(const char *path, const char *word)
{
  char text[1024];
  snprintf(text, sizeof text, "grep -q -e '%s' %s", word, path);
  return shell_run(text)->code == 0;
}

static void each_shipped_scenario_fits_eighty_columns(void **state)
{
  (void)state;
  glob_t found;
  assert_int_equal(glob(SB_SOURCE_DIR "/scenarios/*.yaml", 0, NULL, &found), 0);
  assert_true(found.gl_pathc > 10);
  for (size_t i = 0; i < found.gl_pathc; i++) {
    for (size_t k = 0; k < sizeof over_scenarios / sizeof *over_scenarios; k++) {
      const struct over_scenarios *over = &over_scenarios[k];
      if (has_word(found.gl_pathv[i], over->needs)) run_command(over->command, found.gl_pathv[i]);
    }
  }
  globfree(&found);
}

static void each_locked_gear_fits_eighty_columns(void **state)
{
  (void)state;
  run_command("run --gear first", "scenarios/three-speed-feeder.yaml");
  run_command("run --gear third", "scenarios/three-speed-feeder.yaml");
  run_command("run --gear fast", "scenarios/tray-cart.yaml");
}

static void other_texts_fit_eighty_columns(void **state)
{
  (void)state;
  expect_within("$SHIFTBAND keys", 80);
}

/* Verdicts of all kinds, in the narrowest width there is and in a wide one. */
static void reports_follow_the_width(void **state)
{
  (void)state;
  expect_within(
      "$SHIFTBAND run scenarios/crate-pusher.yaml --set 'load.bodies.1.mass=18 kg' | tail -n +3 | grep -v rpm |"
      "grep -v '^ .*->' | grep -v ^Shifts",
      60);
  const struct said *said = shell_run("COLUMNS=200 $SHIFTBAND run scenarios/hunting-crawler.yaml");
  const char *line = NULL;
  const int wide = widest(said, &line);
  assert_true(wide > 100 && wide <= 200);
  said = shell_run("COLUMNS=nonsense $SHIFTBAND run scenarios/hunting-crawler.yaml"); /* as without */
  assert_true(widest(said, &line) <= 80 && widest(said, &line) > 70);
}

/*
 * Not yet within 80 columns, each with the width that it must not exceed meanwhile. Whoever brings one within moves it up.
 */
static const struct pending {
  const char *command;
  int columns;
} pending[] = {
    {"run --help", 100},
    {"map --help", 104},
    {"check --help", 100},
    {"tune --help", 100},
    {"fit --help", 100},
    {"inspect --help", 100},
    {"emit --help", 100},
    {"host --help", 100},
    {"check scenarios/tray-cart.yaml", 96},
    {"check scenarios/tired-winder.yaml", 100},
    {"emit scenarios/tray-cart.yaml", 120},
};

static void commands_to_be_narrowed_grow_no_wider(void **state)
{
  (void)state;
  for (size_t k = 0; k < sizeof pending / sizeof *pending; k++) {
    char text[1024];
    const char *line = NULL;
    snprintf(text, sizeof text, "export COLUMNS=80; $SHIFTBAND %s", pending[k].command);
    const struct said *said = shell_run(text);
    assert_int_equal(said->code, 0);
    const int most = widest(said, &line);
    if (most > pending[k].columns) fail_msg("%s: a line of %d columns", pending[k].command, most);
    print_message("%s: %d columns%s\n", pending[k].command, most, most > 80 ? "" : ", no longer to be narrowed");
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(each_shipped_scenario_fits_eighty_columns),
      cmocka_unit_test(each_locked_gear_fits_eighty_columns),
      cmocka_unit_test(other_texts_fit_eighty_columns),
      cmocka_unit_test(reports_follow_the_width),
      cmocka_unit_test(commands_to_be_narrowed_grow_no_wider),
  };
  return cmocka_run_group_tests_name("width of the terminal", tests, shell_setup, shell_teardown);
}
