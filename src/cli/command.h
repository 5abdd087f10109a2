// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * command.h - the contract of a command.
 *
 * A command is `int sb_cmd_<name>(int argc, char **argv)`: argv[0] is the command's own name, argv[argc] is NULL, the
 * rest are its arguments. It writes data to standard output and words to standard error, releases what it took and
 * returns one of enum sb_exit; it never calls exit(). main() flushes and checks standard output afterwards. A new
 * command is one file cmd_<name>.c, one line below and one line in main.c's table.
 */
#ifndef SHIFTBAND_CLI_COMMAND_H
#define SHIFTBAND_CLI_COMMAND_H

#include <stddef.h>
#include <stdio.h>

#include "shiftband/scenario.h"
#include "shiftband/status.h"

enum sb_exit {
  SB_EXIT_DONE = 0,
  SB_EXIT_VERDICT = 1,   /* a verdict named by --fail-on came true */
  SB_EXIT_USAGE = 2,     /* the command line is wrong */
  SB_EXIT_SCENARIO = 3,  /* a scenario or a log is wrong */
  SB_EXIT_IO = 4,        /* reading or writing failed */
  SB_EXIT_GAVE_UP = 5,   /* the numerics gave up, or memory ran out */
  SB_EXIT_CONTROLLER = 6 /* a controller of the user's own failed */
};

int sb_cmd_check(int argc, char **argv);
int sb_cmd_run(int argc, char **argv);
int sb_cmd_tune(int argc, char **argv);
int sb_cmd_map(int argc, char **argv);
int sb_cmd_emit(int argc, char **argv);
int sb_cmd_fit(int argc, char **argv);
int sb_cmd_inspect(int argc, char **argv);
int sb_cmd_keys(int argc, char **argv);
int sb_cmd_host(int argc, char **argv);

/* "shiftband 0.1.0" */
const char *sb_command_version(void);

/* How this program was called: argv[0]. */
const char *sb_command_program(void);

/* The exit code that a status of the library leads to. */
int sb_command_exit(enum sb_status status);

/* Writes "shiftband: " and the text to standard error, as one line. */
void sb_command_complain(const char *format, ...) __attribute__((format(printf, 1, 2)));

/*
 * Loads a scenario. All its faults go to standard error, one a line. Returns SB_EXIT_DONE, and *out is then to be
 * released with sb_scenario_clear(), or the code to exit with.
 */
int sb_command_load(const char *path, const char *const *sets, size_t set_count, struct sb_scenario *out);

/*
 * Refuses an output that is one of the inputs: told on standard error with the option's name; SB_EXIT_USAGE. output may be
 * NULL.
 */
int sb_command_check_output(const char *command, const char *option, const char *output, const char *const *inputs,
                            size_t input_count);

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
