// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * external_options.h - the options for a controller of the user's own, alike in all commands that take them.
 *
 *   static const struct sb_option options[] = {..., SB_OWN_OPTIONS, {NULL, 0, false, 0}};
 *   switch (id) { ... default: code = sb_own_options_take(&own, &reader, id); }
 */
#ifndef SHIFTBAND_CLI_EXTERNAL_OPTIONS_H
#define SHIFTBAND_CLI_EXTERNAL_OPTIONS_H

#include <stdint.h>

#include "cli/options.h"
#include "shiftband/external_program.h"
#include "shiftband/units.h"

enum { SB_OWN_OPTION_OBJECT = 1000, SB_OWN_OPTION_COMMAND, SB_OWN_OPTION_TIMEOUT };

/* Lines of a table of options. */
// clang-format off
#define SB_OWN_OPTIONS                                         \
  {"controller", 0, true, SB_OWN_OPTION_OBJECT},               \
  {"controller-command", 0, true, SB_OWN_OPTION_COMMAND},      \
  {"controller-timeout", 0, true, SB_OWN_OPTION_TIMEOUT}
// clang-format on

/* Their part of a help text; the width of its first column. */
#define SB_OWN_OPTIONS_HELP                                                                             \
  "\n"                                                                                                  \
  "A controller of your own instead of the built-in one, in a process of its own, anew for each run:\n" \
  "      --controller FILE.so        a C function, see shiftband/external_controller.h and\n"           \
  "                                  tools/external/controller.c\n"                                     \
  "      --controller-command TEXT   a shell command that answers lines, see\n"                         \
  "                                  shiftband/external_program.h and tools/external/controller.sh\n"   \
  "      --controller-timeout TIME   for an answer (default 1 s; ten times that for the first one)\n"

struct sb_own_options {
  const char *object, *command; /* as given; NULL: not given */
  bool has_timeout;
  struct sb_own_program program;
  const char *argv[4];
  char name[SB_QUOTE_SIZE];
  char *path; /* of the object, with a folder; owned */
  struct sb_decider decider;
};

/* One option; SB_EXIT_USAGE when it is none of these. */
int sb_own_options_take(struct sb_own_options *own, const struct sb_option_reader *reader, int id);

/* After all options: what excludes what, and whether the object is there. Returns an exit code. */
int sb_own_options_check(struct sb_own_options *own, const struct sb_option_reader *reader);

/* The decider that was asked for, or NULL. */
const struct sb_decider *sb_own_options_decider(const struct sb_own_options *own);

/* Adds what results depend on to a hash: the object's bytes, or the command's text. Returns an exit code. */
int sb_own_options_hash(const struct sb_own_options *own, uint64_t *hash);

void sb_own_options_clear(struct sb_own_options *own);

#endif
