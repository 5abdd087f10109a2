// SPDX-License-Identifier: GPL-3.0-or-later
/* Rounding to a sensor's counts, and the run that is recorded; see emit.h. */
#include "shiftband/emit.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "constants.h"
#include "shiftband/closed_form.h"
#include "shiftband/run.h"

/* Samples kept behind the last command, so that a controller that goes on shifting is found out. */
enum { SAMPLES_BEHIND = 25 };

struct sb_emit_options sb_emit_options_default(void)
{
  return (struct sb_emit_options){.sample_max = SB_EMIT_SAMPLES_DEFAULT};
}

void sb_emission_clear(struct sb_emission *emission)
{
  free(emission->samples);
  emission->samples = NULL;
  emission->sample_count = 0;
}

bool sb_emit_name_is_fit(const char *name)
{
  if (!isalpha((unsigned char)name[0]) || strlen(name) >= SB_EMIT_NAME_SIZE) return false;
  for (; *name != 0; name++) {
    if (!isalnum((unsigned char)*name) && *name != '_') return false;
  }
  return true;
}

/* Takes over what one count is; whether that is the scenario's own count. */
static bool take_sensor(struct sb_emission *out, const struct sb_emit_sensor *wanted)
{
  struct sb_sensor *sensor = &out->model.control.sensor;
  const double own_rad_s = sensor->resolution_fraction * sensor->reference_rad_s;
  out->is_resolution_given = true;
  if (wanted->pulses_per_turn > 0.0) {
    out->pulses_per_turn = wanted->pulses_per_turn;
    out->window_s = wanted->window_s;
    out->count_rad_s = SB_TURN / (wanted->pulses_per_turn * wanted->window_s);
  } else if (wanted->count_rad_s > 0.0) {
    out->count_rad_s = wanted->count_rad_s;
  } else if (own_rad_s > 0.0) {
    out->count_rad_s = own_rad_s;
    return true;
  } else {
    out->is_resolution_given = false;
    out->count_rad_s = SB_RPM;
  }
  sensor->resolution_fraction = out->count_rad_s / sensor->reference_rad_s;
  return false;
}

/* A threshold in counts; a rounding error beside a whole count is that count. */
static double in_counts(double threshold_fraction, double count_fraction)
{
  const double counts = threshold_fraction / count_fraction, whole = round(counts);
  return fabs(counts - whole) <= 1e-9 * fmax(1.0, fabs(counts)) ? whole : counts;
}

/* How far beyond its count a threshold acts already, in counts. */
static double reach_of(const struct sb_emission *out)
{
  return out->pulses_per_turn > 0.0 ? 0.0 : 0.5;
}

/* Moves a pair's thresholds apart to whole counts. */
static enum sb_status round_pair(struct sb_emission *out, int pair, struct sb_error *err)
{
  struct sb_control *control = &out->model.control;
  const double count_fraction = sb_sensor_count_fraction(&control->sensor), reach = reach_of(out);
  const double down = floor(in_counts(control->down_fraction[pair], count_fraction) + reach);
  const double up = ceil(in_counts(control->up_fraction[pair], count_fraction) - reach);
  if (!(down >= 1.0)) {
    return sb_fail(err, SB_ERR_SCENARIO, "down of %g rpm lies below one count of %g rpm: needs a finer sensor",
                   out->asked_down_rad_s[pair] / SB_RPM, out->count_rad_s / SB_RPM);
  }
  if (!(up < (double)INT32_MAX)) {
    return sb_fail(err, SB_ERR_SCENARIO, "up of %g rpm is more counts of %g rpm than 32 bits hold",
                   out->asked_up_rad_s[pair] / SB_RPM, out->count_rad_s / SB_RPM);
  }
  control->down_fraction[pair] = down * count_fraction;
  control->up_fraction[pair] = up * count_fraction;
  return SB_OK;
}

static enum sb_status round_all(struct sb_emission *out, struct sb_error *err)
{
  const double reference = out->model.control.sensor.reference_rad_s, reach = reach_of(out);
  for (int p = 0; p + 1 < out->model.gearbox.gear_count; p++) {
    out->asked_down_rad_s[p] = out->model.control.down_fraction[p] * reference;
    out->asked_up_rad_s[p] = out->model.control.up_fraction[p] * reference;
    const enum sb_status status = out->is_own_count ? SB_OK : round_pair(out, p, err);
    if (status != SB_OK) return status;
  }
  out->setup = sb_run_controller_setup(&out->model);
  for (int p = 0; p + 1 < out->model.gearbox.gear_count; p++) {
    out->acts_below_rad_s[p] = ((double)out->setup.down[p] - reach) * out->count_rad_s;
    out->acts_above_rad_s[p] = ((double)out->setup.up[p] + reach) * out->count_rad_s;
    out->is_moved |= fabs(out->acts_below_rad_s[p] - out->asked_down_rad_s[p]) > 1e-9 * out->asked_down_rad_s[p] ||
                     fabs(out->acts_above_rad_s[p] - out->asked_up_rad_s[p]) > 1e-9 * out->asked_up_rad_s[p];
  }
  return SB_OK;
}

