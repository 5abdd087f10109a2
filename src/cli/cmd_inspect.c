// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_inspect.c - what happened in a trace, simulated or measured, and how a simulation compares. */
#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/constants.h"
#include "base/text_file.h"
#include "cli/command.h"
#include "cli/log_facts.h"
#include "cli/long_work.h"
#include "cli/output.h"
#include "inspect/report.h"

enum { FAIL_HUNTING, FAIL_BUSY_SHIFTING, FAIL_STALL, FAIL_DEVIATION, FAIL_COUNT };

static const char *const fail_words[] = {"hunting", "busy-shifting", "stall", "deviation", NULL};

static const char *const ways[] = {[SB_INSPECT_BEST] = "best",
                                   [SB_INSPECT_GEAR] = "gear",
                                   [SB_INSPECT_RATIO] = "ratio",
                                   [SB_INSPECT_MOTOR] = "motor",
                                   NULL};

struct request {
  struct sb_option_list files, sets, tries;
  struct sb_log_facts facts;
  enum sb_inspect_source source;
  struct sb_inspect_options by_ratios;            /* its ratios: none, unless given */
  double hunt_window_s, stall_time_s, rest_rad_s; /* 0: not given */
  struct sb_overlay_options overlay;
  const char *against, *output; /* NULL: not given */
  bool is_json, is_quiet, has_no_hints;
  bool fails_on[FAIL_COUNT];
};

static int take_ratios(void *context, const char *value)
{
  struct request *request = context;
  struct sb_error err;
  const enum sb_status status = sb_inspect_ratios_parse(value, &request->by_ratios, &err);
  return status == SB_OK ? SB_EXIT_DONE : sb_command_fail(NULL, status, &err);
}

/* All that is found for one trace. */
struct job {
  const struct request *request;
  struct sb_log log;
  struct sb_scenario scenario;
  bool has_scenario, has_beside;
  struct sb_inspect_options options;
  struct sb_inspection found;
  struct sb_inspect_beside beside;
  struct sb_progress progress;
};

static int read_log(struct job *job)
{
  const char *path = job->request->files.items[0];
  struct sb_faults faults = {0};
  struct sb_log_options options = sb_log_options_default();
  options.facts = sb_log_facts_of(&job->request->facts);
  if (job->has_scenario) options.gearbox = &job->scenario.model.gearbox;
  const enum sb_status status = sb_log_read(path, &options, &job->log, &faults);
  if (status == SB_OK) sb_command_note_log(path, &job->log);
  return sb_command_fail_faults(path, status, &faults);
}

/* The scenario's values, unless the user gives others. */
static void choose_options(struct job *job)
{
  const struct request *request = job->request;
  job->options = job->has_scenario ? sb_inspect_options_of(&job->scenario.model) : sb_inspect_options_default();
  job->options.source = request->source;
  job->options.offset_s = request->overlay.offset_s;
  if (request->by_ratios.ratio_count > 0) {
    job->options.ratio_count = request->by_ratios.ratio_count;
    memcpy(job->options.ratios, request->by_ratios.ratios, sizeof job->options.ratios);
  }
  if (request->hunt_window_s > 0.0) job->options.hunt_window_s = request->hunt_window_s;
  if (request->stall_time_s > 0.0) job->options.stall_time_s = request->stall_time_s;
  if (request->rest_rad_s > 0.0) job->options.rest_rpm = request->rest_rad_s / SB_RPM;
}

static int show_progress(void *context, size_t done, size_t total)
{
  struct job *job = context;
  sb_progress_show(&job->progress, (long)done, (long)total);
  return *sb_interrupt_flag() != 0;
}

static int explain(struct job *job)
{
  const struct request *request = job->request;
  struct sb_error err = {SB_OK, ""};
  const struct sb_hint_request hint_request = {.source = {request->against, request->sets.items, request->sets.count},
                                               .tries = request->tries.items,
                                               .try_count = request->tries.count,
                                               .on_trial = show_progress,
                                               .context = job};
  sb_interrupt_catch();
  sb_progress_begin(&job->progress, "explanations", request->is_quiet);
  const enum sb_status status =
      sb_inspect_beside_explain(&job->log, &job->scenario, &request->overlay, &hint_request, &job->beside, &err);
  sb_progress_end(&job->progress);
  if (status == SB_ERR_STOPPED) return sb_interrupt_exit(NULL);
  return status == SB_OK ? SB_EXIT_DONE : sb_command_fail(request->against, status, &err);
}

