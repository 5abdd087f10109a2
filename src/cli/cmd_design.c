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
#include "cli/tables.h"
#include "design/design.h"
#include "design/drops.h"
#include "design/shards.h"
#include "design/stage.h"

struct request {
  struct sb_option_list files, sets, loads; /* files: with join, shards */
  const char *csv, *all;
  long run_most, tune_most, design_most;
  bool is_json, is_join;
  struct sb_long_work work; /* its output is -o: a folder, for a shard a file */
};

struct work {
  struct sb_progress progress;
  const struct request *request;
};

static void show_stage(void *context, const char *what, bool begins)
{
  struct work *work = context;
  if (begins) {
    sb_progress_begin(&work->progress, what, work->request->work.is_quiet);
  } else {
    sb_progress_end(&work->progress);
  }
}

static void show_progress(void *context, long done, long total)
{
  struct work *work = context;
  sb_progress_show(&work->progress, done, total);
}

/* The part of a stage that a shard does. */
static enum sb_status take_shard(void *context, const struct sb_tasks_result *result, struct sb_error *err)
{
  const struct work *work = context;
  if (sb_long_work_write_shard(&work->request->work, result) == SB_EXIT_DONE) return SB_OK;
  return sb_fail(err, SB_ERR_IO, "%s", ""); /* said already */
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
  const char *folder;
  int index, load;
};

static int write_design(FILE *out, const void *context)
{
  const struct design_writing *writing = context;
  struct sb_faults faults;
  struct sb_tables tables = {writing->folder, SB_EXIT_DONE};
  const struct sb_table_taker taker = {sb_tables_take, &tables};
  const enum sb_status status =
      sb_design_write_scenario(out, writing->wanted, writing->answer, writing->index, writing->load, &taker, &faults);
  sb_faults_clear(&faults);
  return status == SB_OK && tables.code == SB_EXIT_DONE && !ferror(out) ? 0 : -1;
}

/* DIR/design-1.yaml; under the second load DIR/design-1-load-2.yaml. */
static int write_design_file(const struct design_writing *writing)
{
  char path[4096], load[32] = "";
  if (writing->load > 0) snprintf(load, sizeof load, "-load-%d", writing->load + 1);
  snprintf(path, sizeof path, "%.3900s/design-%d%s.yaml", writing->folder, writing->index + 1, load);
  return sb_command_write_file(path, (struct sb_command_writer){write_design, writing});
}

