// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * status.h - the one list of results, and the error text that goes with a failure.
 *
 * A fallible function returns enum sb_status and writes its results only on success. The library never
 * prints, exits or aborts on bad input.
 *
 * What all functions of the library demand, unless their header says more:
 *
 *   threads   Functions may run in several threads at once as long as no two of them work on the same object, and none changes
 *             what another reads. A model and a scenario are only read once loaded. sb_tune() and sb_tasks_run() make threads
 *             of their own (OpenMP). Standard input, as the path "-", is read once a process.
 *   locale    None: numbers have a decimal point in whatever locale the caller has set, which stays as it is.
 *   GSL       None: while a function is at work in GSL, GSL's error handler (one for the whole process) is off, and the last
 *             one puts it back as it was. So do not change the handler in another thread meanwhile.
 *   signals   None is caught or sent. External controllers (external_program.h) are child processes; ignore SIGPIPE.
 */
#ifndef SHIFTBAND_STATUS_H
#define SHIFTBAND_STATUS_H

#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

/* Of the library and the program: the only place where it stands (the Makefile reads it here). */
#define SB_VERSION "0.1.0"

/* That of the library which the program runs with, as SB_VERSION was when it was built; a constant string. */
const char *sb_version(void);

#define SB_STATUS_LIST(X)                                     \
  X(SB_OK, "success")                                         \
  X(SB_ERR_MEMORY, "out of memory")                           \
  X(SB_ERR_USAGE, "wrong command line")                       \
  X(SB_ERR_SCENARIO, "fault in a scenario, a table or a log") \
  X(SB_ERR_IO, "reading or writing failed")                   \
  X(SB_ERR_NUMERICS, "the calculation failed")                \
  X(SB_ERR_STOPPED, "stopped on request")                     \
  X(SB_ERR_CONTROLLER, "an external controller failed")

enum sb_status {
#define SB_STATUS_CODE(code, text) code,
  SB_STATUS_LIST(SB_STATUS_CODE)
#undef SB_STATUS_CODE
};

enum { SB_ERROR_TEXT_SIZE = 1024 };

/* What went wrong, in words, without a line end. text[0] == 0 when nothing did. */
struct sb_error {
  enum sb_status status;
  char text[SB_ERROR_TEXT_SIZE];
};

/* The faults of a file: each text is whole ("file:line:column: key: needs ..., found ..."), in order of place. */
struct sb_faults {
  size_t count;
  char **texts; /* texts[count], owned */
};

void sb_faults_clear(struct sb_faults *faults);

/* The meaning of a status, a constant string, never NULL. */
const char *sb_status_text(enum sb_status status);

/* Fills err (which may be NULL) from a printf format, cut to its size, and returns status. */
enum sb_status sb_fail(struct sb_error *err, enum sb_status status, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* Fills err with the first of the faults, or with the status where there is none, clears them and returns status. */
enum sb_status sb_faults_fail(struct sb_error *err, enum sb_status status, struct sb_faults *faults);

/* Text in quotes for a message: cut to about 60 bytes, with control characters made visible. */
struct sb_quote {
  char text[96];
};
struct sb_quote sb_fail_quote(const char *text);

/* Adds a printf format to a text, cut to the size of all. */
void sb_fail_add(char *text, size_t size, const char *format, ...) __attribute__((format(printf, 3, 4)));

#ifdef __cplusplus
}
#endif

#endif
