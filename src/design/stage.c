// SPDX-License-Identifier: GPL-3.0-or-later
#include "design/stage.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "design/machine.h"

static enum sb_status run_task(void *context, long index, struct sb_lines *out, struct sb_error *err)
{
  const struct sb_stage *stage = context;
  struct sb_design_record *record = calloc(1, sizeof *record);
  if (record == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for a machine");
  const enum sb_status status = stage->work(stage, &stage->candidates[index], record, err);
  if (status == SB_OK) sb_design_record_write(out, record);
  free(record);
  return status;
}

static void name_journal(const struct sb_design_request *request, const char *name, char path[4096])
{
  snprintf(path, 4096, "%.4000s.%s.part", request->journal_stem != NULL ? request->journal_stem : "", name);
}

static enum sb_status read_records(const struct sb_tasks_result *result, struct sb_design_record *records,
                                   struct sb_error *err)
{
  for (long k = 0; k < result->task_count; k++) {
    if (!sb_design_record_read(result->tasks[k].text, &records[k])) {
      return sb_fail(err, SB_ERR_IO, "what was kept of machine %ld is damaged", k + 1);
    }
  }
  return SB_OK;
}

/* A box is whole numbers and nothing else. */
static uint64_t hash_box(uint64_t hash, const struct sb_box *box)
{
  int figures[sizeof *box / sizeof(int)];
  _Static_assert(sizeof figures == sizeof *box, "no gaps");
  memcpy(figures, box, sizeof figures);
  for (size_t k = 0; k < sizeof figures / sizeof figures[0]; k++) hash = sb_tasks_hash_whole(hash, figures[k]);
  return hash;
}

enum sb_status sb_stage_run(const struct sb_stage *stage, struct sb_design_record *records, struct sb_error *err)
{
  const struct sb_design_request *request = stage->request;
  char journal[4096];
  if (stage->count == 0) return SB_OK;
  name_journal(request, stage->name, journal);
  uint64_t identity = sb_tasks_hash_text(request->identity, stage->name);
  for (long k = 0; k < stage->count; k++) {
    identity = sb_tasks_hash_whole(identity, stage->candidates[k].combination);
    identity = hash_box(identity, &stage->candidates[k].box);
  }
  const struct sb_tasks tasks = {.identity = identity,
                                 .about = "",
                                 .task_count = stage->count,
                                 .run_task = run_task,
                                 .context = (void *)(uintptr_t)stage};
  struct sb_tasks_options options = sb_tasks_options_default();
  options.jobs = request->jobs;
  options.stop = request->stop;
  options.journal_path = request->journal_stem != NULL ? journal : NULL;
  options.is_resumed = request->is_resumed;
  options.on_progress = request->on_progress;
  options.progress_context = request->context;
  struct sb_tasks_result result;
  if (request->on_stage != NULL) request->on_stage(request->context, stage->name, true);
  enum sb_status status = sb_tasks_run(&tasks, &options, &result, err);
  if (request->on_stage != NULL) request->on_stage(request->context, stage->name, false);
  if (status != SB_OK) return status;
  status = result.is_interrupted ? sb_fail(err, SB_ERR_STOPPED, "stopped") : read_records(&result, records, err);
  sb_tasks_result_clear(&result);
  return status;
}

void sb_stage_forget(const struct sb_design_request *request)
{
  static const char *const names[] = {"runs", "tunes"};
  if (request->journal_stem == NULL) return;
  for (int k = 0; k < 2; k++) {
    char journal[4096];
    name_journal(request, names[k], journal);
    remove(journal);
  }
}

/* ---- one machine ---- */

static void adopt(struct sb_model *model, const struct sb_design_control *control)
{
  for (int p = 0; p < control->pairs; p++) {
    model->control.downshift_fraction[p] = control->downshift_pct[p] / 100.0;
    model->control.upshift_fraction[p] = control->upshift_pct[p] / 100.0;
  }
  if (control->pairs > 0) model->control.dwell_s = control->dwell_s;
}

static void judge(const struct sb_stage *stage, const struct sb_candidate *candidate, const struct sb_model *model,
                  struct sb_design_record *record)
{
  const struct sb_design_answer *answer = stage->answer;
  record->value_count = answer->needs.count;
  sb_machine_values(&answer->needs, &answer->combinations[candidate->combination], &answer->choices->shelf, model,
                    candidate, &record->figures, record->values);
}

enum sb_status sb_stage_try(const struct sb_stage *stage, const struct sb_candidate *candidate,
                            struct sb_design_record *record, struct sb_error *err)
{
  struct sb_scenario *scenario = calloc(1, sizeof *scenario);
  struct sb_faults faults;
  if (scenario == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for a machine");
  const struct sb_design_control any = sb_machine_any_control(candidate);
  enum sb_status status = sb_machine_load(stage->request, stage->answer->choices, candidate, &any, scenario, &faults);
  if (status == SB_ERR_SCENARIO) {
    record->fate = SB_FATE_INVALID;
    sb_faults_clear(&faults);
    free(scenario);
    return SB_OK;
  }
  sb_faults_clear(&faults);
  if (status == SB_OK) {
    record->control = sb_machine_control(&scenario->model);
    adopt(&scenario->model, &record->control);
    status = sb_machine_run(&scenario->model, candidate, &record->figures, err);
    record->fate = SB_FATE_RUN;
    if (status == SB_OK) judge(stage, candidate, &scenario->model, record);
    sb_scenario_clear(scenario);
  } else {
    status = sb_fail(err, status, "a machine cannot be loaded: %s", sb_status_text(status));
  }
  free(scenario);
  return status;
}
