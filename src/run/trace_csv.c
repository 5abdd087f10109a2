// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/trace.h"

#include "base/constants.h"
#include "text/fields.h"

static const struct sb_field instant[] = {SB_MEMBER(sb_row, time_s, NUMBER), SB_MEMBER(sb_row, gear, INTEGER),
                                          SB_MEMBERS_END};

/* What every machine has, behind the phase. */
static const struct sb_field motion[] = {
    SB_MEMBER(sb_row, duty_fraction, NUMBER),    SB_MEMBER_AS(sb_row, "motor_speed_rpm", motor_speed_rad_s, RPM),
    SB_MEMBER(sb_row, reading_pct, NUMBER),      SB_MEMBER_AS(sb_row, "output_speed_rpm", output_speed_rad_s, RPM),
    SB_MEMBER(sb_row, output_torque_nm, NUMBER), SB_MEMBER(sb_row, load_torque_nm, NUMBER),
    SB_MEMBER(sb_row, motor_current_a, NUMBER),  SB_MEMBER(sb_row, supply_voltage_v, NUMBER),
    SB_MEMBER(sb_row, output_turns, NUMBER),     SB_MEMBERS_END};

const char *sb_trace_phase_name(enum sb_phase phase)
{
  switch (phase) {
    case SB_PHASE_ENGAGED: return "engaged";
    case SB_PHASE_SHIFT: return "shift";
    case SB_PHASE_STANDSTILL: return "standstill";
  }
  return "";
}

/* Columns of machines that have more, each by itself: name, whether a model has it, value. */
static bool has_way(const struct sb_model *model)
{
  return model->load.road.is_present;
}

static bool has_grip(const struct sb_model *model)
{
  return model->load.road.can_slip;
}

static bool has_shaft(const struct sb_model *model)
{
  return model->driveshaft.is_present;
}

static bool has_clutch(const struct sb_model *model)
{
  return model->shifter.ops->has_clutch;
}

static bool has_limit(const struct sb_model *model)
{
  return model->supply.current_limit_a > 0.0;
}

static bool has_battery(const struct sb_model *model)
{
  return model->battery.is_present;
}

static bool has_winding(const struct sb_model *model)
{
  return model->winding.is_present;
}

static bool has_housing(const struct sb_model *model)
{
  return has_winding(model) && model->winding.housing_capacity_j_k > 0.0;
}

static bool has_window(const struct sb_model *model)
{
  return model->control.sensor.pulses.window_s > 0.0;
}

static bool has_pulse_time(const struct sb_model *model)
{
  return model->control.sensor.pulses.per_turn > 0.0 && !has_window(model);
}

static double pulses_of(const struct sb_row *row, const struct sb_model *model)
{
  (void)model;
  return row->pulse_count;
}

static double pulse_time_of(const struct sb_row *row, const struct sb_model *model)
{
  (void)model;
  return row->pulse_time_s;
}

static bool has_supply_sensor(const struct sb_model *model)
{
  return model->control.sensor.supply.is_present;
}

static double measured_voltage_of(const struct sb_row *row, const struct sb_model *model)
{
  (void)model;
  return row->measured_voltage_v;
}

static double speed_of(const struct sb_row *row, const struct sb_model *model)
{
  return row->vehicle_speed_rad_s * model->load.road.wheel_radius_m;
}

static double distance_of(const struct sb_row *row, const struct sb_model *model)
{
  return row->vehicle_angle_rad * model->load.road.wheel_radius_m;
}

static double slip_of(const struct sb_row *row, const struct sb_model *model)
{
  (void)model;
  return row->is_slipping ? 1.0 : 0.0;
}

static double twist_of(const struct sb_row *row, const struct sb_model *model)
{
  (void)model;
  return row->twist_rad / SB_TURN * 360.0;
}

static double clutch_heat_of(const struct sb_row *row, const struct sb_model *model)
{
  (void)model;
  return row->clutch_w;
}

static double held_of(const struct sb_row *row, const struct sb_model *model)
{
  (void)model;
  return row->is_current_held;
}

static double charge_of(const struct sb_row *row, const struct sb_model *model)
{
  (void)model;
  return 100.0 * row->charge_fraction;
}

static double winding_of(const struct sb_row *row, const struct sb_model *model)
{
  (void)model;
  return row->winding_c;
}

static double housing_of(const struct sb_row *row, const struct sb_model *model)
{
  (void)model;
  return row->housing_c;
}

struct column {
  const char *name;
  bool (*is_there)(const struct sb_model *model);
  double (*value)(const struct sb_row *row, const struct sb_model *model);
};

static const struct column columns[] = {
    {"vehicle_speed_m_s", has_way, speed_of},
    {"distance_m", has_way, distance_of},
    {"wheels_slip", has_grip, slip_of},
    {"twist_deg", has_shaft, twist_of},
    {"clutch_heat_w", has_clutch, clutch_heat_of},
    {"current_held", has_limit, held_of},
    {"charge_pct", has_battery, charge_of},
    {"winding_c", has_winding, winding_of},
    {"housing_c", has_housing, housing_of},
    {"pulses", has_window, pulses_of},
    {"pulse_time_s", has_pulse_time, pulse_time_of},
    {"measured_voltage_v", has_supply_sensor, measured_voltage_of},
};

enum { COLUMN_COUNT = sizeof columns / sizeof *columns };

int sb_trace_write_header(FILE *out, const struct sb_model *model)
{
  struct sb_csv csv;
  sb_csv_init(&csv, out);
  sb_fields_put_names(&csv, instant);
  sb_csv_text(&csv, "phase");
  sb_fields_put_names(&csv, motion);
  for (int i = 0; i < COLUMN_COUNT; i++) {
    if (columns[i].is_there(model)) sb_csv_text(&csv, columns[i].name);
  }
  sb_csv_end_row(&csv);
  return sb_csv_result(&csv);
}

int sb_trace_write_row(FILE *out, const struct sb_row *row, const struct sb_model *model)
{
  struct sb_csv csv;
  sb_csv_init(&csv, out);
  sb_fields_put_csv(&csv, instant, row);
  sb_csv_text(&csv, sb_trace_phase_name(row->phase));
  sb_fields_put_csv(&csv, motion, row);
  for (int i = 0; i < COLUMN_COUNT; i++) {
    if (columns[i].is_there(model)) sb_csv_number(&csv, columns[i].value(row, model));
  }
  sb_csv_end_row(&csv);
  return sb_csv_result(&csv);
}
