// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_tune.c - thresholds and dwell that pass for all scenarios and all their tolerances. */
#include <math.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "cli/command.h"
#include "cli/external_options.h"
#include "cli/interrupt.h"
#include "cli/output.h"
#include "cli/progress.h"
#include "map/lattice.h"
#include "shiftband/tasks.h"
#include "study/study.h"
#include "tune/report.h"

struct request {
  struct sb_option_list files, sets;
  enum sb_prefer prefer;
  long samples, pair, jobs; /* samples -1: not given */
  long points;              /* 0: not given */
  struct sb_own_options own;
  long seed;
  bool is_json, is_quiet;
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

/* Adds one sample of a scenario as a machine; the loaded scenario stays with the study. */
static int add_sample(struct sb_tuning *tuning, const struct request *request, int scenario, int sample)
{
  const struct sb_scenario *nominal = &tuning->nominals[scenario];
  const char *path = request->files.items[scenario];
  const double *values = tuning->values[scenario] + sample * nominal->tolerance_count;
  struct sb_faults faults = {0};
  struct sb_scenario *own = &tuning->samples[tuning->machine_count];
  const struct sb_scenario_source source = {path, request->sets.items, request->sets.count};
  struct sb_changes changes = {.count = 0};
  sb_spread_change(nominal, values, &changes);
  const enum sb_status loaded = sb_scenario_load_changed(&source, &changes, own, &faults);
  if (loaded != SB_OK) {
    char words[256];
    sb_command_complain("%s: a sample of the tolerances is no valid scenario (%s):", path,
                        sb_spread_words(nominal, values, words, sizeof words));
    return sb_command_fail_faults(path, loaded, &faults);
  }
  tuning->machines[tuning->machine_count++] = (struct sb_tune_machine){
      .model = own->model,
      .scenario = scenario,
      .sample = sample,
      .is_light = sample <= sb_spread_corner_count(nominal),
  };
  return SB_EXIT_DONE;
}

static int samples_of(const struct request *request, const struct sb_scenario *nominal)
{
  if (nominal->tolerance_count == 0) return 1;
  return 1 + sb_spread_corner_count(nominal) + (int)request->samples;
}

/* Draws and adds all samples of a scenario. */
static int add_samples(struct sb_tuning *tuning, const struct request *request, int scenario)
{
  const struct sb_scenario *nominal = &tuning->nominals[scenario];
  const int count = samples_of(request, nominal);
  struct sb_error err = {SB_OK, ""};
  double *values = calloc((size_t)count * (size_t)(nominal->tolerance_count + 1), sizeof *values);
  tuning->values[scenario] = values;
  if (values == NULL) return SB_EXIT_GAVE_UP;
  const enum sb_status status =
      sb_spread_draw(nominal, SB_SPREAD_SEARCH, (unsigned long)request->seed, count, values, &err);
  if (status != SB_OK) return sb_command_fail(request->files.items[scenario], status, &err);
  int code = SB_EXIT_DONE;
  for (int k = 0; k < count && code == SB_EXIT_DONE; k++) code = add_sample(tuning, request, scenario, k);
  return code;
}

static int load_all(struct sb_tuning *tuning, const struct request *request)
{
  const size_t files = request->files.count;
  tuning->nominals = calloc(files, sizeof *tuning->nominals);
  tuning->values = calloc(files, sizeof *tuning->values);
  if (tuning->nominals == NULL || tuning->values == NULL) return SB_EXIT_GAVE_UP;
  size_t total = 0;
  for (size_t i = 0; i < files; i++) {
    const int code = sb_command_load(request->files.items[i], &request->sets, &tuning->nominals[i]);
    if (code != SB_EXIT_DONE) return code;
    tuning->nominal_count++;
    total += (size_t)samples_of(request, &tuning->nominals[i]);
  }
  tuning->machines = calloc(total, sizeof *tuning->machines);
  tuning->samples = calloc(total, sizeof *tuning->samples);
  if (tuning->machines == NULL || tuning->samples == NULL) return SB_EXIT_GAVE_UP;
  for (size_t i = 0; i < files; i++) {
    const int code = add_samples(tuning, request, (int)i);
    if (code != SB_EXIT_DONE) return code;
  }
  return SB_EXIT_DONE;
}

/* What must be alike in all scenarios, so that one controller in one box can serve them; the first difference or NULL. */
static const char *find_difference(const struct sb_model *a, const struct sb_model *b)
{
  const struct sb_control *ca = &a->control, *cb = &b->control;
  if (a->gearbox.gear_count != b->gearbox.gear_count) return "number of gears";
  for (int g = 0; g < a->gearbox.gear_count; g++) {
    if (fabs(a->gearbox.gears[g].ratio / b->gearbox.gears[g].ratio - 1.0) > 1e-9) return "ratios of the gears";
  }
  if (ca->sensor.quantity != cb->sensor.quantity) return "controller.reading";
  const enum sb_sensor_quantity quantity = ca->sensor.quantity;
  const bool has_speeds = quantity == SB_SENSES_SPEED && ca->sensor.reference_rad_s != cb->sensor.reference_rad_s;
  const bool has_currents = quantity == SB_SENSES_CURRENT && ca->sensor.reference_a != cb->sensor.reference_a;
  if (has_speeds) return "controller.reference_speed";
  if (has_currents) return "controller.reference_current";
  if (ca->sensor.resolution_fraction != cb->sensor.resolution_fraction) return "controller.resolution";
  if (ca->sensor.filter_s != cb->sensor.filter_s) return "controller.filter";
  if (ca->sample_period_s != cb->sample_period_s) return "controller.sample_period";
  if (ca->start_delay_s != cb->start_delay_s) return "controller.start_delay";
  if (ca->debounce_count != cb->debounce_count) return "controller.debounce_samples";
  return NULL;
}

static int check_alike(const struct sb_tuning *tuning, const struct request *request)
{
  const struct sb_model *first = &tuning->nominals[0].model;
  if (first->gearbox.gear_count < 2) {
    sb_command_complain("%s: a box with one gear has no thresholds to tune", request->files.items[0]);
    return SB_EXIT_SCENARIO;
  }
  for (int i = 0; i < tuning->nominal_count; i++) {
    const char *difference = find_difference(first, &tuning->nominals[i].model);
    if (difference == NULL) continue;
    sb_command_complain("%s: needs the %s of %s, so that one controller can serve both", request->files.items[i],
                        difference, request->files.items[0]);
    return SB_EXIT_SCENARIO;
  }
  if (request->pair >= first->gearbox.gear_count) {
    sb_command_complain("%s: --pair %ld: pairs of gears count from 1 to %d", request->files.items[0], request->pair,
                        first->gearbox.gear_count - 1);
    return SB_EXIT_USAGE;
  }
  return SB_EXIT_DONE;
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

static enum sb_status hash_request(const struct request *request, const struct sb_tuning *tuning, uint64_t *hash,
                                   struct sb_error *err)
{
  *hash = sb_tasks_hash_text(sb_tasks_hash_text(SB_TASKS_HASH_START, "tune"), sb_command_version());
  *hash = sb_tasks_hash_bytes(*hash, &request->samples, sizeof request->samples);
  *hash = sb_tasks_hash_bytes(*hash, &request->seed, sizeof request->seed);
  *hash = sb_tasks_hash_bytes(*hash, &request->pair, sizeof request->pair);
  *hash = sb_tasks_hash_bytes(*hash, &request->points, sizeof request->points);
  enum sb_status status = SB_OK;
  for (int i = 0; i < tuning->nominal_count && status == SB_OK; i++) {
    status = sb_tasks_hash_scenario(hash, request->files.items[i], request->sets.items, request->sets.count,
                                    &tuning->nominals[i], err);
  }
  return status;
}

/* Puts an answer into all machines, so that the next pair is tuned beside it. There is one dwell for all pairs: the
 * longest that any of them asks for. */
static void adopt(struct sb_tuning *tuning, int pair, const struct sb_tune_result *result, double *dwell_s)
{
  *dwell_s = fmax(*dwell_s, result->dwell_s);
  for (int i = 0; i < tuning->machine_count; i++) {
    struct sb_control *control = &tuning->machines[i].model.control;
    control->downshift_fraction[pair] = result->downshift_fraction;
    control->upshift_fraction[pair] = result->upshift_fraction;
    control->dwell_s = *dwell_s;
  }
}

/* Under someone else's controller: a lattice of few points, and nothing by the closed forms. */
static void adapt_to_own(struct sb_tune_options *options, const struct request *request)
{
  struct sb_map_axis *axis = &options->axis;
  options->decider = sb_own_options_decider(&request->own);
  if (options->decider == NULL) return;
  const int points = request->points > 0 ? (int)request->points : SB_STUDY_POINTS_DEFAULT;
  const int stride = sb_map_axis_stride(axis, points);
  options->is_cautious = false;
  *axis = (struct sb_map_axis){stride * axis->step_fraction, stride * axis->step_fraction, axis->count / stride};
}

/* What one round of all pairs is for. */
struct round {
  int number;
  bool is_rough, is_fixed;
  bool has_dwell; /* the dwell is chosen already */
};

/* One pair in one round; code -1: interrupted. */
static int tune_pair(struct sb_tuning *tuning, const struct request *request, struct work *work, uint64_t identity,
                     int pair, const struct round *round)
{
  struct sb_error err = {SB_OK, ""};
  char stem[4096];
  const int length =
      snprintf(stem, sizeof stem, "%s.%d-%d", request->output != NULL ? request->output : "", round->number, pair + 1);
  if (length < 0 || (size_t)length >= sizeof stem) {
    sb_command_complain("-o: the path is too long");
    return SB_EXIT_USAGE;
  }
  struct sb_tune_options options = sb_tune_options_default(&tuning->nominals[0].model);
  options.pair = pair;
  adapt_to_own(&options, request);
  options.prefer = request->prefer;
  options.dwell_s = round->has_dwell ? tuning->dwell_s : 0.0;
  options.is_rough = round->is_rough;
  options.is_fixed = round->is_fixed;
  options.jobs = (int)request->jobs;
  options.identity = identity;
  options.journal_stem = work->keeps_journals ? stem : NULL;
  options.is_resumed = request->is_resumed;
  options.stop = sb_interrupt_flag();
  options.on_progress = show_progress;
  options.on_journal = note_journal;
  options.context = work;
  sb_progress_begin(&work->progress, "maps", request->is_quiet);
  const enum sb_status status =
      sb_tune(tuning->machines, tuning->machine_count, &options, &tuning->results[pair], &err);
  sb_progress_end(&work->progress);
  if (status == SB_ERR_STOPPED) return -1;
  if (status != SB_OK) return sb_command_fail(NULL, status, &err);
  tuning->options[pair] = options;
  return SB_EXIT_DONE;
}

/* The closed forms beside the answers: they are about the built-in controller. */
static int explain_all(struct sb_tuning *tuning)
{
  struct sb_error err = {SB_OK, ""};
  for (int pair = tuning->first_pair; pair <= tuning->last_pair; pair++) {
    const struct sb_tune_options *options = &tuning->options[pair];
    if (options->decider != NULL) continue;
    const enum sb_status status =
        sb_tune_explain(tuning->machines, tuning->machine_count, options, &tuning->results[pair], &err);
    if (status != SB_OK) return sb_command_fail("tune", status, &err);
  }
  return SB_EXIT_DONE;
}

/*
 * One pair is searched at once. Several hang together: what one pair's thresholds spoil another cannot mend, and they
 * share the dwell. So they are searched roughly, searched again at the longest dwell that any asks for, and described with
 * everything in place.
 */
static int tune_all(struct sb_tuning *tuning, const struct request *request, struct work *work)
{
  static const struct round alone[] = {{1, false, false, false}};
  static const struct round together[] = {{1, true, false, false}, {2, true, false, true}, {3, false, true, true}};
  const int pair_count = tuning->nominals[0].model.gearbox.gear_count - 1;
  tuning->first_pair = request->pair > 0 ? (int)request->pair - 1 : 0;
  tuning->last_pair = request->pair > 0 ? tuning->first_pair : pair_count - 1;
  const bool is_alone = tuning->first_pair == tuning->last_pair;
  const struct round *rounds = is_alone ? alone : together;
  const size_t round_count = is_alone ? 1 : sizeof together / sizeof together[0];

  struct sb_error err = {SB_OK, ""};
  uint64_t identity;
  const enum sb_status status = hash_request(request, tuning, &identity, &err);
  if (status != SB_OK) return sb_command_fail(request->files.items[0], status, &err);
  const int hashed = sb_own_options_hash(&request->own, &identity);
  if (hashed != SB_EXIT_DONE) return hashed;
  for (size_t k = 0; k < round_count; k++) {
    double dwell_s = tuning->dwell_s;
    for (int pair = tuning->first_pair; pair <= tuning->last_pair; pair++) {
      const int code = tune_pair(tuning, request, work, identity, pair, &rounds[k]);
      if (code != SB_EXIT_DONE) return code;
      adopt(tuning, pair, &tuning->results[pair], &dwell_s);
    }
    tuning->dwell_s = dwell_s;
  }
  return explain_all(tuning);
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

/* The answer appears whole or not at all. */
static int write_answer(const struct sb_tuning *tuning, const struct request *request)
{
  struct sb_output output;
  const char *path = request->output != NULL ? request->output : "-";
  if (sb_output_open(&output, path) != 0) return sb_command_fail_writing(path);
  if (request->is_json) {
    sb_tune_write_json(output.stream, tuning);
  } else {
    sb_tune_write_text(output.stream, tuning);
  }
  return sb_output_commit(&output) == 0 ? SB_EXIT_DONE : sb_command_fail_writing(path);
}

static void clear(struct sb_tuning *tuning)
{
  for (int i = 0; i < tuning->machine_count; i++) sb_scenario_clear(&tuning->samples[i]);
  for (int i = 0; i < tuning->nominal_count; i++) {
    sb_scenario_clear(&tuning->nominals[i]);
    if (tuning->values != NULL) free(tuning->values[i]);
  }
  free(tuning->values);
  free(tuning->machines);
  free(tuning->samples);
  free(tuning->nominals);
}

static int run_request(const struct request *request)
{
  struct sb_tuning tuning = {.seed = (unsigned long)request->seed};
  struct work work = {.journal_count = 0};
  int code = load_all(&tuning, request);
  if (code == SB_EXIT_DONE) code = check_alike(&tuning, request);
  if (code == SB_EXIT_DONE) code = check_writable(request, &work);
  if (code == SB_EXIT_DONE) {
    sb_interrupt_catch();
    code = tune_all(&tuning, request, &work);
    if (code == -1) {
      code = sb_interrupt_exit(work.keeps_journals ? "the same command with --resume"
                                                   : "nothing is kept; with -o FILE the same command with --resume");
    }
  }
  if (code == SB_EXIT_DONE) code = write_answer(&tuning, request);
  forget_journals(&work, code == SB_EXIT_DONE);
  clear(&tuning);
  return code;
}

static int run(void *context)
{
  struct request *request = context;
  int code = sb_own_options_prepare(&request->own);
  if (request->samples < 0) request->samples = sb_own_options_decider(&request->own) != NULL ? 4 : 24;
  if (code == SB_EXIT_DONE) code = run_request(request);
  sb_own_options_clear(&request->own);
  return code;
}

static const char *const preferences[] = {"margin", "time", "energy", NULL};

static const struct sb_option options[] = {
    {"prefer", 0, "WHAT",
     "margin (default): within three quarters of the widest margin the highest downshift threshold, which spares the motor; time: the most "
     "turns made; energy: the least a turn; the last two keep at least half of the widest margin",
     SB_INTO_CHOICE(struct request, prefer, preferences)},
    {"samples", 0, "N", "quasi-random samples of the tolerances, besides nominal and corners (default 24)",
     SB_INTO_COUNT(struct request, samples, 0, 100000)},
    {"seed", 0, "N", "of the samples (default 1)", SB_INTO_COUNT(struct request, seed, 0, 2147483647)},
    {"pair", 0, "N", "only this pair of gears, from 1, the slowest (default: all of them)",
     SB_INTO_COUNT(struct request, pair, 1, SB_GEAR_MAX - 1)},
    {"jobs", 0, "N", "threads (default: all cores)", SB_INTO_COUNT(struct request, jobs, 1, 1024)},
    {"output", 'o', "FILE",
     "write the answer there instead of printing it; what is worked out is kept beside it until it is whole",
     SB_INTO_OUTPUT(struct request, output)},
    {"resume", 0, NULL, "go on where the same command with -o was interrupted",
     SB_INTO_FLAG(struct request, is_resumed)},
    SB_OPTION_SET_OF(struct request),
    {"json", 0, NULL, "one JSON object instead of text", SB_INTO_FLAG(struct request, is_json)},
    {"quiet", 'q', NULL, "show no progress", SB_INTO_FLAG(struct request, is_quiet)},
    SB_OWN_OPTIONS(struct request, own),
    {.help =
         "Each pair of thresholds on a lattice is then a run, and between two nothing is known; --samples defaults to 4."},
    {"points", 0, "N", "about so many along each threshold, 8 to 1000 (default 41)",
     SB_INTO_COUNT(struct request, points, 8, 1000)},
    {0},
};

static const struct sb_option_rule rules[] = {
    {"resume", SB_NEEDS, "output", "what was worked out is kept beside that file"},
    {"points", SB_NEEDS, "controller controller-command", "with the built-in controller the search is exact"},
    SB_OWN_RULES,
    {0},
};

static const struct request defaults = {.samples = -1, .seed = 1};

const struct sb_command sb_command_tune = {
    .name = "tune",
    .summary = "thresholds and dwell that pass for all scenarios and all their tolerances",
    .usage = "[OPTION]... FILE...",
    .about =
        "Finds the downshift and the upshift threshold and the dwell that work for all the scenarios (the loads that the machine will meet) and all samples "
        "of their tolerances, with the margin to the nearest failure.",
    .options = options,
    .rules = rules,
    .files = {1, SIZE_MAX, "scenario file", offsetof(struct request, files)},
    .request_size = sizeof(struct request),
    .defaults = &defaults,
    .run = run,
};
