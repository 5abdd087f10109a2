// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_keys.c - prints the manual of all scenario keys. */
#include "cli/command.h"

static int run(void *request)
{
  (void)request;
  return sb_scenario_write_keys(stdout) == 0 ? SB_EXIT_DONE : sb_command_fail_writing("-");
}

static const struct sb_option option_table[] = {{0}};

const struct sb_command sb_command_keys = {
    .name = "keys",
    .summary = "every scenario key with unit, range, default and meaning",
    .usage = "",
    .about = "Prints every scenario key with its unit, range, default and meaning.",
    .options = option_table,
    .run = run,
};
