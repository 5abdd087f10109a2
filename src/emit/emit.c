// SPDX-License-Identifier: GPL-3.0-or-later
/* Rounding to a sensor's counts, and the run that is recorded; see emit.h. */
#include "shiftband/emit.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/constants.h"
#include "emit/words.h"
#include "shiftband/closed_form.h"
#include "shiftband/run.h"
#include "shiftband/units.h"

/* Samples kept behind the last command, so that a controller that goes on shifting is found out. */
enum { SAMPLES_BEHIND = 25 };

struct sb_emit_options sb_emit_options_default(void)
{
  return (struct sb_emit_options){.sample_max = SB_EMIT_SAMPLES_DEFAULT};
}

void sb_emit_clear(struct sb_emission *emission)
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

/* What a reading of 100 % stands for, in the reading's unit. */
static double reference_of(const struct sb_sensor *sensor)
{
  switch (sensor->quantity) {
    case SB_SENSES_DUTY: return 1.0;
    case SB_SENSES_CURRENT: return sensor->reference_a;
    case SB_SENSES_SPEED: break;
  }
  return sensor->reference_rad_s;
}

/* One count where nobody says what it is: 1 rpm, a pulse-width register of eight bits, 10 mA. */
static double usual_count(enum sb_sensor_quantity quantity)
{
  switch (quantity) {
    case SB_SENSES_DUTY: return 1.0 / 255.0;
    case SB_SENSES_CURRENT: return 0.01;
    case SB_SENSES_SPEED: break;
  }
  return SB_RPM;
}

/* Counts of the reference where they are whole and the reading is what is left of it, else 0. */
static double full_count_of(const struct sb_emission *out)
{
  const struct sb_sensor *sensor = &out->model.control.sensor;
  const double counts = reference_of(sensor) / out->count, whole = round(counts);
  const bool is_whole = whole >= 1.0 && whole < (double)INT32_MAX && fabs(counts - whole) <= 1e-9 * whole;
  return sensor->quantity != SB_SENSES_SPEED && is_whole ? whole : 0.0;
}

/* "1/255"; 0 where it is nothing of the kind. */
static double share_of(const char *text)
{
  const size_t digits = strncmp(text, "1/", 2) == 0 ? strspn(text + 2, "0123456789") : 0;
  const double parts = digits > 0 && digits < 10 && text[2 + digits] == 0 ? strtod(text + 2, NULL) : 0.0;
  return parts > 0.0 ? 1.0 / parts : 0.0;
}

enum sb_status sb_emit_count_parse(const char *text, const struct sb_sensor *sensor, double *count,
                                   struct sb_error *err)
{
  static const enum sb_quantity own[] = {
      [SB_SENSES_SPEED] = SB_SPEED, [SB_SENSES_DUTY] = SB_PERCENT, [SB_SENSES_CURRENT] = SB_CURRENT};
  struct sb_error reason;
  enum sb_quantity found = SB_PERCENT;
  double value = share_of(text);
  if (!(value > 0.0) &&
      sb_units_parse_either(text, SB_PERCENT, own[sensor->quantity], &value, &found, &reason) != SB_OK) {
    return sb_fail(err, SB_ERR_USAGE, "--count %s", reason.text);
  }
  if (!(value > 0.0)) return sb_fail(err, SB_ERR_USAGE, "--count needs more than 0, found \"%s\"", text);
  *count = found == SB_PERCENT ? value * reference_of(sensor) : value;
  return SB_OK;
}

/* Thresholds as they act: those of a sensor that rounds lie half a count beside their own counts. */
static void take_thresholds(struct sb_emission *out, bool is_own_count)
{
  struct sb_control *control = &out->model.control;
  const struct sb_sensor *sensor = &control->sensor;
  const double reference = reference_of(sensor), count = sensor->resolution_fraction;
  for (int p = 0; p + 1 < out->model.gearbox.gear_count; p++) {
    out->asked_below[p] = control->downshift_fraction[p] * reference;
    out->asked_above[p] = control->upshift_fraction[p] * reference;
    if (is_own_count || sensor->supply.is_present || !(count > 0.0)) continue;
    control->downshift_fraction[p] = (sb_sensor_down_count(sensor, control->downshift_fraction[p]) - 0.5) * count;
    control->upshift_fraction[p] = (sb_sensor_up_count(sensor, control->upshift_fraction[p]) + 0.5) * count;
  }
}

