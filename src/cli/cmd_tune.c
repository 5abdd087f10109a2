// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_tune.c - thresholds and dwell that pass for all scenarios and all their tolerances. */
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "cli/command.h"
#include "cli/external_options.h"
#include "cli/long_work.h"
#include "cli/output.h"
#include "shiftband/tasks.h"
#include "tune/report.h"

struct request {
  struct sb_option_list files, sets;
  struct sb_tune_request wanted; /* what of it is asked for by options; the rest is filled by run_request() */
  long seed, jobs;
  struct sb_own_options own;
  bool is_json, is_quiet;
  const char *output; /* NULL: standard output */
};

/* Journals to forget when the answer is safe. */
enum { JOURNAL_MAX = 1024 };

struct work {
  struct sb_progress progress;
  bool is_quiet;
  bool keeps_journals;
  char *journals[JOURNAL_MAX];
  int journal_count;
};

static void show_progress(void *context, long done, long total)
{
  struct work *work = context;
  sb_progress_show(&work->progress, done, total);
}

static void note_journal(void *context, const char *path)
{
  struct work *work = context;
  if (work->journal_count < JOURNAL_MAX) work->journals[work->journal_count++] = strdup(path);
}

static void forget_journals(struct work *work, bool is_done)
{
  for (int k = 0; k < work->journal_count; k++) {
    if (is_done && work->journals[k] != NULL) remove(work->journals[k]);
    free(work->journals[k]);
  }
  work->journal_count = 0;
}

/* A place where nothing can be written is better told before the work than after. */
static int check_writable(const struct request *request, struct work *work)
{
  struct stat info;
  struct sb_output output;
  if (request->output == NULL) return SB_EXIT_DONE;
  work->keeps_journals = stat(request->output, &info) != 0 || S_ISREG(info.st_mode);
  if (sb_output_open(&output, request->output) != 0) {
    return sb_command_fail_writing(request->output);
  }
  sb_output_drop(&output);
  return SB_EXIT_DONE;
}

struct answer {
  const struct sb_rounds *tuning;
  bool is_json;
};

static int write_answer(FILE *out, const void *context)
{
  const struct answer *answer = context;
  if (answer->is_json) {
    sb_tune_write_json(out, answer->tuning);
  } else {
    sb_tune_write_text(out, answer->tuning);
  }
  return 0;
}

static void show_pair(void *context, bool begins)
{
  struct work *work = context;
  if (begins) {
    sb_progress_begin(&work->progress, "maps", work->is_quiet);
  } else {
    sb_progress_end(&work->progress);
  }
}

static int load(const struct sb_tune_request *wanted, struct sb_rounds *tuning)
{
  struct sb_faults faults;
  struct sb_error err = {SB_OK, ""};
  const enum sb_status status = sb_rounds_load(wanted, tuning, &faults, &err);
  if (status != SB_OK && err.text[0] != 0) sb_command_fail(NULL, status, &err);
  for (int k = 0; status == SB_OK && k < tuning->nominal_count; k++) sb_command_say_notes(&tuning->nominals[k]);
  if (faults.count > 0 || err.text[0] == 0) return sb_command_fail_faults(NULL, status, &faults);
  sb_faults_clear(&faults);
  return sb_command_exit(status);
}

static int tune(const struct sb_tune_request *wanted, const struct work *work, struct sb_rounds *tuning)
{
  struct sb_error err = {SB_OK, ""};
  sb_interrupt_catch();
  const enum sb_status status = sb_rounds_run(wanted, tuning, &err);
  if (status == SB_OK) return SB_EXIT_DONE;
  if (status != SB_ERR_STOPPED) return sb_command_fail(NULL, status, &err);
  return sb_interrupt_exit(work->keeps_journals ? "the same command with --resume"
                                                : "nothing is kept; with -o FILE the same command with --resume");
}