/* The recorder of a run. */
struct recorder {
  struct sb_emission *out;
  size_t room;
  size_t last_command; /* index of the sample, 0: none */
};

static void record(void *context, int32_t reading, bool is_engaged, int gear)
{
  struct recorder *recorder = context;
  struct sb_emission *out = recorder->out;
  const size_t index = out->sample_total++;
  if (index >= recorder->room) return;
  out->samples[index] = (struct sb_emit_sample){reading, is_engaged, (uint8_t)gear};
  if (index > 0 && out->samples[index - 1].gear != gear) recorder->last_command = index;
  out->sample_count = index + 1;
}

/* Whether the recorded controller ever came to decide while the box was in neutral. */
static bool needs_mesh(const struct sb_emission *out)
{
  struct sb_controller_state state;
  sb_controller_start(&out->setup, &state, (uint8_t)out->model.control.start_gear);
  for (size_t i = 0; i < out->sample_count; i++) {
    const struct sb_emit_sample *sample = &out->samples[i];
    if (state.wait_samples == 0 && !sample->is_engaged) return true;
    sb_controller_update(&out->setup, &state, sample->reading, sample->is_engaged);
  }
  return false;
}

static enum sb_status record_run(struct sb_emission *out, size_t sample_max, struct sb_run_result *result,
                                 struct sb_error *err)
{
  struct recorder recorder = {out, sample_max, 0};
  struct sb_run_options options = sb_run_options_default();
  out->samples = calloc(sample_max + 1, sizeof *out->samples);
  if (out->samples == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for recorded readings");
  options.on_sample = record;
  options.sample_context = &recorder;
  const enum sb_status status = sb_run(&out->model, &options, result, err);
  const size_t enough = recorder.last_command + 1 + SAMPLES_BEHIND;
  if (recorder.last_command > 0 && out->sample_count > enough) out->sample_count = enough;
  if (status == SB_OK) out->is_mesh_needed = needs_mesh(out);
  return status;
}

static bool has_verdict(const struct sb_monitor *monitor, int kind)
{
  for (size_t i = 0; i < monitor->verdict_count; i++) {
    if ((int)monitor->verdicts[i].kind == kind) return true;
  }
  return false;
}

/* What the rounded controller's run must not do unless the given one's does it too. */
static enum sb_status compare_runs(const struct sb_model *model, struct sb_emission *out,
                                   const struct sb_monitor *rounded, struct sb_error *err)
{
  const struct sb_run_options options = sb_run_options_default();
  struct sb_run_result given;
  enum sb_status status = sb_run(model, &options, &given, err);
  if (status != SB_OK) return status;
  for (int kind = 0; status == SB_OK && kind < SB_VERDICT_KIND_COUNT; kind++) {
    if (!has_verdict(rounded, kind)) continue;
    const size_t length = strlen(out->verdicts);
    const char *name = sb_verdict_name((enum sb_verdict_kind)kind);
    snprintf(out->verdicts + length, sizeof out->verdicts - length, "%s%s", length > 0 ? ", " : "", name);
    if (has_verdict(&given.monitor, kind)) continue;
    status =
        sb_fail(err, SB_ERR_SCENARIO,
                "counts of %g rpm are too coarse: with thresholds moved apart to whole counts the run ends in \"%s\"; "
                "take a finer sensor, or tune with its resolution",
                out->count_rad_s / SB_RPM, name);
  }
  sb_run_result_clear(&given);
  return status;
}

/* The same question to the closed forms: the lightest load may not come up in the run. */
static enum sb_status compare_closed_forms(const struct sb_model *model, const struct sb_emission *out,
                                           struct sb_error *err)
{
  const struct sb_closed_form given = sb_closed_form_solve(model), rounded = sb_closed_form_solve(&out->model);
  for (int p = 0; p + 1 < model->gearbox.gear_count; p++) {
    if (!rounded.pairs[p].is_stuck_low || given.pairs[p].is_stuck_low) continue;
    return sb_fail(err, SB_ERR_SCENARIO,
                   "counts of %g rpm are too coarse: up of %g rpm becomes %g rpm, which %s never reaches under the "
                   "lightest load; take a finer sensor, or tune with its resolution",
                   out->count_rad_s / SB_RPM, out->asked_up_rad_s[p] / SB_RPM, out->acts_above_rad_s[p] / SB_RPM,
                   model->gearbox.gears[p].name);
  }
  return SB_OK;
}

enum sb_status sb_emit(const struct sb_model *model, const struct sb_emit_options *options, struct sb_emission *out,
                       struct sb_error *err)
{
  struct sb_run_result result = {.step_count = 0};
  *out = (struct sb_emission){.model = *model};
  out->is_own_count = take_sensor(out, &options->sensor);
  enum sb_status status = round_all(out, err);
  if (status == SB_OK && !out->is_own_count) status = compare_closed_forms(model, out, err);
  if (status != SB_OK) return status;
  const size_t most = SB_EMIT_SAMPLES_MAX;
  status = record_run(out, options->sample_max < most ? options->sample_max : most, &result, err);
  if (status == SB_OK) {
    status = compare_runs(model, out, &result.monitor, err);
    sb_run_result_clear(&result);
  }
  if (status != SB_OK) sb_emission_clear(out);
  return status;
}
