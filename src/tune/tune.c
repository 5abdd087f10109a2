// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/tune.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <stdlib.h>

#include "tune/remedy.h"
#include "tune/survey.h"

/* A margin this close to the widest counts as wide: a shorter dwell is then worth more. */
static const double nearly_as_wide = 0.9;

/* Who prefers time or energy keeps at least this share of the widest margin; who prefers the margin this one. */
static const double margin_kept = 0.5;
static const double margin_kept_by_the_cautious = 0.75;

/* The search over dwells only compares margins: a lattice coarser by this factor tells them apart at a fraction of the
 * cost. */
enum { COARSER = 4 };

enum { DWELL_COUNT = 6 };

struct sb_tune_options sb_tune_options_default(const struct sb_model *model)
{
  const struct sb_map_options map = sb_map_options_default(model);
  return (struct sb_tune_options){
      .pair = 0, .prefer = SB_PREFER_MARGIN, .is_cautious = true, .jobs = 1, .axis = map.up};
}

struct point {
  int down, up;
};

static int widest_margin(const struct sb_raster *raster)
{
  int widest = 0;
  for (int i = 0; i < raster->side * raster->side; i++)
    widest = raster->margin[i] > widest ? raster->margin[i] : widest;
  return widest;
}

/* How good a point is for who prefers something, among those wide enough. Who prefers the margin shifts down early: a
 * motor nearer to half its no-load speed gives more power and less heat. */
static double worth(const struct sb_raster *raster, enum sb_prefer prefer, int down, int up)
{
  const size_t at = (size_t)down * (size_t)raster->side + (size_t)up;
  if (prefer == SB_PREFER_ENERGY) return -(double)raster->energy_j[at] / fmax(fabs((double)raster->turns[at]), 1e-9);
  if (prefer == SB_PREFER_TIME) return (double)raster->turns[at];
  return down + 1e-6 * sb_raster_margin(raster, down, up);
}

static struct point best_point(const struct sb_raster *raster, enum sb_prefer prefer)
{
  const int widest = widest_margin(raster);
  const double kept = prefer == SB_PREFER_MARGIN ? margin_kept_by_the_cautious : margin_kept;
  const int enough = (int)ceil(kept * widest);
  struct point best = {-1, -1};
  double best_worth = -INFINITY;
  for (int down = 0; down < raster->side; down++) {
    for (int up = down + 1; up < raster->side; up++) {
      if (sb_raster_margin(raster, down, up) < enough) continue;
      const double here = worth(raster, prefer, down, up);
      if (here > best_worth) {
        best_worth = here;
        best = (struct point){down, up};
      }
    }
  }
  return best;
}

/* Where most machines hold, as far from where fewer do as may be: the middle of the run along up is near enough. */
static struct point least_bad_point(const struct sb_raster *raster)
{
  struct point best = {0, 1};
  int most = -1, longest = 0;
  for (int down = 0; down < raster->side; down++) {
    int run = 0;
    for (int up = down + 1; up < raster->side; up++) {
      const int here = sb_raster_holding(raster, down, up);
      run = up > down + 1 && here == sb_raster_holding(raster, down, up - 1) ? run + 1 : 1;
      if (here > most || (here == most && run > longest)) {
        most = here;
        longest = run;
        best = (struct point){down, up - run / 2};
      }
    }
  }
  return best;
}

enum sb_status sb_tune_try(const struct sb_model *model, int pair, double down_fraction, double up_fraction,
                           double dwell_s, struct sb_map_verdict *verdict, struct sb_map_figures *figures,
                           struct sb_error *err)
{
  struct sb_model own = *model;
  own.control.down_fraction[pair] = down_fraction;
  own.control.up_fraction[pair] = up_fraction;
  own.control.dwell_s = dwell_s;
  const struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  const enum sb_status status = sb_run(&own, &options, &result, err);
  if (status != SB_OK) return status;
  *verdict = sb_map_verdict_of(&result.monitor);
  *figures = (struct sb_map_figures){.shift_count = (long)result.monitor.shift_count,
                                     .output_turns = result.end.output_turns,
                                     .given_j = result.sums.ledger.given,
                                     .greatest_torque_nm = fabs(result.sums.output_torque_nm.value)};
  sb_run_result_clear(&result);
  return SB_OK;
}