/* Takes over the pulses that are counted. The recorded run has one phase: the one that the seed gives in place of the worst. */
static void take_pulses(struct sb_emission *out, const struct sb_emit_sensor *wanted)
{
  struct sb_sensor *sensor = &out->model.control.sensor;
  struct sb_pulse_sensor *pulses = &sensor->pulses;
  pulses->is_worst = false;
  if (wanted->pulses_per_turn > 0.0) {
    *pulses = (struct sb_pulse_sensor){.per_turn = wanted->pulses_per_turn,
                                       .window_s = wanted->window_s > 0.0 ? wanted->window_s
                                                                          : out->model.control.sample_period_s,
                                       .phase = sb_sensor_phase_of(sensor->seed)};
  } else if (wanted->count > 0.0) {
    *pulses = (struct sb_pulse_sensor){0};
  }
  if (!(pulses->window_s > 0.0)) return;
  out->pulses_per_turn = pulses->per_turn;
  out->window_s = pulses->window_s;
}

/* Takes over what one count of the supply's voltage is; whether that is the scenario's own. */
static bool take_voltage(struct sb_emission *out, const struct sb_emit_sensor *wanted)
{
  static const double usual_v = 0.01;
  struct sb_supply_sensor *supply = &out->model.control.sensor.supply;
  if (!supply->is_present) return true;
  const bool is_own = !(wanted->voltage_count_v > 0.0) && supply->resolution_v > 0.0;
  out->is_voltage_given = is_own || wanted->voltage_count_v > 0.0;
  if (!is_own) supply->resolution_v = wanted->voltage_count_v > 0.0 ? wanted->voltage_count_v : usual_v;
  return is_own;
}

