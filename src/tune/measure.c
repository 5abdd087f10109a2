// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * measure.c - what to measure first: which figures of a scenario move the answer's limits most.
 *
 * Each figure that stands in the first scenario's motor, supply, gearbox or load is set to both ends of its tolerance, or 10 % either way
 * without one, the others kept. How far the closed forms' limits of the thresholds move is what it is ranked by; a run says
 * whether the answer still passes there, and those at which it does not come first.
 */
#include <math.h>
#include <string.h>

#include "tune/answer.h"
#include "tune/rounds.h"
#include "tune/try.h"

struct ranking {
  struct sb_rounds *tuning;
  struct sb_scenario_source source;
};

/* What people measure: the controller's figures are set, and the nominal voltage is what the motor's other figures were given at. */
static bool is_measured(const struct sb_scenario_key *key)
{
  static const char *const sections[] = {"motor.", "supply.", "gearbox.", "load."};
  if (!key->is_given || key->is_whole || strcmp(key->path, "motor.nominal_voltage") == 0) return false;
  for (size_t k = 0; k < sizeof sections / sizeof *sections; k++) {
    if (strncmp(key->path, sections[k], strlen(sections[k])) == 0) return true;
  }
  return false;
}

static const struct sb_tolerance *tolerance_of(const struct sb_scenario *scenario, const char *path)
{
  for (int k = 0; k < scenario->tolerance_count; k++) {
    if (strcmp(scenario->tolerances[k].path, path) == 0) return &scenario->tolerances[k];
  }
  return NULL;
}

/* Loads a changed scenario, *is_valid unless it is none. Fails where it cannot be read or memory runs out. */
static enum sb_status load(const struct ranking *ranking, const struct sb_changes *changes, struct sb_scenario *out,
                           bool *is_valid, struct sb_error *err)
{
  struct sb_faults faults = {.count = 0};
  const enum sb_status status = sb_scenario_load_changed(&ranking->source, changes, out, &faults);
  sb_faults_clear(&faults);
  *is_valid = status == SB_OK;
  if (status == SB_OK || status == SB_ERR_SCENARIO) return SB_OK;
  return sb_fail(err, status, "%s: %s, for a changed scenario", ranking->source.path, sb_status_text(status));
}

/* The answer of all pairs in a model. */
static void adopt_answer(const struct sb_rounds *tuning, struct sb_model *model)
{
  for (int pair = tuning->first_pair; pair <= tuning->last_pair; pair++) {
    model->control.downshift_fraction[pair] = tuning->results[pair].downshift_fraction;
    model->control.upshift_fraction[pair] = tuning->results[pair].upshift_fraction;
  }
  model->control.dwell_s = tuning->dwell_s;
}

enum { LIMIT_COUNT = 4 };

/* The limits of one pair's thresholds. */
static void limits_of(const struct sb_rounds *tuning, const struct sb_model *model, int pair,
                      double limits[LIMIT_COUNT])
{
  const struct sb_tune_machine machine = {.model = *model};
  const struct sb_tune_closed closed = sb_tune_closed_limits(
      &machine, 1, pair, tuning->results[pair].downshift_fraction, tuning->results[pair].upshift_fraction);
  limits[0] = closed.least_upshift;
  limits[1] = closed.greatest_upshift;
  limits[2] = closed.greatest_downshift_band;
  limits[3] = closed.greatest_downshift_carried;
}

/* How far the limits of all pairs are apart in two machines, at most. */
static double move_of(const struct sb_rounds *tuning, const struct sb_model *one, const struct sb_model *other)
{
  double move = 0.0;
  for (int pair = tuning->first_pair; pair <= tuning->last_pair; pair++) {
    double a[LIMIT_COUNT], b[LIMIT_COUNT];
    limits_of(tuning, one, pair, a);
    limits_of(tuning, other, pair, b);
    for (int k = 0; k < LIMIT_COUNT; k++) {
      if (isfinite(a[k]) && isfinite(b[k])) move = fmax(move, fabs(a[k] - b[k]));
    }
  }
  return move;
}

