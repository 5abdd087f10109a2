// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_design.c - whole machines from a shelf, or finished designs side by side. */
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "cli/command.h"
#include "cli/long_work.h"
#include "cli/output.h"
#include "design/design.h"
#include "design/stage.h"

struct request {
  struct sb_option_list files, sets;
  const char *output; /* a folder */
  const char *csv, *all;
  long run_most, tune_most, jobs;
  bool is_resumed, is_json, is_quiet;
};

struct work {
  struct sb_progress progress;
  bool is_quiet;
};

static void show_stage(void *context, const char *what, bool begins)
{
  struct work *work = context;
  if (begins) {
    sb_progress_begin(&work->progress, what, work->is_quiet);
  } else {
    sb_progress_end(&work->progress);
  }
}

static void show_progress(void *context, long done, long total)
{
  struct work *work = context;
  sb_progress_show(&work->progress, done, total);
}

static int write_csv(FILE *out, const void *context)
{
  sb_design_write_csv(out, context);
  return ferror(out) ? -1 : 0;
}

/* ---- one scenario a design ---- */

struct design_writing {
  const struct sb_design_request *wanted;
  const struct sb_design_answer *answer;
  int index;
};

static int write_design(FILE *out, const void *context)
{
  const struct design_writing *writing = context;
  struct sb_faults faults;
  const enum sb_status status =
      sb_design_write_scenario(out, writing->wanted, writing->answer, writing->index, &faults);
  sb_faults_clear(&faults);
  return status == SB_OK && !ferror(out) ? 0 : -1;
}

static int write_designs(const struct request *request, const struct sb_design_request *wanted,
                         const struct sb_design_answer *answer)
{
  int code = SB_EXIT_DONE;
  for (int k = 0; request->output != NULL && k < answer->design_count && code == SB_EXIT_DONE; k++) {
    const struct design_writing writing = {wanted, answer, k};
    char path[4096];
    snprintf(path, sizeof path, "%.3900s/design-%d.yaml", request->output, k + 1);
    code = sb_command_write_file(path, (struct sb_command_writer){write_design, &writing});
  }
  return code;
}

static int report(const struct request *request, const struct sb_design_request *wanted,
                  const struct sb_design_answer *answer)
{
  int code = write_designs(request, wanted, answer);
  if (code == SB_EXIT_DONE && request->csv != NULL) {
    code = sb_command_write_file(request->csv, (struct sb_command_writer){write_csv, answer});
  }
  if (code != SB_EXIT_DONE || request->is_quiet) return code;
  if (request->csv != NULL && sb_output_is_standard(request->csv)) return code;
  (request->is_json ? sb_design_write_json : sb_design_write_text)(stdout, answer);
  return code;
}

/* ---- the work ---- */

static int fail(enum sb_status status, struct sb_faults *faults, const struct sb_error *err)
{
  if (status == SB_ERR_STOPPED) {
    sb_faults_clear(faults);
    return sb_interrupt_exit("the same command with --resume, where -o was given");
  }
  if (faults->count > 0) return sb_command_fail_faults(NULL, status, faults);
  return sb_command_fail(NULL, status, err->text[0] != 0 ? err : NULL);
}

static int take_all(const struct request *request, const struct sb_design_request *wanted,
                    struct sb_design_answer *answer)
{
  struct sb_faults faults;
  struct sb_error err = {SB_OK, ""};
  for (size_t k = 0; k < request->files.count; k++) {
    const enum sb_status status = sb_design_take(request->files.items[k], wanted, answer, &faults, &err);
    if (status != SB_OK) return fail(status, &faults, &err);
    sb_faults_clear(&faults);
  }
  return SB_EXIT_DONE;
}

/* Of the file, the sets and the options on which the answer depends. */
static uint64_t identity_of(const struct request *request, struct sb_error *err)
{
  uint64_t hash = sb_tasks_hash_text(sb_tasks_hash_text(SB_TASKS_HASH_START, "design"), sb_command_version());
  for (size_t k = 0; k < request->sets.count; k++) hash = sb_tasks_hash_text(hash, request->sets.items[k]);
  hash = sb_tasks_hash_whole(hash, request->run_most);
  hash = sb_tasks_hash_whole(hash, request->tune_most);
  sb_tasks_hash_file(&hash, request->files.items[0], err);
  return hash;
}

