// SPDX-License-Identifier: GPL-3.0-or-later
/* A finished design beside others: its run as it is written, and the margin of its own thresholds. */
#include <math.h>
#include <stdlib.h>

#include "base/arena.h"
#include "design/stage.h"
#include "shiftband/tune.h"

/* The least distance of its thresholds to a failure, of all pairs; 0 where they fail. And the load that they carry. */
static enum sb_status find_margin(const struct sb_design_request *request, const struct sb_model *model,
                                  struct sb_design *design, struct sb_error *err)
{
  struct sb_design_figures *figures = &design->figures;
  double lightest_nm, heaviest_nm;
  sb_load_range_nm(&model->load, model->run.duration_s, &lightest_nm, &heaviest_nm);
  struct sb_tune_machine *machine = calloc(1, sizeof *machine);
  struct sb_tune_result *result = calloc(1, sizeof *result);
  const bool is_whole = machine != NULL && result != NULL;
  enum sb_status status = is_whole ? SB_OK : sb_fail(err, SB_ERR_MEMORY, "out of memory for a margin");
  for (int p = 0; is_whole && p + 1 < model->gearbox.gear_count; p++) {
    struct sb_tune_options options = sb_tune_options_default(model);
    *machine = (struct sb_tune_machine){.model = *model, .is_light = true};
    options.pair = p;
    options.is_fixed = true;
    options.dwell_s = model->control.dwell_s;
    options.jobs = request->jobs;
    options.stop = request->stop;
    status = sb_tune(machine, 1, &options, result, err);
    if (status != SB_OK) break;
    figures->margin_fraction = fmin(figures->margin_fraction, result->passes ? result->margin_fraction : 0.0);
    const double carried_nm = sb_stage_carried_nm(heaviest_nm, result, &design->limit);
    figures->carried_nm = fmin(figures->carried_nm, carried_nm); /* but for NAN */
  }
  free(machine);
  free(result);
  return status;
}

/* Meshes that a gear shares with the first one, from the motor on. */
static int shared_count(const struct sb_gear *gear, const struct sb_gear *first)
{
  int shared = 0;
  while (shared < gear->mesh_count && shared < first->mesh_count &&
         gear->meshes[shared].driver_teeth == first->meshes[shared].driver_teeth &&
         gear->meshes[shared].driven_teeth == first->meshes[shared].driven_teeth) {
    shared++;
  }
  return shared;
}

/* Whether the driven wheel of a mesh may be the driver of the next one: an idler. */
static int idler_count(const struct sb_gear *gear, int from)
{
  int idlers = 0;
  for (int m = from; m + 1 < gear->mesh_count; m++) {
    const bool is_opposed = (gear->mesh_count - from) % 2 == 0;
    idlers += is_opposed && gear->meshes[m].driven_teeth == gear->meshes[m + 1].driver_teeth;
  }
  return idlers;
}

/* Wheels with teeth, those that gears share once; 0: there are ratios alone. */
static int wheels_of(const struct sb_gearbox *gearbox)
{
  int wheels = 0;
  for (int g = 0; g < gearbox->gear_count; g++) {
    const struct sb_gear *gear = &gearbox->gears[g];
    const int shared = g > 0 ? shared_count(gear, &gearbox->gears[0]) : 0;
    if (gear->given_ratio > 0.0) return 0;
    wheels += 2 * (gear->mesh_count - shared) - idler_count(gear, shared);
  }
  return wheels;
}

static enum sb_status prove(const struct sb_model *model, struct sb_design *design, struct sb_error *err)
{
  struct sb_design_record record = {.figures = design->figures};
  const enum sb_status status = sb_stage_prove_model(model, true, &record, err);
  design->figures = record.figures;
  design->is_proved_class = record.is_proved_class;
  for (int k = 0; k < SB_PROVE_STATEMENTS; k++) design->statements[k] = (enum sb_proof)record.statements[k];
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
  *design = (struct sb_design){
      .path = path, .candidate.tooth = {NAN, NAN}, .limit.load_nm = NAN, .control = sb_machine_own_control(model)};
  sb_fail_add(design->name, sizeof design->name, "%s", model->name);
  status = sb_machine_run(model, &design->candidate, &design->figures, err);
  if (status == SB_OK) status = find_margin(request, model, design, err);
  if (status == SB_OK) status = prove(model, design, err);
  design->figures.wheel_count = wheels_of(&model->gearbox);
  if (status == SB_OK) answer->design_count++;
  sb_scenario_clear(scenario);
  free(scenario);
  return status;
}
