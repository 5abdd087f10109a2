// SPDX-License-Identifier: GPL-3.0-or-later
/* shell.h - runs commands of the repository's folder and looks at what they said. */
#ifndef SHIFTBAND_TESTS_SHELL_H
#define SHIFTBAND_TESTS_SHELL_H

#include <stddef.h>

/* What a command said on both streams, and its exit code (-1: killed). Overwritten by the next command. */
struct said {
  int code;
  char text[262144];
};

/* Makes the folder for temporary files, and removes it; as group setup and teardown of cmocka. */
int shell_setup(void **state);
int shell_teardown(void **state);

/*
 * Runs a shell command in the repository's folder. In it $T is a folder for temporary files and $SHIFTBAND the program.
 */
const struct said *shell_run(const char *command);

/* What follows the first place of a part in a text, or NULL; where the part has a space, the text may begin a new line. */
const char *shell_find(const char *text, const char *part);

/* Fails the test unless the text holds the part, or unless it does not, found as by shell_find(). */
void shell_expect(const struct said *said, const char *part);
void shell_expect_not(const struct said *said, const char *part);

/* A command that must fail: what it says, and its exit code. */
struct shell_fault {
  const char *command, *said;
  int code;
};

/* Runs each of them and looks at both. */
void shell_expect_faults(const struct shell_fault *faults, size_t count);

/* The number that follows the first `name` in the text; NAN when there is none. */
double shell_figure(const struct said *said, const char *name);

#endif
