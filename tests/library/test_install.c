// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * What `make install` puts in place: programs of others are built against it by pkg-config alone, with the shared library and with the
 * static one, and come to the same as the program; the Python module finds its library; `make uninstall` leaves nothing.
 */
#include <string.h>

#include "help/near.h"
#include "help/shell.h"
#include "help/slow.h"

static bool has(const char *command)
{
  return shell_run(command)->code == 0;
}

/* A folder whose name has a space. */
#define SETTINGS "DESTDIR=$T/staged PREFIX=/opt/shiftband LIBDIR=/opt/shiftband/lib64 MANDIR=/opt/manual"
#define AT "$T/staged/opt/shiftband"

static int install(void **state)
{
  if (shell_setup(state) != 0) return -1;
  if (IS_SLOW) return 0;
  const struct said *said = shell_run("make -s BUILD=\"${SHIFTBAND%/*}\" " SETTINGS " place");
  if (said->code != 0) fprintf(stderr, "%s\n", said->text);
  return said->code;
}

static void each_kind_of_file_is_installed(void **state)
{
  (void)state;
  if (IS_SLOW) skip();
  static const char *const files[] = {"bin/shiftband",
                                      "lib64/libshiftband.a",
                                      "lib64/libshiftband.so",
                                      "lib64/libshiftband.so.0.1",
                                      "lib64/pkgconfig/shiftband.pc",
                                      "include/shiftband/shiftband.h",
                                      "include/shiftband/controller.h",
                                      "share/shiftband/controller/controller.c",
                                      "share/shiftband/tools/plot/plot-trace",
                                      "share/shiftband/tools/shiftband.py",
                                      "share/shiftband/scenarios/tray-cart.yaml",
                                      "share/shiftband/scenarios/scenario.schema.json",
                                      "share/bash-completion/completions/shiftband",
                                      "share/zsh/site-functions/_shiftband",
                                      "share/fish/vendor_completions.d/shiftband.fish",
                                      "../manual/man1/shiftband-run.1",
                                      "../manual/man5/shiftband-scenario.5",
                                      "../manual/man7/shiftband-verdicts.7",
                                      "share/doc/shiftband/LICENSE"};
  for (size_t k = 0; k < sizeof files / sizeof *files; k++) {
    char command[256];
    snprintf(command, sizeof command, "test -s " AT "/%s && echo there", files[k]);
    if (shell_find(shell_run(command)->text, "there") == NULL) fail_msg("%s is not installed", files[k]);
  }
  shell_expect(shell_run(AT "/bin/shiftband --version"), "shiftband ");
}

/* As a user would, pkg-config taking the folder for its root; LINK is "" or "--static". */
static const struct said *build(const char *example, const char *link)
{
  char command[1024];
  snprintf(command, sizeof command,
           "export PKG_CONFIG_PATH=" AT "/lib64/pkgconfig PKG_CONFIG_SYSROOT_DIR=$T/staged;"
           "cc -std=c99 -Wall -Wextra -Wpedantic -Werror -o $T/%s tests/library/%s.c"
           " $(pkg-config %s --cflags --libs shiftband) -lm &&"
           " LD_LIBRARY_PATH=" AT "/lib64 $T/%s scenarios/tray-cart.yaml",
           example, example, link, example);
  return shell_run(command);
}

static void an_example_runs_as_the_program_does(void **state)
{
  (void)state;
  if (IS_SLOW || !has("command -v pkg-config")) skip();
  const struct said *own = build("example_run", "");
  assert_int_equal(own->code, 0);
  const double turns = shell_figure(own, "turns "), shifts = shell_figure(own, "shifts ");
  const struct said *program = shell_run("$SHIFTBAND run --json --set controller.dwell='2 s' scenarios/tray-cart.yaml");
  assert_near(turns, shell_figure(program, "\"output_turns\":"), 1e-12);
  assert_true(shifts >= 2.0);
}

static void a_loop_of_ones_own_shifts_as_the_program_does(void **state)
{
  (void)state;
  if (IS_SLOW || !has("command -v pkg-config")) skip();
  const struct said *own = build("example_loop", "");
  assert_int_equal(own->code, 0);
  shell_expect(own, "at 6.440 s from gear 2 to gear 1");
  const double turns = shell_figure(own, "turns ");
  assert_near(turns, shell_figure(shell_run("$SHIFTBAND run --json scenarios/tray-cart.yaml"), "\"output_turns\":"),
              1e-12);
}

static void the_other_examples_do_what_they_say(void **state)
{
  (void)state;
  if (IS_SLOW || !has("command -v pkg-config")) skip();
  const struct said *said = build("example_map", "");
  assert_int_equal(said->code, 0);
  shell_expect(said, "own pass");
  const double rectangles = shell_figure(said, "rectangles ");
  said = shell_run("$SHIFTBAND map --json scenarios/tray-cart.yaml");
  assert_near(rectangles, shell_figure(said, "\"rectangles\":"), 0.0);
  said = build("example_prove", "");
  assert_int_equal(said->code, 0);
  shell_expect(said, "returns: proved");
  said = build("example_tune", "");
  assert_int_equal(said->code, 0);
  assert_near(shell_figure(said, "passes "), 1.0, 0.0);
  assert_true(shell_figure(said, "downshift ") < shell_figure(said, "upshift "));
}

