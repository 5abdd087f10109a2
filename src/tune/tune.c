// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/tune.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <stdlib.h>

#include "tune/answer.h"
#include "tune/any_load.h"
#include "tune/survey.h"

/* A margin this close to the widest counts as wide: a shorter dwell is then worth more. */
static const double nearly_as_wide = 0.9;

/* The search over dwells only compares margins: a lattice coarser by this factor separates them at a fraction of the
 * cost. */
enum { COARSER = 4 };

enum { DWELL_COUNT = 6 };

struct sb_tune_options sb_tune_options_default(const struct sb_model *model)
{
  const struct sb_map_options map = sb_map_options_default(model);
  return (struct sb_tune_options){.pair = 0,
                                  .prefer = SB_PREFER_MARGIN,
                                  .is_cautious = true,
                                  .jobs = 1,
                                  .axis = map.upshift,
                                  .own = model->control};
}

/* Where most machines pass, as far from where fewer do as may be: the middle of the run along up is near enough. */
static struct sb_point least_bad_point(const struct sb_raster *raster)
{
  struct sb_point best = {0, 1};
  int most = -1, longest = 0;
  for (int downshift = 0; downshift <= raster->greatest_downshift && downshift + 1 < raster->side; downshift++) {
    int run = 0;
    for (int upshift = downshift + 1; upshift < raster->side; upshift++) {
      const int here = sb_raster_passing(raster, downshift, upshift);
      run = upshift > downshift + 1 && here == sb_raster_passing(raster, downshift, upshift - 1) ? run + 1 : 1;
      if (here > most || (here == most && run > longest)) {
        most = here;
        longest = run;
        best = (struct sb_point){downshift, upshift - run / 2};
      }
    }
  }
  return best;
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
  const double period_s = sb_answer_sample_period_s(machines, count);
  double shortest_s = period_s;
  for (int i = 0; i < count; i++) {
    const struct sb_closed_form closed = sb_closed_form_solve(&machines[i].model);
    const double asked_s = closed.pairs[pair].shortest_dwell_s, shift_s = closed.pairs[pair].downshift_time_s;
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
static enum sb_status choose_dwell(const struct sb_survey *survey, double *dwell_s, struct sb_error *err)
{
  int margins[DWELL_COUNT] = {0};
  const struct dwells dwells = choose_dwells(survey->machines, survey->count, survey->options->pair);
  struct sb_tune_options coarse = *survey->options;
  coarse.axis.step_fraction *= COARSER;
  coarse.axis.first_fraction = coarse.axis.step_fraction;
  coarse.axis.count /= COARSER;
  struct sb_survey light = *survey;
  light.total = *survey->done + (long)dwells.count * count_light(survey->machines, survey->count) + survey->count;
  light.options = &coarse;
  light.is_light = true;
  int widest = 0;
  for (int k = 0; k < dwells.count; k++) {
    struct sb_raster raster;
    light.dwell_s = dwells.items_s[k];
    const enum sb_status status = sb_survey_run(&light, &raster, err);
    if (status != SB_OK) return status;
    margins[k] = sb_raster_widest(&raster);
    widest = margins[k] > widest ? margins[k] : widest;
    sb_raster_clear(&raster);
  }
  *dwell_s = survey->machines[0].model.control.dwell_s;
  for (int k = dwells.count - 1; k >= 0 && widest > 0; k--) {
    if (margins[k] >= nearly_as_wide * widest) *dwell_s = dwells.items_s[k];
  }
  return SB_OK;
}

/* The lattice point nearest to the thresholds that a machine has, among those that a controller takes. */
static struct sb_point own_point(const struct sb_tune_machine *machine, const struct sb_tune_options *options,
                                 const struct sb_raster *raster)
{
  const struct sb_map_axis *axis = &options->axis;
  const struct sb_control *control = &machine->model.control;
  const double downshift = (control->downshift_fraction[options->pair] - axis->first_fraction) / axis->step_fraction;
  const double upshift = (control->upshift_fraction[options->pair] - axis->first_fraction) / axis->step_fraction;
  return (struct sb_point){(int)fmin(fmax(round(downshift), 0.0), raster->greatest_downshift),
                           (int)fmin(fmax(round(upshift), 0.0), axis->count - 1)};
}

/* Whether all machines pass anywhere, even without a shift. */
static bool passes_somewhere(const struct sb_raster *raster)
{
  for (int downshift = 0; downshift <= raster->greatest_downshift; downshift++) {
    for (int upshift = downshift + 1; upshift < raster->side; upshift++) {
      if (sb_raster_passing(raster, downshift, upshift) == raster->machine_count) return true;
    }
  }
  return false;
}

/* The points to describe: where nothing passes, the least bad one alone, and where nothing shifts, the scenario's own. */
static struct sb_choices choose(const struct sb_survey *survey, const struct sb_raster *raster, bool never_shifts)
{
  const struct sb_tune_options *options = survey->options;
  struct sb_choices choices = sb_choice_find_all(raster, options->prefer);
  struct sb_point *answer = &choices.points[SB_CHOICE_RECOMMENDED];
  const bool is_kept = options->is_fixed || never_shifts;
  if (is_kept) {
    *answer = own_point(&survey->machines[0], options, raster);
  } else if (answer->downshift < 0) {
    *answer = least_bad_point(raster);
  }
  return choices;
}

/* The answer, with what is proved of it for every load. */
static enum sb_status describe(const struct sb_survey *survey, struct sb_raster *raster, bool is_open,
                               struct sb_tune_result *result, struct sb_error *err)
{
  const bool is_any_load = survey->options->is_any_load;
  enum sb_status status = is_any_load && is_open ? sb_tune_any_load_mark(survey, raster, err) : SB_OK;
  if (status != SB_OK) return status;
  const struct sb_choices choices = choose(survey, raster, result->never_shifts);
  status = sb_answer_describe(survey, raster, &choices, result, err);
  result->any_load.is_alone = choices.is_proved_alone;
  return status == SB_OK && is_any_load ? sb_tune_any_load_verify(survey, result, err) : status;
}

/* One search, cautious or not. */
static enum sb_status search(struct sb_survey survey, bool is_last, struct sb_tune_result *result, bool *is_open,
                             struct sb_error *err)
{
  const struct sb_tune_options *options = survey.options;
  *result = (struct sb_tune_result){.dwell_s = options->dwell_s, .first_failing = -1, .reference_margin_fraction = NAN};
  enum sb_status status = SB_OK;
  if (!(options->dwell_s > 0.0)) status = choose_dwell(&survey, &result->dwell_s, err);
  if (status != SB_OK) return status;

  struct sb_raster raster;
  survey.has_figures = true;
  survey.dwell_s = result->dwell_s;
  survey.total = *survey.done + survey.count;
  status = sb_survey_run(&survey, &raster, err);
  if (status != SB_OK) return status;
  *is_open = sb_raster_widest(&raster) > 0;
  result->never_shifts = !*is_open && passes_somewhere(&raster);
  const bool is_told = is_last && !options->is_brief && options->decider == NULL;
  if (!*is_open && !result->never_shifts && is_told && !options->is_fixed) {
    sb_raster_clear(&raster);
    survey.is_whole = true;
    survey.total = *survey.done + survey.count;
    status = sb_survey_run(&survey, &raster, err);
    if (status != SB_OK) return status;
  }
  if (*is_open || is_last || options->is_fixed) status = describe(&survey, &raster, *is_open, result, err);
  sb_raster_clear(&raster);
  const bool needs_remedy = is_told && !*is_open && !result->never_shifts && !options->is_rough;
  return status == SB_OK && needs_remedy ? sb_remedy_find(&survey, result, err) : status;
}

/* The whole search, cautious as far as it can be. */
static enum sb_status search_all(const struct sb_survey *beside, const struct sb_tune_options *options,
                                 struct sb_tune_result *result, struct sb_error *err)
{
  struct sb_tune_options own = *options;
  struct sb_survey survey = *beside;
  bool is_open = false;
  survey.options = &own;
  enum sb_status status = search(survey, !own.is_cautious, result, &is_open, err);
  if (status == SB_OK && !is_open && own.is_cautious) {
    own.is_cautious = false;
    status = search(survey, true, result, &is_open, err);
  }
  return status;
}

/* The margin that a remedy promises is that which tuning the changed machines gives; *margin_fraction stays where it gives none. */
static enum sb_status promise(const struct sb_survey *survey, const struct sb_tune_options *asked,
                              const struct sb_tune_result *remedy, double *margin_fraction, struct sb_error *err)
{
  struct sb_tune_options options = *asked;
  struct sb_survey own = *survey;
  struct sb_tune_result tuned;
  struct sb_tune_machine *changed = calloc((size_t)survey->count, sizeof *changed);
  if (changed == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for trials of a remedy");
  for (int i = 0; i < survey->count; i++) {
    changed[i] = survey->machines[i];
    sb_remedy_apply(&changed[i].model, &survey->machines[0].model.motor, options.pair, remedy);
  }
  options.is_rough = true;
  options.is_any_load = false;
  if (remedy->remedy == SB_REMEDY_DWELL) options.dwell_s = remedy->remedy_amount * remedy->dwell_s;
  own.machines = changed;
  const enum sb_status status = search_all(&own, &options, &tuned, err);
  if (status == SB_OK && tuned.margin_fraction > 0.0) *margin_fraction = tuned.margin_fraction;
  free(changed);
  return status;
}

/* A margin below this is thin: where voltages differ, a reference that follows them is asked for, too. */
static const double thin_margin = 0.05;

/* Whether a reference that follows the supply is to be tuned for: to widen a thin margin, where closed forms warn, or because it helps where nothing passes. */
static bool is_reference_asked(const struct sb_survey *survey, const struct sb_tune_options *options,
                               const struct sb_tune_result *result)
{
  const bool is_answer_alone = options->is_rough || options->is_brief || options->is_fixed;
  if (options->decider != NULL || is_answer_alone) return false;
  if (!result->passes) return result->reference_margin_fraction > 0.0;
  const bool is_thin = result->margin_fraction < thin_margin || !result->is_cautious;
  return is_thin && sb_remedy_can_follow(survey);
}

/* What the changes that were found, or that may help, come to when the changed machines are tuned. */
static enum sb_status promise_all(const struct sb_survey *survey, const struct sb_tune_options *options,
                                  struct sb_tune_result *result, struct sb_error *err)
{
  static const struct sb_tune_result reference = {.remedy = SB_REMEDY_REFERENCE};
  enum sb_status status = SB_OK;
  if (result->remedy != SB_REMEDY_NONE) status = promise(survey, options, result, &result->remedy_margin_fraction, err);
  if (status != SB_OK || !is_reference_asked(survey, options, result)) return status;
  if (result->passes) result->reference_margin_fraction = 0.0;
  return promise(survey, options, &reference, &result->reference_margin_fraction, err);
}

enum sb_status sb_tune(const struct sb_tune_machine *machines, int count, const struct sb_tune_options *options,
                       struct sb_tune_result *result, struct sb_error *err)
{
  int serial = 0;
  long done = 0;
  struct sb_tune_result out;
  const struct sb_survey survey = {.machines = machines, .count = count, .serial = &serial, .done = &done};
  enum sb_status status = search_all(&survey, options, &out, err);
  if (status == SB_OK) status = promise_all(&survey, options, &out, err);
  if (status == SB_OK) *result = out;
  return status;
}
