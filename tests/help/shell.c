// SPDX-License-Identifier: GPL-3.0-or-later
#define _XOPEN_SOURCE 700 /* mkdtemp */

#include "help/shell.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>

#include "help/near.h"

static char folder[] = "/tmp/shiftband-test.XXXXXX";

int shell_setup(void **state)
{
  (void)state;
  return mkdtemp(folder) != NULL ? 0 : -1;
}

int shell_teardown(void **state)
{
  (void)state;
  char line[128];
  snprintf(line, sizeof line, "rm -rf '%s'", folder);
  return system(line) == 0 ? 0 : -1;
}

const struct said *shell_run(const char *command)
{
  static struct said said;
  char line[4096];
  const int length = snprintf(line, sizeof line, "unset COLUMNS; T=%s; SHIFTBAND='%s'; cd '%s' && { %s\n } 2>&1",
                              folder, SB_PROGRAM, SB_SOURCE_DIR, command);
  assert_in_range(length, 1, sizeof line - 1);
  FILE *pipe = popen(line, "r");
  assert_non_null(pipe);
  const size_t count = fread(said.text, 1, sizeof said.text - 1, pipe);
  said.text[count] = 0;
  const int status = pclose(pipe);
  said.code = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
  return &said;
}

/* The end of the part where a text begins with it, else NULL: a space of the part stands for a line's break, too. */
static const char *match(const char *text, const char *part)
{
  for (; *part != 0; part++, text++) {
    if (*part == *text) continue;
    if (*part != ' ' || *text != '\n') return NULL;
    text += strspn(text, "\n ") - 1;
  }
  return text;
}

const char *shell_find(const char *text, const char *part)
{
  const char *end = NULL;
  for (; *text != 0 && end == NULL; text++) end = match(text, part);
  return end;
}

void shell_expect(const struct said *said, const char *part)
{
  if (shell_find(said->text, part) == NULL) fail_msg("expected \"%s\" in:\n%s", part, said->text);
}

void shell_expect_not(const struct said *said, const char *part)
{
  if (shell_find(said->text, part) != NULL) fail_msg("did not expect \"%s\" in:\n%s", part, said->text);
}

void shell_expect_faults(const struct shell_fault *faults, size_t count)
{
  for (size_t k = 0; k < count; k++) {
    const struct said *said = shell_run(faults[k].command);
    shell_expect(said, faults[k].said);
    assert_int_equal(said->code, faults[k].code);
  }
}

double shell_figure(const struct said *said, const char *name)
{
  const char *place = shell_find(said->text, name);
  return place != NULL ? strtod(place, NULL) : NAN;
}
