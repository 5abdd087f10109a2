// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_tune.c - thresholds and dwell that pass for all scenarios and all their tolerances. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "cli/command.h"
#include "cli/external_options.h"
#include "cli/interrupt.h"
#include "cli/long_work.h"
#include "cli/options.h"
#include "cli/output.h"
#include "cli/progress.h"
#include "shiftband/tasks.h"
#include "tune/report.h"

static const char help[] =
    "usage: shiftband tune [OPTION]... FILE...\n"
    "\n"
    "Finds downshift_below, upshift_above and dwell that work for all the scenarios (the loads that the\n"
    "machine will meet) and all samples of their tolerances, with the margin to the nearest failure.\n"
    "\n"
    "      --prefer WHAT      margin (default): within three quarters of the widest margin the highest\n"
    "                         downshift threshold, which spares the motor; time: the most turns made;\n"
    "                         energy: the least a turn; the last two keep at least half of the widest\n"
    "                         margin\n"
    "      --samples N        quasi-random samples of the tolerances, besides nominal and corners;\n"
    "                         default 24\n"
    "      --seed N           of the samples; default 1\n"
    "      --pair N           only this pair of gears, from 1, the slowest; default: all of them\n"
    "      --jobs N           threads; default: all cores\n"
    "  -o, --output FILE      write the answer there instead of printing it; what is worked out is kept\n"
    "                         beside it until it is whole\n"
    "      --resume           go on where the same command with -o was interrupted\n"
    "      --set PATH=VALUE   change one key in all scenarios first; may be given again\n"
    "      --json             one JSON object instead of text\n" SB_OWN_OPTIONS_HELP
    "Each pair of thresholds on a lattice is then a run, and between two nothing is known; --samples\n"
    "defaults to 4.\n"
    "      --points N                  about so many along each threshold, 8 to 1000; default 41\n";

enum {
  OPTION_PREFER = 1,
  OPTION_SAMPLES,
  OPTION_SEED,
  OPTION_PAIR,
  OPTION_JOBS,
  OPTION_SET,
  OPTION_JSON,
  OPTION_OUTPUT,
  OPTION_RESUME,
  OPTION_POINTS
};

struct request {
  struct sb_words files, sets;
  enum sb_prefer prefer;
  long samples, pair, jobs; /* samples -1: not given */
  long points;              /* 0: not given */
  struct sb_own_options own;
  unsigned long seed;
  bool is_json;
  const char *output; /* NULL: standard output */
  bool is_resumed;
};

/* Journals to forget when the answer is safe. */
enum { JOURNAL_MAX = 1024 };

struct work {
  struct sb_progress progress;
  bool keeps_journals;
  char *journals[JOURNAL_MAX];
  int journal_count;
};

static int read_prefer(struct request *request, const struct sb_option_reader *reader)
{
  static const char *const names[] = {"margin", "time", "energy", NULL};
  const int found = sb_options_find_word(reader->value, names);
  if (found >= 0) {
    request->prefer = (enum sb_prefer)found;
    return SB_EXIT_DONE;
  }
  return sb_options_complain(reader, "--prefer needs margin, time or energy, found \"%s\"", reader->value);
}

