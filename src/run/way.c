// SPDX-License-Identifier: GPL-3.0-or-later
/* One way to run a scenario, from its warm-up to what its report needs; see run.h. */
#include "shiftband/run.h"

int sb_run_ways(const struct sb_model *model, int locked_gear, bool is_comparison, int ways[SB_RUN_WAY_MAX])
{
  int count = 0;
  ways[count++] = locked_gear;
  for (int gear = 1; is_comparison && gear <= model->gearbox.gear_count; gear++) ways[count++] = gear;
  return count;
}

bool sb_run_never_shifts(const struct sb_report *report)
{
  return report->locked_gear == 0 && report->model->gearbox.gear_count > 1 && report->result->monitor.shift_count == 0;
}

enum sb_status sb_run_way(const struct sb_model *model, const struct sb_run_options *options, bool is_until_warm,
                          struct sb_run_way *out, struct sb_report *report, struct sb_error *err)
{
  const bool is_asked = options->decider != NULL && options->locked_gear == 0;
  *report = (struct sb_report){.model = model,
                               .result = &out->result,
                               .locked_gear = options->locked_gear,
                               .controller = is_asked ? options->decider->name : NULL};
  if (is_until_warm) {
    if (!model->winding.is_present) {
      return sb_fail(err, SB_ERR_SCENARIO, "--until-warm needs a winding that warms, found no motor.winding");
    }
    const enum sb_status status = sb_warmup_run(model, options->locked_gear, &out->warmup, err);
    if (status != SB_OK) return status;
    report->warmup = &out->warmup;
    report->model = &out->warmup.model;
  }
  return sb_run(report->model, options, &out->result, err);
}