/* Tries all machines; *first is the first that fails, or -1, and returns how many do in *failing. */
static enum sb_status try_all(const struct sb_tune_machine *machines, int count, int pair, double down, double up,
                              double dwell_s, int *failing, int *first, struct sb_map_verdict *verdict,
                              struct sb_error *err)
{
  *failing = 0;
  *first = -1;
  for (int i = 0; i < count; i++) {
    struct sb_map_verdict own;
    struct sb_map_figures figures;
    const enum sb_status status = sb_tune_try(&machines[i].model, pair, down, up, dwell_s, &own, &figures, err);
    if (status != SB_OK) return status;
    if (own.kinds == 0) continue;
    if (*first < 0) {
      *first = i;
      *verdict = own;
    }
    (*failing)++;
  }
  return SB_OK;
}

/* Walks from the answer in one direction to the first lattice point at which a machine fails, and asks which and how. */
static enum sb_status find_limit(const struct sb_tune_machine *machines, int count,
                                 const struct sb_tune_options *options, const struct sb_raster *raster, struct point at,
                                 enum sb_tune_direction direction, double dwell_s, struct sb_tune_limit *limit,
                                 struct sb_error *err)
{
  const bool is_down = direction == SB_TUNE_DOWN_LOWER || direction == SB_TUNE_DOWN_HIGHER;
  const int step = direction == SB_TUNE_DOWN_HIGHER || direction == SB_TUNE_UP_HIGHER ? +1 : -1;
  int steps = 0;
  struct point next = at;
  for (;;) {
    *(is_down ? &next.down : &next.up) += step;
    const bool is_outside = next.down < 0 || next.up >= raster->side || next.down >= next.up;
    *limit = (struct sb_tune_limit){.margin_fraction = steps * options->axis.step_fraction,
                                    .fails_at_fraction = sb_map_axis_at(&options->axis, is_down ? next.down : next.up),
                                    .is_end = is_outside,
                                    .machine = -1};
    if (is_outside) return SB_OK;
    if (!sb_raster_is_clear(raster, next.down, next.up)) {
      limit->is_band = !sb_raster_has_no_band(raster, next.down, next.up);
      limit->is_low = !limit->is_band;
      limit->machine = limit->is_band ? raster->band_machine[next.down] : raster->low_machine;
      return SB_OK;
    }
    if (sb_raster_holding(raster, next.down, next.up) < raster->machine_count) break;
    steps++;
  }
  int failing;
  return try_all(machines, count, options->pair, sb_map_axis_at(&options->axis, next.down),
                 sb_map_axis_at(&options->axis, next.up), dwell_s, &failing, &limit->machine, &limit->verdict, err);
}

static double greatest_sample_period_s(const struct sb_tune_machine *machines, int count)
{
  double greatest = 0.0;
  for (int i = 0; i < count; i++) greatest = fmax(greatest, machines[i].model.control.sample_period_s);
  return greatest;
}

struct dwells {
  int count;
  double items_s[DWELL_COUNT];
};

/* Dwells to try, ascending, whole samples: the longest that any closed form asks for, and multiples of it; the first
 * scenario's own among them. */