static int read_option(void *context, const struct sb_option_reader *reader, int id)
{
  struct request *request = context;
  long seed;
  switch (id) {
    case OPTION_PREFER: return read_prefer(request, reader);
    case OPTION_SAMPLES:
      if (sb_long_work_read_count(reader->value, 0, 100000, &request->samples)) return SB_EXIT_DONE;
      return sb_options_complain(reader, "--samples needs a number from 0 to 100000, found \"%s\"", reader->value);
    case OPTION_SEED:
      if (!sb_long_work_read_count(reader->value, 0, 2147483647, &seed)) {
        return sb_options_complain(reader, "--seed needs a whole number, found \"%s\"", reader->value);
      }
      request->seed = (unsigned long)seed;
      return SB_EXIT_DONE;
    case OPTION_PAIR:
      if (sb_long_work_read_count(reader->value, 1, SB_GEAR_MAX - 1, &request->pair)) return SB_EXIT_DONE;
      return sb_options_complain(reader, "--pair needs a number from 1, found \"%s\"", reader->value);
    case OPTION_JOBS:
      if (sb_long_work_read_count(reader->value, 1, 1024, &request->jobs)) return SB_EXIT_DONE;
      return sb_options_complain(reader, "--jobs needs a number from 1, found \"%s\"", reader->value);
    case OPTION_SET: sb_words_add(&request->sets, reader->value); return SB_EXIT_DONE;
    case OPTION_JSON: request->is_json = true; return SB_EXIT_DONE;
    case OPTION_OUTPUT: request->output = reader->value; return SB_EXIT_DONE;
    case OPTION_RESUME: request->is_resumed = true; return SB_EXIT_DONE;
    case SB_OPTION_OPERAND: sb_words_add(&request->files, reader->value); return SB_EXIT_DONE;
    case OPTION_POINTS:
      if (sb_long_work_read_count(reader->value, 8, 1000, &request->points)) return SB_EXIT_DONE;
      return sb_options_complain(reader, "--points needs a number from 8 to 1000, found \"%s\"", reader->value);
    default: return sb_own_options_take(&request->own, reader, id);
  }
}

/* Returns SB_EXIT_DONE, another exit code, or -1 when only help was asked for. */
static int read_request(struct request *request, int argc, char **argv)
{
  static const struct sb_option options[] = {{"prefer", 0, true, OPTION_PREFER},
                                             {"samples", 0, true, OPTION_SAMPLES},
                                             {"seed", 0, true, OPTION_SEED},
                                             {"pair", 0, true, OPTION_PAIR},
                                             {"jobs", 0, true, OPTION_JOBS},
                                             {"set", 0, true, OPTION_SET},
                                             {"json", 0, false, OPTION_JSON},
                                             {"output", 'o', true, OPTION_OUTPUT},
                                             {"resume", 0, false, OPTION_RESUME},
                                             {"points", 0, true, OPTION_POINTS},
                                             SB_OWN_OPTIONS,
                                             {NULL, 0, false, 0}};
  struct sb_option_reader reader;
  int code = sb_options_read_all(&reader, options, argc, argv, help, read_option, request);
  if (code == SB_EXIT_DONE) code = sb_own_options_check(&request->own, &reader);
  const bool is_own = sb_own_options_decider(&request->own) != NULL;
  if (code == SB_EXIT_DONE && request->points > 0 && !is_own) {
    code = sb_options_complain(&reader,
                               "--points goes with a controller of your own: the built-in one is searched exactly");
  }
  if (code == SB_EXIT_DONE && request->files.count == 0) code = sb_options_complain(&reader, "needs a scenario file");
  if (code == SB_EXIT_DONE && request->is_resumed && request->output == NULL) {
    code = sb_options_complain(&reader, "--resume goes with -o");
  }
  if (code == SB_EXIT_DONE) {
    code = sb_command_check_output("tune", "-o", request->output, request->files.items, request->files.count);
  }
  return code;
}

static int complain(const char *path, enum sb_status status, const struct sb_error *err)
{
  sb_command_complain("%s: %s", path, err->text[0] != 0 ? err->text : sb_status_text(status));
  return sb_command_exit(status);
}

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
    sb_command_complain("%s: %s", request->output, strerror(errno));
    return SB_EXIT_IO;
  }
  sb_output_drop(&output);
  return SB_EXIT_DONE;
}