static int compare(struct job *job)
{
  const struct request *request = job->request;
  struct sb_error err = {SB_OK, ""};
  const enum sb_status status =
      sb_inspect_beside(&job->log, &job->scenario.model, &job->options, &request->overlay, &job->beside, &err);
  job->has_beside = status == SB_OK;
  if (status != SB_OK) return sb_command_fail(request->files.items[0], status, &err);
  return request->has_no_hints ? SB_EXIT_DONE : explain(job);
}

static int write_overlay(FILE *out, const void *context)
{
  const struct job *job = context;
  return sb_overlay_write_csv(out, &job->log, &job->beside.overlay);
}

/* Hunting that the log may hide is no all-clear: it fails like hunting that was found. */
static bool is_failed_undecided(const struct job *job)
{
  const bool *fails_on = job->request->fails_on;
  if (!(fails_on[FAIL_HUNTING] || fails_on[FAIL_BUSY_SHIFTING]) || !sb_inspect_is_undecided(&job->found)) return false;
  sb_command_warn("%s: hunting was not found, but this log cannot show that there is none",
                  sb_text_file_name(job->request->files.items[0]));
  return true;
}

static int report(const struct job *job)
{
  const struct request *request = job->request;
  const bool is_data_on_stdout = request->output != NULL && sb_output_is_standard(request->output);
  const struct sb_inspect_report words = {.trace = sb_text_file_name(request->files.items[0]),
                                          .log = &job->log,
                                          .found = &job->found,
                                          .scenario = job->has_scenario ? &job->scenario : NULL,
                                          .beside = job->has_beside ? &job->beside : NULL};
  if (request->output != NULL) {
    const int code = sb_command_write_file(request->output, (struct sb_command_writer){write_overlay, job});
    if (code != SB_EXIT_DONE) return code;
  }
  if (request->is_json) {
    sb_inspect_write_json(stdout, &words);
  } else if (!request->is_quiet) {
    sb_inspect_write_text(is_data_on_stdout ? stderr : stdout, &words);
  }
  const size_t busy_count = sb_inspect_busy_count(&job->found);
  const bool is_failed =
      is_failed_undecided(job) || (request->fails_on[FAIL_HUNTING] && job->found.hunt_count > busy_count) ||
      (request->fails_on[FAIL_BUSY_SHIFTING] && busy_count > 0) ||
      (request->fails_on[FAIL_STALL] && job->found.rest_count > 0) ||
      (request->fails_on[FAIL_DEVIATION] && job->has_beside && !isnan(job->beside.overlay.first_deviation_s));
  return is_failed ? SB_EXIT_VERDICT : SB_EXIT_DONE;
}

static int inspect(struct job *job)
{
  const struct request *request = job->request;
  struct sb_error err = {SB_OK, ""};
  int code = SB_EXIT_DONE;
  if (request->against != NULL) {
    code = sb_command_load(request->against, &request->sets, &job->scenario);
    job->has_scenario = code == SB_EXIT_DONE;
    if (code != SB_EXIT_DONE) return code;
  }
  code = read_log(job);
  if (code != SB_EXIT_DONE) return code;
  choose_options(job);
  const enum sb_status status = sb_inspect(&job->log, &job->options, &job->found, &err);
  if (status != SB_OK) return sb_command_fail(request->files.items[0], status, &err);
  if (job->has_scenario) code = compare(job);
  return code == SB_EXIT_DONE ? report(job) : code;
}

static void clear_job(struct job *job)
{
  sb_log_clear(&job->log);
  sb_inspect_clear(&job->found);
  sb_inspect_beside_clear(&job->beside);
  if (job->has_scenario) sb_scenario_clear(&job->scenario);
}

