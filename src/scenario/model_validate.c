// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * A model that a program has changed, held against the table of keys and against the checks between keys that a file goes
 * through. What a key of no scenario can give is not looked at, but that numbers are numbers.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "scenario/reader.h"

/* All that a scenario need not give is absent here: what the reader leaves in the place of such a key. */
static const char least_scenario[] =
    "motor: {nominal_voltage: 1 V, no_load_speed: 1 rad/s, stall_torque: 1 N.m, rotor_inertia: 1 kg.m2}\n"
    "gearbox: {gears: [{name: a, meshes: [10/20]}]}\nload: {inertia: 1 kg.m2}\nrun: {duration: 1 s}\n";

/* All that lives while a model is checked. */
struct check {
  struct sb_reader reader;
  struct sb_node root; /* an empty file: nothing is given */
  struct sb_fault_list faults;
  struct sb_arena scratch;
  struct sb_draft draft;
  struct sb_scenario least;
};

static bool is_sound(const struct check *check)
{
  return check->faults.total == 0;
}

static bool is_same(double a, double b)
{
  return a == b || (isnan(a) && isnan(b));
}

/* A section that a machine need not have is there with all its numbers, or none of them counts. */
static bool is_section_present(const struct sb_model *model, const char *path)
{
  const struct {
    const char *path;
    bool is_present;
  } sections[] = {
      {"motor.winding", model->winding.is_present},
      {"motor.winding.housing", model->winding.housing_capacity_j_k != 0.0},
      {"motor.magnet", model->magnet.is_present},
      {"supply.battery", model->battery.is_present},
      {"gearbox.output_shaft", model->driveshaft.is_present},
      {"controller.sensor", model->control.sensor.pulses.per_turn != 0.0},
      {"controller.voltage_sensor", model->control.sensor.supply.is_present},
  };
  for (size_t k = 0; k < sizeof sections / sizeof *sections; k++) {
    if (strcmp(path, sections[k].path) == 0) return sections[k].is_present;
  }
  return true;
}

/* Keys of numbers that the model has as they were given; the draft alone has the others. */
static bool is_in_model(const struct sb_key *key)
{
  const bool is_number = key->kind == SB_KEY_QUANTITY || key->kind == SB_KEY_WHOLE;
  return is_number && key->offset + sizeof(double) <= sizeof(struct sb_model);
}

static void check_number(struct check *check, const struct sb_key *key, const char *path, double value, double absent)
{
  const bool is_optional = !(key->flags & SB_REQUIRED) && key->default_text == NULL && is_in_model(key);
  if (sb_reader_key_holds(key, key->quantity, value) || (is_optional && is_same(value, absent))) return;
  sb_reader_fault(&check->reader, path, "needs %s %s, found %.10g %s", sb_units_words(key->quantity),
                  sb_reader_key_range_words(key).text, value, sb_units_si(key->quantity));
}

static double number_at(const struct sb_key *key, const void *base)
{
  const void *field = (const char *)base + key->offset;
  return key->kind == SB_KEY_WHOLE ? (double)*(const long *)field : *(const double *)field;
}

/* Sections of the draft that stand in the model; what the draft alone has is not there to look at. */
static void check_section(struct check *check, const struct sb_section *section, const char *path)
{
  const struct sb_model *model = &check->draft.model;
  if (!is_section_present(model, path)) return;
  for (const struct sb_key *key = section->keys; key->name != NULL; key++) {
    const struct sb_path own = sb_reader_path("%s%s%s", path, path[0] != 0 ? "." : "", key->name);
    if (key->kind == SB_KEY_SECTION) {
      check_section(check, key->section, own.text);
    } else if (is_in_model(key)) {
      check_number(check, key, own.text, number_at(key, model), number_at(key, &check->least.model));
    }
  }
}

/* Whether a number of parts is one that arrays have room for. */
static bool is_count(struct check *check, const char *path, const char *what, int count, int least, int most)
{
  if (count >= least && count <= most) return true;
  sb_reader_fault(&check->reader, path, "needs %d to %d %s, found %d", least, most, what, count);
  return false;
}

static void check_positive(struct check *check, const char *path, const char *what, double value, double most)
{
  if (value > 0.0 && value <= most) return;
  sb_reader_fault(&check->reader, path, "needs %s above 0, at most %.10g, found %.10g", what, most, value);
}

static void check_meshes(struct check *check, int g)
{
  const struct sb_gear *gear = &check->draft.model.gearbox.gears[g];
  const struct sb_path path = sb_reader_path("gearbox.gears.%d", g + 1);
  if (!is_count(check, path.text, "meshes", gear->mesh_count, 1, SB_MESH_MAX)) return;
  double ratio = 1.0;
  for (int m = 0; m < gear->mesh_count; m++) {
    const struct sb_mesh *mesh = &gear->meshes[m];
    const struct sb_path own = sb_reader_path("gearbox.gears.%d.meshes.%d", g + 1, m + 1);
    check_positive(check, own.text, "teeth", fmin(mesh->driver_teeth, mesh->driven_teeth), 1e4);
    check_positive(check, own.text, "an efficiency", mesh->efficiency, 1.0);
    ratio *= mesh->driven_teeth / mesh->driver_teeth;
  }
  if (fabs(gear->ratio - ratio) <= 1e-9 * ratio) return;
  sb_reader_fault(&check->reader, path.text,
                  "needs the ratio of its meshes (%.10g), found %.10g; sb_gearbox_derive() calculates it", ratio,
                  gear->ratio);
}

