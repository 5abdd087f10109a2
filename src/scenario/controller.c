// SPDX-License-Identifier: GPL-3.0-or-later
/* Checks of the controller and the run, and their conversion into the model's terms. */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include "scenario/reader.h"

#define STEP_COUNT_MAX 1e10
#define WHOLE_WITHIN 1e-6 /* as in sb_model_step_count() */

/* A reading as a fraction of the reference; NAN stays NAN. */
static double as_fraction(const struct sb_given *given, double reference_rad_s)
{
  return given->quantity == SB_SPEED ? given->value / reference_rad_s : given->value;
}

static void find_start_gear(struct sb_reader *reader)
{
  const struct sb_gearbox *gearbox = &reader->draft->model.gearbox;
  struct sb_control *control = &reader->draft->model.control;
  const char *name = reader->draft->control.start_gear;
  control->start_gear = name[0] == 0 ? gearbox->gear_count : sb_gearbox_find(gearbox, name) + 1;
  if (control->start_gear > 0 || gearbox->gear_count == 0) return;

  const char *names[SB_GEAR_MAX + 1] = {NULL};
  char list[SB_GEAR_MAX * (SB_NAME_SIZE + 2) + 1] = "", quoted[SB_QUOTE_SIZE];
  for (int g = 0; g < gearbox->gear_count; g++) {
    names[g] = gearbox->gears[g].name;
    const size_t length = strlen(list);
    snprintf(list + length, sizeof list - length, "%s%s", g == 0 ? "" : ", ", names[g]);
  }
  const char *nearest = sb_nearest_word(name, names);
  sb_reader_fault(reader, "controller.start_gear", "needs the name of a gear (%s), found %s%s%s%s", list,
                  sb_quote(quoted, name), nearest ? ", nearest is \"" : "", nearest ? nearest : "",
                  nearest ? "\"" : "");
}

/* Whether as many thresholds were given as there are pairs of gears. */
static bool has_pairs(struct sb_reader *reader, const char *key, int count)
{
  const int pairs = reader->draft->model.gearbox.gear_count - 1;
  const struct sb_node *node = sb_node_find(sb_node_find(reader->root, "controller"), key);
  char path[64];
  snprintf(path, sizeof path, "controller.%s", key);
  if (node == NULL && pairs > 0) {
    sb_reader_fault(reader, path,
                    "needs a percentage (%%) or an angular speed (%s) for two or more gears, found no such key",
                    sb_quantity_units(SB_SPEED));
  }
  if (node == NULL || node->kind == SB_NODE_MAP || node->kind == SB_NODE_BROKEN || pairs < 0) return false;
  if (count != pairs) {
    sb_reader_fault(reader, path, "needs %d %s, one for each pair of neighbouring gears, found %d", pairs,
                    pairs == 1 ? "value" : "values", count);
  }
  return count == pairs;
}

static void threshold_path(const struct sb_reader *reader, const char *key, int pair, char out[64])
{
  const struct sb_node *node = sb_node_find(sb_node_find(reader->root, "controller"), key);
  const bool is_list = node != NULL && node->kind == SB_NODE_LIST;
  snprintf(out, 64, is_list ? "controller.%s.%d" : "controller.%s", key, pair + 1);
}

static void check_pair(struct sb_reader *reader, int pair)
{
  const struct sb_control *control = &reader->draft->model.control;
  const double down = control->downshift_fraction[pair], up = control->upshift_fraction[pair];
  char path[64];
  if (down >= 1.0) {
    threshold_path(reader, "downshift_below", pair, path);
    sb_reader_fault(reader, path, "needs less than 100 %% of the reference, found %.6g %%", 100.0 * down);
  }
  if (up > 10.0) {
    threshold_path(reader, "upshift_above", pair, path);
    sb_reader_fault(reader, path, "needs at most 1000 %% of the reference, found %.6g %%", 100.0 * up);
  }
  if (up <= down) {
    threshold_path(reader, "upshift_above", pair, path);
    sb_reader_fault(reader, path, "needs more than downshift_below (%.6g %%), found %.6g %%", 100.0 * down, 100.0 * up);
  }
}

static void finish_thresholds(struct sb_reader *reader)
{
  const struct sb_control_draft *draft = &reader->draft->control;
  struct sb_control *control = &reader->draft->model.control;
  const double reference = control->sensor.reference_rad_s;
  const bool has_down = has_pairs(reader, "downshift_below", draft->downshift_count);
  const bool has_up = has_pairs(reader, "upshift_above", draft->upshift_count);
  const int pairs = reader->draft->model.gearbox.gear_count - 1;
  for (int p = 0; p < pairs; p++) {
    control->downshift_fraction[p] = has_down ? as_fraction(&draft->downshift_below[p], reference) : (double)NAN;
    control->upshift_fraction[p] = has_up ? as_fraction(&draft->upshift_above[p], reference) : (double)NAN;
    check_pair(reader, p);
  }
}