static int search(const struct request *request, struct sb_design_request *wanted, struct sb_design_answer *answer)
{
  struct sb_faults faults = {0};
  struct sb_error err = {SB_OK, ""};
  struct sb_output all = {.stream = NULL};
  if (request->all != NULL && sb_output_open(&all, request->all) != 0) return sb_command_fail_writing(request->all);
  wanted->all = all.stream;
  if (all.stream != NULL) fputs("combination,stages,last_stage,rule\n", all.stream);
  wanted->identity = identity_of(request, &err);
  const enum sb_status status = sb_design_search(wanted, answer, &faults, &err);
  const int code = status == SB_OK ? SB_EXIT_DONE : fail(status, &faults, &err);
  if (status == SB_OK) sb_faults_clear(&faults);
  if (all.stream == NULL) return code;
  if (code != SB_EXIT_DONE) {
    sb_output_drop(&all);
  } else if (sb_output_commit(&all) != 0) {
    return sb_command_fail_writing(request->all);
  }
  return code;
}

static int check_folder(const struct request *request)
{
  if (request->output == NULL || sb_output_is_folder(request->output)) return SB_EXIT_DONE;
  return sb_command_usage("-o %s: needs a folder that exists", request->output);
}

static int run(void *context)
{
  const struct request *request = context;
  struct work work = {.is_quiet = request->is_quiet};
  char stem[4096] = "";
  int code = check_folder(request);
  if (code != SB_EXIT_DONE) return code;
  if (request->output != NULL) snprintf(stem, sizeof stem, "%.4000s/design", request->output);
  struct sb_design_request wanted = {
      .source = {request->files.items[0], request->sets.items, request->sets.count},
      .run_most = request->run_most,
      .tune_most = request->tune_most,
      .jobs = (int)request->jobs,
      .journal_stem = request->output != NULL ? stem : NULL,
      .is_resumed = request->is_resumed,
      .stop = sb_interrupt_flag(),
      .on_stage = show_stage,
      .on_progress = show_progress,
      .context = &work,
  };
  struct sb_design_answer *answer = calloc(1, sizeof *answer);
  if (answer == NULL) return sb_command_fail(NULL, SB_ERR_MEMORY, NULL);
  sb_interrupt_catch();
  code = request->files.count > 1 ? take_all(request, &wanted, answer) : search(request, &wanted, answer);
  if (code == SB_EXIT_DONE) code = report(request, &wanted, answer);
  if (code == SB_EXIT_DONE) sb_stage_forget(&wanted);
  sb_design_clear(answer);
  free(answer);
  return code;
}

static const struct sb_option option_table[] = {
    SB_OPTION_SET_OF(struct request),
    {"runs", 0, "N", "so many machines are run at most (default 50000); the report says how many were not",
     SB_INTO_COUNT(struct request, run_most, 1, 1000000)},
    {"tunes", 0, "N",
     "so many of the front of the runs are tuned at most (default 12); the report says how many were not",
     SB_INTO_COUNT(struct request, tune_most, 1, 23)},
    {"jobs", 0, "N", "threads (default: all cores)", SB_INTO_COUNT(struct request, jobs, 1, 1024)},
    {"output", 'o', "DIR",
     "write each design there as a scenario, design-1.yaml and so on; what is calculated is kept there until the answer "
     "is complete",
     SB_INTO_OUTPUT(struct request, output)},
    {"resume", 0, NULL, "go on where the same command with -o was interrupted",
     SB_INTO_FLAG(struct request, is_resumed)},
    {"csv", 0, "FILE", "write the table of designs there; - is standard output, and the report is then left out",
     SB_INTO_OUTPUT(struct request, csv)},
    {"all", 0, "FILE", "write each machine that the closed forms drop there, as CSV, with the rule that drops it",
     SB_INTO_OUTPUT(struct request, all)},
    {"json", 0, NULL, "one JSON object on one line", SB_INTO_FLAG(struct request, is_json)},
    SB_OPTION_QUIET_OF(struct request),
    {0},
};

static const struct sb_option_rule rules[] = {
    {"quiet", SB_EXCLUDES, "json", "JSON is the report"},
    {"resume", SB_NEEDS, "output", "what was calculated is kept there"},
    {"csv=-", SB_EXCLUDES, "json", "both use standard output"},
    {"+", SB_EXCLUDES, "output all runs tunes resume", "several files are finished designs"},
    {0},
};

static const struct request defaults = {.run_most = 50000, .tune_most = 12};

const struct sb_command sb_command_design = {
    .name = "design",
    .summary = "choose gears, motor, shifter and thresholds from a shelf",
    .usage = "[OPTION]... FILE...",
    .about =
        "Puts whole machines together from what the section choices of a scenario offers, drops those that cannot meet its "
        "section require, runs the others, tunes those of which none is worse in everything than another, and writes them as "
        "scenarios. Several files are finished designs: they stand side by side in the same table. Topic: design.",
    .options = option_table,
    .rules = rules,
    .files = {1, SIZE_MAX, "scenario file", offsetof(struct request, files)},
    .request_size = sizeof(struct request),
    .defaults = &defaults,
    .run = run,
};
