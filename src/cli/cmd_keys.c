// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_keys.c - prints the manual of all scenario keys. */
#include <errno.h>
#include <stdio.h>
#include <string.h>

#include "cli/command.h"
#include "cli/options.h"
#include "shiftband/scenario.h"

int sb_cmd_keys(int argc, char **argv)
{
  static const struct sb_option options[] = {{NULL, 0, false, 0}};
  struct sb_option_reader reader;
  sb_options_init(&reader, options, argc, argv);
  switch (sb_options_next(&reader)) {
    case SB_OPTION_HELP:
      fputs("usage: shiftband keys\n\nPrints every scenario key with its unit, range, default and meaning.\n", stdout);
      return SB_EXIT_DONE;
    case SB_OPTION_OPERAND: return sb_options_complain(&reader, "takes no file, found %s", reader.value);
    case SB_OPTION_FAULT: return SB_EXIT_USAGE;
    default: break;
  }
  if (sb_scenario_write_keys(stdout) == 0) return SB_EXIT_DONE;
  sb_command_complain("standard output: %s", strerror(errno));
  return SB_EXIT_IO;
}
