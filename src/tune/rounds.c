// SPDX-License-Identifier: GPL-3.0-or-later
#include "tune/rounds.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "shiftband/prove.h"
#include "shiftband/tasks.h"
#include "study/study.h"
#include "tune/fineness.h"

/* Quasi-random samples, when none are asked for; each lattice point of someone else's controller is a run of its own. */
enum { SAMPLES_DEFAULT = 24, SAMPLES_OF_RUNS_DEFAULT = 4 };

static int sample_count(const struct sb_tune_request *request, const struct sb_scenario *nominal)
{
  const long usual = request->decider != NULL ? SAMPLES_OF_RUNS_DEFAULT : SAMPLES_DEFAULT;
  const long random = request->samples >= 0 ? request->samples : usual;
  if (nominal->tolerance_count == 0) return 1;
  return 1 + sb_samples_corner_count(nominal) + (int)random;
}

/* Adds one sample of a scenario as a machine; the loaded scenario stays with the tuning. */
static enum sb_status add_sample(const struct sb_tune_request *request, int scenario, int sample,
                                 struct sb_rounds *tuning, struct sb_faults *faults, struct sb_error *err)
{
  const struct sb_scenario *nominal = &tuning->nominals[scenario];
  const char *path = request->paths[scenario];
  const double *values = tuning->values[scenario] + sample * nominal->tolerance_count;
  struct sb_scenario *own = &tuning->samples[tuning->machine_count];
  char words[256];
  const struct sb_scenario_source source = {path, request->sets, request->set_count};
  struct sb_changes changes = {.count = 0};
  sb_samples_change(nominal, values, &changes);
  const enum sb_status status = sb_scenario_load_changed(&source, &changes, own, faults);
  if (status == SB_ERR_MEMORY) return sb_fail(err, status, "%s: out of memory for a sample of the tolerances", path);
  if (status != SB_OK) {
    return sb_fail(err, status, "%s: a sample of the tolerances is no valid scenario (%s):", path,
                   sb_samples_words(nominal, values, words, sizeof words));
  }
  sb_faults_clear(faults);
  tuning->machines[tuning->machine_count++] = (struct sb_tune_machine){
      .model = own->model,
      .scenario = scenario,
      .sample = sample,
      .is_light = sample <= sb_samples_corner_count(nominal),
  };
  return SB_OK;
}

/* Draws and adds all samples of a scenario. */
static enum sb_status add_samples(const struct sb_tune_request *request, int scenario, struct sb_rounds *tuning,
                                  struct sb_faults *faults, struct sb_error *err)
{
  const struct sb_scenario *nominal = &tuning->nominals[scenario];
  const int count = sample_count(request, nominal);
  double *values = calloc((size_t)count * (size_t)(nominal->tolerance_count + 1), sizeof *values);
  tuning->values[scenario] = values;
  if (values == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for %d samples", count);
  struct sb_error reason;
  enum sb_status status = sb_samples_draw(nominal, SB_SAMPLES_SEARCH, request->seed, count, values, &reason);
  if (status != SB_OK) return sb_fail(err, status, "%s: %s", request->paths[scenario], reason.text);
  for (int k = 0; k < count && status == SB_OK; k++) status = add_sample(request, scenario, k, tuning, faults, err);
  return status;
}

static enum sb_status load_nominals(const struct sb_tune_request *request, struct sb_rounds *tuning,
                                    struct sb_faults *faults, struct sb_error *err)
{
  for (int i = 0; i < request->path_count; i++) {
    const enum sb_status status = sb_scenario_load(request->paths[i], request->sets, request->set_count,
                                                   &tuning->nominals[tuning->nominal_count], faults);
    /* The faults name the file and say everything. */
    if (status != SB_OK) {
      return faults->count > 0 ? sb_fail(err, status, "%s", "")
                               : sb_fail(err, status, "%s: %s", request->paths[i], sb_status_text(status));
    }
    sb_faults_clear(faults);
    tuning->nominal_count++;
  }
  return SB_OK;
}

/* What must be the same in all scenarios, so that one controller in one box can serve them: the first difference, or NULL. */
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
  const struct sb_pulse_sensor *pa = &ca->sensor.pulses, *pb = &cb->sensor.pulses;
  if (pa->per_turn != pb->per_turn || pa->window_s != pb->window_s) return "controller.sensor";
  const struct sb_supply_sensor *sa = &ca->sensor.supply, *sb = &cb->sensor.supply;
  if (sa->is_present != sb->is_present) return "controller.reference";
  const bool is_same_supply = sa->nominal_v == sb->nominal_v && sa->drop_v == sb->drop_v &&
                              sa->filter_s == sb->filter_s && sa->resolution_v == sb->resolution_v;
  if (!is_same_supply) return "controller.voltage_sensor";
  if (ca->sensor.filter_s != cb->sensor.filter_s) return "controller.filter";
  if (ca->sample_period_s != cb->sample_period_s) return "controller.sample_period";
  if (ca->start_delay_s != cb->start_delay_s) return "controller.start_delay";
  if (ca->debounce_count != cb->debounce_count) return "controller.debounce_samples";
  return NULL;
}

