// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * long_work.h - a study as commands run it: progress, interrupts, journal, messages.
 *
 * The journal lies beside the output, OUT.part. SIGINT, SIGTERM and SIGHUP end the handing out of tasks; what is running
 * is finished and kept, the user is told how to go on, and the exit code is 128 + the signal's number. A second signal
 * ends the program at once; the journal stays usable.
 */
#ifndef SHIFTBAND_CLI_LONG_WORK_H
#define SHIFTBAND_CLI_LONG_WORK_H

#include <signal.h>
#include <stdbool.h>

#include "shiftband/tasks.h"

struct sb_long_work {
  const char *what;   /* what is counted: "samples" */
  const char *output; /* path of the output; NULL or "-": no journal */
  long jobs;          /* 0: all cores */
  int shard, shard_count;
  bool is_resumed, is_quiet;
  char *journal_path; /* filled by run, owned; NULL: none */
};

/* Runs the study. SB_EXIT_DONE with a whole result to be released, else the code to exit with, told already. */
int sb_long_work_run(struct sb_long_work *work, const struct sb_tasks *tasks, struct sb_tasks_result *result);

/* After the output is in place (is_safe), removes the journal; releases. */
void sb_long_work_end(struct sb_long_work *work, bool is_safe);

/* Writes a finished shard to the output; tells of failures. Returns an exit code. */
int sb_long_work_write_shard(const struct sb_long_work *work, const struct sb_tasks_result *result);

/* Options that all long work shares. "k/n" with 1 <= k <= n; false when it is none. */
bool sb_long_work_read_shard(struct sb_long_work *work, const char *text);

/* ---- interrupt.c: long work stops at a signal between two tasks, keeps what it has, and says how to go on ---- */

/* From here on the first SIGINT, SIGTERM or SIGHUP only raises the flag; one that was ignored stays ignored. */
void sb_interrupt_catch(void);

/* Undoes it: signals end the program again, where they did before. */
void sb_interrupt_release(void);

/* The signal that came, 0: none yet. */
const volatile sig_atomic_t *sb_interrupt_flag(void);

/* Says that the work was interrupted and, unless NULL, how to go on; returns the exit code, 128 plus the signal. */
int sb_interrupt_exit(const char *how_to_go_on);

/* ---- progress.c: one line about long work on standard error: bar, percent, count, time left ---- */

/*
 * maps  [##########--------------------]  35 %  35/100  1:20 left
 *
 * It is rewritten in place a few times a second, and gone at the end. Where standard error is no terminal nothing is
 * written at all. Plain characters only: no colors, no control sequences but the carriage return.
 */
struct sb_progress {
  const char *what; /* what is counted; a constant string */
  bool is_shown;    /* standard error is a terminal */
  bool is_begun;
  long first_done; /* at the first call: done before this program */
  double begin_s;  /* of that call, by the monotonic clock */
  double shown_s;  /* of the last line */
  int width;       /* of the last line */
  int columns;     /* of the terminal */
};

void sb_progress_begin(struct sb_progress *progress, const char *what, bool is_quiet);
void sb_progress_show(struct sb_progress *progress, long done, long total);

/* Clears the line. */
void sb_progress_end(struct sb_progress *progress);

enum { SB_PROGRESS_SIZE = 256 };

/*
 * The line without its carriage return, less than `columns` wide: the bar takes what is left, and goes first where there is
 * little; rate in tasks a second, 0: not yet known. Returns its width.
 */
int sb_progress_line(char line[SB_PROGRESS_SIZE], int columns, const char *what, long done, long total, double rate);

#endif
