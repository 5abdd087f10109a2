// SPDX-License-Identifier: GPL-3.0-or-later
/* The public headers: each by itself, in C99 and in C++17 without a warning; and the library linked from C++. */
#include <stdio.h>

#include "help/near.h"
#include "help/shell.h"
#include "help/slow.h"

static bool has(const char *command)
{
  return shell_run(command)->code == 0;
}

/* compiler: with its standard; ending: of the file that includes one header alone. */
static void compile_each(const char *compiler, const char *ending)
{
  char command[1024];
  snprintf(command, sizeof command,
           "for h in include/shiftband/*.h; do echo \"#include \\\"shiftband/${h##*/}\\\"\" > $T/alone.%s;"
           "%s -Wall -Wextra -Wpedantic -Werror -Iinclude -fsyntax-only $T/alone.%s || echo in $h; done; echo done",
           ending, compiler, ending);
  const struct said *said = shell_run(command);
  shell_expect(said, "done");
  shell_expect_not(said, "in include/");
}

static void each_header_compiles_alone_as_c99(void **state)
{
  (void)state;
  compile_each("cc -std=c99", "c");
}

static void each_header_compiles_alone_as_cpp(void **state)
{
  (void)state;
  if (!has("command -v c++")) skip();
  compile_each("c++ -std=c++17", "cpp");
}

static void one_header_includes_all_others(void **state)
{
  (void)state;
  const struct said *said =
      shell_run("for h in include/shiftband/*.h; do grep -q \"shiftband/${h##*/}\\\"\" include/shiftband/shiftband.h ||"
                "[ ${h##*/} = shiftband.h ] || echo lacks $h; done; echo done");
  shell_expect(said, "done");
  shell_expect_not(said, "lacks");
}

/* The same figures as the program. */
static void a_program_in_cpp_runs_a_scenario(void **state)
{
  (void)state;
  if (IS_SLOW || !has("command -v c++")) skip(); /* sanitized objects need their runtime at the link */
  const struct said *said = shell_run(
      "c++ -std=c++17 -Wall -Wextra -Wpedantic -Werror -Iinclude -o $T/example tests/library/example.cpp"
      " \"${SHIFTBAND%/*}/libshiftband.a\" $(pkg-config --libs gsl yaml-0.1 2> /dev/null || echo -lgsl -lgslcblas"
      " -lyaml) -fopenmp -lm && $T/example scenarios/tray-cart.yaml && $SHIFTBAND run --json scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 0);
  assert_near(shell_figure(said, "shifts "), 2.0, 0.0);
  assert_near(shell_figure(said, "verdicts "), 0.0, 0.0);
  assert_near(shell_figure(said, "turns "), shell_figure(said, "\"output_turns\":"), 1e-12);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(each_header_compiles_alone_as_c99),
      cmocka_unit_test(each_header_compiles_alone_as_cpp),
      cmocka_unit_test(one_header_includes_all_others),
      cmocka_unit_test(a_program_in_cpp_runs_a_scenario),
  };
  return cmocka_run_group_tests_name("headers", tests, shell_setup, shell_teardown);
}
