// SPDX-License-Identifier: GPL-3.0-or-later
/* json.c - `check --json`: one object a scenario. */
#include <math.h>

#include "check/check.h"
#include "check/discharge.h"
#include "check/drive.h"
#include "check/heat.h"
#include "check/obstacles.h"
#include "check/shaft.h"

static double percent(double fraction)
{
  return 100.0 * fraction;
}

static void write_motor(struct sb_json *json, const struct sb_check_case *at)
{
  const struct sb_motor *motor = &at->model.motor;
  sb_json_put_object(json, "motor");
  sb_json_put_number(json, "open_circuit_voltage_v", at->model.supply.open_circuit_voltage_v);
  sb_json_put_number(json, "internal_resistance_ohm", at->model.supply.internal_resistance_ohm);
  sb_json_put_number(json, "duty_pct", percent(at->model.drive.limit_fraction));
  sb_json_put_number(json, "no_load_speed_rad_s", sb_motor_no_load_speed_rad_s(&at->line));
  sb_json_put_number(json, "no_load_reading_pct", percent(at->form.no_load_fraction));
  sb_json_put_number(json, "reference_rad_s", at->model.control.sensor.reference_rad_s);
  sb_json_put_number(json, "stall_torque_nm", at->form.stall_torque_nm);
  sb_json_put_number(json, "slope_nms_rad", at->line.slope_nms_rad);
  sb_json_put_number(json, "friction_nm", at->line.friction_nm);
  sb_json_put_number(json, "kt_nm_a", motor->has_currents ? motor->kt_nm_a : NAN);
  sb_json_put_number(json, "ke_vs_rad", motor->has_currents ? motor->ke_vs_rad : NAN);
  sb_json_put_number(json, "resistance_ohm", motor->has_currents ? motor->resistance_ohm : NAN);
  sb_json_close(json);
}

static void write_load(struct sb_json *json, const struct sb_check_case *at)
{
  double viscous, quadratic;
  sb_load_speed_terms(&at->model.load, &viscous, &quadratic);
  sb_json_put_object(json, "load");
  sb_json_put_number(json, "lightest_nm", at->form.lightest_load_nm);
  sb_json_put_number(json, "holding_brake_nm", at->model.load.brake_nm);
  sb_json_put_number(json, "hung_nm", sb_check_hung_nm(&at->model));
  sb_json_put_number(json, "heaviest_nm", at->form.heaviest_load_nm);
  sb_json_put_number(json, "inertia_kg_m2", at->model.load.inertia_kg_m2);
  sb_json_put_number(json, "viscous_nms_rad", viscous);
  sb_json_put_number(json, "quadratic_nms2_rad2", quadratic);
  sb_json_close(json);
}

/* Null without a limit; part is null when the limit was given as a torque. */
static void write_output_limit(struct sb_json *json, const struct sb_model *model)
{
  if (isinf(model->limits.output_torque_nm)) {
    sb_json_put_null(json, "output_torque_limit");
    return;
  }
  sb_json_put_object(json, "output_torque_limit");
  sb_json_put_number(json, "nm", model->limits.output_torque_nm);
  sb_json_put_string(json, "part", model->output_limit[0] != 0 ? model->output_limit : NULL);
  sb_json_close(json);
}

static void write_settled(struct sb_json *json, const char *key, double reading, double output_speed_rad_s)
{
  sb_json_put_object(json, key);
  sb_json_put_number(json, "reading_pct", percent(reading));
  sb_json_put_number(json, "output_speed_rad_s", output_speed_rad_s);
  sb_json_close(json);
}

static void write_gears(struct sb_json *json, const struct sb_check_case *at)
{
  sb_json_put_array(json, "gears");
  for (int g = 0; g < at->model.gearbox.gear_count; g++) {
    const struct sb_gear_figures *gear = &at->form.gears[g];
    sb_json_open_object(json);
    sb_json_put_string(json, "name", at->model.gearbox.gears[g].name);
    sb_json_put_number(json, "ratio", gear->ratio);
    sb_json_put_number(json, "efficiency", gear->efficiency);
    sb_json_put_integer(json, "output_direction", gear->output_direction);
    sb_json_put_number(json, "stall_torque_nm", gear->stall_torque_nm);
    sb_json_put_number(json, "time_constant_s", gear->time_constant_s);
    sb_json_put_number(json, "inertia_kg_m2", gear->inertia_kg_m2);
    write_settled(json, "settled", gear->lightest_reading, gear->lightest_speed_rad_s);
    write_settled(json, "settled_heaviest", gear->heaviest_reading, gear->heaviest_speed_rad_s);
    sb_json_put_number(json, "least_voltage_heaviest_v", gear->least_voltage_v);
    sb_json_close(json);
  }
  sb_json_close(json);
}