static int run_request(const struct request *request)
{
  struct sb_rounds tuning;
  struct work work = {.is_quiet = request->is_quiet};
  uint64_t identity = sb_tasks_hash_text(sb_tasks_hash_text(SB_TASKS_HASH_START, "tune"), sb_command_version());
  int code = sb_own_options_hash(&request->own, &identity);
  if (code != SB_EXIT_DONE) return code;
  struct sb_tune_request wanted = request->wanted;
  wanted.paths = request->files.items;
  wanted.path_count = (int)request->files.count;
  wanted.sets = request->sets.items;
  wanted.set_count = request->sets.count;
  wanted.seed = (unsigned long)request->seed;
  wanted.jobs = (int)request->jobs;
  wanted.decider = sb_own_options_decider(&request->own);
  wanted.identity = identity;
  wanted.stop = sb_interrupt_flag();
  wanted.on_pair = show_pair;
  wanted.on_progress = show_progress;
  wanted.on_journal = note_journal;
  wanted.context = &work;
  code = load(&wanted, &tuning);
  if (code == SB_EXIT_DONE) code = check_writable(request, &work);
  wanted.journal_stem = work.keeps_journals ? request->output : NULL;
  if (code == SB_EXIT_DONE) code = tune(&wanted, &work, &tuning);
  if (code == SB_EXIT_DONE) {
    const struct answer answer = {&tuning, request->is_json};
    code = sb_command_write_file(request->output != NULL ? request->output : "-",
                                 (struct sb_command_writer){write_answer, &answer});
  }
  forget_journals(&work, code == SB_EXIT_DONE);
  sb_rounds_clear(&tuning);
  return code;
}

static int run(void *context)
{
  struct request *request = context;
  int code = sb_own_options_prepare(&request->own);
  if (code == SB_EXIT_DONE) code = run_request(request);
  sb_own_options_clear(&request->own);
  return code;
}

static const char *const preferences[] = {"margin", "time", "energy", NULL};

static const struct sb_option option_table[] = {
    {"prefer", 0, "WHAT",
     "margin (default): the widest margin within 2 % of the greatest speed and 10 % of the least charge for the same distance, or within 2 % of the greatest speed alone where nothing keeps both; time: the greatest speed; energy: the least charge for the same distance; the last two keep at least half of the widest margin",
     SB_INTO_CHOICE(struct request, wanted.prefer, preferences)},
    {"any-load", 0, NULL,
     "recommend what is proved for every load profile within load.bounds, or the least and greatest of each scenario's own load, "
     "in all samples (topic: prove): the greatest swing of the load that does not make the box shift for ever; two gears",
     SB_INTO_FLAG(struct request, wanted.is_any_load)},
    {"samples", 0, "N", "quasi-random samples of the tolerances, besides nominal and corners (default 24)",
     SB_INTO_COUNT(struct request, wanted.samples, 0, 100000)},
    {"seed", 0, "N", "of the samples (default 1)", SB_INTO_COUNT(struct request, seed, 0, 2147483647)},
    {"points", 0, "N",
     "about so many along each threshold, 8 to 20000 (default: as the threshold step, or as many as maps of a quarter of a "
     "minute allow; 41 with someone else's controller)",
     SB_INTO_COUNT(struct request, wanted.points, 8, 20000)},
    {"pair", 0, "N", "only this pair of gears, from 1, the slowest (default: all of them)",
     SB_INTO_COUNT(struct request, wanted.pair, 1, SB_GEAR_MAX - 1)},
    {"jobs", 0, "N", "threads (default: all cores)", SB_INTO_COUNT(struct request, jobs, 1, 1024)},
    {"output", 'o', "FILE",
     "write the answer there instead of printing it; what is calculated is kept beside it until the answer is complete",
     SB_INTO_OUTPUT(struct request, output)},
    {"resume", 0, NULL, "go on where the same command with -o was interrupted",
     SB_INTO_FLAG(struct request, wanted.is_resumed)},
    SB_OPTION_SET_OF(struct request),
    {"json", 0, NULL, "one JSON object instead of text", SB_INTO_FLAG(struct request, is_json)},
    {"quiet", 'q', NULL, "show no progress", SB_INTO_FLAG(struct request, is_quiet)},
    SB_OWN_OPTIONS(struct request, own),
    {.help =
         "Each pair of thresholds on a lattice is then a run, and between two nothing is known; --samples defaults to 4."},
    {0},
};

static const struct sb_option_rule rules[] = {
    {"resume", SB_NEEDS, "output", "what was calculated is kept beside that file"},
    {"any-load", SB_EXCLUDES, "prefer controller controller-command",
     "it is a preference, and proves the built-in controller"},
    SB_OWN_RULES,
    {0},
};

static const struct request defaults = {.wanted.samples = -1, .seed = 1};

const struct sb_command sb_command_tune = {
    .name = "tune",
    .summary = "thresholds and dwell that pass for all scenarios and all their tolerances",
    .usage = "[OPTION]... FILE...",
    .about =
        "Finds the downshift and the upshift threshold and the dwell that work for all the scenarios (the loads that the machine will meet) and all samples "
        "of their tolerances, with the margin to the nearest failure.",
    .options = option_table,
    .rules = rules,
    .files = {1, SIZE_MAX, "scenario file", offsetof(struct request, files)},
    .request_size = sizeof(struct request),
    .defaults = &defaults,
    .run = run,
};
