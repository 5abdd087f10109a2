// SPDX-License-Identifier: GPL-3.0-or-later
#include "common.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

void fuzz_demand(bool is_fine, const char *format, ...)
{
  if (is_fine) return;
  va_list arguments;
  va_start(arguments, format);
  fputs("fuzz: ", stderr);
  vfprintf(stderr, format, arguments);
  fputc('\n', stderr);
  va_end(arguments);
  abort();
}

static char folder[64];

static void remove_folder(void)
{
  char command[128];
  snprintf(command, sizeof command, "rm -rf '%s'", folder);
  if (system(command) != 0) perror(folder);
}

/* With the tables that shipped and tested scenarios read. */
static void make_folder(void)
{
  char command[256];
  strcpy(folder, "/tmp/shiftband-fuzz.XXXXXX");
  fuzz_demand(mkdtemp(folder) != NULL, "no folder %s", folder);
  atexit(remove_folder);
  snprintf(command, sizeof command, "cp -r scenarios/data tests/good/*.csv '%s'", folder);
  fuzz_demand(system(command) == 0, "run it in the folder of the sources");
}

const char *fuzz_file(const char *name, const void *bytes, size_t size)
{
  static char path[128];
  if (folder[0] == 0) make_folder();
  snprintf(path, sizeof path, "%s/%s", folder, name);
  FILE *file = fopen(path, "wb");
  fuzz_demand(file != NULL, "%s cannot be written", path);
  const bool is_whole = fwrite(bytes, 1, size, file) == size;
  fuzz_demand(fclose(file) == 0 && is_whole, "%s cannot be written", path);
  return path;
}

void fuzz_faults(enum sb_status status, const char *path, struct sb_faults *faults)
{
  fuzz_demand((status == SB_OK) == (faults->count == 0), "status %d with %zu faults", (int)status, faults->count);
  for (size_t k = 0; k < faults->count; k++) {
    const char *more = strstr(faults->texts[k], " not listed"); /* there are too many */
    if (more == NULL) more = strstr(faults->texts[k], ".csv:"); /* a table of the scenario's */
    fuzz_demand(more != NULL || strstr(faults->texts[k], path) != NULL, "a fault without its file: %s",
                faults->texts[k]);
  }
  sb_faults_clear(faults);
}

bool fuzz_scenario(const char *text, size_t size, struct sb_scenario *out)
{
  static const char *const paths[] = {"scenarios/fuzz.yaml", "tests/good/fuzz.yaml"};
  enum sb_status status = SB_ERR_SCENARIO;
  for (int k = 0; k < 2 && status != SB_OK; k++) {
    struct sb_faults faults = {0};
    status = sb_scenario_parse(paths[k], text, size, NULL, 0, out, &faults);
    fuzz_demand(status == SB_OK || status == SB_ERR_SCENARIO, "a scenario ends with status %d", (int)status);
    fuzz_faults(status, paths[k], &faults);
  }
  return status == SB_OK;
}
