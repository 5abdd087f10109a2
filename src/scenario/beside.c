// SPDX-License-Identifier: GPL-3.0-or-later
#include "scenario/beside.h"

#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "shiftband/scenario.h"

/* Of the X/Open part of POSIX, which the flags of the library leave out. */
char *realpath(const char *restrict path, char *restrict resolved);

static bool is_outside_allowed;

void sb_scenario_allow_outside(bool is_allowed)
{
  is_outside_allowed = is_allowed;
}

/* Both absolute and without links; the folder has no slash at its end but for "/" alone. */
static bool is_below(const char *folder, const char *path)
{
  const size_t length = strcmp(folder, "/") == 0 ? 0 : strlen(folder);
  return strncmp(folder, path, length) == 0 && path[length] == '/';
}

/* Whether a name leads out of its folder by what it says. */
static bool leads_out(const char *file)
{
  if (file[0] == '/') return true;
  for (const char *step = file; *step != 0;) {
    const size_t length = strcspn(step, "/");
    if (length == 2 && step[0] == '.' && step[1] == '.') return true;
    step += length + (step[length] == '/');
  }
  return false;
}

/* A file that is not there is judged by its name, so that nobody learns what is elsewhere. */
static bool is_inside(const char *folder_path, const char *path, const char *file)
{
  char folder[PATH_MAX], whole[PATH_MAX];
  if (realpath(path, whole) == NULL) return !leads_out(file);
  return realpath(folder_path, folder) != NULL && is_below(folder, whole);
}

bool sb_beside_find(const char *scenario, const char *file, char path[SB_BESIDE_SIZE])
{
  char folder[SB_BESIDE_SIZE];
  const char *slash = strrchr(scenario, '/');
  const int length = slash == NULL ? 0 : (int)(slash - scenario) + 1;
  snprintf(folder, sizeof folder, "%.*s", length, scenario);
  snprintf(path, SB_BESIDE_SIZE, "%s%s", file[0] == '/' ? "" : folder, file);
  return is_outside_allowed || is_inside(length > 0 ? folder : ".", path, file);
}
