// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * scenario.c - a load profile that was sought, in a scenario: a machine of the class is written anew, of others the keys of the load
 * are set.
 */
#include "prove/scenario.h"

#include <math.h>
#include <stdlib.h>

#include "prove/edge.h"

/* Enough digits to read back the same. */
#define VALUE "%.17g"

bool sb_prove_can_write(const struct sb_prove *prove)
{
  return prove->outside == NULL && !(prove->model->load.brake_nm > 0.0);
}

/* Names come from a scenario: quotes and what escapes are the only signs that need a second thought. */
static void write_text(const char *text, FILE *out)
{
  fputc('"', out);
  for (const char *c = text; *c != 0; c++) {
    if (*c == '"' || *c == '\\') fputc('\\', out);
    fputc(*c, out);
  }
  fputc('"', out);
}

static void write_motor(const struct sb_model *model, FILE *out)
{
  const struct sb_motor *motor = &model->motor;
  fprintf(out, "motor:\n  nominal_voltage: " VALUE " V\n  no_load_speed: " VALUE " rad/s\n", motor->nominal_voltage_v,
          motor->no_load_speed_rad_s);
  fprintf(out, "  stall_torque: " VALUE " N.m\n", motor->stall_torque_nm);
  if (motor->has_currents) {
    fprintf(out, "  stall_current: " VALUE " A\n  no_load_current: " VALUE " A\n", motor->stall_current_a,
            motor->no_load_current_a);
  }
  fprintf(out, "  rotor_inertia: " VALUE " kg.m2\n", motor->rotor_inertia_kg_m2);
  fprintf(out, "supply: {open_circuit_voltage: " VALUE " V, internal_resistance: " VALUE " ohm}\n",
          model->supply.open_circuit_voltage_v, model->supply.internal_resistance_ohm);
  fprintf(out, "drive: {limit: " VALUE " %%", 100.0 * model->drive.limit_fraction);
  if (model->supply.current_limit_a > 0.0) fprintf(out, ", current_limit: " VALUE " A", model->supply.current_limit_a);
  fputs("}\n", out);
}

static void write_shifter(const struct sb_model *model, FILE *out)
{
  const struct sb_shifter *shifter = &model->shifter;
  fprintf(out, "  shifter: {kind: %s, ", shifter->ops->name);
  if (shifter->ops->has_clutch) {
    fprintf(out, "torque: " VALUE " N.m", shifter->clutch_nm);
  } else if (shifter->ops->is_direction_selected) {
    fprintf(out, "swing_turns: " VALUE, shifter->swing_turns);
  } else {
    fprintf(out, "travel_time: " VALUE " s, cut_drive: %s", shifter->travel_time_s,
            shifter->is_drive_cut ? "true" : "false");
  }
  fprintf(out, ", after_mesh: %ld", model->gearbox.shifter_after_mesh);
  if (isfinite(shifter->timeout_s)) fprintf(out, ", shift_timeout: " VALUE " s", shifter->timeout_s);
  fputs("}\n", out);
}

static void write_path(const struct sb_gear *gear, FILE *out)
{
  if (gear->given_ratio > 0.0) {
    fprintf(out, "\n      ratio: " VALUE "\n      efficiency: " VALUE "\n", gear->given_ratio, gear->efficiency);
    return;
  }
  fputs("\n      meshes:\n", out);
  for (int k = 0; k < gear->mesh_count; k++) {
    const struct sb_mesh *mesh = &gear->meshes[k];
    fprintf(out, "        - {teeth: " VALUE "/" VALUE ", efficiency: " VALUE ", internal: %s", mesh->driver_teeth,
            mesh->driven_teeth, mesh->efficiency, mesh->is_internal ? "true" : "false");
    if (mesh->inertia_kg_m2 > 0.0) {
      fprintf(out, ", inertia: " VALUE " kg.m2, inertia_at: %s", mesh->inertia_kg_m2,
              mesh->inertia_at != 0 ? "driver" : "driven");
    }
    fputs("}\n", out);
  }
}

static void write_gear(const struct sb_gear *gear, FILE *out)
{
  fputs("    - name: ", out);
  write_text(gear->name, out);
  write_path(gear, out);
  fprintf(out, "      motor_direction: %s\n      drag: " VALUE " N.m\n      back_efficiency: " VALUE "\n",
          gear->motor_direction > 0 ? "forward" : "reverse", gear->drag_nm, gear->back_efficiency);
}

static void write_points(const struct sb_prove_profile *profile, const double *torques, const char *manner, FILE *out)
{
  fprintf(out, "{kind: profile, manner: %s, interpolation: %s, points: [", manner,
          profile->is_linear ? "linear" : "hold");
  for (int k = 0; k < profile->count; k++) {
    fprintf(out, "%s[" VALUE " s, " VALUE " N.m]", k > 0 ? ", " : "", profile->time_s[k], torques[k]);
  }
  fputs("]}", out);
}

static bool is_any(const double *torques, int count)
{
  for (int k = 0; k < count; k++) {
    if (torques[k] != 0.0) return true;
  }
  return false;
}