static void refuse_speed(struct sb_reader *reader, const char *path, const char *reading)
{
  sb_reader_fault(reader, path, "needs a percentage (%%), since the reading is the %s, found an angular speed",
                  reading);
}

/* What the sensor is after must be there, and what is given in speeds must be meant for a speed. */
static void check_reading(struct sb_reader *reader)
{
  static const char *const words[] = {"speed", "duty", "current"};
  const struct sb_draft *draft = reader->draft;
  const struct sb_control_draft *control = &draft->control;
  const struct sb_node *node = sb_node_find(reader->root, "controller");
  const char *reading = words[control->reading];
  if (control->reading == SB_SENSES_DUTY && draft->drive.mode == SB_MODE_OPEN) {
    sb_reader_fault(
        reader, "controller.reading",
        "needs drive.mode: speed control for a reading of the duty, which says nothing where it never changes, "
        "found open loop");
  }
  if (control->reading == SB_SENSES_CURRENT && !draft->model.motor.has_currents) {
    sb_reader_fault(
        reader, "controller.reading",
        "needs stall_current and no_load_current of the motor for a reading of the current, found not both");
  }
  if (control->reading != SB_SENSES_CURRENT && sb_node_find(node, "reference_current") != NULL) {
    sb_reader_fault(reader, "controller.reference_current", "needs reading: current, found %s", reading);
  }
  if (control->reading == SB_SENSES_SPEED) return;
  if (sb_node_find(node, "reference_speed") != NULL) {
    sb_reader_fault(reader, "controller.reference_speed", "needs reading: speed, found %s", reading);
  }
  char path[64];
  for (int p = 0; p < SB_GEAR_MAX - 1; p++) {
    threshold_path(reader, "downshift_below", p, path);
    if (p < control->downshift_count && control->downshift_below[p].quantity == SB_SPEED)
      refuse_speed(reader, path, reading);
    threshold_path(reader, "upshift_above", p, path);
    if (p < control->upshift_count && control->upshift_above[p].quantity == SB_SPEED)
      refuse_speed(reader, path, reading);
  }
  if (control->resolution.quantity == SB_SPEED) refuse_speed(reader, "controller.resolution", reading);
}

static void finish_sensor(struct sb_reader *reader)
{
  const struct sb_control_draft *draft = &reader->draft->control;
  const struct sb_motor *motor = &reader->draft->model.motor;
  struct sb_sensor *sensor = &reader->draft->model.control.sensor;
  const struct sb_node *node = sb_node_find(reader->root, "controller");
  sensor->quantity = (enum sb_sensor_quantity)draft->reading;
  check_reading(reader);
  const bool has_speed = sb_node_find(node, "reference_speed") != NULL;
  sensor->reference_rad_s = has_speed ? draft->reference_rad_s : motor->no_load_speed_rad_s;
  sb_reader_resolve(reader, "controller.reference_speed", sensor->reference_rad_s);
  const bool has_current = sb_node_find(node, "reference_current") != NULL;
  sensor->reference_a = has_current ? draft->reference_a : motor->stall_current_a;
  if (motor->has_currents) sb_reader_resolve(reader, "controller.reference_current", sensor->reference_a);
  sensor->seed = (unsigned long)draft->seed;
  sensor->resolution_fraction = as_fraction(&draft->resolution, sensor->reference_rad_s);
  if (isnan(draft->resolution.value)) sensor->resolution_fraction = 0.0;
  if (sensor->resolution_fraction > 1.0) {
    sb_reader_fault(reader, "controller.resolution", "needs at most 100 %% of the reference, found %.6g %%",
                    100.0 * sensor->resolution_fraction);
  }
}

void sb_reader_finish_control(struct sb_reader *reader)
{
  struct sb_draft *draft = reader->draft;
  struct sb_control *control = &draft->model.control;
  const struct sb_node *node = sb_node_find(reader->root, "controller");
  const bool has_pairs_of_gears = draft->model.gearbox.gear_count > 1;
  finish_sensor(reader);
  find_start_gear(reader);
  control->debounce_count = (int)draft->control.debounce_samples;
  control->dwell_s = isnan(draft->control.dwell_s) ? 0.0 : draft->control.dwell_s;
  if (node == NULL && has_pairs_of_gears) {
    sb_reader_fault(reader, "controller", "needs a section for two or more gears, found no such key");
  }
  if (node == NULL || node->kind != SB_NODE_MAP) return;
  finish_thresholds(reader);
  if (has_pairs_of_gears && sb_node_find(node, "dwell") == NULL) {
    sb_reader_fault(reader, "controller.dwell", "needs a time (%s) for two or more gears, found no such key",
                    sb_quantity_units(SB_TIME));
  }
}