/* Takes over what one count is; whether that is the scenario's own count. */
static bool take_sensor(struct sb_emission *out, const struct sb_emit_sensor *wanted)
{
  struct sb_sensor *sensor = &out->model.control.sensor;
  const double reference = reference_of(sensor), own = sensor->resolution_fraction * reference;
  const bool is_asked = wanted->pulses_per_turn > 0.0 || wanted->count > 0.0;
  take_pulses(out, wanted);
  out->is_resolution_given = is_asked || own > 0.0;
  out->count = is_asked ? wanted->count : own > 0.0 ? own : usual_count(sensor->quantity);
  if (out->pulses_per_turn > 0.0) out->count = SB_TURN / (out->pulses_per_turn * out->window_s);
  out->full_count = full_count_of(out);
  const bool is_own = take_voltage(out, wanted) && !is_asked && own > 0.0;
  take_thresholds(out, is_own);
  if (!is_asked && own > 0.0) return is_own;
  sensor->resolution_fraction = out->full_count > 0.0 ? 1.0 / out->full_count : out->count / reference;
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

/* Counts that are set against the supply act up to half a count beside the speed's own, counts of pulses a whole one: thresholds are
 * moved apart by that, at the nominal voltage. */
static enum sb_status part_pair(struct sb_emission *out, int pair, struct sb_error *err)
{
  struct sb_control *control = &out->model.control;
  const double apart = (1.0 - reach_of(out)) * control->sensor.resolution_fraction;
  control->downshift_fraction[pair] -= apart;
  control->upshift_fraction[pair] += apart;
  if (control->downshift_fraction[pair] > 0.0) return SB_OK;
  return sb_fail(err, SB_ERR_SCENARIO, "downshift_below of %g rpm lies below one count of %g rpm: needs a finer sensor",
                 out->asked_below[pair] / SB_RPM, out->count / SB_RPM);
}

/* Moves a pair's thresholds apart to whole counts. */
static enum sb_status round_pair(struct sb_emission *out, int pair, struct sb_error *err)
{
  struct sb_control *control = &out->model.control;
  const struct sb_emit_unit unit = sb_emit_unit(out);
  const double count_fraction = sb_sensor_count_fraction(&control->sensor), reach = reach_of(out);
  const double downshift = floor(in_counts(control->downshift_fraction[pair], count_fraction) + reach);
  const double upshift = ceil(in_counts(control->upshift_fraction[pair], count_fraction) - reach);
  if (!(downshift >= 1.0)) {
    return sb_fail(err, SB_ERR_SCENARIO,
                   "downshift_below of %g %s%s lies below one count of %g %s: needs a finer sensor",
                   out->asked_below[pair] * unit.scale, unit.name, unit.left, out->count * unit.scale, unit.name);
  }
  if (!(upshift < (double)INT32_MAX)) {
    return sb_fail(err, SB_ERR_SCENARIO, "upshift_above of %g %s%s is more counts of %g %s than 32 bits hold",
                   out->asked_above[pair] * unit.scale, unit.name, unit.left, out->count * unit.scale, unit.name);
  }
  control->downshift_fraction[pair] = downshift * count_fraction;
  control->upshift_fraction[pair] = upshift * count_fraction;
  return SB_OK;
}

/* Where the counts of a pair really act; those against the supply at the nominal voltage. */
static void find_acts(struct sb_emission *out, int pair)
{
  const struct sb_control *control = &out->model.control;
  const double below = (double)out->setup.downshift_below[pair], above = (double)out->setup.upshift_above[pair];
  const bool is_scaled = out->scale.factor > 0;
  const double count =
      is_scaled ? sb_sensor_count_fraction(&control->sensor) * reference_of(&control->sensor) : out->count;
  const double reach = is_scaled ? 0.0 : reach_of(out);
  out->acts_below[pair] = (below - reach) * count;
  out->acts_above[pair] = (above + reach) * count;
}

static enum sb_status round_all(struct sb_emission *out, struct sb_error *err)
{
  const bool is_scaled = out->model.control.sensor.supply.is_present;
  for (int p = 0; p + 1 < out->model.gearbox.gear_count; p++) {
    const enum sb_status status = out->is_own_count ? SB_OK
                                  : is_scaled       ? part_pair(out, p, err)
                                                    : round_pair(out, p, err);
    if (status != SB_OK) return status;
  }
  out->setup = sb_run_controller_setup(&out->model);
  if (is_scaled) out->scale = sb_run_controller_scale(&out->model);
  for (int p = 0; p + 1 < out->model.gearbox.gear_count; p++) {
    find_acts(out, p);
    out->is_moved |= fabs(out->acts_below[p] - out->asked_below[p]) > 1e-9 * out->asked_below[p] ||
                     fabs(out->acts_above[p] - out->asked_above[p]) > 1e-9 * out->asked_above[p];
  }
  return SB_OK;
}

/* The recorder of a run. */
struct recorder {
  struct sb_emission *out;
  struct sb_controller_state state; /* of the recorded controller, before the next sample */
  size_t room;
  size_t last_event; /* index of the last sample worth recording, 0: none */
};

/* A command, or a change of what the controller of a drive that stops must be told. */
static bool is_event(const struct sb_emission *out, size_t index)
{
  const struct sb_emit_sample *now = &out->samples[index], *before = now - 1;
  return now->gear != before->gear || (out->can_stop && now->is_deciding != before->is_deciding);
}

static void record(void *context, const struct sb_run_sample *sample)
{
  struct recorder *recorder = context;
  struct sb_emission *out = recorder->out;
  const size_t index = out->sample_total++;
  /* Whether it ever came to decide while the box was in neutral. */
  out->is_engaged_needed |= recorder->state.wait_samples == 0 && !sample->is_engaged;
  sb_controller_update(&out->setup, &recorder->state, sample->reading, sample->is_deciding);
  if (index >= recorder->room) return;
  out->samples[index] = (struct sb_emit_sample){.reading = sample->reading,
                                                .counts = sample->counts,
                                                .voltage = sample->voltage_counts,
                                                .is_deciding = sample->is_deciding,
                                                .gear = (uint8_t)sample->gear};
  if (index > 0 && is_event(out, index)) recorder->last_event = index;
  out->sample_count = index + 1;
}

/* By a command, or by a switch of its own. */
static bool can_stop(const struct sb_model *model)
{
  const struct sb_table *schedule = &model->drive.schedule;
  bool can = model->battery.is_present || (model->winding.is_present && isfinite(model->winding.cut_out_c));
  for (size_t i = 0; i < schedule->count; i++) can |= schedule->y[i] != schedule->y[0] || schedule->y[i] == 0.0;
  return can;
}

static enum sb_status record_run(struct sb_emission *out, size_t sample_max, struct sb_run_result *result,
                                 struct sb_error *err)
{
  struct recorder recorder = {.out = out, .room = sample_max};
  struct sb_run_options options = sb_run_options_default();
  out->samples = calloc(sample_max + 1, sizeof *out->samples);
  if (out->samples == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for recorded readings");
  out->can_stop = can_stop(&out->model);
  sb_controller_start(&out->setup, &recorder.state, (uint8_t)out->model.control.start_gear);
  options.on_sample = record;
  options.sample_context = &recorder;
  const enum sb_status status = sb_run(&out->model, &options, result, err);
  const size_t enough = recorder.last_event + 1 + SAMPLES_BEHIND;
  if (recorder.last_event > 0 && out->sample_count > enough) out->sample_count = enough;
  return status;
}

/* What the rounded controller's run must not do unless the given one's does it too. */
static enum sb_status compare_runs(const struct sb_model *model, struct sb_emission *out,
                                   const struct sb_monitor *rounded, struct sb_error *err)
{
  const struct sb_run_options options = sb_run_options_default();
  struct sb_run_result given;
  enum sb_status status = sb_run(model, &options, &given, err);
  if (status != SB_OK) return status;
  for (enum sb_verdict_kind kind = 0; status == SB_OK && kind < SB_VERDICT_KIND_COUNT; kind++) {
    if (sb_monitor_find(rounded, kind) == NULL) continue;
    const char *name = sb_verdict_name(kind);
    sb_fail_add(out->verdicts, sizeof out->verdicts, "%s%s", out->verdicts[0] != 0 ? ", " : "", name);
    if (sb_monitor_find(&given.monitor, kind) != NULL) continue;
    const struct sb_emit_unit unit = sb_emit_unit(out);
    status =
        sb_fail(err, SB_ERR_SCENARIO,
                "counts of %g %s are too coarse: with thresholds moved apart to whole counts the run ends in \"%s\"; "
                "use a finer sensor, or tune with its resolution",
                out->count * unit.scale, unit.name, name);
  }
  sb_run_result_clear(&given);
  return status;
}

/* The same question to the closed forms: the lightest load may not come up in the run. */
static enum sb_status compare_closed_forms(const struct sb_model *model, const struct sb_emission *out,
                                           struct sb_error *err)
{
  const struct sb_emit_unit unit = sb_emit_unit(out);
  const struct sb_closed_form given = sb_closed_form_solve(model), rounded = sb_closed_form_solve(&out->model);
  for (int p = 0; p + 1 < model->gearbox.gear_count; p++) {
    if (!rounded.pairs[p].is_stuck_low || given.pairs[p].is_stuck_low) continue;
    return sb_fail(
        err, SB_ERR_SCENARIO,
        "counts of %g %s are too coarse: upshift_above of %g %s%s becomes %g %s%s, which %s never reaches under the "
        "lightest load; use a finer sensor, or tune with its resolution",
        out->count * unit.scale, unit.name, out->asked_above[p] * unit.scale, unit.name, unit.left,
        out->acts_above[p] * unit.scale, unit.name, unit.left, model->gearbox.gears[p].name);
  }
  return SB_OK;
}

enum sb_status sb_emit(const struct sb_model *model, const struct sb_emit_options *options, struct sb_emission *out,
                       struct sb_error *err)
{
  struct sb_run_result result = {.step_count = 0};
  *out = (struct sb_emission){.model = *model};
  if (options->sensor.pulses_per_turn > 0.0 && model->control.sensor.quantity != SB_SENSES_SPEED) {
    return sb_fail(err, SB_ERR_USAGE, "counts of pulses need a reading of the speed, found one of the %s",
                   model->control.sensor.quantity == SB_SENSES_DUTY ? "duty" : "current");
  }
  double rest_s;
  const struct sb_pulse_sensor wanted = {.window_s = options->sensor.window_s};
  if (sb_sensor_window_slots(&wanted, model->control.sample_period_s, &rest_s) > SB_PULSE_SLOT_MAX) {
    return sb_fail(err, SB_ERR_USAGE, "a window of pulses needs at most %d sample periods (%g s), found %g s",
                   SB_PULSE_SLOT_MAX, SB_PULSE_SLOT_MAX * model->control.sample_period_s, options->sensor.window_s);
  }
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
  if (status != SB_OK) sb_emit_clear(out);
  return status;
}