/* The answer appears whole or not at all. */
static int write_answer(const struct sb_tuning *tuning, const struct request *request)
{
  struct sb_output output;
  const char *path = request->output != NULL ? request->output : "-";
  if (sb_output_open(&output, path) != 0) {
    sb_command_complain("%s: %s", path, strerror(errno));
    return SB_EXIT_IO;
  }
  if (request->is_json) {
    sb_tune_write_json(output.stream, tuning);
  } else {
    sb_tune_write_text(output.stream, tuning);
  }
  if (sb_output_commit(&output) == 0) return SB_EXIT_DONE;
  sb_command_complain("%s: %s", request->output != NULL ? path : "standard output", strerror(errno));
  return SB_EXIT_IO;
}

static void show_pair(void *context, bool begins)
{
  struct work *work = context;
  if (begins) {
    sb_progress_begin(&work->progress, "maps");
  } else {
    sb_progress_end(&work->progress);
  }
}

static int load(const struct sb_tune_request *wanted, struct sb_tuning *tuning)
{
  struct sb_faults faults;
  struct sb_error err = {SB_OK, ""};
  const enum sb_status status = sb_tuning_load(wanted, tuning, &faults, &err);
  if (status != SB_OK && err.text[0] != 0) sb_command_complain("%s", err.text);
  for (size_t k = 0; status != SB_OK && k < faults.count; k++) fprintf(stderr, "%s\n", faults.texts[k]);
  sb_faults_clear(&faults);
  return sb_command_exit(status);
}

static int tune(const struct sb_tune_request *wanted, const struct work *work, struct sb_tuning *tuning)
{
  struct sb_error err = {SB_OK, ""};
  sb_interrupt_catch();
  const enum sb_status status = sb_tuning_run(wanted, tuning, &err);
  if (status == SB_OK) return SB_EXIT_DONE;
  if (status != SB_ERR_STOPPED) return complain("tune", status, &err);
  return sb_interrupt_exit(work->keeps_journals ? "the same command with --resume"
                                                : "nothing is kept; with -o FILE the same command with --resume");
}

static int run_request(const struct request *request)
{
  struct sb_tuning tuning;
  struct work work = {.journal_count = 0};
  uint64_t identity = sb_tasks_hash_text(sb_tasks_hash_text(SB_TASKS_HASH_START, "tune"), sb_command_version());
  int code = sb_own_options_hash(&request->own, &identity);
  if (code != SB_EXIT_DONE) return code;
  struct sb_tune_request wanted = {.paths = request->files.items,
                                   .path_count = (int)request->files.count,
                                   .sets = request->sets.items,
                                   .set_count = request->sets.count,
                                   .prefer = request->prefer,
                                   .samples = request->samples,
                                   .seed = request->seed,
                                   .pair = request->pair,
                                   .points = request->points,
                                   .jobs = (int)request->jobs,
                                   .decider = sb_own_options_decider(&request->own),
                                   .identity = identity,
                                   .is_resumed = request->is_resumed,
                                   .stop = sb_interrupt_flag(),
                                   .on_pair = show_pair,
                                   .on_progress = show_progress,
                                   .on_journal = note_journal,
                                   .context = &work};
  code = load(&wanted, &tuning);
  if (code == SB_EXIT_DONE) code = check_writable(request, &work);
  wanted.journal_stem = work.keeps_journals ? request->output : NULL;
  if (code == SB_EXIT_DONE) code = tune(&wanted, &work, &tuning);
  if (code == SB_EXIT_DONE) code = write_answer(&tuning, request);
  forget_journals(&work, code == SB_EXIT_DONE);
  sb_tuning_clear(&tuning);
  return code;
}

int sb_cmd_tune(int argc, char **argv)
{
  struct request request = {.samples = -1, .seed = 1};
  int code = SB_EXIT_GAVE_UP;
  if (sb_words_init(&request.files, argc) && sb_words_init(&request.sets, argc)) {
    code = read_request(&request, argc, argv);
  }
  if (code == SB_EXIT_DONE) code = run_request(&request);
  sb_words_clear(&request.files);
  sb_words_clear(&request.sets);
  sb_own_options_clear(&request.own);
  return code == -1 ? SB_EXIT_DONE : code;
}
