// SPDX-License-Identifier: GPL-3.0-or-later
/* A finished design beside others: its run as it is written, and the margin of its own thresholds. */
#include <math.h>
#include <stdlib.h>

#include "base/arena.h"
#include "design/machine.h"
#include "shiftband/tune.h"

/* The least distance of its thresholds to a failure, of all pairs; 0 where they fail. */
static enum sb_status find_margin(const struct sb_design_request *request, const struct sb_model *model, double *margin,
                                  struct sb_error *err)
{
  struct sb_tune_machine *machine = calloc(1, sizeof *machine);
  struct sb_tune_result *result = calloc(1, sizeof *result);
  enum sb_status status =
      machine != NULL && result != NULL ? SB_OK : sb_fail(err, SB_ERR_MEMORY, "out of memory for a margin");
  *margin = NAN;
  for (int p = 0; p + 1 < model->gearbox.gear_count && status == SB_OK; p++) {
    struct sb_tune_options options = sb_tune_options_default(model);
    *machine = (struct sb_tune_machine){.model = *model, .is_light = true};
    options.pair = p;
    options.is_fixed = options.is_rough = true;
    options.dwell_s = model->control.dwell_s;
    options.jobs = request->jobs;
    options.stop = request->stop;
    status = sb_tune(machine, 1, &options, result, err);
    if (status == SB_OK)
      *margin = fmin(isnan(*margin) ? INFINITY : *margin, result->passes ? result->margin_fraction : 0.0);
  }
  free(machine);
  free(result);
  return status;
}

static int wheels_of(const struct sb_gearbox *gearbox)
{
  int wheels = 0;
  for (int g = 0; g < gearbox->gear_count; g++) {
    if (gearbox->gears[g].given_ratio > 0.0) return 0;
    wheels += 2 * gearbox->gears[g].mesh_count;
  }
  return wheels;
}

static enum sb_status prove(const struct sb_model *model, struct sb_design *design, struct sb_error *err)
{
  struct sb_prove *proof = calloc(1, sizeof *proof);
  if (proof == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for a proof");
  const enum sb_status status = sb_prove_solve(model, proof, err);
  design->is_proved_class = status == SB_OK && proof->outside == NULL;
  if (design->is_proved_class) {
    for (int k = 0; k < SB_PROVE_STATEMENTS; k++) design->statements[k] = proof->statements[k];
    design->figures.swing_nm = proof->bounds[SB_PROVE_SWING];
  }
  free(proof);
  return status;
}

enum sb_status sb_design_take(const char *path, const struct sb_design_request *request,
                              struct sb_design_answer *answer, struct sb_faults *faults, struct sb_error *err)
{
  struct sb_scenario *scenario = calloc(1, sizeof *scenario);
  struct sb_design *designs = realloc(answer->designs, ((size_t)answer->design_count + 1) * sizeof *designs);
  if (designs != NULL) answer->designs = designs;
  *faults = (struct sb_faults){0};
  enum sb_status status = scenario != NULL && designs != NULL ? SB_OK : SB_ERR_MEMORY;
  if (status == SB_OK)
    status = sb_scenario_load(path, request->source.sets, request->source.set_count, scenario, faults);
  if (status != SB_OK) {
    free(scenario);
    return status;
  }
  const struct sb_model *model = &scenario->model;
  struct sb_design *design = &answer->designs[answer->design_count];
  *design = (struct sb_design){.path = path, .candidate.tooth_per_nm = NAN, .control = sb_machine_own_control(model)};
  sb_fail_add(design->name, sizeof design->name, "%s", model->name);
  status = sb_machine_run(model, &design->candidate, &design->figures, err);
  if (status == SB_OK) status = find_margin(request, model, &design->figures.margin_fraction, err);
  if (status == SB_OK) status = prove(model, design, err);
  design->figures.wheel_count = wheels_of(&model->gearbox);
  if (status == SB_OK) answer->design_count++;
  sb_scenario_clear(scenario);
  free(scenario);
  return status;
}
