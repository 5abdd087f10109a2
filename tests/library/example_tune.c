/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Finds thresholds and dwell for a machine as written and with a weaker supply, and prints them. */
#include <stdio.h>

#include "shiftband/shiftband.h"

static int tune(const struct sb_model *model)
{
  struct sb_tune_machine machines[2];
  struct sb_tune_options options = sb_tune_options_default(model);
  struct sb_tune_result result;
  struct sb_error err = {SB_OK, ""};
  int k;
  for (k = 0; k < 2; k++) {
    machines[k].model = *model;
    machines[k].scenario = 0;
    machines[k].sample = k;
    machines[k].is_light = true;
  }
  machines[1].model.supply.open_circuit_voltage_v *= 0.95;
  for (k = 0; k < 2; k++) {
    if (sb_model_validate(&machines[k].model, &err) != SB_OK) break;
  }
  if (err.status != SB_OK || sb_tune(machines, 2, &options, &result, &err) != SB_OK) {
    fprintf(stderr, "%s\n", err.text);
    return 5;
  }
  printf("passes %d\ndownshift %.6g %%\nupshift %.6g %%\ndwell %.6g s\nmargin %.6g %%\n", result.passes,
         100.0 * result.downshift_fraction, 100.0 * result.upshift_fraction, result.dwell_s,
         100.0 * result.margin_fraction);
  return 0;
}

int main(int argc, char **argv)
{
  struct sb_scenario scenario;
  struct sb_faults faults = {0, NULL};
  struct sb_error err = {SB_OK, ""};
  int code;
  if (argc != 2 || sb_scenario_load(argv[1], NULL, 0, &scenario, &faults) != SB_OK) {
    sb_faults_fail(&err, SB_ERR_SCENARIO, &faults);
    fprintf(stderr, "%s\n", err.text);
    return 3;
  }
  code = tune(&scenario.model);
  sb_scenario_clear(&scenario);
  return code;
}
