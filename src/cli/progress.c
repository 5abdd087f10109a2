// SPDX-License-Identifier: GPL-3.0-or-later
/* progress.c - see progress.h. */
#include "cli/progress.h"

#include <stdio.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

enum { BAR = 30, WIDTH_MAX = 79 };

#define INTERVAL_S 0.1 /* between two lines */

static double now_s(void)
{
  struct timespec now;
  clock_gettime(CLOCK_MONOTONIC, &now);
  return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

void sb_progress_begin(struct sb_progress *progress, const char *what, bool is_quiet)
{
  *progress = (struct sb_progress){.what = what, .is_shown = !is_quiet && isatty(STDERR_FILENO) != 0};
}

/* "1:05 left", "2:03:04 left", or "" while nothing can be said. */
static void put_left(char *out, size_t size, double left_s)
{
  out[0] = 0;
  if (!(left_s >= 0.0 && left_s < 1e7)) return;
  const long s = (long)(left_s + 0.5);
  if (s >= 3600) {
    snprintf(out, size, "%ld:%02ld:%02ld left", s / 3600, s / 60 % 60, s % 60);
  } else {
    snprintf(out, size, "%ld:%02ld left", s / 60, s % 60);
  }
}

int sb_progress_line(char line[SB_PROGRESS_SIZE], const char *what, long done, long total, double rate)
{
  char bar[BAR + 1], left[32];
  const double share = total > 0 ? (double)done / (double)total : 1.0;
  const size_t filled = (size_t)(share * BAR);
  memset(bar, '-', BAR);
  memset(bar, '#', filled < BAR ? filled : BAR);
  bar[BAR] = 0;
  put_left(left, sizeof left, rate > 0.0 ? (double)(total - done) / rate : -1.0);
  const int width = snprintf(line, SB_PROGRESS_SIZE, "%.12s [%s] %3d %%  %ld/%ld  %s", what, bar, (int)(100.0 * share),
                             done, total, left);
  if (width <= WIDTH_MAX) return width;
  line[WIDTH_MAX] = 0;
  return WIDTH_MAX;
}

void sb_progress_show(struct sb_progress *progress, long done, long total)
{
  if (!progress->is_shown) return;
  const double time_s = now_s();
  if (!progress->is_begun) {
    progress->is_begun = true;
    progress->first_done = done;
    progress->begin_s = time_s;
  } else if (time_s - progress->shown_s < INTERVAL_S) {
    return;
  }
  progress->shown_s = time_s;
  char line[SB_PROGRESS_SIZE];
  const double passed_s = time_s - progress->begin_s;
  const double rate = passed_s > 0.0 ? (double)(done - progress->first_done) / passed_s : 0.0;
  const int width = sb_progress_line(line, progress->what, done, total, rate);
  /* Spaces cover what a longer line before left behind. */
  fprintf(stderr, "\r%s%*s", line, progress->width > width ? progress->width - width : 0, "");
  fflush(stderr);
  progress->width = width;
}

void sb_progress_end(struct sb_progress *progress)
{
  if (progress->width > 0) fprintf(stderr, "\r%*s\r", progress->width, "");
  progress->width = 0;
}
