// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_keys.c - prints the manual of all scenario keys. */
#include "cli/command.h"

struct request {
  bool is_json;
};

static int run(void *context)
{
  const struct request *request = context;
  const int written = (request->is_json ? sb_scenario_write_schema : sb_scenario_write_keys)(stdout);
  return written == 0 ? SB_EXIT_DONE : sb_command_fail_writing("-");
}

static const struct sb_option option_table[] = {
    {"json", 0, NULL, "print a JSON Schema of scenario files, by which editors complete and check them while you type",
     SB_INTO_FLAG(struct request, is_json)},
    {0}};

const struct sb_command sb_command_keys = {
    .name = "keys",
    .summary = "every scenario key with unit, range, default and meaning",
    .usage = "[--json]",
    .about = "Prints every scenario key with its unit, range, default and meaning.",
    .options = option_table,
    .request_size = sizeof(struct request),
    .run = run,
};