static struct dwells choose_dwells(const struct sb_tune_machine *machines, int count, int pair)
{
  static const double factors[DWELL_COUNT - 1] = {1.25, 2.0, 3.0, 5.0, 8.0};
  const double period_s = greatest_sample_period_s(machines, count);
  double shortest_s = period_s;
  for (int i = 0; i < count; i++) {
    const struct sb_closed_form closed = sb_closed_form_solve(&machines[i].model);
    const double asked_s = closed.pairs[pair].shortest_dwell_s, shift_s = closed.pairs[pair].shift_down_time_s;
    if (isfinite(shift_s)) shortest_s = fmax(shortest_s, shift_s);
    if (isfinite(asked_s)) shortest_s = fmax(shortest_s, asked_s);
  }
  double wanted_s[DWELL_COUNT];
  for (int k = 0; k < DWELL_COUNT; k++) {
    const double dwell_s = k + 1 < DWELL_COUNT ? factors[k] * shortest_s : machines[0].model.control.dwell_s;
    wanted_s[k] = ceil(dwell_s / period_s - 1e-9) * period_s;
  }
  gsl_sort(wanted_s, 1, DWELL_COUNT);
  struct dwells dwells = {1, {wanted_s[0]}};
  for (int k = 1; k < DWELL_COUNT; k++) {
    const double last_s = dwells.items_s[dwells.count - 1];
    if (wanted_s[k] - last_s > 0.5 * period_s) dwells.items_s[dwells.count++] = wanted_s[k];
  }
  return dwells;
}

static int count_light(const struct sb_tune_machine *machines, int count)
{
  int light = 0;
  for (int i = 0; i < count; i++) light += machines[i].is_light;
  return light;
}

/* The shortest dwell whose best margin over the light machines is nearly the widest. */
static enum sb_status choose_dwell(struct sb_survey *survey, double *dwell_s, int *widest, struct sb_error *err)
{
  int margins[DWELL_COUNT] = {0};
  const struct dwells dwells = choose_dwells(survey->machines, survey->count, survey->options->pair);
  survey->total = *survey->done + (long)dwells.count * count_light(survey->machines, survey->count) + survey->count;
  struct sb_tune_options coarse = *survey->options;
  coarse.axis.step_fraction *= COARSER;
  coarse.axis.first_fraction = coarse.axis.step_fraction;
  coarse.axis.count /= COARSER;
  struct sb_survey light = *survey;
  light.options = &coarse;
  light.is_light = true;
  *widest = 0;
  for (int k = 0; k < dwells.count; k++) {
    struct sb_raster raster;
    light.dwell_s = dwells.items_s[k];
    const enum sb_status status = sb_survey_run(&light, &raster, err);
    if (status != SB_OK || *light.is_interrupted) return status;
    margins[k] = widest_margin(&raster);
    *widest = margins[k] > *widest ? margins[k] : *widest;
    sb_raster_clear(&raster);
  }
  *dwell_s = survey->machines[0].model.control.dwell_s;
  for (int k = dwells.count - 1; k >= 0 && *widest > 0; k--) {
    if (margins[k] >= nearly_as_wide * *widest) *dwell_s = dwells.items_s[k];
  }
  return SB_OK;
}

/* The least, or greatest, dwell that holds for all machines at the answer, between the answer's own and a far one that
 * is tried first; bisected to a sample. */
static enum sb_status dwell_end(const struct sb_tune_machine *machines, int count, int pair,
                                const struct sb_tune_result *answer, double far_s, double *end_s, struct sb_error *err)
{
  const double period_s = greatest_sample_period_s(machines, count);
  long holds = lround(answer->dwell_s / period_s), fails = (long)fmax(1.0, round(far_s / period_s));
  struct sb_map_verdict verdict;
  int failing, first;
  enum sb_status status = try_all(machines, count, pair, answer->down_fraction, answer->up_fraction,
                                  (double)fails * period_s, &failing, &first, &verdict, err);
  if (status == SB_OK && failing == 0) holds = fails;
  while (status == SB_OK && labs(holds - fails) > 1) {
    const long middle = (holds + fails) / 2;
    status = try_all(machines, count, pair, answer->down_fraction, answer->up_fraction, (double)middle * period_s,
                     &failing, &first, &verdict, err);
    *(failing == 0 ? &holds : &fails) = middle;
  }
  *end_s = (double)holds * period_s;
  return status;
}