/* One end of a figure's range: how far it moves the limits, and what the answer comes to. */
static enum sb_status take_end(const struct ranking *ranking, const struct sb_scenario *ranged, double *end,
                               struct sb_tune_measure *measure, struct sb_error *err)
{
  const struct sb_tolerance *range = &ranged->tolerances[0];
  const double value = end == &measure->least ? range->least : range->greatest;
  const struct sb_rounds *tuning = ranking->tuning;
  struct sb_changes changes = {.count = 0};
  struct sb_scenario changed;
  struct sb_map_verdict verdict;
  struct sb_map_figures figures;
  const struct sb_tune_options *options = &tuning->options[tuning->first_pair];
  const struct sb_tune_result *result = &tuning->results[tuning->first_pair];
  bool is_valid;
  sb_samples_change(ranged, &value, &changes);
  enum sb_status status = load(ranking, &changes, &changed, &is_valid, err);
  if (status != SB_OK) return status;
  if (!is_valid) { /* an efficiency of more than 1 */
    *end = range->nominal * range->unit_scale;
    return SB_OK;
  }
  adopt_answer(tuning, &changed.model);
  measure->move_fraction = fmax(measure->move_fraction, move_of(tuning, &tuning->nominals[0].model, &changed.model));
  status = sb_try_run(&changed.model, options, result->downshift_fraction, result->upshift_fraction, tuning->dwell_s,
                      &verdict, &figures, err);
  if (status == SB_OK && verdict.kinds != 0 && !measure->fails) {
    measure->fails = true;
    measure->verdict = verdict;
    measure->fails_at = value * range->unit_scale;
  }
  sb_scenario_clear(&changed);
  return status;
}

/* A scenario with one tolerance alone: that of the key, or 10 % either way. *is_range: there is one, to be cleared. */
static enum sb_status range_key(const struct ranking *ranking, const char *path, struct sb_scenario *out,
                                struct sb_tune_measure *measure, bool *is_range, struct sb_error *err)
{
  const struct sb_tolerance *own = tolerance_of(&ranking->tuning->nominals[0], path);
  struct sb_changes changes = {.count = 0};
  sb_scenario_add_change(&changes, "tolerances={%s: 10 %%}", path);
  const enum sb_status status = load(ranking, &changes, out, is_range, err);
  if (status != SB_OK || !*is_range) return status;
  struct sb_tolerance *range = &out->tolerances[0];
  if (own != NULL) *range = *own;
  *measure = (struct sb_tune_measure){.has_tolerance = own != NULL,
                                      .least = range->least * range->unit_scale,
                                      .greatest = range->greatest * range->unit_scale};
  snprintf(measure->path, sizeof measure->path, "%s", path);
  snprintf(measure->unit, sizeof measure->unit, "%s", range->unit);
  *is_range = range->greatest > range->least;
  if (!*is_range) sb_scenario_clear(out);
  return SB_OK;
}

static bool is_before(const struct sb_tune_measure *one, const struct sb_tune_measure *other)
{
  if (one->fails != other->fails) return one->fails;
  return one->move_fraction > other->move_fraction;
}

/* Keeps the first ones in order. */
static void rank(struct sb_rounds *tuning, const struct sb_tune_measure *measure)
{
  static const double least_move = 5e-4;
  int place = tuning->measure_count;
  if (!measure->fails && !(measure->move_fraction >= least_move)) return;
  while (place > 0 && is_before(measure, &tuning->measures[place - 1])) place--;
  if (place >= SB_TUNE_MEASURE_MAX) return;
  const int last = tuning->measure_count < SB_TUNE_MEASURE_MAX ? tuning->measure_count++ : SB_TUNE_MEASURE_MAX - 1;
  for (int k = last; k > place; k--) tuning->measures[k] = tuning->measures[k - 1];
  tuning->measures[place] = *measure;
}

static enum sb_status take_key(const struct ranking *ranking, const char *path, struct sb_error *err)
{
  struct sb_scenario ranged;
  struct sb_tune_measure measure;
  bool is_range;
  enum sb_status status = range_key(ranking, path, &ranged, &measure, &is_range, err);
  if (status != SB_OK || !is_range) return status;
  status = take_end(ranking, &ranged, &measure.least, &measure, err);
  if (status == SB_OK) status = take_end(ranking, &ranged, &measure.greatest, &measure, err);
  sb_scenario_clear(&ranged);
  if (status == SB_OK) rank(ranking->tuning, &measure);
  return status;
}

enum sb_status sb_rounds_measure(const struct sb_tune_request *request, struct sb_rounds *tuning, struct sb_error *err)
{
  const struct sb_scenario *nominal = &tuning->nominals[0];
  const struct ranking ranking = {tuning, {request->paths[0], request->sets, request->set_count}};
  enum sb_status status = SB_OK;
  for (size_t k = 0; k < nominal->key_count && status == SB_OK; k++) {
    if (request->stop != NULL && *request->stop != 0) return sb_fail(err, SB_ERR_STOPPED, "stopped");
    if (is_measured(&nominal->keys[k])) status = take_key(&ranking, nominal->keys[k].path, err);
  }
  return status;
}
