// SPDX-License-Identifier: GPL-3.0-or-later
#include "tune/answer.h"

#include <math.h>
#include <stdlib.h>

#include "tune/alternatives.h"
#include "tune/try.h"

/* Thresholds and dwell run in all machines: how many fail, and which does first. */
struct trial {
  double downshift_fraction, upshift_fraction, dwell_s;
  int failing, first;
  struct sb_map_verdict verdict;
  double turns, energy_j; /* of the machines as written, summed */
};

static enum sb_status try_all(const struct sb_survey *survey, struct trial *trial, struct sb_error *err)
{
  const volatile sig_atomic_t *stop = survey->options->stop;
  trial->failing = 0;
  trial->first = -1;
  trial->turns = trial->energy_j = 0.0;
  for (int i = 0; i < survey->count; i++) {
    if (stop != NULL && *stop != 0) return sb_fail(err, SB_ERR_STOPPED, "stopped");
    struct sb_map_verdict own;
    struct sb_map_figures figures;
    const enum sb_status status = sb_try_run(&survey->machines[i].model, survey->options, trial->downshift_fraction,
                                             trial->upshift_fraction, trial->dwell_s, &own, &figures, err);
    if (status != SB_OK) return status;
    if (survey->machines[i].sample == 0) {
      trial->turns += figures.output_turns;
      trial->energy_j += figures.given_j;
    }
    if (own.kinds == 0) continue;
    if (trial->failing++ > 0) continue;
    trial->first = i;
    trial->verdict = own;
  }
  return SB_OK;
}

/* Walks from the answer in one direction to the first lattice point at which a machine fails, and asks which and how. */
static enum sb_status find_limit(const struct sb_survey *survey, const struct sb_raster *raster, struct sb_point at,
                                 enum sb_tune_direction direction, struct sb_tune_limit *limit, struct sb_error *err)
{
  const struct sb_map_axis *axis = &survey->options->axis;
  const bool is_downshift = direction == SB_TUNE_DOWNSHIFT_LOWER || direction == SB_TUNE_DOWNSHIFT_HIGHER;
  const int step = direction == SB_TUNE_DOWNSHIFT_HIGHER || direction == SB_TUNE_UPSHIFT_HIGHER ? +1 : -1;
  struct sb_point next = at;
  bool is_outside, is_clear;
  int steps = 0;
  do {
    steps++;
    *(is_downshift ? &next.downshift : &next.upshift) += step;
    is_outside = next.downshift < 0 || next.downshift > raster->greatest_downshift || next.upshift >= raster->side ||
                 next.downshift >= next.upshift;
    is_clear = is_outside || sb_raster_is_clear(raster, next.downshift, next.upshift);
  } while (!is_outside && is_clear &&
           sb_raster_passing(raster, next.downshift, next.upshift) == raster->machine_count &&
           sb_raster_shifting(raster, next.downshift, next.upshift) > 0);

  *limit =
      (struct sb_tune_limit){.margin_fraction = steps * axis->step_fraction,
                             .fails_at_fraction = sb_map_axis_at(axis, is_downshift ? next.downshift : next.upshift),
                             .is_end = is_outside,
                             .machine = -1};
  if (is_outside) return SB_OK;
  if (!is_clear) {
    limit->is_band = !sb_raster_has_no_band(raster, next.downshift, next.upshift);
    limit->is_low = !limit->is_band;
    limit->machine = limit->is_band ? raster->band_machine[next.downshift] : raster->low_machine;
    return SB_OK;
  }
  limit->is_fixed = sb_raster_passing(raster, next.downshift, next.upshift) == raster->machine_count;
  if (limit->is_fixed) return SB_OK;
  struct trial trial = {
      sb_map_axis_at(axis, next.downshift), sb_map_axis_at(axis, next.upshift), survey->dwell_s, 0, -1, {0}, 0.0, 0.0};
  const enum sb_status status = try_all(survey, &trial, err);
  if (status != SB_OK) return status;
  if (trial.first < 0 && survey->options->decider != NULL) {
    return sb_fail(err, SB_ERR_CONTROLLER, "controller %s answers differently when the same run is repeated",
                   survey->options->decider->name);
  }
  if (trial.first < 0)
    return sb_fail(err, SB_ERR_NUMERICS, "a map and its runs disagree at %.10g, %.10g", trial.downshift_fraction,
                   trial.upshift_fraction);
  limit->machine = trial.first;
  limit->verdict = trial.verdict;
  return SB_OK;
}

double sb_answer_sample_period_s(const struct sb_tune_machine *machines, int count)
{
  double longest_s = 0.0;
  for (int i = 0; i < count; i++) longest_s = fmax(longest_s, machines[i].model.control.sample_period_s);
  return longest_s;
}

/* Dwells on the way from the answer's to a far one that are tried at least. */
enum { DWELLS_ON_THE_WAY = 12 };

/* A walk over dwells, in whole samples. */
struct dwell_walk {
  const struct sb_survey *survey;
  struct trial trial;
  double period_s;
  long passes, fails; /* fails == passes: nothing has failed yet */
  struct sb_tune_dwell_limit *limit;
};

