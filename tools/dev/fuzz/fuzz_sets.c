// SPDX-License-Identifier: GPL-3.0-or-later
/* fuzz_sets.c - lines PATH=VALUE as the --set of a scenario that has every key. */
#include "common.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SETS_MAX = 16 };

static char base[1 << 16];
static size_t base_size;

static void read_base(void)
{
  FILE *file = fopen("tests/good/everything.yaml", "rb");
  fuzz_demand(file != NULL, "run it in the folder of the sources");
  base_size = fread(base, 1, sizeof base, file);
  fclose(file);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
  static struct sb_scenario scenario;
  const char *sets[SETS_MAX];
  size_t count = 0;
  if (base_size == 0) read_base();
  char *text = strndup((const char *)data, size);
  fuzz_demand(text != NULL, "out of memory");
  for (char *line = strtok(text, "\n"); line != NULL && count < SETS_MAX; line = strtok(NULL, "\n"))
    sets[count++] = line;
  struct sb_faults faults = {0};
  const enum sb_status status =
      sb_scenario_parse("tests/good/fuzz.yaml", base, base_size, sets, count, &scenario, &faults);
  fuzz_demand(status == SB_OK || status == SB_ERR_SCENARIO || status == SB_ERR_USAGE, "status %d", (int)status);
  fuzz_demand((status == SB_OK) == (faults.count == 0), "status %d with %zu faults", (int)status, faults.count);
  if (status == SB_OK) sb_scenario_clear(&scenario);
  sb_faults_clear(&faults);
  free(text);
  return 0;
}
