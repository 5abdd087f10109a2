// SPDX-License-Identifier: GPL-3.0-or-later
/* The third stage for one machine: tuned, run as it is written, and proved as far as the class of proofs goes. */
#include <math.h>
#include <stdlib.h>

#include "design/stage.h"
#include "text/fields.h"
#include "tune/rounds.h"

enum { ROUNDS_MAX = 4 };

double sb_stage_carried_nm(double heaviest_nm, const struct sb_tune_result *result, struct sb_design_limit *limit)
{
  for (int k = 0; k < result->reserve_count; k++) {
    const struct sb_tune_reserve *reserve = &result->reserves[k];
    if (reserve->quantity != SB_TUNE_LOAD || !reserve->is_more) continue;
    const double fails_nm = heaviest_nm * (1.0 + reserve->fails_share);
    if (!reserve->is_end && !(limit->load_nm <= fails_nm)) {
      *limit = (struct sb_design_limit){fails_nm, reserve->verdict.kinds, reserve->machine};
    }
    return heaviest_nm * (1.0 + reserve->passes_share);
  }
  return NAN;
}

/* Of all loads. */
static double heaviest_nm(const struct sb_rounds *tuning)
{
  double heaviest = -INFINITY;
  for (int k = 0; k < tuning->nominal_count; k++) {
    const struct sb_model *model = &tuning->nominals[k].model;
    double least, greatest;
    sb_load_range_nm(&model->load, model->run.duration_s, &least, &greatest);
    heaviest = fmax(heaviest, greatest);
  }
  return heaviest;
}

/* The least of all pairs; NAN: not tried. */
static void take_limit(const struct sb_rounds *tuning, struct sb_design_record *record)
{
  const double heaviest = heaviest_nm(tuning);
  record->figures.carried_nm = record->limit.load_nm = NAN;
  for (int p = tuning->first_pair; p <= tuning->last_pair; p++) {
    const double carried_nm = sb_stage_carried_nm(heaviest, &tuning->results[p], &record->limit);
    record->figures.carried_nm = fmin(record->figures.carried_nm, carried_nm); /* but for NAN */
  }
  if (!isnan(record->limit.load_nm)) record->limit.scenario = tuning->machines[record->limit.scenario].scenario;
}

static bool passes(const struct sb_rounds *tuning)
{
  for (int p = tuning->first_pair; p <= tuning->last_pair; p++) {
    if (!tuning->results[p].passes) return false;
  }
  return true;
}

static void take_answer(const struct sb_rounds *tuning, struct sb_design_record *record)
{
  record->control = (struct sb_design_control){.pairs = tuning->last_pair + 1, .dwell_s = tuning->dwell_s};
  record->figures.margin_fraction = INFINITY;
  for (int p = tuning->first_pair; p <= tuning->last_pair; p++) {
    const struct sb_tune_result *result = &tuning->results[p];
    record->control.downshift_pct[p] = sb_fields_rounded_percent(result->downshift_fraction);
    record->control.upshift_pct[p] = sb_fields_rounded_percent(result->upshift_fraction);
    record->figures.margin_fraction = fmin(record->figures.margin_fraction, result->margin_fraction);
  }
  take_limit(tuning, record);
  record->fate = SB_FATE_TUNED;
}