static enum sb_status try_dwell(struct dwell_walk *walk, long samples, struct sb_error *err)
{
  walk->trial.dwell_s = (double)samples * walk->period_s;
  const enum sb_status status = try_all(walk->survey, &walk->trial, err);
  if (status != SB_OK) return status;
  walk->limit->tried_count++;
  if (walk->trial.failing == 0) {
    walk->passes = samples;
    return SB_OK;
  }
  walk->fails = samples;
  walk->limit->machine = walk->trial.first;
  walk->limit->verdict = walk->trial.verdict;
  return SB_OK;
}

/*
 * From the answer's dwell towards a far one: where it last passes, and what fails a sample further. Verdicts may come and go with
 * the dwell; so dwells are tried all the way out, evenly in their logarithm, and the first that fails is closed in on.
 */
static enum sb_status find_dwell_limit(const struct sb_survey *survey, const struct sb_tune_result *answer,
                                       double far_s, struct sb_tune_dwell_limit *limit, struct sb_error *err)
{
  const double period_s = sb_answer_sample_period_s(survey->machines, survey->count);
  const long own = lround(answer->dwell_s / period_s), far = (long)fmax(1.0, round(far_s / period_s));
  *limit = (struct sb_tune_dwell_limit){.machine = -1};
  struct dwell_walk walk = {.survey = survey,
                            .trial = {answer->downshift_fraction, answer->upshift_fraction, 0.0, 0, -1, {0}, 0.0, 0.0},
                            .period_s = period_s,
                            .passes = own,
                            .fails = own,
                            .limit = limit};
  enum sb_status status = SB_OK;
  for (int k = 1; k <= DWELLS_ON_THE_WAY && status == SB_OK && walk.fails == own; k++) {
    const double share = (double)k / DWELLS_ON_THE_WAY;
    const long samples = k == DWELLS_ON_THE_WAY ? far : lround((double)own * pow((double)far / (double)own, share));
    if (samples != walk.passes) status = try_dwell(&walk, samples, err);
  }
  limit->is_end = walk.fails == own;
  while (status == SB_OK && !limit->is_end && labs(walk.passes - walk.fails) > 1) {
    status = try_dwell(&walk, (walk.passes + walk.fails) / 2, err);
  }
  limit->passes_s = (double)walk.passes * period_s;
  limit->untried_count = labs(walk.passes - own) + (limit->is_end ? 0 : 1) - limit->tried_count;
  return status;
}

static enum sb_status find_limits(const struct sb_survey *survey, const struct sb_raster *raster, struct sb_point at,
                                  struct sb_tune_result *result, struct sb_error *err)
{
  enum sb_status status = SB_OK;
  for (int d = 0; d < SB_TUNE_DIRECTIONS && status == SB_OK; d++) {
    status = find_limit(survey, raster, at, (enum sb_tune_direction)d, &result->limits[d], err);
  }
  if (status == SB_OK) status = find_dwell_limit(survey, result, 0.1 * result->dwell_s, &result->shortest_dwell, err);
  if (status == SB_OK) status = find_dwell_limit(survey, result, 10.0 * result->dwell_s, &result->longest_dwell, err);
  return status;
}

/* Runs the answer in all machines. */
static enum sb_status try_answer(const struct sb_survey *survey, struct sb_tune_result *result, struct sb_error *err)
{
  struct trial trial = {result->downshift_fraction, result->upshift_fraction, result->dwell_s, 0, -1, {0}, 0.0, 0.0};
  const enum sb_status status = try_all(survey, &trial, err);
  if (status != SB_OK) return status;
  result->turns = trial.turns;
  result->energy_j = trial.energy_j;
  result->failing = trial.failing;
  result->first_failing = trial.first;
  result->first_verdict = trial.verdict;
  result->passes = trial.failing == 0 && !result->never_shifts;
  return SB_OK;
}

enum sb_status sb_answer_describe(const struct sb_survey *survey, const struct sb_raster *raster,
                                  const struct sb_choices *choices, struct sb_tune_result *result, struct sb_error *err)
{
  const struct sb_map_axis *axis = &survey->options->axis;
  const struct sb_point at = choices->points[SB_CHOICE_RECOMMENDED];
  result->downshift_fraction = sb_map_axis_at(axis, at.downshift);
  result->upshift_fraction = sb_map_axis_at(axis, at.upshift);
  result->is_cautious = survey->options->is_cautious && sb_raster_is_clear(raster, at.downshift, at.upshift);
  result->margin_fraction = sb_raster_margin(raster, at.downshift, at.upshift) * axis->step_fraction;
  if (survey->options->is_rough) return SB_OK;

  const bool is_brief = survey->options->is_brief;
  enum sb_status status = try_answer(survey, result, err);
  if (status == SB_OK && !is_brief) status = sb_alternatives_find(survey, raster, choices, result, err);
  if (status == SB_OK && !is_brief && result->passes) status = find_limits(survey, raster, at, result, err);
  return status == SB_OK && result->passes ? sb_withstand_find(survey, result, err) : status;
}
