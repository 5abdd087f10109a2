// SPDX-License-Identifier: GPL-3.0-or-later
/* fuzz_scenario.c - any bytes as a scenario: taken or refused in words, and what is taken can be read as a model. */
#include "common.h"

#include <math.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
  static struct sb_scenario scenario;
  if (!fuzz_scenario((const char *)data, size, &scenario)) return 0;
  const struct sb_model *model = &scenario.model;
  const struct sb_derived derived = sb_model_derive(model);
  const double shortest_s = sb_model_shortest_s(&derived, model);
  fuzz_demand(model->gearbox.gear_count >= 1 && model->gearbox.gears[0].ratio > 0.0, "no gears");
  fuzz_demand(model->control.start_gear >= 1 && model->control.start_gear <= model->gearbox.gear_count, "start gear %d",
              model->control.start_gear);
  fuzz_demand(sb_model_step_count(model->run.duration_s, model->run.step_s) >= 1, "no steps");
  fuzz_demand(shortest_s > 0.0, "shortest time %g s", shortest_s);
  sb_scenario_clear(&scenario);
  return 0;
}
