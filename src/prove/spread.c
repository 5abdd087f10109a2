// SPDX-License-Identifier: GPL-3.0-or-later
#include "prove/spread.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { SAMPLES_SEED = 1, SAMPLES_BESIDE = 8 };

/* What takes a tolerance out of the bounds. */
enum need { NEED_FORWARD = 1, NEED_NO_CLUTCH = 2, NEED_NO_WHEELS = 4 };

/* Paths with * for a number; a greater value makes the machine faster (1) or slower (-1). */
static const struct {
  const char *path;
  int direction, needs;
} ordered[] = {
    {"supply.open_circuit_voltage", 1, 0},
    {"load.breakaway", -1, 0},
    {"load.parts.*.torque", -1, 0},
    {"load.parts.*.coefficient", -1, NEED_FORWARD},
    {"load.bodies.*.rolling_resistance", -1, 0},
    {"load.bodies.*.friction_torque", -1, 0},
    {"gearbox.gears.*.drag", -1, NEED_FORWARD | NEED_NO_CLUTCH},
    {"gearbox.mesh_efficiency", 1, NEED_FORWARD | NEED_NO_CLUTCH | NEED_NO_WHEELS},
    {"gearbox.back_efficiency", 1, NEED_FORWARD | NEED_NO_CLUTCH | NEED_NO_WHEELS},
    {"gearbox.gears.*.efficiency", 1, NEED_FORWARD | NEED_NO_CLUTCH | NEED_NO_WHEELS},
    {"gearbox.gears.*.back_efficiency", 1, NEED_FORWARD | NEED_NO_CLUTCH | NEED_NO_WHEELS},
    {"gearbox.gears.*.meshes.*.efficiency", 1, NEED_FORWARD | NEED_NO_CLUTCH | NEED_NO_WHEELS},
};

static bool is_like(const char *pattern, const char *path)
{
  while (*pattern != 0) {
    if (*pattern == '*') {
      const size_t digits = strspn(path, "0123456789");
      if (digits == 0) return false;
      path += digits;
      pattern++;
    } else if (*pattern++ != *path++) {
      return false;
    }
  }
  return *path == 0;
}

static int row_of(const char *path)
{
  for (int k = 0; k < (int)(sizeof ordered / sizeof ordered[0]); k++) {
    if (is_like(ordered[k].path, path)) return k;
  }
  return -1;
}

/* A greater value makes the machine faster. */
static bool is_rising(const char *path)
{
  const int row = row_of(path);
  return row >= 0 && ordered[row].direction > 0;
}

static bool needs_turning_forward(const char *path)
{
  const int row = row_of(path);
  return row >= 0 && (ordered[row].needs & NEED_FORWARD) != 0;
}

static bool has_wheels(const struct sb_gearbox *gearbox)
{
  for (int g = 0; g < gearbox->gear_count; g++) {
    for (int m = 0; m < gearbox->gears[g].mesh_count; m++) {
      if (gearbox->gears[g].meshes[m].inertia_kg_m2 > 0.0) return true;
    }
  }
  return false;
}

const char *sb_prove_spread_why_sampled(const struct sb_model *model, const char *path)
{
  const int row = row_of(path);
  if (row < 0) return "it does not order the motion";
  if (model->shifter.ops->is_direction_selected && model->control.sensor.filter_s > 0.0)
    return "a filter beside a swing arm";
  if ((ordered[row].needs & NEED_NO_CLUTCH) != 0 && model->shifter.ops->has_clutch) return "a clutch slips";
  if ((ordered[row].needs & NEED_NO_WHEELS) != 0 && has_wheels(&model->gearbox)) return "wheels have an inertia";
  return NULL;
}

static const char turns_back[] = "the output can turn backwards";

/* Machines -------------------------------------------------------------------------------------------------------------- */

struct spreading {
  const struct sb_scenario_source *source;
  const struct sb_scenario *scenario;
  struct sb_prove_spread *out;
  double values[SB_TOLERANCE_MAX];            /* of the sample */
  struct sb_scenario *slots[SB_SPREAD_SLOTS]; /* NULL: empty; owned */
  struct sb_prove proof;                      /* scratch */
  double likely_swing_nm;                     /* the least of the machines that were proved exactly */
};