/* What the draft keeps of the controller, which the model has in its own terms. */
static void check_control(struct check *check, const char *name, double value)
{
  check_number(check, sb_reader_controller_key(name), PATH("controller.%s", name), value, 0.0);
}

static void check_thresholds(struct check *check)
{
  const struct sb_control *control = &check->draft.model.control;
  for (int p = 0; p < check->draft.model.gearbox.gear_count - 1; p++) {
    check_control(check, "downshift_below", control->downshift_fraction[p]);
    check_control(check, "upshift_above", control->upshift_fraction[p]);
  }
  if (is_sound(check)) sb_reader_check_thresholds(&check->reader);
}

static void check_gears(struct check *check)
{
  const struct sb_model *model = &check->draft.model;
  if (!is_count(check, "gearbox.gears", "gears", model->gearbox.gear_count, 1, SB_GEAR_MAX)) return;
  for (int g = 0; g < model->gearbox.gear_count; g++) check_meshes(check, g);
  is_count(check, "controller.start_gear", "as the number of a gear", model->control.start_gear, 1,
           model->gearbox.gear_count);
  is_count(check, "controller.debounce_samples", "readings", model->control.debounce_count, 1, 255);
  sb_reader_check_gears(&check->reader);
  check_thresholds(check);
}

static void check_finite(struct check *check, int part, const char *what, double value)
{
  if (isfinite(value)) return;
  sb_reader_fault(&check->reader, PATH("load.parts.%d", part + 1), "needs a number as its %s, found %.10g", what,
                  value);
}

static void check_load(struct check *check)
{
  const struct sb_load *load = &check->draft.model.load;
  if (!is_count(check, "load.parts", "parts", load->part_count, 0, SB_LOAD_PART_MAX)) return;
  for (int i = 0; i < load->part_count; i++) {
    const struct sb_load_part *part = &load->parts[i];
    if (part->ops == NULL) sb_reader_fault(&check->reader, PATH("load.parts.%d", i + 1), "needs a kind, found none");
    check_finite(check, i, "torque", part->torque_nm + part->mean_nm + part->amplitude_nm);
    check_finite(check, i, "breakaway", part->breakaway_nm);
    check_finite(check, i, "coefficient", part->viscous_nms_rad + part->quadratic_nms2_rad2);
  }
}

/* After the numbers by themselves: only sound ones are compared and calculated with. */
static void check_model(struct check *check)
{
  struct sb_reader *reader = &check->reader;
  const struct sb_model *model = &check->draft.model;
  check_section(check, &sb_scenario_schema, "");
  check_control(check, "dwell", model->control.dwell_s);
  check_gears(check);
  check_load(check);
  if (!is_sound(check)) return;
  const double step_s = model->run.step_s;
  sb_reader_check_multiple(reader, "run.trace_interval", "the trace interval", model->run.trace_interval_s, step_s);
  sb_reader_check_multiple(reader, "drive.period", "the drive's period", model->drive.period_s, step_s);
  sb_reader_finish_run(reader);
  if (is_sound(check)) sb_reader_check_effort(reader);
}

/* The text of a fault without the place, which a model has not. */
static enum sb_status refuse_first(const struct check *check, struct sb_error *err)
{
  if (check->faults.is_out_of_memory || check->reader.is_out_of_memory) {
    return sb_fail(err, SB_ERR_MEMORY, "%s", sb_status_text(SB_ERR_MEMORY));
  }
  if (is_sound(check)) return SB_OK;
  const char *text = check->faults.faults[0].text;
  const char *behind = strstr(text, ": ");
  return sb_fail(err, SB_ERR_SCENARIO, "%s", behind != NULL ? behind + 2 : text);
}

enum sb_status sb_model_validate(const struct sb_model *model, struct sb_error *err)
{
  struct sb_faults faults = {0};
  struct check *check = calloc(1, sizeof *check);
  if (check == NULL) return sb_fail(err, SB_ERR_MEMORY, "%s", sb_status_text(SB_ERR_MEMORY));
  enum sb_status status =
      sb_scenario_parse("model", least_scenario, strlen(least_scenario), NULL, 0, &check->least, &faults);
  if (status == SB_OK) {
    check->root.kind = SB_NODE_MAP;
    check->faults.file = "model";
    check->draft.model = *model;
    check->reader = (struct sb_reader){.file = "model",
                                       .faults = &check->faults,
                                       .notes = &check->faults,
                                       .scratch = &check->scratch,
                                       .kept = &check->scratch,
                                       .root = &check->root,
                                       .draft = &check->draft};
    check_model(check);
    status = refuse_first(check, err);
    sb_scenario_clear(&check->least);
  } else {
    sb_faults_fail(err, status, &faults);
  }
  sb_faults_list_clear(&check->faults);
  sb_arena_clear(&check->scratch);
  free(check);
  return status;
}