static int run_job(struct request *request)
{
  struct job *job = calloc(1, sizeof *job); /* holds a scenario: too large for a stack */
  if (job == NULL) return sb_command_fail(NULL, SB_ERR_MEMORY, NULL);
  job->request = request;
  const int code = inspect(job);
  clear_job(job);
  free(job);
  return code;
}

static int run(void *context)
{
  struct request *request = context;
  if (!(request->overlay.tolerance_fraction > 0.0)) {
    request->overlay.tolerance_fraction = sb_overlay_options_default().tolerance_fraction;
  }
  const int code = sb_log_facts_read(&request->facts);
  return code == SB_EXIT_DONE ? run_job(request) : code;
}

static const struct sb_option option_table[] = {
    {"by", 0, "WAY", "gear, ratio or motor (default: best, which is the best that the columns allow)",
     SB_INTO_CHOICE(struct request, source, ways)},
    {"ratios", 0, "N,N,...", "the ratios of the gears, the lowest gear (the greatest ratio) first (default: found)",
     SB_BY_CALL(take_ratios)},
    SB_LOG_FACTS_OPTIONS(struct request, facts),
    {"hunt-window", 0, "TIME", "shifts back and forth within this are hunting (default 5 s, or as the scenario has it)",
     SB_INTO_QUANTITY(struct request, hunt_window_s, SB_TIME, 0.0)},
    {"stall-time", 0, "TIME", "at rest for longer than this is a stall (default 0.5 s, or as the scenario has it)",
     SB_INTO_QUANTITY(struct request, stall_time_s, SB_TIME, 0.0)},
    {"rest", 0, "SPEED", "the output is at rest below this (default 1 % of its greatest speed, or its noise)",
     SB_INTO_QUANTITY(struct request, rest_rad_s, SB_SPEED, 0.0)},
    {"json", 0, NULL, "one JSON object instead of text", SB_INTO_FLAG(struct request, is_json)},
    {"fail-on", 0, "WORDS", "exit with 1 on", SB_INTO_MARKS(struct request, fails_on, fail_words)},
    SB_OPTION_QUIET_OF(struct request),
    {.help = "\nBeside a simulation:"},
    {"against", 0, "FILE",
     "simulate this scenario and compare: where log and simulation deviate, and what would explain it",
     SB_INTO_INPUT(struct request, against)},
    SB_OPTION_SET_OF(struct request),
    {"offset", 0, "TIME", "the simulation begins at this time of the log (default 0 s)",
     SB_INTO_QUANTITY(struct request, overlay.offset_s, SB_TIME, -INFINITY)},
    {"tolerance", 0, "PERCENT",
     "smaller differences do not count; in percent of a column's greatest value (default 2 %, and never below its noise)",
     SB_INTO_QUANTITY(struct request, overlay.tolerance_fraction, SB_PERCENT, 0.0)},
    {"try", 0, "PATH", "look for the explanation in this key only; may be given more than once",
     SB_INTO_LIST(struct request, tries)},
    {"no-hints", 0, NULL, "do not look for an explanation", SB_INTO_FLAG(struct request, has_no_hints)},
    {"output", 'o', "FILE.csv",
     "write log and simulation beside each other, for tools/plot/plot-trace; - is standard output",
     SB_INTO_OUTPUT(struct request, output)},
    {0},
};

static const struct sb_option_rule rules[] = {
    {"output set try fail-on=deviation", SB_NEEDS, "against",
     "without a scenario there is no simulation beside the log"},
    {"output=-", SB_EXCLUDES, "json", "both use standard output"},
    {"quiet", SB_EXCLUDES, "json", "JSON is the report"},
    {0},
};

const struct sb_command sb_command_inspect = {
    .name = "inspect",
    .summary = "shifts, hunting and stalls in any trace, and how a simulation compares",
    .usage = "[OPTION]... TRACE.csv",
    .about =
        "Finds shifts, time in the gears, hunting and stalls in a trace, simulated or measured: from its column gear, from "
        "motor_speed_rpm and output_speed_rpm, or from the motor's speed (or reading_pct) alone, as far as that shows them. "
        "Missing values and noise are normal.",
    .options = option_table,
    .rules = rules,
    .files = {1, 1, "trace", offsetof(struct request, files)},
    .request_size = sizeof(struct request),
    .run = run,
};