static void the_static_library_brings_what_it_needs(void **state)
{
  (void)state;
  if (IS_SLOW || !has("command -v pkg-config")) skip();
  shell_run("mkdir -p $T/kept && mv " AT "/lib64/libshiftband.so* $T/kept");
  const struct said *said = build("example_run", "--static");
  shell_expect(said, "shifts ");
  shell_run("mv $T/kept/* " AT "/lib64");
}

/* What is no part of the interface can't be called from outside, or taken for something of the program's own. */
static void internals_are_hidden(void **state)
{
  (void)state;
  if (IS_SLOW) skip();
  const struct said *said = shell_run("nm -D --defined-only " AT "/lib64/libshiftband.so | awk '{ print $NF }'");
  shell_expect(said, "sb_run@@SHIFTBAND_0.1");
  shell_expect_not(said, "sb_segment_begin");
  shell_expect_not(said, "sb_json_");
  said = shell_run("readelf -d " AT "/lib64/libshiftband.so");
  shell_expect(said, "soname: [libshiftband.so.0.1]");
}

/* As installed: it finds its library beside. */
static void python_comes_to_the_same(void **state)
{
  (void)state;
  if (IS_SLOW || !has("python3 -c 'import ctypes'")) skip();
  const struct said *said = shell_run(
      "cat > $T/try.py <<'END'\n"
      "import sys, math\n"
      "sys.path.insert(0, sys.argv[1])\n"
      "import shiftband\n"
      "assert shiftband._library._name.startswith(sys.argv[1]), shiftband._library._name\n"
      "cart = shiftband.load('scenarios/tray-cart.yaml')\n"
      "run = cart.run(trace=True)\n"
      "assert len(run['shifts']) == 2 and run['verdicts'] == []\n"
      "assert abs(run.trace['output_turns'][-1] - run['end']['output_turns']) < 1e-9\n"
      "assert run.trace['phase'][0] == 'engaged' and len(run.trace['time_s']) > 1000\n"
      "assert cart.run(gear='slow')['shifts'] == []\n"
      "assert cart.set({'load.inertia': '1 g.m2'}, controller__dwell='3 s').sets['controller.dwell'] == '3 s'\n"
      "hunting = shiftband.load('scenarios/hunting-crawler.yaml').run()\n"
      "assert [verdict['kind'] for verdict in hunting['verdicts']] == ['hunting'], hunting['verdicts']\n"
      "assert cart.check()['subcommand'] == 'check' and cart.prove()['statements']\n"
      "cells = cart.map()['cells']\n"
      "assert len(cells['verdict']) > 10 and 'hunting' in list(cells['verdict'])\n"
      "assert cart.tune(2)['pairs'][0]['passes'] is True\n"
      "for bad, said in (('tests/bad/missing-keys.yaml', 'stall_torque'), ('no-such.yaml', 'No such file')):\n"
      "    try:\n"
      "        shiftband.load(bad)\n"
      "        raise SystemExit('taken: ' + bad)\n"
      "    except shiftband.Error as error:\n"
      "        assert said in str(error), error\n"
      "beyond = {'load.parts': '[{kind: profile, manner: resists, file: ../tests/good/time.csv}]'}\n"
      "try:\n"
      "    cart.set(beyond)\n"
      "    raise SystemExit('read outside')\n"
      "except shiftband.Error as error:\n"
      "    assert 'folder' in str(error), error\n"
      "shiftband.allow_outside()\n"
      "cart.set(beyond)\n"
      "print('all the same')\n"
      "END\n"
      "python3 $T/try.py " AT "/share/shiftband/tools");
  shell_expect(said, "all the same");
}

/* The last of all. */
static void uninstalling_leaves_nothing(void **state)
{
  (void)state;
  if (IS_SLOW) skip();
  shell_run("make -s BUILD=\"${SHIFTBAND%/*}\" " SETTINGS " uninstall");
  const struct said *said = shell_run("cd $T/staged; find . ! -type d; find . -name '*shiftband*'; echo that was all");
  if (strncmp(said->text, "that was all", 12) != 0) fail_msg("left: %s", said->text);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(each_kind_of_file_is_installed),
      cmocka_unit_test(an_example_runs_as_the_program_does),
      cmocka_unit_test(a_loop_of_ones_own_shifts_as_the_program_does),
      cmocka_unit_test(the_other_examples_do_what_they_say),
      cmocka_unit_test(the_static_library_brings_what_it_needs),
      cmocka_unit_test(internals_are_hidden),
      cmocka_unit_test(python_comes_to_the_same),
      cmocka_unit_test(uninstalling_leaves_nothing),
  };
  return cmocka_run_group_tests_name("install", tests, install, shell_teardown);
}
