// SPDX-License-Identifier: GPL-3.0-or-later
/* output.c - see output.h. */
#define _XOPEN_SOURCE 700 /* realpath */

#include "cli/output.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* The neighbour that a signal must remove; only one output is open at a time. */
static char part_to_remove[PATH_MAX];

static void remove_part_and_die(int number)
{
  if (part_to_remove[0] != 0) unlink(part_to_remove);
  signal(number, SIG_DFL);
  raise(number);
}

static void guard_part(const char *part_path)
{
  if (strlen(part_path) >= sizeof part_to_remove) return;
  strcpy(part_to_remove, part_path);
  const int numbers[] = {SIGINT, SIGTERM, SIGHUP};
  for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++) {
    struct sigaction before, action = {.sa_handler = remove_part_and_die};
    sigaction(numbers[i], NULL, &before);
    if (before.sa_handler == SIG_DFL) sigaction(numbers[i], &action, NULL);
  }
}

/* The neighbour's name pattern: a dot file in the same folder. */
static char *part_pattern(const char *path)
{
  const char *slash = strrchr(path, '/');
  const int folder = slash != NULL ? (int)(slash - path) + 1 : 0;
  const size_t size = strlen(path) + sizeof ".XXXXXX.part" + 1;
  char *pattern = malloc(size);
  if (pattern != NULL) snprintf(pattern, size, "%.*s.%s.XXXXXX", folder, path, path + folder);
  return pattern;
}

static int open_part(struct sb_output *output)
{
  output->part_path = part_pattern(output->path);
  if (output->part_path == NULL) return -1;
  const int descriptor = mkstemp(output->part_path);
  if (descriptor < 0) return -1;
  fcntl(descriptor, F_SETFD, FD_CLOEXEC);
  guard_part(output->part_path);
  const mode_t mask = umask(0);
  umask(mask);
  fchmod(descriptor, 0666 & ~mask);
  output->stream = fdopen(descriptor, "w");
  if (output->stream != NULL) return 0;
  close(descriptor);
  unlink(output->part_path);
  return -1;
}

bool sb_output_is_standard(const char *path)
{
  return strcmp(path, "-") == 0 || strcmp(path, "/dev/stdout") == 0;
}

int sb_output_open(struct sb_output *output, const char *path)
{
  *output = (struct sb_output){.stream = NULL};
  if (sb_output_is_standard(path)) {
    output->stream = stdout;
    return 0;
  }
  struct stat info;
  const bool exists = stat(path, &info) == 0;
  if (exists && S_ISDIR(info.st_mode)) {
    errno = EISDIR;
    return -1;
  }
  /* A link is followed, so that the file behind it is the one replaced. */
  output->path = exists ? realpath(path, NULL) : strdup(path);
  int result = -1;
  if (output->path != NULL && exists && !S_ISREG(info.st_mode)) {
    output->stream = fopen(output->path, "w");
    result = output->stream != NULL ? 0 : -1;
  } else if (output->path != NULL) {
    result = open_part(output);
  }
  if (result != 0) {
    const int reason = errno;
    free(output->path);
    free(output->part_path);
    *output = (struct sb_output){.stream = NULL};
    errno = reason;
  }
  return result;
}

/* Flushes and closes; standard output stays open. */
static int close_stream(struct sb_output *output)
{
  FILE *stream = output->stream;
  output->stream = NULL;
  errno = 0;
  const int had_error = ferror(stream);
  int result = fflush(stream) == 0 && !had_error ? 0 : -1;
  if (stream == stdout) return result;
  if (result == 0 && output->part_path != NULL && fsync(fileno(stream)) != 0) result = -1;
  const int reason = errno;
  if (fclose(stream) != 0) return -1;
  errno = reason != 0 ? reason : EIO;
  return result;
}

static void forget(struct sb_output *output)
{
  part_to_remove[0] = 0;
  free(output->path);
  free(output->part_path);
  *output = (struct sb_output){.stream = NULL};
}

int sb_output_commit(struct sb_output *output)
{
  int result = close_stream(output);
  if (result == 0 && output->part_path != NULL) result = rename(output->part_path, output->path);
  const int reason = errno;
  if (result != 0 && output->part_path != NULL) unlink(output->part_path);
  forget(output);
  errno = reason;
  return result;
}

void sb_output_drop(struct sb_output *output)
{
  const int reason = errno;
  if (output->stream != NULL) close_stream(output);
  if (output->part_path != NULL) unlink(output->part_path);
  forget(output);
  errno = reason;
}

bool sb_output_is_same_file(const char *a, const char *b)
{
  struct stat info_a, info_b;
  if (stat(a, &info_a) != 0 || stat(b, &info_b) != 0) return false;
  return S_ISREG(info_a.st_mode) && info_a.st_dev == info_b.st_dev && info_a.st_ino == info_b.st_ino;
}

char *sb_output_name_in(const char *folder, const char *scenario_path, const char *suffix)
{
  const char *slash = strrchr(scenario_path, '/');
  const char *base = strcmp(scenario_path, "-") == 0 ? "standard-input" : slash != NULL ? slash + 1 : scenario_path;
  const char *dot = strrchr(base, '.');
  const int length = dot != NULL && dot > base ? (int)(dot - base) : (int)strlen(base);
  const size_t size = strlen(folder) + strlen(base) + strlen(suffix) + sizeof "/.csv" + 1;
  char *name = malloc(size);
  if (name != NULL) snprintf(name, size, "%s/%.*s%s.csv", folder, length, base, suffix);
  return name;
}

bool sb_output_is_folder(const char *path)
{
  struct stat info;
  return stat(path, &info) == 0 && S_ISDIR(info.st_mode);
}
