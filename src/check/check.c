// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/check.h"

#include <math.h>
#include <stdarg.h>
#include <string.h>

#include "check/parts.h"
#include "theory/torque_balance.h"

struct sb_check_machine sb_check_machine_of(const struct sb_model *model)
{
  return (struct sb_check_machine){model, sb_torque_balance_line(model), sb_closed_form_solve(model)};
}

struct sb_check_remark *sb_check_remark(struct sb_check_remarks *remarks, const char *kind, int pair,
                                        const char *format, ...)
{
  if (remarks->count < SB_CHECK_REMARK_MAX) remarks->count++;
  struct sb_check_remark *remark = &remarks->items[remarks->count - 1];
  *remark = (struct sb_check_remark){.kind = kind, .pair = pair};
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(remark->text, sizeof remark->text, format, arguments);
  va_end(arguments);
  return remark;
}

void sb_check_add(struct sb_check_remark *remark, const char *format, ...)
{
  const size_t length = strlen(remark->text);
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(remark->text + length, sizeof remark->text - length, format, arguments);
  va_end(arguments);
}

void sb_check_cure(struct sb_check_remark *remark, const char *key, const char *format, ...)
{
  struct sb_check_cure *cure = &remark->cures[remark->cure_count];
  if (remark->cure_count >= SB_CHECK_CURE_MAX) return;
  remark->cure_count++;
  snprintf(cure->key, sizeof cure->key, "%s", key);
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(cure->value, sizeof cure->value, format, arguments);
  va_end(arguments);
}

struct sb_figure sb_check_torques(double least_nm, double greatest_nm)
{
  struct sb_figure out;
  if (least_nm == greatest_nm) {
    snprintf(out.text, sizeof out.text, "%.14s N.m", NUM(least_nm));
  } else {
    snprintf(out.text, sizeof out.text, "%.12s..%.12s N.m", NUM(least_nm), NUM(greatest_nm));
  }
  return out;
}

struct sb_figure sb_check_band(double downshift_nm, double upshift_nm)
{
  struct sb_figure out = {.text = "any load"};
  if (isfinite(downshift_nm) && isfinite(upshift_nm)) return sb_check_torques(downshift_nm, upshift_nm);
  if (isfinite(upshift_nm)) {
    snprintf(out.text, sizeof out.text, "below %.14s N.m", NUM(upshift_nm));
  } else if (isfinite(downshift_nm)) {
    snprintf(out.text, sizeof out.text, "above %.14s N.m", NUM(downshift_nm));
  }
  return out;
}

static struct sb_check_motor motor_of(const struct sb_check_machine *machine)
{
  const struct sb_model *model = machine->model;
  const struct sb_motor *motor = &model->motor;
  const double no_load_rad_s = sb_motor_no_load_speed_rad_s(&machine->line);
  return (struct sb_check_motor){
      .open_circuit_voltage_v = model->supply.open_circuit_voltage_v,
      .internal_resistance_ohm = model->supply.internal_resistance_ohm,
      .duty_fraction = model->drive.limit_fraction,
      .no_load_speed_rad_s = no_load_rad_s,
      .no_load_fraction = machine->form.no_load_fraction,
      .reference_rad_s = model->control.sensor.reference_rad_s,
      .is_speed_read = model->control.sensor.quantity == SB_SENSES_SPEED,
      .stall_torque_nm = machine->form.stall_torque_nm,
      .greatest_power_w = 0.25 * machine->form.stall_torque_nm * no_load_rad_s,
      .power_speed_rad_s = 0.5 * no_load_rad_s,
      .slope_nms_rad = machine->line.slope_nms_rad,
      .friction_nm = machine->line.friction_nm,
      .kt_nm_a = motor->has_currents ? motor->kt_nm_a : (double)NAN,
      .ke_vs_rad = motor->has_currents ? motor->ke_vs_rad : (double)NAN,
      .resistance_ohm = motor->has_currents ? motor->resistance_ohm : (double)NAN,
  };
}

void sb_check_find_case(const struct sb_check_machine *machine, const struct sb_model *names, const char *label,
                        struct sb_check_case *out)
{
  out->label = label;
  out->winding_c = NAN;
  out->motor = motor_of(machine);
  out->gear_count = names->gearbox.gear_count;
  for (int g = 0; g < out->gear_count; g++) {
    const struct sb_gear_figures *figures = &machine->form.gears[g];
    out->gears[g] =
        (struct sb_check_gear){.name = names->gearbox.gears[g].name,
                               .figures = *figures,
                               .exceeds_limit = figures->stall_torque_nm > names->limits.output_torque_nm,
                               .is_target_reached = figures->hidden_torque_nm > machine->form.lightest_load_nm};
  }
  for (int p = 0; p + 1 < out->gear_count; p++) sb_check_find_pair(machine, names, p, &out->pairs[p]);
}

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
                               .duration_s = model->run.duration_s,
                               .inertia_kg_m2 = model->load.inertia_kg_m2,
                               .holding_brake_nm = model->load.brake_nm,
                               .hung_nm = sb_model_hung_nm(model)};
  sb_load_speed_terms(&model->load, &load.viscous_nms_rad, &load.quadratic_nms2_rad2);
  load.is_held = load.holding_brake_nm >= load.hung_nm;
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
  sb_check_find_shaft(&machine, &out->shaft);
  sb_check_find_vehicle(&machine, &out->vehicle);
  sb_check_find_heat(&machine, &out->heat);
  const enum sb_status status = sb_check_find_battery(&machine, &out->battery, err);
  if (status != SB_OK) return status;
  sb_check_find_findings(&machine, out);
  sb_check_find_notes(&machine, out);
  sb_check_find_cautions(&machine, out);
  return SB_OK;
}