static int write_designs(const struct request *request, const struct sb_design_request *wanted,
                         const struct sb_design_answer *answer)
{
  int code = SB_EXIT_DONE;
  for (int k = 0; request->work.output != NULL && k < answer->design_count * answer->path_count; k++) {
    const struct design_writing writing = {wanted, answer, request->work.output, k / answer->path_count,
                                           k % answer->path_count};
    code = write_design_file(&writing);
    if (code != SB_EXIT_DONE) break;
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
  if (code != SB_EXIT_DONE || request->work.is_quiet) return code;
  if (request->csv != NULL && sb_output_is_standard(request->csv)) return code;
  (request->is_json ? sb_design_write_json : sb_design_write_text)(stdout, answer);
  return code;
}

/* ---- the work ---- */

static int fail(const struct request *request, enum sb_status status, struct sb_faults *faults,
                const struct sb_error *err)
{
  if (status == SB_ERR_STOPPED) {
    sb_faults_clear(faults);
    return sb_interrupt_exit(request->work.output != NULL ? "the same command with --resume" : NULL);
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
    if (status != SB_OK) return fail(request, status, &faults, &err);
    sb_faults_clear(&faults);
  }
  return SB_EXIT_DONE;
}

static int search(const struct request *request, struct sb_design_request *wanted, struct sb_design_answer *answer)
{
  struct sb_faults faults = {0};
  struct sb_error err = {SB_OK, ""};
  struct sb_output all = {.stream = NULL};
  if (request->all != NULL && sb_output_open(&all, request->all) != 0) return sb_command_fail_writing(request->all);
  wanted->all = all.stream;
  if (all.stream != NULL) sb_drops_begin(all.stream);
  const enum sb_status status = sb_design_search(wanted, answer, &faults, &err);
  const int code = status == SB_OK ? SB_EXIT_DONE : fail(request, status, &faults, &err);
  if (status == SB_OK) sb_faults_clear(&faults);
  if (all.stream == NULL) return code;
  if (code != SB_EXIT_DONE) {
    sb_output_drop(&all);
  } else if (sb_output_commit(&all) != 0) {
    return sb_command_fail_writing(request->all);
  }
  return code;
}

static bool is_shard(const struct request *request)
{
  return request->work.shard_count > 1;
}

static int check_folder(const struct request *request)
{
  const char *output = request->work.output;
  if (output == NULL || is_shard(request) || sb_output_is_folder(output)) return SB_EXIT_DONE;
  return sb_command_usage("-o %s: needs a folder that exists", output);
}

static uint64_t identity_of(const struct request *request)
{
  uint64_t hash = sb_tasks_hash_text(sb_tasks_hash_text(SB_TASKS_HASH_START, "design"), sb_command_version());
  hash = sb_tasks_hash_whole(hash, request->run_most);
  return sb_tasks_hash_whole(hash, request->tune_most);
}

/* Searches, or takes finished designs, and reports. */
static int answer(const struct request *request, struct sb_design_request *wanted)
{
  struct sb_design_answer *found = calloc(1, sizeof *found);
  if (found == NULL) return sb_command_fail(NULL, SB_ERR_MEMORY, NULL);
  sb_interrupt_catch();
  const bool is_finished = !request->is_join && request->files.count > 1;
  int code = is_finished ? take_all(request, wanted, found) : search(request, wanted, found);
  if (code == SB_EXIT_DONE && !found->is_shard) code = report(request, wanted, found);
  if (code == SB_EXIT_DONE) sb_stage_forget(wanted);
  sb_design_clear(found);
  free(found);
  return code;
}

static int do_request(const struct request *request, const struct sb_design_shards *shards)
{
  struct work work = {.request = request};
  char stem[4096] = "";
  const int code = check_folder(request);
  const char *output = request->work.output;
  if (code != SB_EXIT_DONE) return code;
  if (output != NULL) snprintf(stem, sizeof stem, is_shard(request) ? "%.4000s" : "%.4000s/design", output);
  struct sb_design_request wanted = {
      .source = {shards != NULL ? shards->file : request->files.items[0], request->sets.items, request->sets.count},
      .loads = request->loads.items,
      .load_count = request->loads.count,
      .run_most = request->run_most,
      .tune_most = request->tune_most,
      .design_most = request->design_most,
      .jobs = (int)request->work.jobs,
      .identity = identity_of(request),
      .journal_stem = output != NULL ? stem : NULL,
      .is_resumed = request->work.is_resumed,
      .shard = request->work.shard,
      .shard_count = request->work.shard_count,
      .on_shard = take_shard,
      .stop = sb_interrupt_flag(),
      .on_stage = show_stage,
      .on_progress = show_progress,
      .context = &work,
  };
  for (int k = 0; shards != NULL && k < SB_DESIGN_STAGES; k++) {
    wanted.given[k] = shards->is_given[k] ? &shards->results[k] : NULL;
  }
  return answer(request, &wanted);
}

/* The command that began the shards stands in them. */
static int do_join(const struct request *request)
{
  struct sb_design_shards shards;
  struct sb_error err = {SB_OK, ""};
  struct request own = *request;
  const enum sb_status status = sb_design_shards_join(request->files.items, request->files.count, &shards, &err);
  if (status != SB_OK) return sb_command_fail("--join", status, &err);
  own.sets = (struct sb_option_list){.items = shards.sets, .count = shards.set_count};
  own.loads = (struct sb_option_list){.items = shards.loads, .count = shards.load_count};
  own.run_most = shards.run_most;
  own.tune_most = shards.tune_most;
  own.design_most = shards.design_most;
  const int code = do_request(&own, &shards);
  sb_design_shards_clear(&shards);
  return code;
}

static int run(void *context)
{
  const struct request *request = context;
  return request->is_join ? do_join(request) : do_request(request, NULL);
}

static int read_shard(void *context, const char *value)
{
  struct request *request = context;
  if (sb_long_work_read_shard(&request->work, value)) return SB_EXIT_DONE;
  return sb_command_usage("--shard needs K/N with K from 1 to N, such as 2/3, found \"%s\"", value);
}

static const struct sb_option option_table[] = {
    SB_OPTION_SET_OF(struct request),
    {"load", 0, "FILE",
     "a further scenario that each design must serve, too, with the gears, thresholds and choices of the design; may be "
     "given several times. Each figure is the worst of all scenarios",
     SB_INTO_LIST(struct request, loads)},
    {"runs", 0, "N", "so many machines are run at most (default 50000); the report says how many were not",
     SB_INTO_COUNT(struct request, run_most, 1, 1000000)},
    {"tunes", 0, "N",
     "so many machines are tuned at most (default 100): all that pass their runs or, where these are more, of the front of "
     "the runs; the report says how many were not",
     SB_INTO_COUNT(struct request, tune_most, 1, 1000000)},
    {"designs", 0, "N", "so many designs are shown at most (default 12); the report says how many were not",
     SB_INTO_COUNT(struct request, design_most, 1, 100000)},
    {"output", 'o', "DIR",
     "write each design there as a scenario, design-1.yaml and so on; what is calculated is kept there until the answer "
     "is complete; with --shard the file of the shard",
     SB_INTO_OUTPUT(struct request, work.output)},
    {"csv", 0, "FILE", "write the table of designs there; - is standard output, and the report is then left out",
     SB_INTO_OUTPUT(struct request, csv)},
    {"all", 0, "FILE", "write each machine that is no design of the answer there, as CSV, with the rule that drops it",
     SB_INTO_OUTPUT(struct request, all)},
    {"json", 0, NULL, "one JSON object on one line", SB_INTO_FLAG(struct request, is_json)},
    {.help = "\nLong work; results do not depend on any of these:"},
    {"jobs", 0, "N", "threads (default: all cores)", SB_INTO_COUNT(struct request, work.jobs, 1, 1024)},
    {"resume", 0, NULL, "go on where the same command with -o was interrupted or killed",
     SB_INTO_FLAG(struct request, work.is_resumed)},
    {"shard", 0, "K/N",
     "do only the K-th of N equal parts of the runs and write a shard to -o; with --join of all these, a part of the tuning",
     SB_BY_CALL(read_shard)},
    {"join", 0, NULL,
     "put all shards of the runs together and do the rest, or of the runs and of the tuning: they stand in place of the "
     "scenario, which must still be there",
     SB_INTO_FLAG(struct request, is_join)},
    {"quiet", 'q', NULL, "show no progress and no report", SB_INTO_FLAG(struct request, work.is_quiet)},
    {0},
};

static const struct sb_option_rule rules[] = {
    {"quiet", SB_EXCLUDES, "json", "JSON is the report"},
    {"resume", SB_NEEDS, "output", "what was calculated is kept there"},
    {"csv=-", SB_EXCLUDES, "json", "both use standard output"},
    {"join", SB_EXCLUDES, "set load runs tunes designs", "the shards know the rest"},
    {"shard", SB_NEEDS, "output", "the shard is written there"},
    {"shard", SB_EXCLUDES, "output=-", "a shard is a file for --join"},
    {"shard", SB_EXCLUDES, "json csv all", "they go with --join"},
    {"+~join", SB_EXCLUDES, "output all runs tunes designs load resume shard", "several files are finished designs"},
    {0},
};

static const struct request defaults = {
    .run_most = 50000, .tune_most = 100, .design_most = 12, .work = {.shard = 1, .shard_count = 1}};

const struct sb_command sb_command_design = {
    .name = "design",
    .summary = "choose gears, motor, shifter and thresholds from a shelf",
    .usage = "[OPTION]... FILE...\n--join SHARD... [-o DIR] [--json]",
    .about =
        "Puts whole machines together from what the section choices of a scenario offers, drops those that cannot meet its "
        "section require, runs the others, tunes those of which none is worse in everything than another, and writes them as "
        "scenarios. Several files are finished designs: they stand side by side in the same table. Topic: design.",
    .options = option_table,
    .rules = rules,
    .files = {1, SIZE_MAX, "scenario file, or with --join shards", offsetof(struct request, files)},
    .request_size = sizeof(struct request),
    .defaults = &defaults,
    .run = run,
};