void sb_reader_check_multiple(struct sb_reader *reader, const char *path, const char *what, double time_s,
                              double step_s)
{
  const double ratio = time_s / step_s;
  const double whole = round(ratio);
  if (isnan(ratio) || (whole >= 1.0 && fabs(ratio - whole) <= WHOLE_WITHIN)) return;
  const double below = floor(ratio), above = ceil(ratio);
  char shorter[48] = "";
  if (below >= 1.0) snprintf(shorter, sizeof shorter, "%.10g s or ", below * step_s);
  sb_reader_fault(
      reader, path,
      "needs %s to be a whole multiple of the step, found %.10g s with a step of %.10g s; %s%.10g s would do, "
      "or a step of %.10g s",
      what, time_s, step_s, shorter, above * step_s, time_s / above);
}

/* The controller counts samples in 32 bits. */
static void check_samples(struct sb_reader *reader, const char *path, double time_s)
{
  const double period_s = reader->draft->model.control.sample_period_s;
  if (time_s / period_s < (double)UINT32_MAX) return;
  sb_reader_fault(reader, path, "needs fewer than 4294967295 samples, found %.10g s of %.10g s each", time_s, period_s);
}

/* What a step costs follows from the time constants: too short a one would make a run endless. */
void sb_reader_check_effort(struct sb_reader *reader)
{
  const struct sb_model *model = &reader->draft->model;
  const struct sb_derived derived = sb_model_derive(model);
  const double steps = model->run.duration_s / model->run.step_s;
  for (int gear = -1; gear < model->gearbox.gear_count; gear++) {
    const double parts = derived.step_parts[gear + 1];
    const char *where = gear < 0 ? "neutral" : model->gearbox.gears[gear].name;
    if (parts > SB_STEP_PARTS_MAX) {
      sb_reader_fault(reader, "run.step",
                      "needs a machine whose time constants are no shorter than 16 us and a five-"
                      "hundredth of a step, found %.3g s in %s with a step of %.3g s; check inertia%s load%s",
                      derived.least_time_constant_s[gear + 1], where, model->run.step_s,
                      model->driveshaft.is_present ? "," : " and",
                      model->driveshaft.is_present ? " and output shaft" : "");
      return;
    }
    if (steps * parts > STEP_COUNT_MAX) {
      sb_reader_fault(reader, "run.duration",
                      "needs at most 1e10 parts of a step, found %.3g steps of %.0f parts each (time constant %.3g s "
                      "in %s)",
                      steps, parts, derived.least_time_constant_s[gear + 1], where);
      return;
    }
  }
}

void sb_reader_finish_run(struct sb_reader *reader)
{
  struct sb_model *model = &reader->draft->model;
  struct sb_run_setup *run = &model->run;
  const bool has_interval = sb_node_find(sb_node_find(reader->root, "run"), "trace_interval") != NULL;
  const bool has_period = sb_node_find(sb_node_find(reader->root, "controller"), "sample_period") != NULL;
  if (!has_interval) run->trace_interval_s = model->control.sample_period_s;
  if (run->step_s > run->duration_s) {
    sb_reader_fault(reader, "run.step", "needs at most the duration (%.10g s), found %.10g s", run->duration_s,
                    run->step_s);
    return;
  }
  if (run->duration_s / run->step_s > STEP_COUNT_MAX) {
    sb_reader_fault(reader, "run.step", "needs at most 1e10 steps, found %.3g of %.10g s in %.10g s",
                    run->duration_s / run->step_s, run->step_s, run->duration_s);
  }
  sb_reader_check_multiple(reader, "run.duration", "the duration", run->duration_s, run->step_s);
  sb_reader_check_multiple(reader, has_period ? "controller.sample_period" : "run.step", "the sample period",
                           model->control.sample_period_s, run->step_s);
  check_samples(reader, "controller.dwell", model->control.dwell_s);
  check_samples(reader, "controller.start_delay", model->control.start_delay_s);
  if (has_interval)
    sb_reader_check_multiple(reader, "run.trace_interval", "the trace interval", run->trace_interval_s, run->step_s);
}
