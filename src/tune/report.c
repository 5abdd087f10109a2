// SPDX-License-Identifier: GPL-3.0-or-later
/* report.c - what the text and the JSON form share; see report.h. */
#include "tune/report.h"

#include <math.h>

#include "tune/survey.h"

const struct sb_model *sb_tune_first_model(const struct sb_rounds *tuning)
{
  return &tuning->nominals[0].model;
}

const struct sb_decider *sb_tune_decider(const struct sb_rounds *tuning)
{
  return tuning->options[tuning->first_pair].decider;
}

int sb_tune_finest_count(const struct sb_rounds *tuning)
{
  return sb_tune_options_default(sb_tune_first_model(tuning)).axis.count;
}

double sb_tune_percent(double fraction)
{
  return round(1e8 * fraction) / 1e6;
}

double sb_tune_seconds(double time_s)
{
  return round(1e9 * time_s) / 1e9;
}

long sb_tune_dwell_samples(const struct sb_rounds *tuning)
{
  return lround(ceil(tuning->dwell_s / sb_tune_first_model(tuning)->control.sample_period_s - 1e-9));
}

const char *sb_tune_machine_words(const struct sb_rounds *tuning, int machine, char text[SB_TUNE_WORDS_SIZE])
{
  const struct sb_tune_machine *own = &tuning->machines[machine];
  const struct sb_scenario *nominal = &tuning->nominals[own->scenario];
  const double *values = tuning->values[own->scenario] + own->sample * nominal->tolerance_count;
  char sample[256] = "as written";
  if (own->sample > 0) sb_samples_words(nominal, values, sample, sizeof sample);
  snprintf(text, SB_TUNE_WORDS_SIZE, "%s, %s", nominal->model.name, sample);
  return text;
}

const char *sb_tune_verdict_name(const struct sb_map_verdict *verdict)
{
  const int worst = sb_map_verdict_worst(verdict);
  return worst < 0 ? "passes" : sb_verdict_name((enum sb_verdict_kind)worst);
}

const char *sb_tune_verdict_cause(const struct sb_map_verdict *verdict)
{
  return sb_map_verdict_worst(verdict) == SB_VERDICT_HUNTING ? sb_verdict_cause_name(verdict->cause) : NULL;
}

/* Pulses in a window are made finer by more of them. */
static bool is_pulses(const struct sb_model *model)
{
  return model->control.sensor.pulses.window_s > 0.0;
}

const char *sb_tune_remedy_words(const struct sb_rounds *tuning, int pair, char text[SB_TUNE_WORDS_SIZE])
{
  const struct sb_model *model = sb_tune_first_model(tuning);
  const struct sb_tune_result *result = &tuning->results[pair];
  const double amount = result->remedy_amount;
  switch (result->remedy) {
    case SB_REMEDY_DWELL: snprintf(text, SB_TUNE_WORDS_SIZE, "a dwell of %.4g s", amount * result->dwell_s); break;
    case SB_REMEDY_SENSOR:
      if (is_pulses(model)) {
        snprintf(text, SB_TUNE_WORDS_SIZE, "a finer sensor, with %.0f pulses a turn",
                 sb_remedy_pulses(&model->control.sensor, amount));
      } else {
        snprintf(text, SB_TUNE_WORDS_SIZE, "a finer sensor, with a resolution of %.2g %%", sb_tune_percent(amount));
      }
      break;
    case SB_REMEDY_REFERENCE:
      snprintf(text, SB_TUNE_WORDS_SIZE, "a reference that follows the supply, controller.reference: measured supply");
      break;
    case SB_REMEDY_VOLTAGE:
      snprintf(text, SB_TUNE_WORDS_SIZE, "%.3g %% more supply voltage", sb_tune_percent(amount - 1.0));
      break;
    case SB_REMEDY_RATIO:
      snprintf(text, SB_TUNE_WORDS_SIZE, "a slower gear with %.3g times its reduction (a %s ratio step)", amount,
               amount < 1.0 ? "smaller" : "greater");
      break;
    default: snprintf(text, SB_TUNE_WORDS_SIZE, "no single change that was tried"); break;
  }
  return text;
}

const char *sb_tune_remedy_key(const struct sb_rounds *tuning, int pair, char text[SB_TUNE_WORDS_SIZE])
{
  switch (tuning->results[pair].remedy) {
    case SB_REMEDY_DWELL: return "controller.dwell";
    case SB_REMEDY_SENSOR:
      return is_pulses(sb_tune_first_model(tuning)) ? "controller.sensor.pulses" : "controller.resolution";
    case SB_REMEDY_REFERENCE: return "controller.reference";
    case SB_REMEDY_VOLTAGE: return "supply.open_circuit_voltage";
    case SB_REMEDY_RATIO: snprintf(text, SB_TUNE_WORDS_SIZE, "gearbox.gears.%d.meshes", pair + 1); return text;
    default: return NULL;
  }
}

const char *sb_tune_remedy_value(const struct sb_rounds *tuning, int pair, char text[SB_TUNE_WORDS_SIZE])
{
  const struct sb_model *model = sb_tune_first_model(tuning);
  const struct sb_tune_result *result = &tuning->results[pair];
  const double amount = result->remedy_amount;
  switch (result->remedy) {
    case SB_REMEDY_DWELL: snprintf(text, SB_TUNE_WORDS_SIZE, "%.4g s", amount * result->dwell_s); break;
    case SB_REMEDY_SENSOR:
      if (is_pulses(model)) {
        snprintf(text, SB_TUNE_WORDS_SIZE, "%.0f", sb_remedy_pulses(&model->control.sensor, amount));
      } else {
        snprintf(text, SB_TUNE_WORDS_SIZE, "%.2g %%", sb_tune_percent(amount));
      }
      break;
    case SB_REMEDY_REFERENCE: return "measured supply";
    case SB_REMEDY_VOLTAGE:
      snprintf(text, SB_TUNE_WORDS_SIZE, "%.4g V", amount * model->supply.open_circuit_voltage_v);
      break;
    case SB_REMEDY_RATIO:
      snprintf(text, SB_TUNE_WORDS_SIZE, "ratio %.4g", amount * model->gearbox.gears[pair].ratio);
      break;
    default: return NULL;
  }
  return text;
}