/* Everything about the chosen point. */
static enum sb_status describe(const struct sb_tune_machine *machines, int count, const struct sb_tune_options *options,
                               const struct sb_raster *raster, struct point at, struct sb_tune_result *result,
                               struct sb_error *err)
{
  const size_t place = (size_t)at.down * (size_t)raster->side + (size_t)at.up;
  result->down_fraction = sb_map_axis_at(&options->axis, at.down);
  result->up_fraction = sb_map_axis_at(&options->axis, at.up);
  result->margin_fraction = fmax(0, sb_raster_margin(raster, at.down, at.up) - 1) * options->axis.step_fraction;
  result->turns = (double)raster->turns[place];
  result->energy_j = (double)raster->energy_j[place];
  for (int i = 0; i < raster->side * raster->side; i++) result->holding_points += raster->margin[i] > 0;
  enum sb_status status =
      try_all(machines, count, options->pair, result->down_fraction, result->up_fraction, result->dwell_s,
              &result->failing, &result->first_failing, &result->first_verdict, err);
  result->holds = result->failing == 0;
  result->least_dwell_s = result->greatest_dwell_s = result->dwell_s;
  if (!result->holds) return status;
  for (int d = 0; d < SB_TUNE_DIRECTIONS && status == SB_OK; d++) {
    status = find_limit(machines, count, options, raster, at, (enum sb_tune_direction)d, result->dwell_s,
                        &result->limits[d], err);
  }
  if (status == SB_OK) {
    status = dwell_end(machines, count, options->pair, result, 0.1 * result->dwell_s, &result->least_dwell_s, err);
  }
  if (status == SB_OK) {
    status = dwell_end(machines, count, options->pair, result, 10.0 * result->dwell_s, &result->greatest_dwell_s, err);
  }
  return status;
}

/* One search, cautious or not. */
static enum sb_status search(struct sb_survey survey, bool is_last, struct sb_tune_result *result, bool *is_open,
                             struct sb_error *err)
{
  int widest;
  const struct sb_tune_options *options = survey.options;
  *result = (struct sb_tune_result){.first_failing = -1, .is_cautious = options->is_cautious};
  survey.is_interrupted = &result->is_interrupted;
  enum sb_status status = choose_dwell(&survey, &result->dwell_s, &widest, err);
  if (status != SB_OK || result->is_interrupted) return status;

  struct sb_raster raster;
  survey.is_light = false;
  survey.has_figures = true;
  survey.dwell_s = result->dwell_s;
  status = sb_survey_run(&survey, &raster, err);
  if (status != SB_OK || result->is_interrupted) return status;
  *is_open = widest_margin(&raster) > 0;
  if (*is_open || is_last) {
    const struct point at = *is_open ? best_point(&raster, options->prefer) : least_bad_point(&raster);
    status = describe(survey.machines, survey.count, options, &raster, at, result, err);
    if (status == SB_OK && !*is_open) status = sb_remedy_find(&survey, result, err);
  }
  sb_raster_clear(&raster);
  return status;
}

enum sb_status sb_tune(const struct sb_tune_machine *machines, int count, const struct sb_tune_options *options,
                       struct sb_tune_result *result, struct sb_error *err)
{
  struct sb_tune_options own = *options;
  struct sb_tune_result out;
  int serial = 0;
  long done = 0;
  bool is_open = false;
  const struct sb_survey survey = {
      .machines = machines, .count = count, .options = &own, .serial = &serial, .done = &done};
  enum sb_status status = search(survey, !own.is_cautious, &out, &is_open, err);
  if (status == SB_OK && !out.is_interrupted && !is_open && own.is_cautious) {
    own.is_cautious = false;
    status = search(survey, true, &out, &is_open, err);
  }
  if (status == SB_OK) *result = out;
  return status;
}
