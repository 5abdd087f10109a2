// SPDX-License-Identifier: GPL-3.0-or-later
#include "tune/survey.h"

#include <math.h>
#include <stdlib.h>

/* A change and how much of it; in the order in which a builder would rather make them. */
static const struct trial {
  enum sb_remedy remedy;
  double amount;
} trials[] = {
    {SB_REMEDY_DWELL, 4.0},   {SB_REMEDY_REFERENCE, 1.0}, {SB_REMEDY_SENSOR, 0.001},
    {SB_REMEDY_VOLTAGE, 1.1}, {SB_REMEDY_RATIO, 0.85},    {SB_REMEDY_VOLTAGE, 1.25},
    {SB_REMEDY_RATIO, 0.7},   {SB_REMEDY_RATIO, 1.25},    {SB_REMEDY_RATIO, 1.6},
};

enum { TRIAL_COUNT = sizeof trials / sizeof trials[0], LESSEN_ROUNDS = 3 };

double sb_remedy_pulses(const struct sb_sensor *sensor, double resolution_fraction)
{
  return ceil(sensor->pulses.per_turn * sensor->resolution_fraction / resolution_fraction - 1e-9);
}

/* A finer count: of pulses in a window by more of them. */
static bool refine(struct sb_sensor *sensor, double resolution_fraction)
{
  if (sensor->resolution_fraction <= resolution_fraction) return false;
  if (sensor->pulses.window_s > 0.0) {
    sensor->pulses.per_turn = sb_remedy_pulses(sensor, resolution_fraction);
    sensor->resolution_fraction = sb_sensor_pulse_fraction(sensor);
  } else {
    sensor->resolution_fraction = resolution_fraction;
  }
  return true;
}

/* Lets the reference follow the supply, by the voltages of the machine as written. */
static bool follow_supply(struct sb_model *model, const struct sb_motor *motor)
{
  struct sb_sensor *sensor = &model->control.sensor;
  const bool can =
      sensor->quantity == SB_SENSES_SPEED && model->drive.mode == SB_DRIVE_OPEN_LOOP && !sensor->supply.is_present;
  sensor->supply = (struct sb_supply_sensor){.is_present = true,
                                             .nominal_v = motor->nominal_voltage_v,
                                             .drop_v = motor->no_load_current_a * motor->resistance_ohm};
  return can;
}

/* Whether the supply is another one in some machines, or falls while they run. */
static bool is_supply_varying(const struct sb_survey *survey)
{
  const struct sb_model *first = &survey->machines[0].model;
  for (int i = 0; i < survey->count; i++) {
    const struct sb_model *model = &survey->machines[i].model;
    if (model->battery.is_present) return true;
    if (model->supply.open_circuit_voltage_v != first->supply.open_circuit_voltage_v) return true;
  }
  return false;
}

/* Changes a machine; false when the change means nothing for it. motor: of the machine as written. */
static bool change(struct sb_model *model, const struct sb_motor *motor, int pair, const struct trial *trial)
{
  struct sb_gear *slower = &model->gearbox.gears[pair];
  switch (trial->remedy) {
    case SB_REMEDY_REFERENCE: return follow_supply(model, motor);
    case SB_REMEDY_SENSOR: return refine(&model->control.sensor, trial->amount);
    case SB_REMEDY_VOLTAGE:
      if (model->battery.is_present) return false; /* its cells come whole, and its charge gives the voltage */
      model->supply.open_circuit_voltage_v *= trial->amount;
      return true;
    case SB_REMEDY_RATIO: {
      slower->ratio *= trial->amount;
      const bool is_above = slower->ratio > model->gearbox.gears[pair + 1].ratio;
      const bool is_below = pair == 0 || slower->ratio < model->gearbox.gears[pair - 1].ratio;
      return is_above && is_below;
    }
    default: return true;
  }
}

bool sb_remedy_apply(struct sb_model *model, const struct sb_motor *motor, int pair,
                     const struct sb_tune_result *result)
{
  const struct trial trial = {result->remedy, result->remedy_amount};
  return change(model, motor, pair, &trial);
}

