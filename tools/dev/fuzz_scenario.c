// SPDX-License-Identifier: GPL-3.0-or-later
/* fuzz_scenario.c - any bytes as a scenario: taken or refused, and what is taken runs a little way. */
#include <gsl/gsl_errno.h>
#include <stddef.h>
#include <stdint.h>

#include "shiftband/run.h"
#include "shiftband/scenario.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
  gsl_set_error_handler_off();
  struct sb_scenario scenario;
  struct sb_faults faults = {0};
  const enum sb_status status = sb_scenario_parse("fuzz.yaml", (const char *)data, size, NULL, 0, &scenario, &faults);
  sb_faults_clear(&faults);
  if (status != SB_OK) return 0;
  struct sb_model model = scenario.model;
  if (model.run.duration_s > 100.0 * model.run.step_s) model.run.duration_s = 100.0 * model.run.step_s;
  const struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  if (sb_run(&model, &options, &result, NULL) == SB_OK) sb_run_result_clear(&result);
  sb_scenario_clear(&scenario);
  return 0;
}
