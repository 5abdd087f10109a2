// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * refuse.c - memory that is refused, for tools/dev/faults: linked between a program and the C library (ld --wrap), also for the
 * static libraries that it uses. SB_REFUSED=N refuses the N-th allocation; SB_COUNT=FILE writes there, at the end, a line for each
 * path of calls that allocations came by: the numbers of the first and of the last one. What sb_shortage_brace() has tried is not refused until sb_shortage_relax(). SB_SHORT=1 lets read() and write() move one byte a call.
 */
#include <errno.h>
#include <execinfo.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_realloc(void *old, size_t size);
char *__real_strdup(const char *text);
FILE *__real_open_memstream(char **text, size_t *size);
bool __real_sb_shortage_brace(size_t bytes);
void __real_sb_shortage_relax(void);
ssize_t __real_read(int file, void *bytes, size_t size);
ssize_t __real_write(int file, const void *bytes, size_t size);

void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_realloc(void *old, size_t size);
char *__wrap_strdup(const char *text);
FILE *__wrap_open_memstream(char **text, size_t *size);
bool __wrap_sb_shortage_brace(size_t bytes);
void __wrap_sb_shortage_relax(void);
ssize_t __wrap_read(int file, void *bytes, size_t size);
ssize_t __wrap_write(int file, const void *bytes, size_t size);

enum { PATHS_MAX = 1 << 16, CALLS_MAX = 64 };

struct path {
  uint64_t sum; /* of the addresses that calls return to; 0: none */
  long first, last;
};

static struct path paths[PATHS_MAX];
static const char *count_file;
static long refused, seen;
static size_t braced; /* bytes */
static bool is_short;

__attribute__((constructor)) static void begin(void)
{
  const char *number = getenv("SB_REFUSED");
  refused = number != NULL ? strtol(number, NULL, 10) : 0;
  count_file = getenv("SB_COUNT");
  is_short = getenv("SB_SHORT") != NULL;
}

__attribute__((destructor)) static void end(void)
{
  FILE *out = count_file != NULL ? fopen(count_file, "w") : NULL;
  if (out == NULL) return;
  for (size_t k = 0; k < PATHS_MAX; k++) {
    if (paths[k].sum != 0) fprintf(out, "%ld %ld\n", paths[k].first, paths[k].last);
  }
  fclose(out);
}

/* Where all places are taken, paths share the last one that was looked at. */
static void note_path(void)
{
  void *calls[CALLS_MAX];
  const int count = backtrace(calls, CALLS_MAX);
  uint64_t sum = UINT64_C(14695981039346656037);
  for (int k = 0; k < count; k++) sum = (sum ^ (uintptr_t)calls[k]) * UINT64_C(1099511628211);
  sum |= 1;
  size_t place = (size_t)(sum >> 40) % PATHS_MAX;
  for (size_t k = 0; k < PATHS_MAX && paths[place].sum != 0 && paths[place].sum != sum; k++) {
    place = (place + 1) % PATHS_MAX;
  }
  if (paths[place].sum == 0) paths[place] = (struct path){sum, seen, seen};
  paths[place].last = seen;
}

/* Threads may count at the same time; the commands that are tried use one. */
static bool is_refused(size_t size)
{
  if (size <= braced) {
    braced -= size;
    return false;
  }
  seen++;
  if (count_file != NULL) note_path();
  if (seen != refused) return false;
  errno = ENOMEM;
  return true;
}

void *__wrap_malloc(size_t size)
{
  return is_refused(size) ? NULL : __real_malloc(size);
}

void *__wrap_calloc(size_t count, size_t size)
{
  return is_refused(count * size) ? NULL : __real_calloc(count, size);
}

void *__wrap_realloc(void *old, size_t size)
{
  return is_refused(size) ? NULL : __real_realloc(old, size);
}

char *__wrap_strdup(const char *text)
{
  return is_refused(strlen(text) + 1) ? NULL : __real_strdup(text);
}

FILE *__wrap_open_memstream(char **text, size_t *size)
{
  return is_refused(SIZE_MAX) ? NULL : __real_open_memstream(text, size);
}

bool __wrap_sb_shortage_brace(size_t bytes)
{
  const bool is_there = __real_sb_shortage_brace(bytes);
  braced = is_there ? bytes : 0;
  return is_there;
}

void __wrap_sb_shortage_relax(void)
{
  braced = 0;
  __real_sb_shortage_relax();
}

ssize_t __wrap_read(int file, void *bytes, size_t size)
{
  return __real_read(file, bytes, is_short && size > 1 ? 1 : size);
}

ssize_t __wrap_write(int file, const void *bytes, size_t size)
{
  return __real_write(file, bytes, is_short && size > 1 ? 1 : size);
}
