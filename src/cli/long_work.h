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

#endif
