// SPDX-License-Identifier: GPL-3.0-or-later
#include "design/stage.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static enum sb_status run_task(void *context, long index, struct sb_lines *out, struct sb_error *err)
{
  const struct sb_stage *stage = context;
  struct sb_design_record *record = calloc(1, sizeof *record);
  if (record == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for a machine");
  if (stage->before != NULL) *record = stage->before[index];
  const enum sb_status status = stage->work(stage, &stage->candidates[index], record, err);
  if (status == SB_OK) sb_design_record_write(out, record);
  free(record);
  return status;
}

const char *sb_stage_word(enum sb_design_stage stage)
{
  static const char *const words[SB_DESIGN_STAGES] = {
#define STAGE_WORD(name, word) word,
      SB_DESIGN_STAGE_LIST(STAGE_WORD)
#undef STAGE_WORD
  };
  return words[stage];
}

/* A shard is one file, whichever stage is cut; a whole search keeps each stage. */
static void name_journal(const struct sb_design_request *request, enum sb_design_stage stage, char path[4096])
{
  const char *stem = request->journal_stem != NULL ? request->journal_stem : "";
  if (request->shard_count > 1) {
    snprintf(path, 4096, "%.4000s.part", stem);
  } else {
    snprintf(path, 4096, "%.4000s.%s.part", stem, sb_stage_word(stage));
  }
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

/* What those who join shards need: the command. One line each, so that no text may hold a line break. */
static enum sb_status write_about(const struct sb_stage *stage, struct sb_lines *about, struct sb_error *err)
{
  const struct sb_design_request *request = stage->request;
  sb_lines_add(about, "design %s\nruns %ld\ntunes %ld\ndesigns %ld\nfile %s\n", sb_stage_word(stage->stage),
               request->run_most, request->tune_most, request->design_most, request->source.path);
  for (size_t k = 0; k < request->source.set_count; k++) sb_lines_add(about, "set %s\n", request->source.sets[k]);
  for (size_t k = 0; k < request->load_count; k++) sb_lines_add(about, "load %s\n", request->loads[k]);
  return about->is_out_of_memory ? sb_fail(err, SB_ERR_MEMORY, "out of memory for a search") : SB_OK;
}

static uint64_t identity_of(const struct sb_stage *stage)
{
  uint64_t identity = sb_tasks_hash_text(stage->answer->identity, sb_stage_word(stage->stage));
  for (long k = 0; k < stage->count; k++) {
    identity = sb_tasks_hash_whole(identity, stage->candidates[k].combination);
    identity = hash_box(identity, &stage->candidates[k].box);
  }
  return identity;
}

static enum sb_status run_tasks(const struct sb_stage *stage, const struct sb_tasks *tasks,
                                struct sb_design_record *records, bool *is_shard, struct sb_error *err)
{
  const struct sb_design_request *request = stage->request;
  const char *word = sb_stage_word(stage->stage);
  char journal[4096];
  struct sb_tasks_options options = sb_tasks_options_default();
  name_journal(request, stage->stage, journal);
  options.jobs = request->jobs;
  options.shard = request->shard_count > 1 ? request->shard : 1;
  options.shard_count = request->shard_count > 1 ? request->shard_count : 1;
  options.stop = request->stop;
  options.journal_path = request->journal_stem != NULL ? journal : NULL;
  options.is_resumed = request->is_resumed;
  options.on_progress = request->on_progress;
  options.progress_context = request->context;
  struct sb_tasks_result result;
  if (request->on_stage != NULL) request->on_stage(request->context, word, true);
  enum sb_status status = sb_tasks_run(tasks, &options, &result, err);
  if (request->on_stage != NULL) request->on_stage(request->context, word, false);
  if (status != SB_OK) return status;
  *is_shard = request->shard_count > 1;
  if (result.is_interrupted) {
    status = sb_fail(err, SB_ERR_STOPPED, "stopped");
  } else {
    status = *is_shard ? request->on_shard(request->context, &result, err) : read_records(&result, records, err);
  }
  sb_tasks_result_clear(&result);
  return status;
}

/* What shards found, where it is of this very search. */
static enum sb_status take_given(const struct sb_stage *stage, const struct sb_tasks *tasks,
                                 const struct sb_tasks_result *given, struct sb_design_record *records,
                                 struct sb_error *err)
{
  if (given->task_count == stage->count && given->identity == sb_tasks_identity(tasks)) {
    return read_records(given, records, err);
  }
  return sb_fail(err, SB_ERR_SCENARIO,
                 "%s: the shards of its %s are of another search: the scenario, or a file that it "
                 "names, has changed, or the shards before them are others",
                 stage->request->source.path, sb_stage_word(stage->stage));
}

enum sb_status sb_stage_run(const struct sb_stage *stage, struct sb_design_record *records, bool *is_shard,
                            struct sb_error *err)
{
  const struct sb_tasks_result *given = stage->request->given[stage->stage];
  struct sb_lines about = {.text = NULL};
  if (stage->count == 0) return SB_OK;
  enum sb_status status = write_about(stage, &about, err);
  if (status == SB_OK) {
    const struct sb_tasks tasks = {.identity = identity_of(stage),
                                   .about = about.text,
                                   .task_count = stage->count,
                                   .run_task = run_task,
                                   .context = (void *)(uintptr_t)stage};
    status = given != NULL ? take_given(stage, &tasks, given, records, err)
                           : run_tasks(stage, &tasks, records, is_shard, err);
  }
  sb_lines_clear(&about);
  return status;
}

void sb_stage_forget(const struct sb_design_request *request)
{
  if (request->journal_stem == NULL) return;
  for (int k = 0; k < SB_DESIGN_STAGES; k++) {
    char journal[4096];
    name_journal(request, (enum sb_design_stage)k, journal);
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

/* Takes the values of one more run into the worst ones. */
static void add_values(const struct sb_needs *needs, struct sb_design_record *record, const double values[SB_NEED_MAX])
{
  for (int k = 0; k < needs->count; k++) {
    double *worst = &record->values[k];
    *worst = needs->items[k].is_least ? fmin(*worst, values[k]) : fmax(*worst, values[k]);
  }
}

enum sb_status sb_stage_run_loads(const struct sb_stage *stage, const struct sb_candidate *candidate,
                                  const struct sb_loaded *loaded, struct sb_design_record *record, struct sb_error *err)
{
  const struct sb_design_answer *answer = stage->answer;
  record->value_count = answer->needs.count;
  for (int k = 0; k < loaded->count; k++) {
    const struct sb_model *model = &loaded->items[k].model;
    struct sb_design_figures figures;
    double values[SB_NEED_MAX];
    const enum sb_status status = sb_machine_run(model, candidate, &figures, err);
    if (status != SB_OK) return status;
    sb_machine_values(answer, model, candidate, &figures, k > 0 ? values : record->values);
    if (k == 0) {
      record->figures = figures;
    } else {
      sb_design_figures_add(&record->figures, &figures);
      add_values(&answer->needs, record, values);
    }
  }
  return SB_OK;
}

enum sb_status sb_stage_try(const struct sb_stage *stage, const struct sb_candidate *candidate,
                            struct sb_design_record *record, struct sb_error *err)
{
  struct sb_loaded loaded;
  struct sb_faults faults;
  const struct sb_design_control any = sb_machine_any_control(candidate);
  enum sb_status status = sb_machine_load(stage->request, stage->answer, candidate, &any, &loaded, &faults);
  sb_faults_clear(&faults);
  record->limit.load_nm = NAN;
  record->fate = SB_FATE_INVALID;
  if (status == SB_ERR_SCENARIO) return SB_OK;
  if (status != SB_OK) return sb_fail(err, status, "a machine cannot be loaded: %s", sb_status_text(status));
  record->fate = SB_FATE_RUN;
  record->control = sb_machine_control(&loaded);
  for (int k = 0; k < loaded.count; k++) adopt(&loaded.items[k].model, &record->control);
  status = sb_stage_run_loads(stage, candidate, &loaded, record, err);
  sb_machine_unload(&loaded);
  return status;
}
