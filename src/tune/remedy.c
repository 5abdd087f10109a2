// SPDX-License-Identifier: GPL-3.0-or-later
#include "tune/remedy.h"

#include <math.h>
#include <stdlib.h>

/* A change and how much of it; in the order in which a builder would rather make them. */
static const struct trial {
  enum sb_remedy remedy;
  double amount;
} trials[] = {
    {SB_REMEDY_DWELL, 4.0},    {SB_REMEDY_SENSOR, 0.001}, {SB_REMEDY_VOLTAGE, 1.1}, {SB_REMEDY_RATIO, 0.85},
    {SB_REMEDY_VOLTAGE, 1.25}, {SB_REMEDY_RATIO, 0.7},    {SB_REMEDY_RATIO, 1.25},  {SB_REMEDY_RATIO, 1.6},
};

enum { TRIAL_COUNT = sizeof trials / sizeof trials[0] };

/* Changes a machine; false when the change means nothing for it. */
static bool change(struct sb_model *model, int pair, const struct trial *trial)
{
  struct sb_gear *slower = &model->gearbox.gears[pair];
  switch (trial->remedy) {
    case SB_REMEDY_SENSOR:
      if (model->control.sensor.resolution_fraction <= trial->amount) return false;
      model->control.sensor.resolution_fraction = trial->amount;
      return true;
    case SB_REMEDY_VOLTAGE: model->supply.open_circuit_voltage_v *= trial->amount; return true;
    case SB_REMEDY_RATIO: {
      slower->ratio *= trial->amount;
      const bool is_above = slower->ratio > model->gearbox.gears[pair + 1].ratio;
      const bool is_below = pair == 0 || slower->ratio < model->gearbox.gears[pair - 1].ratio;
      return is_above && is_below;
    }
    default: return true;
  }
}

static int widest(const struct sb_raster *raster)
{
  int margin = 0;
  for (int i = 0; i < raster->side * raster->side; i++)
    margin = raster->margin[i] > margin ? raster->margin[i] : margin;
  return margin;
}

enum sb_status sb_remedy_find(const struct sb_survey *survey, struct sb_tune_result *result, struct sb_error *err)
{
  struct sb_tune_machine *changed = calloc((size_t)survey->count, sizeof *changed);
  if (changed == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for trials of a remedy");
  enum sb_status status = SB_OK;
  for (int k = 0; k < TRIAL_COUNT && status == SB_OK && result->remedy == SB_REMEDY_NONE; k++) {
    bool is_meant = true;
    for (int i = 0; i < survey->count; i++) {
      changed[i] = survey->machines[i];
      is_meant &= change(&changed[i].model, survey->options->pair, &trials[k]);
    }
    if (!is_meant) continue;
    struct sb_survey trial = *survey;
    struct sb_raster raster;
    trial.machines = changed;
    trial.is_light = true;
    trial.has_figures = false;
    if (trials[k].remedy == SB_REMEDY_DWELL) trial.dwell_s *= trials[k].amount;
    status = sb_survey_run(&trial, &raster, err);
    if (status != SB_OK || *survey->is_interrupted) break;
    if (widest(&raster) > 0) {
      result->remedy = trials[k].remedy;
      result->remedy_amount = trials[k].amount;
      result->remedy_margin_fraction = (widest(&raster) - 1) * survey->options->axis.step_fraction;
    }
    sb_raster_clear(&raster);
  }
  free(changed);
  return status;
}
