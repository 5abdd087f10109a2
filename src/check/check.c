// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/check.h"

#include <string.h>

#include "check/parts.h"

/* At another open-circuit voltage. */
static void find_case_at(const struct sb_model *model, double voltage_v, const char *label, struct sb_check_case *out)
{
  struct sb_model fed = *model;
  fed.supply.open_circuit_voltage_v = voltage_v;
  const struct sb_check_machine machine = sb_check_machine_of(&fed);
  sb_check_find_case(&machine, model, label, out);
}

/* The supply's voltage over its tolerance, or over that of its battery's charge. */
static void find_range(const struct sb_scenario *scenario, struct sb_check *check)
{
  const struct sb_model *model = &scenario->model;
  for (int k = 0; k < scenario->tolerance_count; k++) {
    const struct sb_tolerance *tolerance = &scenario->tolerances[k];
    double least_v = tolerance->least, greatest_v = tolerance->greatest;
    if (strcmp(tolerance->path, "supply.battery.charge") == 0) {
      least_v = sb_battery_voltage_v(&model->battery, tolerance->least);
      greatest_v = sb_battery_voltage_v(&model->battery, tolerance->greatest);
    } else if (strcmp(tolerance->path, "supply.open_circuit_voltage") != 0) {
      continue;
    }
    find_case_at(model, least_v, "least", &check->cases[SB_CHECK_LEAST]);
    find_case_at(model, greatest_v, "greatest", &check->cases[SB_CHECK_GREATEST]);
    check->case_count = SB_CHECK_CASE_MAX;
  }
}

static struct sb_check_load load_of(const struct sb_check_machine *machine)
{
  const struct sb_model *model = machine->model;
  struct sb_check_load load = {.lightest_nm = machine->form.lightest_load_nm,
                               .heaviest_nm = machine->form.heaviest_load_nm,
                               .lowered_nm = machine->form.lowered_load_nm,
                               .duration_s = model->run.duration_s,
                               .inertia_kg_m2 = model->load.inertia_kg_m2,
                               .holding_brake_nm = model->load.brake_nm,
                               .suspended_nm = sb_model_suspended_nm(model)};
  sb_load_speed_terms(&model->load, &load.viscous_nms_rad, &load.quadratic_nms2_rad2);
  load.is_held = load.holding_brake_nm >= load.suspended_nm;
  return load;
}

static struct sb_check_limit limit_of(const struct sb_model *model, const struct sb_check_case *nominal)
{
  struct sb_check_limit limit = {.torque_nm = model->limits.output_torque_nm,
                                 .part = model->output_limit[0] != 0 ? model->output_limit : NULL};
  for (int g = 0; g < nominal->gear_count; g++) limit.is_exceeded |= nominal->gears[g].exceeds_limit;
  return limit;
}

enum sb_status sb_check_solve(const struct sb_scenario *scenario, struct sb_check *out, struct sb_error *err)
{
  const struct sb_model *model = &scenario->model;
  const struct sb_check_machine machine = sb_check_machine_of(model);
  memset(out, 0, sizeof *out);
  out->name = model->name;
  out->case_count = 1;
  sb_check_find_case(&machine, model, "nominal", &out->cases[SB_CHECK_NOMINAL]);
  find_range(scenario, out);
  out->load = load_of(&machine);
  out->limit = limit_of(model, &out->cases[SB_CHECK_NOMINAL]);
  sb_check_find_drive(&machine, &out->drive);
  sb_check_find_sensor(&machine, &out->cases[SB_CHECK_NOMINAL], &out->sensor);
  sb_check_find_shaft(&machine, &out->shaft);
  sb_check_find_vehicle(&machine, &out->vehicle);
  sb_check_find_heat(&machine, &out->heat);
  const enum sb_status status = sb_check_find_battery(&machine, &out->battery, err);
  if (status != SB_OK) return status;
  sb_check_find_findings(&machine, out);
  sb_check_find_sensor_findings(&machine, out);
  sb_check_find_hazards(&machine, out);
  sb_check_find_cautions(&machine, out);
  return sb_check_find_notes(&machine, out, err);
}
