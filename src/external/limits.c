// SPDX-License-Identifier: GPL-3.0-or-later
#include "external/limits.h"

#include <string.h>
#include <sys/resource.h>

#include "shiftband/status.h"

#if defined(__SANITIZE_ADDRESS__)
enum { IS_SANITIZED = 1 }; /* the sanitizer's shadow memory counts, too */
#else
enum { IS_SANITIZED = 0 };
#endif

static const struct {
  int resource;
  char letter;
  long unit, most;
} limits[] = {
#define ENTRY(resource, letter, unit, most) {resource, letter, unit, most},
    SB_CONTROLLER_LIMIT_LIST(ENTRY)
#undef ENTRY
};

enum { LIMIT_COUNT = sizeof limits / sizeof *limits };

void sb_limits_set(void)
{
  for (int k = 0; k < LIMIT_COUNT; k++) {
    struct rlimit now;
    if (IS_SANITIZED && limits[k].resource == RLIMIT_DATA) continue;
    if (getrlimit(limits[k].resource, &now) != 0) continue;
    const rlim_t most = (rlim_t)limits[k].most;
    if (now.rlim_max == RLIM_INFINITY || now.rlim_max > most) now.rlim_max = most;
    if (now.rlim_cur == RLIM_INFINITY || now.rlim_cur > now.rlim_max) now.rlim_cur = now.rlim_max;
    setrlimit(limits[k].resource, &now);
  }
}

void sb_limits_write(char *text, size_t size)
{
  text[0] = 0;
  for (int k = 0; k < LIMIT_COUNT; k++) {
    sb_fail_add(text, size, "ulimit -%c %ld 2>/dev/null; ", limits[k].letter, limits[k].most / limits[k].unit);
  }
}