/* The values of a machine: those of the sample, and of the bounds by the shares of the way from the slowest. */
static void take_values(const struct spreading *spreading, const double *shares, double values[SB_TOLERANCE_MAX])
{
  int bound = 0;
  for (int k = 0; k < spreading->scenario->tolerance_count; k++) {
    const struct sb_tolerance *tolerance = &spreading->scenario->tolerances[k];
    values[k] = spreading->values[k];
    if (spreading->out->sampled[k] != NULL) continue;
    const double share = is_rising(tolerance->path) ? shares[bound] : 1.0 - shares[bound];
    values[k] = tolerance->least + share * (tolerance->greatest - tolerance->least);
    bound++;
  }
}

static void clear_slot(struct spreading *spreading, int slot)
{
  if (spreading->slots[slot] != NULL) sb_scenario_clear(spreading->slots[slot]);
  free(spreading->slots[slot]);
}

static enum sb_status make(void *context, int slot, const double *shares, const struct sb_model **out,
                           struct sb_error *err)
{
  struct spreading *spreading = context;
  struct sb_changes *changes = calloc(1, sizeof *changes);
  struct sb_scenario *scenario = calloc(1, sizeof *scenario);
  double values[SB_TOLERANCE_MAX];
  struct sb_faults faults = {0};
  enum sb_status status = SB_ERR_MEMORY;
  if (changes != NULL && scenario != NULL) {
    take_values(spreading, shares, values);
    sb_samples_change(spreading->scenario, values, changes);
    status = sb_scenario_load_changed(spreading->source, changes, scenario, &faults);
  }
  if (status != SB_OK) sb_fail(err, status, "%s", faults.count > 0 ? faults.texts[0] : sb_status_text(status));
  sb_faults_clear(&faults);
  free(changes);
  if (status != SB_OK) {
    free(scenario);
    return status;
  }
  clear_slot(spreading, slot);
  spreading->slots[slot] = scenario;
  *out = &scenario->model;
  return SB_OK;
}

/* What comes of a sample --------------------------------------------------------------------------------------------- */

static void name_machine(const struct spreading *spreading, const double *shares, enum sb_prove_statement statement)
{
  double values[SB_TOLERANCE_MAX];
  char *shown = spreading->out->shown[statement];
  take_values(spreading, shares, values);
  if (shown[0] == 0) (void)sb_samples_words(spreading->scenario, values, shown, SB_CHANGE_SIZE);
}

static enum sb_proof worse(enum sb_proof a, enum sb_proof b)
{
  if (a == SB_PROOF_DISPROVED || b == SB_PROOF_DISPROVED) return SB_PROOF_DISPROVED;
  return a == SB_PROOF_PROVED ? b : a;
}

/* One machine that is proved exactly, which may disprove. */
static void take_exact(struct spreading *spreading, const double *shares)
{
  for (int k = 0; k < SB_PROVE_STATEMENTS; k++) {
    if (spreading->proof.outside != NULL || spreading->proof.statements[k] != SB_PROOF_DISPROVED) continue;
    spreading->out->statements[k] = SB_PROOF_DISPROVED;
    name_machine(spreading, shares, (enum sb_prove_statement)k);
  }
}

static void take_proof(struct spreading *spreading)
{
  const struct sb_prove *proof = &spreading->proof;
  struct sb_prove_spread *out = spreading->out;
  if (proof->outside != NULL) out->outside = proof->outside;
  for (int k = 0; k < SB_PROVE_STATEMENTS; k++) out->statements[k] = worse(out->statements[k], proof->statements[k]);
  for (int k = 0; k < SB_PROVE_BOUNDS; k++) {
    if (sb_answer_is_worse(k, proof->bounds[k], out->bounds[k])) out->bounds[k] = proof->bounds[k];
  }
}

