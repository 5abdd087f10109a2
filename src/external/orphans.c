// SPDX-License-Identifier: GPL-3.0-or-later
#include "external/orphans.h"

#include <dirent.h>
#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>
#ifdef __linux__
#include <sys/prctl.h>
#endif

static bool is_adopting;
static const double give_up_s = 1.0;

void sb_orphans_adopt(void)
{
#ifdef __linux__
  is_adopting = prctl(PR_SET_CHILD_SUBREAPER, 1) == 0;
#endif
}

/* A child of this process: ended and buried where it is left behind. Returns whether it was. */
static bool end_one(pid_t child, sb_orphans_runs runs)
{
  const pid_t session = getsid(child);
  if (session < 0 || session == getsid(0) || runs(session) || runs(child)) return false;
  kill(child, SIGKILL);
  pid_t buried;
  do {
    buried = waitpid(child, NULL, 0);
  } while (buried < 0 && errno == EINTR);
  return true;
}

/* The children that one thread of this process has, or was given; returns how many of them were ended. */
static int end_children_of(const char *thread, sb_orphans_runs runs)
{
  char path[64];
  long child;
  int count = 0;
  snprintf(path, sizeof path, "/proc/self/task/%.20s/children", thread);
  FILE *list = fopen(path, "re");
  while (list != NULL && fscanf(list, "%ld", &child) == 1) count += end_one((pid_t)child, runs);
  if (list != NULL) fclose(list);
  return count;
}

static int end_children(sb_orphans_runs runs)
{
  int count = 0;
  DIR *threads = opendir("/proc/self/task");
  if (threads == NULL) return 0;
  for (struct dirent *thread; (thread = readdir(threads)) != NULL;) {
    if (thread->d_name[0] != '.') count += end_children_of(thread->d_name, runs);
  }
  closedir(threads);
  return count;
}

void sb_orphans_end(sb_orphans_runs runs)
{
  struct timespec start, now;
  clock_gettime(CLOCK_MONOTONIC, &start);
  now = start;
  while (is_adopting && end_children(runs) > 0 && (double)(now.tv_sec - start.tv_sec) < give_up_s) {
    clock_gettime(CLOCK_MONOTONIC, &now);
  }
}
