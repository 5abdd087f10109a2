// SPDX-License-Identifier: GPL-3.0-or-later
/* The third stage for one machine: tuned, run as it is written, and proved as far as the class of proofs goes. */
#include <math.h>
#include <stdlib.h>

#include "design/machine.h"
#include "design/stage.h"
#include "tune/rounds.h"

/* In percent, without the dust of binary fractions. */
static double percent_of(double fraction)
{
  return round(1e10 * fraction) / 1e8;
}

double sb_stage_carried_nm(const struct sb_model *model, const struct sb_tune_result *result)
{
  double least, greatest;
  sb_load_range_nm(&model->load, model->run.duration_s, &least, &greatest);
  for (int k = 0; k < result->reserve_count; k++) {
    const struct sb_tune_reserve *reserve = &result->reserves[k];
    if (reserve->quantity == SB_TUNE_LOAD && reserve->is_more) return greatest * (1.0 + reserve->passes_share);
  }
  return NAN;
}

/* The least of all pairs; NAN: not tried. */
static double carried_nm(const struct sb_rounds *tuning)
{
  double least_nm = NAN;
  for (int p = tuning->first_pair; p <= tuning->last_pair; p++) {
    least_nm = fmin(least_nm, sb_stage_carried_nm(&tuning->nominals[0].model, &tuning->results[p])); /* but for NAN */
  }
  return least_nm;
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
    record->control.downshift_pct[p] = percent_of(result->downshift_fraction);
    record->control.upshift_pct[p] = percent_of(result->upshift_fraction);
    record->figures.margin_fraction = fmin(record->figures.margin_fraction, result->margin_fraction);
  }
  record->figures.carried_nm = carried_nm(tuning);
  record->fate = SB_FATE_TUNED;
}

/* As `tune` of the scenario that is written: the same samples, the same answer. */
static enum sb_status tune(const struct sb_design_request *request, const struct sb_machine_sets *sets,
                           struct sb_design_record *record, struct sb_error *err)
{
  const struct sb_tune_request wanted = {.paths = &request->source.path,
                                         .path_count = 1,
                                         .sets = sets->items,
                                         .set_count = sets->count,
                                         .samples = -1,
                                         .seed = 1,
                                         .jobs = 1,
                                         .stop = request->stop};
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

static enum sb_status prove(const struct sb_model *model, struct sb_design_record *record, struct sb_error *err)
{
  struct sb_prove *proof = calloc(1, sizeof *proof);
  if (proof == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for a proof");
  const enum sb_status status = sb_prove_solve(model, proof, err);
  record->is_proved_class = status == SB_OK && proof->outside == NULL;
  if (record->is_proved_class) {
    for (int k = 0; k < SB_PROVE_STATEMENTS; k++) record->statements[k] = (int)proof->statements[k];
    record->figures.swing_nm = proof->bounds[SB_PROVE_SWING];
  }
  free(proof);
  return status;
}

/* Runs what is written: its figures are those that `run` gives. */
static enum sb_status finish(const struct sb_stage *stage, const struct sb_candidate *candidate,
                             struct sb_design_record *record, struct sb_error *err)
{
  const struct sb_design_answer *answer = stage->answer;
  const struct sb_design_figures tuned = record->figures;
  struct sb_scenario *scenario = calloc(1, sizeof *scenario);
  struct sb_faults faults = {0};
  enum sb_status status = scenario != NULL ? SB_OK : SB_ERR_MEMORY;
  if (status == SB_OK) {
    status = sb_machine_load(stage->request, answer->choices, candidate, &record->control, scenario, &faults);
  }
  if (status != SB_OK) {
    free(scenario);
    return sb_faults_fail(err, status, &faults);
  }
  sb_faults_clear(&faults);
  status = sb_machine_run(&scenario->model, candidate, &record->figures, err);
  record->figures.margin_fraction = tuned.margin_fraction;
  record->figures.carried_nm = tuned.carried_nm;
  if (status == SB_OK) status = prove(&scenario->model, record, err);
  if (status == SB_OK) {
    record->value_count = answer->needs.count;
    sb_machine_values(&answer->needs, &answer->combinations[candidate->combination], &answer->choices->shelf,
                      &scenario->model, candidate, &record->figures, record->values);
  }
  sb_scenario_clear(scenario);
  free(scenario);
  return status;
}

enum sb_status sb_stage_tune(const struct sb_stage *stage, const struct sb_candidate *candidate,
                             struct sb_design_record *record, struct sb_error *err)
{
  struct sb_machine_sets sets;
  const struct sb_design_control any = sb_machine_any_control(candidate);
  record->figures.margin_fraction = record->figures.carried_nm = NAN;
  if (any.pairs == 0) {
    record->fate = SB_FATE_TUNED; /* one speed: nothing to tune */
    return finish(stage, candidate, record, err);
  }
  enum sb_status status = sb_machine_set(stage->request, stage->answer->choices, candidate, &any, &sets);
  if (status == SB_OK) status = tune(stage->request, &sets, record, err);
  sb_machine_sets_clear(&sets);
  if (status != SB_OK || record->fate != SB_FATE_TUNED) return status;
  return finish(stage, candidate, record, err);
}