/* The slowest and the fastest machine each for itself. */
static enum sb_status look_at_ends(struct spreading *spreading, const struct sb_model *const ends[2],
                                   const double *const shares[2], struct sb_error *err)
{
  enum sb_status status = SB_OK;
  for (int end = 0; end < 2 && status == SB_OK; end++) {
    status = sb_prove_solve(ends[end], &spreading->proof, err);
    if (status != SB_OK || spreading->proof.outside != NULL) continue;
    take_exact(spreading, shares[end]);
    spreading->likely_swing_nm = fmin(spreading->likely_swing_nm, spreading->proof.bounds[SB_PROVE_SWING]);
  }
  return status;
}

static enum sb_status solve_swing(struct spreading *spreading, const struct sb_spread_maker *maker,
                                  struct sb_error *err)
{
  struct sb_prove *proof = &spreading->proof;
  struct sb_spread_swing swing;
  if (spreading->out->statements[SB_PROVE_CONSTANT] == SB_PROOF_DISPROVED) {
    proof->bounds[SB_PROVE_SWING] = 0.0;
    return SB_OK;
  }
  const enum sb_status status = sb_spread_swing_solve(maker, spreading->likely_swing_nm, &swing, err);
  proof->statements[SB_PROVE_CONSTANT] = swing.constant;
  proof->bounds[SB_PROVE_SWING] = swing.proved_nm;
  if (swing.constant == SB_PROOF_DISPROVED) name_machine(spreading, swing.shown, SB_PROVE_CONSTANT);
  return status;
}

/* The sample's machines between the ends of all bounds. Sets is_back where they must not turn backwards, and do. */
static enum sb_status solve_between(struct spreading *spreading, bool is_forward_only, bool *is_back,
                                    struct sb_error *err)
{
  const double slow[SB_TOLERANCE_MAX] = {0.0};
  double fast[SB_TOLERANCE_MAX];
  for (int k = 0; k < SB_TOLERANCE_MAX; k++) fast[k] = 1.0;
  const double *const shares[] = {slow, fast};
  const struct sb_spread_maker maker = {spreading->out->bound_count, is_forward_only, make, spreading};
  const struct sb_model *ends[2];
  enum sb_status status = SB_OK;
  for (int end = 0; end < 2 && status == SB_OK; end++) status = make(spreading, end, shares[end], &ends[end], err);
  if (status == SB_OK) status = look_at_ends(spreading, ends, shares, err);
  const struct sb_prove_machines machines = {ends[0], ends[1], is_forward_only};
  if (status == SB_OK) status = sb_prove_solve_between(ends[0], &machines, &spreading->proof, err);
  *is_back = status == SB_OK && is_forward_only && spreading->proof.outside != NULL;
  if (status == SB_OK && !*is_back && spreading->proof.outside == NULL) status = solve_swing(spreading, &maker, err);
  if (status == SB_OK && !*is_back) take_proof(spreading);
  return status;
}

static enum sb_status solve_alone(struct spreading *spreading, struct sb_error *err)
{
  const struct sb_model *model;
  const double none[SB_TOLERANCE_MAX] = {0.0};
  enum sb_status status = make(spreading, 0, none, &model, err);
  if (status == SB_OK) status = sb_prove_solve(model, &spreading->proof, err);
  if (status == SB_OK) take_exact(spreading, none);
  if (status == SB_OK) take_proof(spreading);
  return status;
}

/* Samples ---------------------------------------------------------------------------------------------------------------- */

static bool needs_forward(const struct spreading *spreading)
{
  for (int k = 0; k < spreading->scenario->tolerance_count; k++) {
    const char *path = spreading->scenario->tolerances[k].path;
    if (spreading->out->sampled[k] == NULL && needs_turning_forward(path)) return true;
  }
  return false;
}

/* The tolerances that are sampled, alone. */
static void keep_sampled(const struct spreading *spreading, struct sb_scenario *out)
{
  *out = *spreading->scenario;
  out->tolerance_count = 0;
  for (int k = 0; k < spreading->scenario->tolerance_count; k++) {
    if (spreading->out->sampled[k] != NULL)
      out->tolerances[out->tolerance_count++] = spreading->scenario->tolerances[k];
  }
}

