// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Commands to which one allocation is refused: they either do all that they do with it, to the byte, or say that memory ran
 * out, with an exit code that is not 0, and leave either no file or a whole one. A shared object that the test builds, put before the C library,
 * refuses the allocation of a number; sanitizers bring an allocator of their own, so there the test does nothing.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "help/near.h"
#include "help/shell.h"

#ifdef __SANITIZE_ADDRESS__
enum { CAN_REFUSE = 0 };
#else
enum { CAN_REFUSE = 1 };
#endif

static const char refuser[] =
    "#include <errno.h>\n"
    "#include <stdio.h>\n"
    "#include <stdlib.h>\n"
    "void *__libc_malloc(size_t size);\n"
    "void *__libc_calloc(size_t count, size_t size);\n"
    "void *__libc_realloc(void *old, size_t size);\n"
    "static long refused, seen;\n"
    "static int is_begun;\n"
    "__attribute__((constructor)) static void begin(void) { is_begun = 1; refused = atol(getenv(\"REFUSED\")); }\n"
    "__attribute__((destructor)) static void end(void)\n"
    "{ if (refused < 0) { FILE *out = fopen(getenv(\"COUNT\"), \"w\"); fprintf(out, \"%ld\\n\", seen); fclose(out); } }\n"
    "static int no(void) { if (!is_begun || ++seen != refused) return 0; errno = ENOMEM; return 1; }\n"
    "void *malloc(size_t size) { return no() ? 0 : __libc_malloc(size); }\n"
    "void *calloc(size_t count, size_t size) { return no() ? 0 : __libc_calloc(count, size); }\n"
    "void *realloc(void *old, size_t size) { return no() ? 0 : __libc_realloc(old, size); }\n";

static int build_refuser(void **state)
{
  char command[4096];
  if (shell_setup(state) != 0 || !CAN_REFUSE) return 0;
  snprintf(command, sizeof command,
           "cat > $T/refuser.c <<'END'\n%sEND\n${CC:-cc} -shared -fPIC -O1 -o $T/refuser.so $T/refuser.c", refuser);
  const struct said *said = shell_run(command);
  if (said->code != 0) fail_msg("%s", said->text);
  return 0;
}

/* Runs a command in an empty folder with one allocation refused; 0: none. Its words, then the sum of what it wrote. */
static const struct said *run_without(long number, const char *arguments)
{
  char command[2048];
  snprintf(
      command, sizeof command,
      "rm -rf $T/out; mkdir $T/out; OMP_NUM_THREADS=1 COUNT=$T/count REFUSED=%ld LD_PRELOAD=$T/refuser.so $SHIFTBAND "
      "%s; C=$?; rm -f $T/out/*.part; cat $T/out/* 2>/dev/null | cksum | sed 's/^/written /'; exit $C",
      number, arguments);
  return shell_run(command);
}

static long allocation_count(const char *arguments)
{
  char command[64];
  assert_int_equal(run_without(-1, arguments)->code, 0);
  snprintf(command, sizeof command, "cat $T/count");
  return strtol(shell_run(command)->text, NULL, 10);
}

static const char no_bytes[] = "written 4294967295 0\n"; /* the POSIX sum of nothing */

static bool is_told(const struct said *said)
{
  const bool has_words =
      strstr(said->text, "out of memory") != NULL || strstr(said->text, "annot allocate memory") != NULL;
  return has_words && said->code > 1; /* 1 is a verdict's */
}

/* Either the words and bytes of the command with all its memory, or an error and no part of a file. */
static void check(long number, const char *arguments, const char *whole)
{
  const struct said *said = run_without(number, arguments);
  const char *written = strstr(said->text, "written ");
  assert_non_null(written);
  const bool is_clean = strcmp(written, no_bytes) == 0 || strcmp(written, strstr(whole, "written ")) == 0;
  if (said->code == 0 ? strcmp(said->text, whole) == 0 : is_told(said) && is_clean) return;
  fail_msg("allocation %ld of %s refused: exit code %d and\n%s", number, arguments, said->code, said->text);
}

/* The last allocations, where outputs are, each; those before here and there. */
static void each_refusal_is_told_or_does_no_harm(const char *arguments)
{
  static char whole[sizeof((struct said *)NULL)->text];
  enum { LAST = 60, STRIDE = 7 };
  if (!CAN_REFUSE) return;
  const long count = allocation_count(arguments);
  assert_true(count > LAST);
  strcpy(whole, run_without(0, arguments)->text);
  for (long number = 1; number <= count; number += number < count - LAST ? STRIDE : 1) check(number, arguments, whole);
}

static void a_trace_is_whole_or_refused(void **state)
{
  (void)state;
  each_refusal_is_told_or_does_no_harm("run -o $T/out/a.csv scenarios/tray-cart.yaml");
  each_refusal_is_told_or_does_no_harm("run -o $T/out scenarios/tray-cart.yaml");
}

static void a_study_is_whole_or_refused(void **state)
{
  (void)state;
  each_refusal_is_told_or_does_no_harm(
      "map --vary controller.dwell='0.2..1 s' --points 2 --shard 1/2 -o $T/out/a scenarios/hunting-crawler.yaml");
  each_refusal_is_told_or_does_no_harm(
      "map --vary controller.dwell='0.2..1 s' --points 2 --limits $T/out/a.csv scenarios/hunting-crawler.yaml");
}

static void a_header_is_whole_or_refused(void **state)
{
  (void)state;
  each_refusal_is_told_or_does_no_harm("emit -o $T/out/a.h scenarios/tray-cart.yaml");
}

static void a_table_of_a_load_fits_in_memory_or_is_refused(void **state)
{
  (void)state;
  each_refusal_is_told_or_does_no_harm("check scenarios/stop-and-go.yaml");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_trace_is_whole_or_refused),
      cmocka_unit_test(a_study_is_whole_or_refused),
      cmocka_unit_test(a_header_is_whole_or_refused),
      cmocka_unit_test(a_table_of_a_load_fits_in_memory_or_is_refused),
  };
  return cmocka_run_group_tests_name("cli_memory", tests, build_refuser, shell_teardown);
}