/* What takes a scenario out of those of which something is proved for every load. */
static enum sb_status check_class(const struct sb_tune_request *request, const struct sb_rounds *tuning,
                                  struct sb_error *err)
{
  for (int i = 0; i < tuning->nominal_count; i++) {
    const struct sb_model *model = &tuning->nominals[i].model;
    const char *outside = sb_prove_outside(model);
    if (outside != NULL) {
      return sb_fail(err, SB_ERR_SCENARIO, "%s: --any-load: nothing can be proved for every load: %s",
                     request->paths[i], outside);
    }
    if (model->gearbox.gear_count > 2) {
      return sb_fail(err, SB_ERR_SCENARIO, "%s: --any-load: gearbox.gears: needs two gears, found %d",
                     request->paths[i], model->gearbox.gear_count);
    }
  }
  return SB_OK;
}

static enum sb_status check_same_gears(const struct sb_tune_request *request, const struct sb_rounds *tuning,
                                       struct sb_error *err)
{
  const struct sb_model *first = &tuning->nominals[0].model;
  const char *path = request->paths[0];
  if (first->gearbox.gear_count < 2) {
    return sb_fail(err, SB_ERR_SCENARIO, "%s: a box with one gear has no thresholds to tune", path);
  }
  for (int i = 0; i < tuning->nominal_count; i++) {
    const char *difference = find_difference(first, &tuning->nominals[i].model);
    if (difference == NULL) continue;
    return sb_fail(err, SB_ERR_SCENARIO, "%s: needs the %s of %s, so that one controller can serve both",
                   request->paths[i], difference, path);
  }
  const enum sb_status status = request->is_any_load ? check_class(request, tuning, err) : SB_OK;
  if (status != SB_OK) return status;
  if (request->pair < first->gearbox.gear_count) return SB_OK;
  return sb_fail(err, SB_ERR_USAGE, "%s: --pair %ld: pairs of gears count from 1 to %d", path, request->pair,
                 first->gearbox.gear_count - 1);
}

