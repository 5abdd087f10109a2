// SPDX-License-Identifier: GPL-3.0-or-later
/* fuzz_logs.c - any bytes as a log: inspected as a trace, and fitted as what a bench measured. */
#include "common.h"

#include <math.h>
#include <stdio.h>

#include "shiftband/fit.h"
#include "shiftband/inspect.h"

enum { FITTED_ROWS_MAX = 60 };

static void check_log(const struct sb_log *log)
{
  for (size_t k = 1; log->time_s != NULL && k < log->count; k++) {
    fuzz_demand(log->time_s[k] >= log->time_s[k - 1], "time goes back at row %zu", k);
  }
}

static void inspect(const uint8_t *data, size_t size)
{
  struct sb_log log;
  struct sb_faults faults = {0};
  struct sb_log_options options = sb_log_options_default();
  options.text = (const char *)data;
  options.length = size;
  const enum sb_status status = sb_log_read("fuzz.csv", &options, &log, &faults);
  fuzz_faults(status, "fuzz.csv", &faults);
  if (status != SB_OK) return;
  check_log(&log);
  const struct sb_inspect_options how = sb_inspect_options_default();
  struct sb_inspection found;
  struct sb_error err = {SB_OK, ""};
  const enum sb_status inspected = sb_inspect(&log, &how, &found, &err);
  fuzz_demand(inspected == SB_OK || err.text[0] != 0, "inspect fails without a word");
  if (inspected == SB_OK) {
    for (size_t k = 1; k < found.shift_count; k++) {
      fuzz_demand(found.shifts[k].command_s >= found.shifts[k - 1].command_s, "shift %zu comes before the last", k);
    }
    sb_inspect_clear(&found);
  }
  sb_log_clear(&log);
}

static void fit(const struct sb_log *log)
{
  struct sb_fit_setup setup = sb_fit_setup_default(NULL);
  setup.nominal_voltage_v = 12.0;
  struct sb_fit_result result;
  struct sb_error err = {SB_OK, ""};
  const enum sb_status status = sb_fit_solve(&setup, log, 1, &result, &err);
  fuzz_demand(status == SB_OK || err.text[0] != 0, "fit fails without a word");
  if (status != SB_OK) return;
  for (int k = 0; k < SB_FIT_FIGURE_COUNT; k++) {
    const bool is_told = result.figures[k].state == SB_FIT_DETERMINED;
    fuzz_demand(!is_told || isfinite(result.figures[k].value), "figure %d is not finite", k);
  }
  FILE *nowhere = fopen("/dev/null", "w");
  fuzz_demand(nowhere != NULL && sb_fit_write_json(&result, log, nowhere) == 0, "the report fails");
  fclose(nowhere);
  sb_fit_result_clear(&result);
}

static void take_bench(const uint8_t *data, size_t size)
{
  struct sb_log log;
  struct sb_faults faults = {0};
  bool takes[SB_LOG_COLUMN_COUNT];
  for (int k = 0; k < SB_LOG_COLUMN_COUNT; k++) takes[k] = true;
  const struct sb_log_options options = {
      .text = (const char *)data, .length = size, .may_lack_time = true, .least_rows = 2, .arm_m = 0.1, .takes = takes};
  const enum sb_status status = sb_fit_log_read("fuzz.csv", &options, &log, &faults);
  fuzz_faults(status, "fuzz.csv", &faults);
  if (status != SB_OK) return;
  check_log(&log);
  if (log.count <= FITTED_ROWS_MAX) fit(&log);
  sb_log_clear(&log);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
  inspect(data, size);
  take_bench(data, size);
  return 0;
}
