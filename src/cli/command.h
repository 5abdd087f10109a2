// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * command.h - the contract of a command.
 *
 * A command is a table, struct sb_command: main() reads the arguments by it into a request and hands that to run(), which
 * writes data to standard output and words to standard error, releases what it took and returns one of enum sb_exit; it
 * never calls exit(). main() flushes and checks standard output afterwards. A new command is one file cmd_<name>.c, one line
 * below and one line in commands.c.
 */
#ifndef SHIFTBAND_CLI_COMMAND_H
#define SHIFTBAND_CLI_COMMAND_H

#include <stddef.h>
#include <stdio.h>

#include "cli/options.h"
#include "shiftband/log.h"
#include "shiftband/scenario.h"
#include "shiftband/status.h"

/* The texts stand in `shiftband help`. */
#define SB_EXIT_LIST(X)                                                  \
  X(SB_EXIT_DONE, 0, "done")                                             \
  X(SB_EXIT_VERDICT, 1, "a verdict named by --fail-on came true")        \
  X(SB_EXIT_USAGE, 2, "the command line is wrong")                       \
  X(SB_EXIT_SCENARIO, 3, "a scenario or a log is wrong")                 \
  X(SB_EXIT_IO, 4, "reading or writing failed")                          \
  X(SB_EXIT_GAVE_UP, 5, "the calculation failed, or memory ran out")     \
  X(SB_EXIT_CONTROLLER, 6, "an external controller failed")              \
  X(SB_EXIT_INTERRUPTED, 130, "interrupted by SIGINT (143: by SIGTERM)") \
  X(SB_EXIT_PIPE, 141, "the reader of standard output closed it; there is no message")

enum sb_exit {
#define SB_EXIT_CODE(name, code, text) name = code,
  SB_EXIT_LIST(SB_EXIT_CODE)
#undef SB_EXIT_CODE
};

/* The files among the arguments: how many, what they are, where they go. */
struct sb_command_files {
  size_t least, most;
  const char *what; /* "scenario file" */
  size_t offset;    /* of a struct sb_option_list in the request */
};

struct sb_command {
  const char *name;
  const char *summary; /* in the list of commands */
  const char *usage;   /* what follows "shiftband NAME"; lines */
  const char *about;   /* paragraphs of the help */
  const struct sb_option *options;
  const struct sb_option_rule *rules; /* NULL: none */
  struct sb_command_files files;
  size_t request_size;
  const void *defaults; /* the request before anything is read; NULL: zeros */
  int (*run)(void *request);
};

extern const struct sb_command sb_command_check, sb_command_run, sb_command_prove, sb_command_map, sb_command_tune,
    sb_command_emit, sb_command_inspect, sb_command_fit, sb_command_keys, sb_command_new, sb_command_host;

extern const struct sb_command *const sb_commands[]; /* all of them, NULL at the end */

/* "shiftband 0.1.0" */
const char *sb_command_version(void);

/* How this program was called: argv[0]. */
const char *sb_command_program(void);
void sb_command_set_program(const char *path);

/* The exit code that a status of the library leads to. */
int sb_command_exit(enum sb_status status);

/*
 * Messages: one line on standard error each. What has a place begins with it, "FILE:LINE:COLUMN: text"; all others begin with
 * "shiftband COMMAND: ", or "shiftband: " before the command is known.
 */
void sb_command_begin(const char *name);
void sb_command_complain(const char *format, ...) __attribute__((format(printf, 1, 2)));
void sb_command_warn(const char *format, ...) __attribute__((format(printf, 1, 2))); /* "...: warning: text" */

/* Warns that decimal commas of a table were read as points. */
void sb_command_note_commas(const char *path);

/* Warns of what a log was read in spite of: decimal commas, times that go back by less than a row. */
void sb_command_note_log(const char *path, const struct sb_log *log);

/* Says so where the unit of an option's KEY=VALUE is taken for another one than is written. */
void sb_command_note_unit(const char *option, const char *text);

/* Says what of a scenario was read otherwise than is written. */
void sb_command_say_notes(const struct sb_scenario *scenario);

/* The command line is wrong: says so, and where help is found. Returns SB_EXIT_USAGE. */
int sb_command_usage(const char *format, ...) __attribute__((format(printf, 1, 2)));

/* What the library says about a file (NULL: none) or the command line, or what its status means. Returns the exit code. */
int sb_command_fail(const char *path, enum sb_status status, const struct sb_error *err);

/* The same for the faults of a file, one a line, which are released. */
int sb_command_fail_faults(const char *path, enum sb_status status, struct sb_faults *faults);

/* Writing failed, errno says why. Silent where standard output is a closed pipe. Returns the exit code. */
int sb_command_fail_writing(const char *path);

/* Whether nobody reads standard output any more. */
bool sb_command_is_pipe_closed(void);

/*
 * Loads a scenario. All its faults go to standard error, one a line. Returns SB_EXIT_DONE, and *out is then to be
 * released with sb_scenario_clear(), or the code to exit with.
 */
int sb_command_load(const char *path, const struct sb_option_list *sets, struct sb_scenario *out);

/*
 * Writes a file, or standard output for "-", whole or not at all, with a function that returns 0 or -1 (errno). Failures
 * are told. Returns an exit code.
 */
struct sb_command_writer {
  int (*write)(FILE *out, const void *context);
  const void *context;
};
int sb_command_write_file(const char *path, struct sb_command_writer writer);

#endif
