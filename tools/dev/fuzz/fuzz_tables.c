// SPDX-License-Identifier: GPL-3.0-or-later
/* fuzz_tables.c - any bytes as the CSV of a load profile, over time and over turns, and of a grade. */
#include "common.h"

#include <math.h>

#include "base/arena.h"
#include "base/faults.h"
#include "scenario/table_csv.h"

static void read_as(const char *path, const struct sb_table_format *format)
{
  struct sb_arena arena = {0};
  struct sb_fault_list list = {.file = path};
  const struct sb_table_request request = {.format = format, .faults = &list, .arena = &arena};
  struct sb_table table = {0};
  bool has_decimal_commas;
  const enum sb_status status = sb_table_csv_read(path, &request, &table, &has_decimal_commas);
  fuzz_demand(status == SB_OK || status == SB_ERR_SCENARIO, "a table ends with status %d", (int)status);
  for (size_t k = 0; status == SB_OK && k < table.count; k++) {
    fuzz_demand(isfinite(table.x[k]) && isfinite(table.y[k]), "row %zu is not finite", k);
    fuzz_demand(k == 0 || table.x[k] >= table.x[k - 1], "row %zu goes back", k);
  }
  struct sb_faults faults = {0};
  fuzz_demand(sb_faults_publish(&list, &faults), "out of memory for faults");
  fuzz_faults(status, path, &faults);
  sb_arena_clear(&arena);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
  const char *path = fuzz_file("table.csv", data, size);
  read_as(path, &sb_table_torque_over_time);
  read_as(path, &sb_table_torque_over_turns);
  read_as(path, &sb_table_grade);
  return 0;
}
