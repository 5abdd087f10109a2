// SPDX-License-Identifier: GPL-3.0-or-later
/* No line for people is wider than the terminal: every command over every shipped scenario in 80 columns. */
#include <glob.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "help/near.h"
#include "help/shell.h"
#include "help/slow.h"

/* Columns of the widest line but notes, which is put into `line`. */
static int widest(const struct said *said, const char **line)
{
  int most = 0;
  for (const char *at = said->text; *at != 0;) {
    const size_t length = strcspn(at, "\n");
    int columns = 0;
    for (size_t k = 0; k < length; k++) columns += ((unsigned char)at[k] & 0xC0) != 0x80; /* characters, not bytes */
    const char *note = strstr(at, ": note: ");
    const bool is_note = note != NULL && note < at + length;
    if (columns > most && !is_note) {
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

/*
 * Commands over each shipped scenario, which stands for FILE; NEEDS: only where the file has this word. Lattices are coarse.
 * A message on standard error is one line for programs that read it, however long; `emit` warns there.
 */
static const struct over_scenarios {
  const char *command, *needs;
} over_scenarios[] = {
    {"$SHIFTBAND check FILE", ""},
    {"$SHIFTBAND run FILE", ""},
    {"$SHIFTBAND run --verbose --compare FILE", ""},
    {"$SHIFTBAND run --verbose --until-warm FILE", "  winding:"},
    {"$SHIFTBAND map --verbose --set controller.threshold_step='10 %' FILE", ""},
    {"$SHIFTBAND tune --samples 0 --set controller.threshold_step='10 %' FILE", ""},
    {"$SHIFTBAND run -q -o $T/trace.csv FILE && $SHIFTBAND inspect $T/trace.csv", ""},
    {"$SHIFTBAND inspect --against FILE $T/trace.csv", ""},
    {"$SHIFTBAND inspect --against FILE --try load.inertia --set 'load.inertia=0.02 kg.m2' $T/trace.csv", ""},
    {"$SHIFTBAND emit FILE 2> /dev/null", ""},
    {"$SHIFTBAND emit --as blocks FILE 2> /dev/null", ""},
    {"$SHIFTBAND emit --as ladder FILE 2> /dev/null", ""},
};

/* Runs a command with the path in place of FILE. */
static void run_command(const char *command, const char *path)
{
  char text[1024];
  const char *place = strstr(command, "FILE");
  assert_non_null(place);
  snprintf(text, sizeof text, "%.*s%s%s", (int)(place - command), command, path, place + strlen("FILE"));
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
  for (size_t i = 0; i < found.gl_pathc; i += IS_SLOW ? 4 : 1) {
    for (size_t k = 0; k < sizeof over_scenarios / sizeof *over_scenarios; k++) {
      const struct over_scenarios *over = &over_scenarios[k];
      if (IS_SLOW && strstr(found.gl_pathv[i], "grindstone") != NULL) continue; /* its studies would take minutes */
      if (has_word(found.gl_pathv[i], over->needs)) run_command(over->command, found.gl_pathv[i]);
    }
  }
  globfree(&found);
}

/* What no plain command over one scenario shows. */
static void other_reports_fit_eighty_columns(void **state)
{
  (void)state;
  static const char *const commands[] = {
      "run --gear first scenarios/three-speed-feeder.yaml",
      "run --gear third scenarios/three-speed-feeder.yaml",
      "run --gear fast scenarios/tray-cart.yaml",
      "keys",
      "help",
      "check scenarios/*.yaml",
      "inspect scenarios/data/cart-coast.csv --by motor --ratios 8,4",
      "tune --samples 2 --set controller.threshold_step='2 %' scenarios/hunting-crawler*.yaml",
      "tune --set tolerances='{supply.open_circuit_voltage: 7..12.6 V}' scenarios/tray-cart.yaml",
      "map --samples 4 --set controller.threshold_step='5 %' scenarios/tray-cart.yaml",
      "map --verbose --pair second/third --set controller.threshold_step='5 %' scenarios/three-speed-feeder.yaml",
      "map --vary controller.dwell='0.2..3 s' --points 3 scenarios/tray-cart.yaml",
      "map --vary drive=80..100% --vary load.inertia='0.002..0.006 kg.m2' --points 3 --samples 2 scenarios/tray-cart.yaml",
      "map --discharge 3 --set controller.threshold_step='5 %' scenarios/tired-winder.yaml",
      "fit --voltage '12 V' --arm '12 mm' scenarios/data/cart-points.csv scenarios/data/cart-coast.csv",
      "fit --voltage '12 V' scenarios/data/cart-spin.csv",
  };
  for (size_t k = 0; k < sizeof commands / sizeof *commands; k++) {
    char text[1024];
    snprintf(text, sizeof text, "$SHIFTBAND %s", commands[k]);
    expect_within(text, 80);
  }
  expect_within("$SHIFTBAND run -q --set 'motor.stall_torque=0.36 N.m' -o $T/trace.csv scenarios/tray-cart.yaml &&"
                " $SHIFTBAND inspect --against scenarios/tray-cart.yaml $T/trace.csv",
                80);
}

static void each_help_fits_eighty_columns(void **state)
{
  (void)state;
  static const char *const commands[] = {"run",     "map",  "check", "tune", "fit",
                                         "inspect", "emit", "host",  "keys", "new"};
  for (size_t k = 0; k < sizeof commands / sizeof *commands; k++) {
    char text[100];
    snprintf(text, sizeof text, "$SHIFTBAND %s --help", commands[k]);
    expect_within(text, 80);
  }
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

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(each_shipped_scenario_fits_eighty_columns),
      cmocka_unit_test(other_reports_fit_eighty_columns),
      cmocka_unit_test(each_help_fits_eighty_columns),
      cmocka_unit_test(reports_follow_the_width),
  };
  return cmocka_run_group_tests_name("width of the terminal", tests, shell_setup, shell_teardown);
}