/* The parts of a load in one line; returns how many there are. */
static int write_parts(const struct sb_load *load, const struct sb_prove_profile *profile, FILE *out)
{
  double viscous, quadratic;
  int count = 1;
  sb_load_speed_terms(load, &viscous, &quadratic);
  fputc('[', out);
  if (viscous > 0.0) {
    count++;
    fprintf(out, "{kind: viscous, coefficient: " VALUE " N.m.s/rad}, ", viscous);
  }
  if (quadratic > 0.0) {
    count++;
    fprintf(out, "{kind: quadratic, coefficient: " VALUE " N.m.s2/rad2}, ", quadratic);
  }
  if (is_any(profile->acting_nm, profile->count)) {
    count++;
    write_points(profile, profile->acting_nm, "acts", out);
    fputs(", ", out);
  }
  write_points(profile, profile->resisting_nm, "resists", out);
  fputc(']', out);
  return count;
}

static void write_load(const struct sb_load *load, const struct sb_prove_profile *profile, FILE *out)
{
  fprintf(out, "load:\n  inertia: " VALUE " kg.m2\n  breakaway: " VALUE " N.m\n  parts: ", load->inertia_kg_m2,
          load->breakaway_nm);
  (void)write_parts(load, profile, out);
  fputc('\n', out);
}

static void write_thresholds(const char *key, const double *fractions, int count, FILE *out)
{
  fprintf(out, "  %s: [", key);
  for (int k = 0; k < count; k++) fprintf(out, "%s" VALUE " %%", k > 0 ? ", " : "", 100.0 * fractions[k]);
  fputs("]\n", out);
}

static void write_controller(const struct sb_model *model, FILE *out)
{
  const struct sb_control *control = &model->control;
  const int pairs = model->gearbox.gear_count - 1;
  fputs("controller:\n  start_gear: ", out);
  write_text(model->gearbox.gears[control->start_gear - 1].name, out);
  fprintf(out, "\n  sample_period: " VALUE " s\n  start_delay: " VALUE " s\n  dwell: " VALUE " s\n",
          control->sample_period_s, control->start_delay_s, control->dwell_s);
  write_thresholds("downshift_below", control->downshift_fraction, pairs, out);
  write_thresholds("upshift_above", control->upshift_fraction, pairs, out);
  fprintf(out, "  debounce_samples: %d\n  reference_speed: " VALUE " rad/s\n", control->debounce_count,
          control->sensor.reference_rad_s);
  if (control->sensor.resolution_fraction > 0.0) {
    fprintf(out, "  resolution: " VALUE " %%\n", 100.0 * control->sensor.resolution_fraction);
  }
  if (control->sensor.filter_s > 0.0) fprintf(out, "  filter: " VALUE " s\n", control->sensor.filter_s);
}

/* Whole steps. */
static double duration_of(const struct sb_model *model, const struct sb_prove_profile *profile)
{
  return (double)sb_model_step_count(profile->duration_s, model->run.step_s) * model->run.step_s;
}

static void write_run(const struct sb_model *model, const struct sb_prove_profile *profile, FILE *out)
{
  fprintf(out, "run: {duration: %.12g s, step: " VALUE " s, initial_output_speed: " VALUE " rad/s}\n",
          duration_of(model, profile), model->run.step_s, model->run.initial_output_speed_rad_s);
  fprintf(out, "limits: {stall_time: " VALUE " s", model->limits.stall_time_s);
  if (isfinite(model->limits.output_torque_nm)) {
    fprintf(out, ", output_torque: " VALUE " N.m", model->limits.output_torque_nm);
  }
  fputs("}\n", out);
}

int sb_prove_write_scenario(const struct sb_prove *prove, enum sb_prove_bound bound, FILE *out)
{
  const struct sb_model *model = prove->model;
  const struct sb_prove_profile *profile = &prove->profiles[bound];
  fprintf(out, "# The load profile that comes nearest to the bound \"%s\".\n", sb_prove_bound_words[bound]);
  fputs("name: ", out);
  write_text(model->name, out);
  fputc('\n', out);
  write_motor(model, out);
  fputs("gearbox:\n", out);
  write_shifter(model, out);
  fputs("  gears:\n", out);
  for (int g = 0; g < model->gearbox.gear_count; g++) write_gear(&model->gearbox.gears[g], out);
  write_load(&model->load, profile, out);
  write_controller(model, out);
  write_run(model, profile, out);
  return ferror(out) ? -1 : 0;
}

/* ---- keys of a scenario that is there ---- */

enum sb_status sb_prove_sets_of(const struct sb_prove *prove, enum sb_prove_bound bound, struct sb_prove_sets *out,
                                struct sb_error *err)
{
  const struct sb_model *model = prove->model;
  const struct sb_prove_profile *profile = &prove->profiles[bound];
  size_t size;
  *out = (struct sb_prove_sets){.part_count = 0};
  FILE *parts = open_memstream(&out->parts, &size);
  if (parts == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for a load profile");
  fputs("load.parts=", parts);
  out->part_count = write_parts(&model->load, profile, parts);
  const bool is_whole = !ferror(parts);
  if (fclose(parts) != 0 || !is_whole) {
    free(out->parts);
    return sb_fail(err, SB_ERR_MEMORY, "out of memory for a load profile");
  }
  snprintf(out->breakaway, sizeof out->breakaway, "load.breakaway=" VALUE " N.m", sb_edge_load_of(model).breakaway_nm);
  snprintf(out->duration, sizeof out->duration, "run.duration=%.12g s", duration_of(model, profile));
  out->texts[0] = out->parts;
  out->texts[1] = out->breakaway;
  out->texts[2] = out->duration;
  return SB_OK;
}

void sb_prove_sets_clear(struct sb_prove_sets *sets)
{
  free(sets->parts);
  *sets = (struct sb_prove_sets){.part_count = 0};
}
