// SPDX-License-Identifier: GPL-3.0-or-later
/* progress.c - see long_work.h. */
#include "cli/long_work.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <time.h>
#include <unistd.h>

enum { BAR_MAX = 30, BAR_MIN = 4, COLUMNS_MIN = 20, COLUMNS_MAX = 200 };

static const char full[BAR_MAX + 1] = "##############################";
static const char empty[BAR_MAX + 1] = "------------------------------";

#define INTERVAL_S 0.1 /* between two lines */

static double now_s(void)
{
  struct timespec now;
  clock_gettime(CLOCK_MONOTONIC, &now);
  return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* Columns of the terminal on standard error: COLUMNS when that is a number, else what the terminal says, else 80. */
static int count_columns(void)
{
  struct winsize size = {0};
  const char *set = getenv("COLUMNS");
  int columns = set != NULL ? atoi(set) : 0;
  if (columns <= 0 && ioctl(STDERR_FILENO, TIOCGWINSZ, &size) == 0) columns = size.ws_col;
  if (columns <= 0) columns = 80;
  return columns < COLUMNS_MIN ? COLUMNS_MIN : columns > COLUMNS_MAX ? COLUMNS_MAX : columns;
}

void sb_progress_begin(struct sb_progress *progress, const char *what, bool is_quiet)
{
  *progress = (struct sb_progress){
      .what = what, .is_shown = !is_quiet && isatty(STDERR_FILENO) != 0, .columns = count_columns()};
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

int sb_progress_line(char line[SB_PROGRESS_SIZE], int columns, const char *what, long done, long total, double rate)
{
  char bar[2 * BAR_MAX + 8] = "", left[32], figures[96];
  const double share = total > 0 ? (double)done / (double)total : 1.0;
  put_left(left, sizeof left, rate > 0.0 ? (double)(total - done) / rate : -1.0);
  snprintf(figures, sizeof figures, " %3d %%  %ld/%ld  %s", (int)(100.0 * share), done, total, left);
  int room = columns - 1 - (int)(strlen(figures) + strlen(what)) - 3; /* for the bar: it stands in " [" and "]" */
  if (room > BAR_MAX) room = BAR_MAX;
  if (room >= BAR_MIN) {
    const int filled = (int)(share * room);
    snprintf(bar, sizeof bar, " [%.*s%.*s]", filled, full, room - filled, empty);
  }
  const int width = snprintf(line, SB_PROGRESS_SIZE, "%.40s%s%s", what, bar, figures);
  if (width < columns) return width;
  line[columns - 1] = 0;
  return columns - 1;
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
  const int width = sb_progress_line(line, progress->columns, progress->what, done, total, rate);
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
