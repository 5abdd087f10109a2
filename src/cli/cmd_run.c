// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_run.c - simulates scenarios: trace, summary, comparison. */
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "cli/command.h"
#include "cli/external_options.h"
#include "cli/long_work.h"
#include "cli/output.h"
#include "shiftband/run.h"
#include "shiftband/scenario.h"
#include "shiftband/trace.h"

struct request {
  struct sb_option_list files, sets;
  const char *output; /* NULL: no trace */
  const char *gear;   /* NULL: automatic */
  bool is_json, is_quiet;
  bool is_comparison;
  bool is_until_warm;
  bool is_verbose;
  bool fails_on[SB_VERDICT_KIND_COUNT];
  struct sb_own_options own;
};

static const char *base_name(const char *path)
{
  const char *slash = strrchr(path, '/');
  return slash != NULL ? slash + 1 : path;
}

/* Two scenarios of one name would become one file in a folder. */
static int check_names(const struct request *request)
{
  for (size_t i = 0; i < request->files.count; i++) {
    for (size_t k = 0; k < i; k++) {
      if (strcmp(base_name(request->files.items[i]), base_name(request->files.items[k])) != 0) continue;
      return sb_command_usage("-o %s: %s and %s would both be written to one file", request->output,
                              request->files.items[k], request->files.items[i]);
    }
  }
  return SB_EXIT_DONE;
}

static int check_output(const struct request *request)
{
  if (request->output == NULL) return SB_EXIT_DONE;
  if (sb_output_is_folder(request->output)) return check_names(request);
  if (request->files.count == 1) return SB_EXIT_DONE;
  return sb_command_usage("-o %s: several scenarios need a folder that exists", request->output);
}

struct trace {
  FILE *stream;
  const struct sb_model *model;
};

static int take_row(void *context, const struct sb_row *row)
{
  const struct trace *trace = context;
  return sb_trace_write_row(trace->stream, row, trace->model);
}

/* One scenario, run in the ways that are asked for. */
struct job {
  const struct request *request;
  const char *path;
  struct sb_scenario scenario;
  int run_count;
  struct sb_run_way runs[SB_RUN_WAY_MAX];
  struct sb_report reports[SB_RUN_WAY_MAX];
};

/* Where the trace of one run goes: NULL when none is wanted. `suffix` tells runs of one scenario apart. False when memory
 * runs out. */
static bool find_trace_path(const struct job *job, const char *suffix, char **path)
{
  const char *output = job->request->output;
  *path = NULL;
  if (output == NULL) return true;
  const bool is_folder = sb_output_is_folder(output);
  if (!is_folder && job->run_count > 0) return true;
  *path = is_folder ? sb_output_name_in(output, job->path, suffix) : strdup(output);
  return *path != NULL;
}

static int fail_run(const struct job *job, const char *path, enum sb_status status, const struct sb_error *err)
{
  if (status == SB_ERR_IO) return sb_command_fail_writing(path != NULL ? path : "-");
  return status == SB_ERR_STOPPED ? sb_interrupt_exit(NULL) : sb_command_fail(job->path, status, err);
}

/* Runs with a trace to path, or without when path is NULL. */
static int run_with_trace(struct job *job, int locked_gear, const char *path)
{
  const struct sb_model *model = &job->scenario.model;
  struct sb_run_way *way = &job->runs[job->run_count];
  struct sb_report *report = &job->reports[job->run_count];
  struct sb_error err = {SB_OK, ""};
  struct sb_run_options options = sb_run_options_default();
  struct sb_output output = {NULL, NULL, NULL};
  struct trace trace = {NULL, model};
  options.locked_gear = locked_gear;
  options.decider = locked_gear == 0 ? sb_own_options_decider(&job->request->own) : NULL;
  if (path != NULL) {
    if (sb_output_open(&output, path) != 0) return sb_command_fail_writing(path);
    trace.stream = output.stream;
    options.on_row = take_row;
    options.context = &trace;
  }
  /* A signal would leave someone else's controller behind: it ends the run first. */
  if (options.decider != NULL) sb_interrupt_catch();
  enum sb_status status = path != NULL && sb_trace_write_header(output.stream, model) != 0 ? SB_ERR_IO : SB_OK;
  if (status == SB_OK) status = sb_run_way(model, &options, job->request->is_until_warm, way, report, &err);
  if (options.decider != NULL) sb_interrupt_release();
  const int code = status == SB_OK ? SB_EXIT_DONE : fail_run(job, path, status, &err);
  report->is_verbose = job->request->is_verbose;
  job->run_count += code == SB_EXIT_DONE;
  if (path != NULL && code != SB_EXIT_DONE) sb_output_drop(&output);
  if (path == NULL || code != SB_EXIT_DONE) return code;
  return sb_output_commit(&output) == 0 ? SB_EXIT_DONE : sb_command_fail_writing(path);
}

static int run_one(struct job *job, int locked_gear)
{
  const struct sb_gear *gears = job->scenario.model.gearbox.gears;
  char suffix[SB_NAME_SIZE + 16] = "";
  if (job->request->is_comparison) {
    snprintf(suffix, sizeof suffix, "-%s", locked_gear > 0 ? gears[locked_gear - 1].name : "automatic");
  }
  for (char *c = suffix; *c != 0; c++) {
    if (*c == '/' || *c == ' ') *c = '-';
  }
  char *path;
  if (!find_trace_path(job, suffix, &path)) return sb_command_fail(job->path, SB_ERR_MEMORY, NULL);
  const int code = run_with_trace(job, locked_gear, path);
  free(path);
  return code;
}

