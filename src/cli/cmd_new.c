// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_new.c - a commented scenario to start from. */
#include <string.h>

#include "base/nearest.h"
#include "cli/command.h"
#include "cli/topic.h"

struct request {
  struct sb_option_list kinds;
  const char *output; /* NULL: standard output */
};

static int write_lines(FILE *out, const void *context)
{
  const struct sb_topic *start = context;
  for (const char *const *line = start->lines; *line != NULL; line++) {
    if (fprintf(out, "%s\n", *line) < 0) return -1;
  }
  return 0;
}

static int list_kinds(void)
{
  puts("Kinds of machines, for `shiftband new KIND -o FILE.yaml`:");
  for (const struct sb_topic *start = sb_starts; start->name != NULL; start++) {
    printf("  %-8s  %s\n", start->name, start->lines[1] + strspn(start->lines[1], "# "));
  }
  return SB_EXIT_DONE;
}

static int refuse(const char *kind)
{
  const char *names[16] = {NULL};
  for (size_t k = 0; k < 15 && sb_starts[k].name != NULL; k++) names[k] = sb_starts[k].name;
  return sb_command_usage("no kind %s%s; `shiftband new` lists them", kind, sb_nearest_hint(kind, names).text);
}

static int run(void *context)
{
  const struct request *request = context;
  if (request->kinds.count == 0) return list_kinds();
  const char *kind = request->kinds.items[0];
  for (const struct sb_topic *start = sb_starts; start->name != NULL; start++) {
    if (strcmp(start->name, kind) != 0) continue;
    return sb_command_write_file(request->output != NULL ? request->output : "-",
                                 (struct sb_command_writer){write_lines, start});
  }
  return refuse(kind);
}

static const struct sb_option option_table[] = {
    {"output", 'o', "FILE.yaml", "write the scenario there instead of standard output",
     SB_INTO_OUTPUT(struct request, output)},
    {0},
};

static const struct sb_option_rule rules[] = {{0}};

const struct sb_command sb_command_new = {
    .name = "new",
    .summary = "a commented scenario to start from",
    .usage = "[OPTION]... [KIND]",
    .about =
        "Writes a commented scenario of a machine of some kind, which passes `check`, to put your own figures into. Without a "
        "kind it lists them.",
    .options = option_table,
    .rules = rules,
    .files = {0, 1, "kind of machine", offsetof(struct request, kinds)},
    .request_size = sizeof(struct request),
    .run = run,
};
