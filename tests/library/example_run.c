/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Runs a scenario with one key changed in the model, and prints its shifts and verdicts. */
#include <stdio.h>

#include "shiftband/shiftband.h"

static int fail(const struct sb_error *err)
{
  fprintf(stderr, "%s\n", err->text);
  return 5;
}

static void print(const struct sb_run_result *result)
{
  size_t k;
  for (k = 0; k < result->monitor.shift_count; k++) {
    const struct sb_shift_record *shift = &result->monitor.shifts[k];
    printf("at %.3f s from gear %d to gear %d\n", shift->command_s, shift->from, shift->to);
  }
  printf("shifts %lu\nverdicts %lu\nturns %.15g\n", (unsigned long)result->monitor.shift_count,
         (unsigned long)result->monitor.verdict_count, result->end.output_turns);
}

int main(int argc, char **argv)
{
  struct sb_scenario scenario;
  struct sb_faults faults = {0, NULL};
  struct sb_error err = {SB_OK, ""};
  struct sb_run_result result;
  struct sb_run_options options = sb_run_options_default();
  size_t k;
  if (argc != 2 || sb_scenario_load(argv[1], NULL, 0, &scenario, &faults) != SB_OK) {
    for (k = 0; k < faults.count; k++) fprintf(stderr, "%s\n", faults.texts[k]);
    sb_faults_clear(&faults);
    return 3;
  }
  scenario.model.control.dwell_s = 2.0;
  if (sb_model_validate(&scenario.model, &err) != SB_OK) return fail(&err);
  if (sb_run(&scenario.model, &options, &result, &err) != SB_OK) return fail(&err);
  print(&result);
  sb_run_result_clear(&result);
  sb_scenario_clear(&scenario);
  return 0;
}