/* Beside a run that never shifts: each gear alone, without a trace. */
static int run_locked(struct job *job)
{
  struct sb_report *report = &job->reports[0];
  int code = SB_EXIT_DONE;
  if (!sb_run_never_shifts(report)) return code;
  for (int gear = 1; code == SB_EXIT_DONE && gear <= report->model->gearbox.gear_count; gear++) {
    code = run_with_trace(job, gear, NULL);
  }
  report->others = &job->reports[1];
  report->other_count = job->run_count - 1;
  return code;
}

static int run_all(struct job *job)
{
  const struct sb_model *model = &job->scenario.model;
  struct sb_error err;
  int locked = 0, ways[SB_RUN_WAY_MAX];
  if (job->request->gear != NULL) {
    const enum sb_status status = sb_gearbox_choose(&model->gearbox, job->request->gear, &locked, &err);
    if (status != SB_OK) return sb_command_fail(job->path, status, &err);
  }
  const int count = sb_run_ways(model, locked, job->request->is_comparison, ways);
  int code = SB_EXIT_DONE;
  for (int k = 0; code == SB_EXIT_DONE && k < count; k++) code = run_one(job, ways[k]);
  return code == SB_EXIT_DONE && count == 1 ? run_locked(job) : code;
}

static void report_all(const struct job *job, FILE *words, bool is_first)
{
  if (job->request->is_quiet) return;
  if (job->request->is_json) {
    const int count = job->request->is_comparison ? job->run_count : 1;
    for (int i = 0; i < count; i++) sb_run_write_json(stdout, &job->reports[i]);
    return;
  }
  if (!is_first) fputc('\n', words);
  sb_run_write_text(words, &job->reports[0]);
  if (job->request->is_comparison) sb_run_write_comparison(words, job->reports, job->run_count);
}

static bool has_failed(const struct request *request, const struct sb_monitor *monitor)
{
  for (size_t i = 0; i < monitor->verdict_count; i++) {
    if (request->fails_on[monitor->verdicts[i].kind]) return true;
  }
  return false;
}

static int run_file(const struct request *request, const char *path, bool is_first, bool *is_failed)
{
  struct job job = {.request = request, .path = path};
  int code = sb_command_load(path, &request->sets, &job.scenario);
  if (code != SB_EXIT_DONE) return code;
  code = run_all(&job);
  if (code == SB_EXIT_DONE) {
    const bool is_on_stdout = request->output != NULL && sb_output_is_standard(request->output);
    report_all(&job, is_on_stdout ? stderr : stdout, is_first);
    *is_failed |= has_failed(request, &job.runs[0].result.monitor);
  }
  for (int i = 0; i < job.run_count; i++) sb_run_result_clear(&job.runs[i].result);
  sb_scenario_clear(&job.scenario);
  return code;
}

static int run(void *context)
{
  struct request *request = context;
  bool is_failed = false;
  int code = check_output(request);
  if (code == SB_EXIT_DONE) code = sb_own_options_prepare(&request->own);
  for (size_t i = 0; code == SB_EXIT_DONE && i < request->files.count; i++) {
    code = run_file(request, request->files.items[i], i == 0, &is_failed);
  }
  sb_own_options_clear(&request->own);
  return code == SB_EXIT_DONE && is_failed ? SB_EXIT_VERDICT : code;
}

static const char *const verdict_words[] = {
#define VERDICT_WORD(code, name, ...) name,
    SB_VERDICT_LIST(VERDICT_WORD)
#undef VERDICT_WORD
        NULL};

static const struct sb_option option_table[] = {
    {"output", 'o', "FILE.csv",
     "write the trace there; - is standard output (the summary then goes to standard error); a folder, which several "
     "scenarios need, gets one file a run",
     SB_INTO_OUTPUT(struct request, output)},
    {"json", 0, NULL, "print one JSON object a run instead of the summary", SB_INTO_FLAG(struct request, is_json)},
    {"gear", 0, "NAME", "lock this gear for the whole run: no controller", SB_INTO_TEXT(struct request, gear)},
    {"compare", 0, NULL,
     "run automatic and then locked in every gear, and print them side by side (the trace of -o FILE is that of the "
     "automatic run)",
     SB_INTO_FLAG(struct request, is_comparison)},
    {"until-warm", 0, NULL,
     "repeat the scenario, each time with the winding as warm as it ended, until the winding reaches a steady state within 0.1 K, exceeds its limit or opens its cut-out; report that repeat (needs motor.winding)",
     SB_INTO_FLAG(struct request, is_until_warm)},
    {"verbose", 'v', NULL, "also say how the run was made: steps, repeats simulated",
     SB_INTO_FLAG(struct request, is_verbose)},
    SB_OPTION_SET_OF(struct request),
    {"fail-on", 0, "VERDICTS", "exit with 1 when one of these came true in the automatic (or the locked) run",
     SB_INTO_MARKS(struct request, fails_on, verdict_words)},
    SB_OPTION_QUIET_OF(struct request),
    SB_OWN_OPTIONS(struct request, own),
    {0},
};

static const struct sb_option_rule rules[] = {
    {"gear", SB_EXCLUDES, "compare", "a comparison runs every gear"},
    {"gear until-warm", SB_EXCLUDES, "controller controller-command", "there is no place for an external controller"},
    {"output=-", SB_EXCLUDES, "json", "both use standard output"},
    {"quiet", SB_EXCLUDES, "json", "JSON is the report"},
    SB_OWN_RULES,
    {0},
};

const struct sb_command sb_command_run = {
    .name = "run",
    .summary = "simulate scenarios: trace, verdicts, shifts, energy",
    .usage = "[OPTION]... FILE...",
    .about = "Simulates scenarios and says what happened: verdicts, shifts, speeds, torque, energy.",
    .options = option_table,
    .rules = rules,
    .files = {1, SIZE_MAX, "scenario file", offsetof(struct request, files)},
    .request_size = sizeof(struct request),
    .run = run,
};
