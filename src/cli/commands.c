// SPDX-License-Identifier: GPL-3.0-or-later
/* commands.c - all commands, in the order of the help. */
#include "cli/command.h"

const struct sb_command *const sb_commands[] = {
    &sb_command_check,   &sb_command_run, &sb_command_prove, &sb_command_map,  &sb_command_tune, &sb_command_emit,
    &sb_command_inspect, &sb_command_fit, &sb_command_new,   &sb_command_keys, &sb_command_host, NULL};