/* The values of all samples, owned by the caller; NULL: see the error. */
static double *draw_samples(struct spreading *spreading, struct sb_error *err)
{
  struct sb_scenario *sampled = malloc(sizeof *sampled);
  double *values = NULL;
  sb_fail(err, SB_ERR_MEMORY, "out of memory for samples");
  if (sampled == NULL) return NULL;
  keep_sampled(spreading, sampled);
  const int count = sampled->tolerance_count;
  const int samples = count > 0 ? 1 + sb_samples_corner_count(sampled) + SAMPLES_BESIDE : 1;
  spreading->out->sample_count = samples;
  values = calloc((size_t)(samples * count + 1), sizeof *values);
  if (values != NULL && sb_samples_draw(sampled, SB_SAMPLES_SEARCH, SAMPLES_SEED, samples, values, err) != SB_OK) {
    free(values);
    values = NULL;
  }
  free(sampled);
  return values;
}

static void take_sample(struct spreading *spreading, const double *values)
{
  for (int k = 0; k < spreading->scenario->tolerance_count; k++) {
    spreading->values[k] = spreading->out->sampled[k] != NULL ? *values++ : spreading->scenario->tolerances[k].nominal;
  }
}

static void begin(struct spreading *spreading)
{
  struct sb_prove_spread *out = spreading->out;
  out->bound_count = 0;
  for (int k = 0; k < out->scenario->tolerance_count; k++) out->bound_count += out->sampled[k] == NULL ? 1 : 0;
  for (int k = 0; k < SB_PROVE_STATEMENTS; k++) {
    out->statements[k] = SB_PROOF_PROVED;
    out->shown[k][0] = 0;
  }
  for (int k = 0; k < SB_PROVE_BOUNDS; k++) out->bounds[k] = NAN;
  out->outside = NULL;
}

static enum sb_status solve_samples(struct spreading *spreading, bool *is_back, struct sb_error *err)
{
  const bool is_forward_only = needs_forward(spreading);
  enum sb_status status = SB_OK;
  *is_back = false;
  begin(spreading);
  double *values = draw_samples(spreading, err);
  if (values == NULL) return err->status;
  const int sampled = spreading->scenario->tolerance_count - spreading->out->bound_count;
  for (int s = 0; s < spreading->out->sample_count && status == SB_OK && !*is_back; s++) {
    take_sample(spreading, values + s * sampled);
    status = spreading->out->bound_count > 0 ? solve_between(spreading, is_forward_only, is_back, err)
                                             : solve_alone(spreading, err);
  }
  free(values);
  return status;
}

/* What needs an output that turns forward is sampled where it does not. */
static void sample_forward_ones(struct sb_prove_spread *out)
{
  for (int k = 0; k < out->scenario->tolerance_count; k++) {
    const bool is_one = needs_turning_forward(out->scenario->tolerances[k].path);
    if (out->sampled[k] == NULL && is_one) out->sampled[k] = turns_back;
  }
}

enum sb_status sb_prove_spread_solve(const struct sb_scenario_source *source, const struct sb_scenario *scenario,
                                     const struct sb_prove *nominal, struct sb_prove_spread *out, struct sb_error *err)
{
  bool is_back;
  *out = (struct sb_prove_spread){.scenario = scenario};
  for (int k = 0; k < scenario->tolerance_count; k++) {
    out->sampled[k] = sb_prove_spread_why_sampled(&scenario->model, scenario->tolerances[k].path);
  }
  struct spreading *spreading = calloc(1, sizeof *spreading);
  if (spreading == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for a proof");
  *spreading = (struct spreading){
      .source = source, .scenario = scenario, .out = out, .likely_swing_nm = nominal->bounds[SB_PROVE_SWING]};
  enum sb_status status = solve_samples(spreading, &is_back, err);
  if (status == SB_OK && is_back) {
    sample_forward_ones(out);
    status = solve_samples(spreading, &is_back, err);
  }
  for (int k = 0; k < SB_PROVE_STATEMENTS; k++) { /* by a run, it may be */
    if (nominal->statements[k] != SB_PROOF_DISPROVED) continue;
    out->statements[k] = SB_PROOF_DISPROVED;
    snprintf(out->shown[k], SB_CHANGE_SIZE, "nominal values");
  }
  for (int slot = 0; slot < SB_SPREAD_SLOTS; slot++) clear_slot(spreading, slot);
  free(spreading);
  return status;
}
