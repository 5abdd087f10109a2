// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * progress.h - one line about long work on standard error: bar, percent, count, time left.
 *
 *   maps  [##########--------------------]  35 %  35/100  1:20 left
 *
 * It is rewritten in place a few times a second, and gone at the end. Where standard error is no terminal nothing is
 * written at all. Plain characters only: no colors, no control sequences but the carriage return.
 */
#ifndef SHIFTBAND_CLI_PROGRESS_H
#define SHIFTBAND_CLI_PROGRESS_H

#include <stdbool.h>

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