enum sb_status sb_rounds_load(const struct sb_tune_request *request, struct sb_rounds *tuning, struct sb_faults *faults,
                              struct sb_error *err)
{
  const size_t files = (size_t)request->path_count;
  *tuning = (struct sb_rounds){.seed = request->seed};
  *faults = (struct sb_faults){.count = 0};
  assert(files > 0);
  tuning->nominals = calloc(files, sizeof *tuning->nominals);
  tuning->values = calloc(files, sizeof *tuning->values);
  if (tuning->nominals == NULL || tuning->values == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory");
  enum sb_status status = load_nominals(request, tuning, faults, err);
  if (status == SB_OK) status = check_same_gears(request, tuning, err);
  if (status != SB_OK) return status;
  size_t total = 0;
  for (size_t i = 0; i < files; i++) total += (size_t)sample_count(request, &tuning->nominals[i]);
  tuning->machines = calloc(total, sizeof *tuning->machines);
  tuning->samples = calloc(total, sizeof *tuning->samples);
  if (tuning->machines == NULL || tuning->samples == NULL) {
    return sb_fail(err, SB_ERR_MEMORY, "out of memory for %zu machines", total);
  }
  for (int i = 0; i < request->path_count && status == SB_OK; i++) {
    status = add_samples(request, i, tuning, faults, err);
  }
  return status;
}

/* What the results depend on. */
static enum sb_status identify(const struct sb_tune_request *request, const struct sb_rounds *tuning, uint64_t *hash,
                               struct sb_error *err)
{
  *hash = sb_tasks_hash_whole(request->identity, request->samples);
  *hash = sb_tasks_hash_whole(*hash, (int64_t)request->seed);
  *hash = sb_tasks_hash_whole(*hash, request->pair);
  *hash = sb_tasks_hash_whole(*hash, request->points);
  enum sb_status status = SB_OK;
  for (int i = 0; i < tuning->nominal_count && status == SB_OK; i++) {
    status =
        sb_tasks_hash_scenario(hash, request->paths[i], request->sets, request->set_count, &tuning->nominals[i], err);
  }
  return status;
}

/* Puts an answer into all machines, so that the next pair is tuned beside it. There is one dwell for all pairs: the
 * longest that any of them asks for. */
static void adopt(struct sb_rounds *tuning, int pair, double *dwell_s)
{
  const struct sb_tune_result *result = &tuning->results[pair];
  *dwell_s = fmax(*dwell_s, result->dwell_s);
  for (int i = 0; i < tuning->machine_count; i++) {
    struct sb_control *control = &tuning->machines[i].model.control;
    control->downshift_fraction[pair] = result->downshift_fraction;
    control->upshift_fraction[pair] = result->upshift_fraction;
    control->dwell_s = *dwell_s;
  }
}

/* What one round of all pairs is for. */
struct round {
  int number;
  bool is_rough, is_fixed;
  bool has_dwell; /* the dwell is chosen already */
};

/* One pair in one round. */
static enum sb_status tune_pair(const struct sb_tune_request *request, struct sb_rounds *tuning, uint64_t identity,
                                int pair, const struct round *round, struct sb_error *err)
{
  char stem[4096];
  const char *start = request->journal_stem != NULL ? request->journal_stem : "";
  const int length = snprintf(stem, sizeof stem, "%s.%d-%d", start, round->number, pair + 1);
  if (length < 0 || (size_t)length >= sizeof stem) return sb_fail(err, SB_ERR_USAGE, "-o: the path is too long");
  struct sb_tune_options options = sb_tune_options_default(&tuning->nominals[0].model);
  options.pair = pair;
  options.own = tuning->nominals[0].model.control;
  options.decider = request->decider;
  options.is_cautious = request->decider == NULL; /* closed forms speak of the built-in controller */
  options.axis = tuning->axis;
  options.dwell_stride = sb_fineness_dwell_stride(request, tuning, options.dwell_stride);
  options.prefer = request->prefer;
  options.is_any_load = request->is_any_load;
  options.dwell_s = round->has_dwell ? tuning->dwell_s : 0.0;
  options.is_rough = round->is_rough;
  options.is_brief = request->is_brief;
  options.is_fixed = round->is_fixed;
  options.jobs = request->jobs;
  options.identity = identity;
  options.journal_stem = request->journal_stem != NULL ? stem : NULL;
  options.is_resumed = request->is_resumed;
  options.stop = request->stop;
  options.on_progress = request->on_progress;
  options.on_journal = request->on_journal;
  options.context = request->context;
  if (request->on_pair != NULL) request->on_pair(request->context, true);
  const enum sb_status status = sb_tune(tuning->machines, tuning->machine_count, &options, &tuning->results[pair], err);
  if (request->on_pair != NULL) request->on_pair(request->context, false);
  tuning->options[pair] = options;
  return status;
}

/* Closed forms beside the answers, with everything in place; of the built-in controller only. */
static enum sb_status explain_all(struct sb_rounds *tuning, struct sb_error *err)
{
  enum sb_status status = SB_OK;
  for (int pair = tuning->first_pair; pair <= tuning->last_pair && status == SB_OK; pair++) {
    const struct sb_tune_options *options = &tuning->options[pair];
    if (options->decider != NULL) continue;
    status = sb_tune_explain(tuning->machines, tuning->machine_count, options, &tuning->results[pair], err);
  }
  return status;
}

/* Whether all pairs pass. */
static bool passes(const struct sb_rounds *tuning)
{
  for (int pair = tuning->first_pair; pair <= tuning->last_pair; pair++) {
    if (!tuning->results[pair].passes) return false;
  }
  return true;
}

/* All pairs once, each beside the answers of the others. */
static enum sb_status run_round(const struct sb_tune_request *request, struct sb_rounds *tuning, uint64_t identity,
                                const struct round *round, struct sb_error *err)
{
  double dwell_s = tuning->dwell_s;
  enum sb_status status = SB_OK;
  for (int pair = tuning->first_pair; pair <= tuning->last_pair && status == SB_OK; pair++) {
    status = tune_pair(request, tuning, identity, pair, round, err);
    if (status == SB_OK) adopt(tuning, pair, &dwell_s);
  }
  tuning->dwell_s = dwell_s;
  return status;
}

/* Thresholds of all pairs together: what one pair is given bounds the others, so they are searched until none of them changes. */
static enum sb_status run_together(const struct sb_tune_request *request, struct sb_rounds *tuning, uint64_t identity,
                                   struct sb_error *err)
{
  enum { ROUGH_ROUNDS = 4 };
  struct round round = {1, true, false, false};
  enum sb_status status = run_round(request, tuning, identity, &round, err);
  bool has_changed = true;
  round.has_dwell = true;
  while (status == SB_OK && has_changed && round.number < ROUGH_ROUNDS) {
    struct sb_control before = tuning->machines[0].model.control;
    round.number++;
    status = run_round(request, tuning, identity, &round, err);
    const struct sb_control *after = &tuning->machines[0].model.control;
    has_changed = false;
    for (int pair = tuning->first_pair; pair <= tuning->last_pair; pair++) {
      has_changed = has_changed || before.downshift_fraction[pair] != after->downshift_fraction[pair] ||
                    before.upshift_fraction[pair] != after->upshift_fraction[pair];
    }
  }
  const struct round last = {round.number + 1, false, true, true};
  return status == SB_OK ? run_round(request, tuning, identity, &last, err) : status;
}

/* What every load within bounds does to the answer; nothing where it cannot be said. */
static enum sb_status prove(struct sb_rounds *tuning, struct sb_error *err)
{
  struct sb_prove proof;
  const enum sb_status status = sb_prove_solve_quickly(&tuning->machines[0].model, &proof, err);
  if (status == SB_OK) tuning->proof = sb_prove_line(&proof);
  return status == SB_ERR_MEMORY ? status : SB_OK;
}

enum sb_status sb_rounds_run(const struct sb_tune_request *request, struct sb_rounds *tuning, struct sb_error *err)
{
  static const struct round alone = {1, false, false, false};
  const int pair_count = tuning->nominals[0].model.gearbox.gear_count - 1;
  tuning->first_pair = request->pair > 0 ? (int)request->pair - 1 : 0;
  tuning->last_pair = request->pair > 0 ? tuning->first_pair : pair_count - 1;
  uint64_t identity;
  enum sb_status status = identify(request, tuning, &identity, err);
  if (status == SB_OK) status = sb_fineness_choose(request, tuning, &tuning->axis, err);
  if (status != SB_OK) return status;
  status = tuning->first_pair == tuning->last_pair ? run_round(request, tuning, identity, &alone, err)
                                                   : run_together(request, tuning, identity, err);
  if (status != SB_OK || request->is_brief) return status;
  status = explain_all(tuning, err);
  const bool is_said = request->is_any_load; /* the answer says it itself, of all samples */
  if (status == SB_OK && request->decider == NULL && !is_said) status = prove(tuning, err);
  const bool is_measured = request->decider == NULL && passes(tuning);
  return status == SB_OK && is_measured ? sb_rounds_measure(request, tuning, err) : status;
}

void sb_rounds_clear(struct sb_rounds *tuning)
{
  for (int i = 0; i < tuning->machine_count; i++) sb_scenario_clear(&tuning->samples[i]);
  for (int i = 0; i < tuning->nominal_count; i++) sb_scenario_clear(&tuning->nominals[i]);
  for (int i = 0; tuning->values != NULL && i < tuning->nominal_count; i++) free(tuning->values[i]);
  free(tuning->values);
  free(tuning->machines);
  free(tuning->samples);
  free(tuning->nominals);
  *tuning = (struct sb_rounds){.nominal_count = 0};
}
