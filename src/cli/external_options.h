// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * external_options.h - the options for a controller of the user's own, alike in all commands that take them.
 *
 *   static const struct sb_option options[] = {..., SB_OWN_OPTIONS(struct request, own), {0}};
 *   static const struct sb_option_rule rules[] = {..., SB_OWN_RULES, {0}};
 */
#ifndef SHIFTBAND_CLI_EXTERNAL_OPTIONS_H
#define SHIFTBAND_CLI_EXTERNAL_OPTIONS_H

#include <stdint.h>

#include "cli/options.h"
#include "shiftband/external_program.h"
#include "shiftband/units.h"

/* Lines of a table of options, and of a table of rules. */
// clang-format off
#define SB_OWN_OPTIONS(type, own)                                                                                   \
  {.help = "\nAn external controller instead of the built-in one, in a process of its own, started again for each run:"}, \
  {"controller", 0, "FILE.so", "a C function, see shiftband/external_controller.h and tools/external/controller.c",  \
   SB_INTO_INPUT(type, own.object)},                                                                                \
  {"controller-command", 0, "TEXT",                                                                                  \
   "a shell command that answers lines, see shiftband/external_program.h and tools/external/controller.sh",          \
   SB_INTO_TEXT(type, own.command)},                                                                                \
  {"controller-timeout", 0, "TIME", "for an answer (default 1 s; ten times that for the first one)",                  \
   SB_INTO_QUANTITY(type, own.program.timeout_s, SB_TIME, 0.0)}

#define SB_OWN_RULES                                                                            \
  {"controller", SB_EXCLUDES, "controller-command", "a run has one controller"},                \
  {"controller-timeout", SB_NEEDS, "controller controller-command", "the built-in controller answers at once"}
// clang-format on

struct sb_own_options {
  const char *object, *command; /* as given; NULL: not given */
  struct sb_external_program program;
  const char *argv[4];
  struct sb_quote name;
  char *path; /* of the object, with a folder, or the command behind its limits; owned */
  struct sb_decider decider;
};

/* After all options: whether the object is there, and the timeout fits. Returns an exit code; what is wrong is told. */
int sb_own_options_prepare(struct sb_own_options *own);

/* The decider that was asked for, or NULL. */
const struct sb_decider *sb_own_options_decider(const struct sb_own_options *own);

/* Adds what results depend on to a hash: the object's bytes, or the command's text. Returns an exit code. */
int sb_own_options_hash(const struct sb_own_options *own, uint64_t *hash);

void sb_own_options_clear(struct sb_own_options *own);

#endif
