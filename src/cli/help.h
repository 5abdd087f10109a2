// SPDX-License-Identifier: GPL-3.0-or-later
/* help.h - what is said about options, topics and commands: on a terminal, as manual pages, as completion of shells. */
#ifndef SHIFTBAND_CLI_HELP_H
#define SHIFTBAND_CLI_HELP_H

#include <stdio.h>

#include "cli/command.h"

enum { SB_HELP_TEXT_SIZE = 1024 };

/* What an option does, with its words and with what it excludes and needs. */
const char *sb_help_option_text(const struct sb_command *command, const struct sb_option *option,
                                char text[SB_HELP_TEXT_SIZE]);

/* Manual pages, by the names of their files: "shiftband.1", "shiftband-run.1", "shiftband-scenario.5". */
void sb_man_page_list(FILE *out);
bool sb_man_page_write(FILE *out, const char *page); /* false: there is none of that name */

/* The script by which a shell ("bash", "zsh", "fish") completes commands, options, words, keys and units; false: no such shell. */
bool sb_completion_write(FILE *out, const char *shell);

#endif