/* As `tune` of the scenarios that are written: the same samples, the same answer. */
static enum sb_status tune(const struct sb_stage *stage, const struct sb_machine_sets *sets,
                           struct sb_design_record *record, struct sb_error *err)
{
  const struct sb_tune_request wanted = {.paths = stage->answer->paths,
                                         .path_count = stage->answer->path_count,
                                         .sets = sets->items,
                                         .set_count = sets->count,
                                         .samples = -1,
                                         .seed = 1,
                                         .jobs = 1,
                                         .is_brief = true,
                                         .stop = stage->request->stop};
  struct sb_rounds *tuning = calloc(1, sizeof *tuning);
  struct sb_faults faults = {0};
  if (tuning == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for tuning");
  enum sb_status status = sb_rounds_load(&wanted, tuning, &faults, err);
  if (faults.count > 0) status = sb_faults_fail(err, status, &faults);
  if (status == SB_OK) status = sb_rounds_run(&wanted, tuning, err);
  record->fate = SB_FATE_FAILED;
  if (status == SB_OK && passes(tuning)) take_answer(tuning, record);
  sb_faults_clear(&faults);
  sb_rounds_clear(tuning);
  free(tuning);
  return status;
}

/* The worse of two: what is disproved before what is not known before what is proved. */
static int worse(int one, int other)
{
  static const int ranks[] = {
      [SB_PROOF_PROVED] = 0, [SB_PROOF_UNSHOWN] = 1, [SB_PROOF_UNDECIDED] = 2, [SB_PROOF_DISPROVED] = 3};
  return ranks[one] > ranks[other] ? one : other;
}

enum sb_status sb_stage_prove_model(const struct sb_model *model, bool is_first, struct sb_design_record *record,
                                    struct sb_error *err)
{
  struct sb_prove *proof = calloc(1, sizeof *proof);
  if (proof == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for a proof");
  const enum sb_status status = sb_prove_solve(model, proof, err);
  const bool is_in_class = status == SB_OK && proof->outside == NULL;
  record->is_proved_class = is_in_class && (is_first || record->is_proved_class);
  for (int k = 0; k < SB_PROVE_STATEMENTS && is_in_class; k++) {
    const int own = (int)proof->statements[k];
    record->statements[k] = is_first ? own : worse(own, record->statements[k]);
  }
  record->figures.swing_nm =
      record->is_proved_class ? fmin(record->figures.swing_nm, proof->bounds[SB_PROVE_SWING]) : (double)NAN;
  free(proof);
  return status;
}

/* Loads a machine with the thresholds that were found. */
static enum sb_status load_tuned(const struct sb_stage *stage, const struct sb_candidate *candidate,
                                 const struct sb_design_record *record, struct sb_loaded *loaded, struct sb_error *err)
{
  struct sb_faults faults;
  const enum sb_status status =
      sb_machine_load(stage->request, stage->answer, candidate, &record->control, loaded, &faults);
  if (status != SB_OK) return sb_faults_fail(err, status, &faults);
  sb_faults_clear(&faults);
  return SB_OK;
}

/* Runs what is written: its figures are those that `run` gives. */
static enum sb_status finish(const struct sb_stage *stage, const struct sb_candidate *candidate,
                             struct sb_design_record *record, struct sb_error *err)
{
  const struct sb_design_figures tuned = record->figures;
  struct sb_loaded loaded;
  enum sb_status status = load_tuned(stage, candidate, record, &loaded, err);
  if (status != SB_OK) return status;
  status = sb_stage_run_loads(stage, candidate, &loaded, record, err);
  record->figures.margin_fraction = tuned.margin_fraction;
  record->figures.carried_nm = tuned.carried_nm;
  sb_machine_unload(&loaded);
  return status;
}

enum sb_status sb_stage_prove(const struct sb_stage *stage, const struct sb_candidate *candidate,
                              struct sb_design_record *record, struct sb_error *err)
{
  struct sb_loaded loaded;
  enum sb_status status = load_tuned(stage, candidate, record, &loaded, err);
  if (status != SB_OK) return status;
  for (int k = 0; k < loaded.count && status == SB_OK; k++) {
    status = sb_stage_prove_model(&loaded.items[k].model, k == 0, record, err);
  }
  sb_machine_unload(&loaded);
  return status;
}

/* Whether it is a valid scenario with any thresholds; those that were run are known to be. */
static enum sb_status check_valid(const struct sb_stage *stage, const struct sb_candidate *candidate,
                                  const struct sb_design_control *any, bool *is_valid, struct sb_error *err)
{
  struct sb_loaded loaded;
  struct sb_faults faults;
  const enum sb_status status = sb_machine_load(stage->request, stage->answer, candidate, any, &loaded, &faults);
  *is_valid = status == SB_OK;
  if (*is_valid) sb_machine_unload(&loaded);
  sb_faults_clear(&faults);
  if (*is_valid || status == SB_ERR_SCENARIO) return SB_OK;
  return sb_fail(err, status, "a machine cannot be loaded: %s", sb_status_text(status));
}

static bool is_same(const struct sb_design_control *one, const struct sb_design_control *other)
{
  if (one->pairs != other->pairs || one->dwell_s != other->dwell_s) return false;
  for (int p = 0; p < one->pairs; p++) {
    if (one->downshift_pct[p] != other->downshift_pct[p] || one->upshift_pct[p] != other->upshift_pct[p]) return false;
  }
  return true;
}

/* Tuned again from its own answer until that stays: thresholds that a scenario has already move the dwells that are tried, and `tune` of
 * the scenario that is written shall give what is written. */
static enum sb_status tune_until_it_stays(const struct sb_stage *stage, const struct sb_candidate *candidate,
                                          struct sb_design_control control, struct sb_design_record *record,
                                          struct sb_error *err)
{
  enum sb_status status = SB_OK;
  for (int round = 0; round < ROUNDS_MAX; round++) {
    struct sb_machine_sets sets;
    struct sb_design_record own = *record;
    status = sb_machine_set(stage->request, stage->answer->choices, candidate, &control, &sets);
    if (status == SB_OK) status = tune(stage, &sets, &own, err);
    sb_machine_sets_clear(&sets);
    if (status != SB_OK || (round > 0 && own.fate != SB_FATE_TUNED)) break;
    *record = own;
    if (own.fate != SB_FATE_TUNED || is_same(&control, &own.control)) break;
    control = own.control;
  }
  return status;
}

enum sb_status sb_stage_tune(const struct sb_stage *stage, const struct sb_candidate *candidate,
                             struct sb_design_record *record, struct sb_error *err)
{
  bool is_valid = false;
  const struct sb_design_control any = sb_machine_any_control(candidate);
  record->figures.margin_fraction = record->figures.carried_nm = record->limit.load_nm = NAN;
  record->fate = SB_FATE_INVALID;
  enum sb_status status = check_valid(stage, candidate, &any, &is_valid, err);
  if (status != SB_OK || !is_valid) return status;
  const int own_gears = stage->answer->combinations[candidate->combination].gear_count;
  if ((candidate->box.stages > 0 ? candidate->box.speeds : own_gears) == 1) {
    record->fate = SB_FATE_TUNED; /* nothing to tune */
    return finish(stage, candidate, record, err);
  }
  status = tune_until_it_stays(stage, candidate, any, record, err);
  if (status != SB_OK || record->fate != SB_FATE_TUNED) return status;
  return finish(stage, candidate, record, err);
}
