// SPDX-License-Identifier: GPL-3.0-or-later
/* A study by the map command: samples, varied keys, charges, someone else's controller. */
#include "cli/command.h"
#include "cli/interrupt.h"
#include "cli/map_request.h"
#include "study/refusal.h"
#include "study/study.h"

static int write_csv(FILE *out, const void *context)
{
  return sb_study_write_csv(out, context);
}

static int write_limits(FILE *out, const void *context)
{
  return sb_study_write_limits(out, context);
}

static int write_files(const struct sb_map_request *request, const struct sb_study_report *report)
{
  int code = SB_EXIT_DONE;
  if (request->work.output != NULL) {
    code = sb_command_write_file(request->work.output, (struct sb_command_writer){write_csv, report});
  }
  if (code == SB_EXIT_DONE && request->limits != NULL) {
    code = sb_command_write_file(request->limits, (struct sb_command_writer){write_limits, report});
  }
  return code;
}

static enum sb_status write_report(const struct sb_map_request *request, const struct sb_study_report *report,
                                   struct sb_error *err)
{
  if (!request->is_json) return sb_study_write_text(sb_map_words_stream(request), report, err);
  char refusals[2048];
  sb_study_write_json(stdout, report);
  if (sb_refusal_line(report, refusals, sizeof refusals)[0] != 0) sb_command_warn("%s", refusals);
  return SB_OK;
}

/* The output of a whole study. */
static int finish(const struct sb_map_request *request, const struct sb_study *study,
                  const struct sb_tasks_result *result)
{
  struct sb_study_report report;
  struct sb_error err = {SB_OK, ""};
  if (request->limits != NULL && !study->has_limits) {
    return sb_command_usage("these shards were made without --limits");
  }
  enum sb_status status = sb_study_take(study, result, &report, &err);
  if (status != SB_OK) return sb_command_fail(NULL, status, &err);
  const int code = write_files(request, &report);
  if (code == SB_EXIT_DONE) status = write_report(request, &report, &err);
  sb_study_report_clear(&report);
  return status == SB_OK ? code : sb_command_fail(NULL, status, &err);
}

int sb_map_do_join(const struct sb_map_request *request)
{
  struct sb_error err;
  struct sb_study study;
  struct sb_tasks_result result;
  const enum sb_status status = sb_tasks_join(request->shards.items, request->shards.count, &result, &err);
  if (status != SB_OK) return sb_command_fail("--join", status, &err);
  int code = SB_EXIT_SCENARIO;
  if (sb_study_read(result.about, &study)) {
    code = finish(request, &study, &result);
  } else {
    sb_command_complain("--join: %s: no shard of a map", request->shards.items[0]);
  }
  sb_tasks_result_clear(&result);
  return code;
}

/* What results depend on: program, command, scenario, controller. The study's own facts come on top. */
static int identify(const struct sb_map_request *request, const struct sb_scenario *scenario, uint64_t *identity)
{
  struct sb_error err;
  *identity = sb_tasks_hash_text(sb_tasks_hash_text(SB_TASKS_HASH_START, sb_command_version()), "map");
  const enum sb_status status =
      sb_tasks_hash_scenario(identity, request->file, request->sets.items, request->sets.count, scenario, &err);
  if (status == SB_OK) return sb_own_options_hash(&request->own, identity);
  return sb_command_fail(NULL, status, &err);
}

/* Runs the tasks and finishes the study, or writes its shard. */
static int run_tasks(struct sb_map_request *request, const struct sb_study *study, const struct sb_tasks *tasks)
{
  struct sb_tasks_result result;
  request->work.what = study->samples > 0 ? "samples" : study->kind == SB_STUDY_RUNS ? "points" : "charges";
  int code = sb_long_work_run(&request->work, tasks, &result);
  const bool is_whole = code == SB_EXIT_DONE;
  if (is_whole) {
    code = request->work.shard_count > 1 ? sb_long_work_write_shard(&request->work, &result)
                                         : finish(request, study, &result);
    sb_tasks_result_clear(&result);
  }
  sb_long_work_end(&request->work, is_whole && code == SB_EXIT_DONE);
  return code;
}

static int run_study(struct sb_map_request *request, const struct sb_study_source *source, const struct sb_study *study,
                     uint64_t identity)
{
  struct sb_study_work work;
  struct sb_error err = {SB_OK, ""};
  struct sb_lines about = {.text = NULL};
  const enum sb_status status = sb_study_begin(&work, study, source, &err);
  if (status != SB_OK) return sb_command_fail(request->file, status, &err);
  sb_study_write(&about, study);
  const struct sb_tasks tasks = {.identity = identity,
                                 .about = about.text != NULL ? about.text : "",
                                 .task_count = sb_study_task_count(study),
                                 .run_task = sb_study_run_task,
                                 .context = &work};
  const int code =
      about.is_out_of_memory ? sb_command_fail(request->file, SB_ERR_MEMORY, NULL) : run_tasks(request, study, &tasks);
  sb_lines_clear(&about);
  sb_study_end(&work);
  return code;
}

int sb_map_do_study(struct sb_map_request *request, const struct sb_scenario *scenario)
{
  const struct sb_study_request wanted = {.pair = request->pair,
                                          .downshift = request->downshift,
                                          .upshift = request->upshift,
                                          .vary = request->vary.items,
                                          .vary_count = request->vary.count,
                                          .points = request->points,
                                          .samples = request->samples,
                                          .seed = request->seed,
                                          .charges = request->discharge,
                                          .has_limits = request->limits != NULL};
  const struct sb_study_source source = {.path = request->file,
                                         .sets = request->sets.items,
                                         .set_count = request->sets.count,
                                         .nominal = scenario,
                                         .decider = sb_own_options_decider(&request->own),
                                         .stop = sb_interrupt_flag()};
  struct sb_study study;
  struct sb_error err = {SB_OK, ""};
  uint64_t identity = 0;
  const enum sb_status status = sb_study_plan(&wanted, &source, &study, &err);
  if (status != SB_OK) return sb_command_fail(request->file, status, &err);
  for (size_t k = 0; k < request->vary.count; k++) sb_command_note_unit("vary", request->vary.items[k]);
  const int code = identify(request, scenario, &identity);
  return code == SB_EXIT_DONE ? run_study(request, &source, &study, identity) : code;
}