/* One trial over the light machines or all; *margin is the widest, 0 when nothing opens or the change means nothing. */
static enum sb_status try_change(const struct sb_survey *survey, struct sb_tune_machine *changed,
                                 const struct trial *trial, bool is_light, int *margin, struct sb_error *err)
{
  *margin = 0;
  if (trial->remedy == SB_REMEDY_REFERENCE && !is_supply_varying(survey)) return SB_OK;
  for (int i = 0; i < survey->count; i++) {
    changed[i] = survey->machines[i];
    if (!change(&changed[i].model, &survey->machines[0].model.motor, survey->options->pair, trial)) return SB_OK;
  }
  struct sb_survey own = *survey;
  struct sb_raster raster;
  own.machines = changed;
  own.is_light = is_light;
  own.has_figures = false;
  own.total = *survey->done + survey->count;
  if (trial->remedy == SB_REMEDY_DWELL) own.dwell_s *= trial->amount;
  const enum sb_status status = sb_survey_run(&own, &raster, err);
  if (status != SB_OK) return status;
  *margin = sb_raster_widest(&raster);
  sb_raster_clear(&raster);
  return SB_OK;
}

/* Brings a factor that opens a region nearer to 1, by halves, as long as it still does. */
static enum sb_status lessen(const struct sb_survey *survey, struct sb_tune_machine *changed, struct trial *trial,
                             struct sb_error *err)
{
  if (trial->remedy == SB_REMEDY_SENSOR || trial->remedy == SB_REMEDY_REFERENCE) return SB_OK;
  double too_little = 1.0;
  for (int k = 0; k < LESSEN_ROUNDS; k++) {
    const struct trial less = {trial->remedy, 0.5 * (too_little + trial->amount)};
    int margin;
    const enum sb_status status = try_change(survey, changed, &less, true, &margin, err);
    if (status != SB_OK) return status;
    *(margin > 0 ? &trial->amount : &too_little) = less.amount;
  }
  return SB_OK;
}

/* Whether a change opens a region in all machines: first the light ones, then a lesser change, then all. */
static enum sb_status try_remedy(const struct sb_survey *survey, struct sb_tune_machine *changed,
                                 const struct trial *trial, struct sb_tune_result *result, struct sb_error *err)
{
  int margin;
  enum sb_status status = try_change(survey, changed, trial, true, &margin, err);
  if (status != SB_OK || margin == 0) return status;
  struct trial lesser = *trial;
  status = lessen(survey, changed, &lesser, err);
  if (status == SB_OK) status = try_change(survey, changed, &lesser, false, &margin, err);
  if (status == SB_OK && margin == 0) {
    lesser = *trial;
    status = try_change(survey, changed, &lesser, false, &margin, err);
  }
  if (status != SB_OK || margin == 0) return status;
  result->remedy = lesser.remedy;
  result->remedy_amount = lesser.amount;
  result->remedy_margin_fraction = margin * survey->options->axis.step_fraction;
  return SB_OK;
}

bool sb_remedy_can_follow(const struct sb_survey *survey)
{
  struct sb_model first = survey->machines[0].model;
  return is_supply_varying(survey) && follow_supply(&first, &first.motor);
}

/* What a reference that follows the supply gives; NAN: it means nothing here. */
static enum sb_status try_reference(const struct sb_survey *survey, struct sb_tune_machine *changed,
                                    double *margin_fraction, struct sb_error *err)
{
  static const struct trial reference = {SB_REMEDY_REFERENCE, 1.0};
  int margin;
  if (!sb_remedy_can_follow(survey)) return SB_OK;
  enum sb_status status = try_change(survey, changed, &reference, true, &margin, err);
  if (status == SB_OK && margin > 0) status = try_change(survey, changed, &reference, false, &margin, err);
  *margin_fraction = margin * survey->options->axis.step_fraction;
  return status;
}

enum sb_status sb_remedy_find(const struct sb_survey *survey, struct sb_tune_result *result, struct sb_error *err)
{
  struct sb_tune_machine *changed = calloc((size_t)survey->count, sizeof *changed);
  if (changed == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for trials of a remedy");
  enum sb_status status = SB_OK;
  for (int k = 0; k < TRIAL_COUNT && status == SB_OK && result->remedy == SB_REMEDY_NONE; k++) {
    status = try_remedy(survey, changed, &trials[k], result, err);
  }
  if (status == SB_OK && result->remedy != SB_REMEDY_REFERENCE) {
    status = try_reference(survey, changed, &result->reference_margin_fraction, err);
  }
  free(changed);
  return status;
}