static void write_band(struct sb_json *json, const struct sb_pair_figures *pair)
{
  if (!pair->has_band) {
    sb_json_put_null(json, "hunting_band_nm");
    return;
  }
  sb_json_put_array(json, "hunting_band_nm");
  sb_json_number(json, pair->downshift_torque_nm);
  sb_json_number(json, pair->upshift_torque_nm);
  sb_json_close(json);
}

static void write_pairs(struct sb_json *json, const struct sb_check_case *at)
{
  sb_json_put_array(json, "pairs");
  for (int p = 0; p + 1 < at->model.gearbox.gear_count; p++) {
    const struct sb_pair_figures *pair = &at->form.pairs[p];
    sb_json_open_object(json);
    sb_json_put_string(json, "from", at->model.gearbox.gears[p].name);
    sb_json_put_string(json, "to", at->model.gearbox.gears[p + 1].name);
    sb_json_put_number(json, "downshift_below_pct", percent(at->model.control.downshift_fraction[p]));
    sb_json_put_number(json, "upshift_above_pct", percent(at->model.control.upshift_fraction[p]));
    sb_json_put_number(json, "downshift_torque_nm", pair->downshift_torque_nm);
    sb_json_put_number(json, "upshift_torque_nm", pair->upshift_torque_nm);
    write_band(json, pair);
    sb_json_put_number(json, "least_safe_upshift_pct", percent(pair->least_safe_upshift));
    sb_json_put_number(json, "greatest_safe_downshift_pct", percent(pair->greatest_safe_downshift));
    sb_json_put_boolean(json, "stuck_low", pair->is_stuck_low);
    sb_json_put_number(json, "helping_upshift_nm", pair->helping_upshift_nm);
    sb_json_put_number(json, "helping_downshift_nm", pair->helping_downshift_nm);
    sb_json_put_boolean(json, "needless_downshift", pair->is_needless_downshift);
    sb_json_put_number(json, "shift_up_time_s", pair->shift_up_time_s);
    sb_json_put_number(json, "shift_down_time_s", pair->shift_down_time_s);
    sb_json_put_number(json, "shortest_dwell_s", pair->shortest_dwell_s);
    sb_json_put_number(json, "shortest_dwell_steady_s", pair->shortest_dwell_steady_s);
    sb_json_put_number(json, "shortest_start_delay_s", pair->shortest_start_delay_s);
    sb_json_put_number(json, "least_voltage_upshift_v", pair->least_voltage_upshift_v);
    sb_json_put_number(json, "least_voltage_hold_v", pair->least_voltage_hold_v);
    sb_json_close(json);
  }
  sb_json_close(json);
}

void sb_check_put_case(struct sb_json *json, const struct sb_check_case *at)
{
  sb_json_put_object(json, at->label);
  write_motor(json, at);
  write_gears(json, at);
  write_pairs(json, at);
  sb_json_close(json);
}

static void write_texts(struct sb_json *json, const char *key, const struct sb_check_notes *notes)
{
  sb_json_put_array(json, key);
  for (int k = 0; k < notes->count; k++) sb_json_string(json, notes->texts[k]);
  sb_json_close(json);
}

void sb_check_write_json(const struct sb_check_report *report, FILE *out)
{
  const struct sb_check_case *nominal = &report->cases[SB_CHECK_NOMINAL];
  struct sb_json json;
  sb_json_init(&json, out);
  sb_json_open_object(&json);
  sb_json_put_string(&json, "scenario", nominal->model.name);
  write_motor(&json, nominal);
  sb_check_put_drive(&json, nominal);
  write_load(&json, nominal);
  write_output_limit(&json, &nominal->model);
  sb_check_put_shaft(&json, nominal);
  write_gears(&json, nominal);
  sb_check_put_way(&json, nominal);
  write_pairs(&json, nominal);
  if (report->case_count > 1) {
    sb_json_put_object(&json, "supply_range");
    for (int k = 0; k < report->case_count; k++) {
      sb_check_put_case(&json, &report->cases[k]);
    }
    sb_json_close(&json);
  }
  if (nominal->model.battery.is_present) {
    sb_check_put_discharge(&json, report);
  } else {
    sb_json_put_null(&json, "battery");
    sb_json_put_null(&json, "discharge");
  }
  if (nominal->model.winding.is_present) {
    sb_check_put_heat(&json, report);
  } else {
    sb_json_put_null(&json, "heat");
  }
  write_texts(&json, "notes", &report->notes);
  write_texts(&json, "cautions", &report->cautions);
  sb_json_close(&json);
  sb_json_end(&json);
}
