// SPDX-License-Identifier: GPL-3.0-or-later
/* The library from C++: reads a scenario, runs it, and prints what it did. */
#include <cstdio>

#include "shiftband/shiftband.h"

int main(int argc, char **argv)
{
  sb_error err = {};
  sb_faults faults = {};
  sb_scenario scenario = {};
  if (argc != 2 || sb_scenario_load(argv[1], nullptr, 0, &scenario, &faults) != SB_OK) {
    for (size_t i = 0; i < faults.count; i++) std::fprintf(stderr, "%s\n", faults.texts[i]);
    sb_faults_clear(&faults);
    return 3;
  }
  const sb_run_options options = sb_run_options_default();
  sb_run_result result = {};
  if (sb_run(&scenario.model, &options, &result, &err) != SB_OK) {
    std::fprintf(stderr, "%s\n", err.text);
    return 4;
  }
  std::printf("shifts %zu\nturns %.15g\nverdicts %zu\n", result.monitor.shift_count, result.end.output_turns,
              result.monitor.verdict_count);
  sb_run_result_clear(&result);
  sb_scenario_clear(&scenario);
  return 0;
}
