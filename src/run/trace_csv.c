// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/trace.h"

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

/* Columns of machines that have more, by what they have; those of a vehicle stand before them. */
enum part {
  GRIP,
  SHAFT,
  CLUTCH,
  LIMIT,
  BATTERY,
  WINDING,
  HOUSING,
  MAGNET,
  WINDOW,
  PULSE_TIME,
  SUPPLY_SENSOR,
  PART_COUNT
};

static const struct sb_field more[PART_COUNT][2] = {
    [GRIP] = {SB_MEMBER_AS(sb_row, "wheels_slip", is_slipping, INTEGER), SB_MEMBERS_END},
    [SHAFT] = {SB_MEMBER_AS(sb_row, "twist_deg", twist_rad, DEGREES), SB_MEMBERS_END},
    [CLUTCH] = {SB_MEMBER_AS(sb_row, "clutch_heat_w", clutch_w, NUMBER), SB_MEMBERS_END},
    [LIMIT] = {SB_MEMBER_AS(sb_row, "current_held", is_current_held, INTEGER), SB_MEMBERS_END},
    [BATTERY] = {SB_MEMBER_AS(sb_row, "charge_pct", charge_fraction, PERCENT), SB_MEMBERS_END},
    [WINDING] = {SB_MEMBER(sb_row, winding_c, NUMBER), SB_MEMBERS_END},
    [HOUSING] = {SB_MEMBER(sb_row, housing_c, NUMBER), SB_MEMBERS_END},
    [MAGNET] = {SB_MEMBER(sb_row, magnet_c, NUMBER), SB_MEMBERS_END},
    [WINDOW] = {SB_MEMBER_AS(sb_row, "pulses", pulse_count, NUMBER), SB_MEMBERS_END},
    [PULSE_TIME] = {SB_MEMBER(sb_row, pulse_time_s, NUMBER), SB_MEMBERS_END},
    [SUPPLY_SENSOR] = {SB_MEMBER(sb_row, measured_voltage_v, NUMBER), SB_MEMBERS_END},
};

static bool has(const struct sb_model *model, enum part part)
{
  const struct sb_sensor *sensor = &model->control.sensor;
  switch (part) {
    case GRIP: return model->load.road.can_slip;
    case SHAFT: return model->driveshaft.is_present;
    case CLUTCH: return model->shifter.ops->has_clutch;
    case LIMIT: return model->supply.current_limit_a > 0.0;
    case BATTERY: return model->battery.is_present;
    case WINDING: return model->winding.is_present;
    case HOUSING: return model->winding.is_present && model->winding.housing_capacity_j_k > 0.0;
    case MAGNET: return model->magnet.is_present;
    case WINDOW: return sensor->pulses.window_s > 0.0;
    case PULSE_TIME: return sensor->pulses.per_turn > 0.0 && !(sensor->pulses.window_s > 0.0);
    case SUPPLY_SENSOR: return sensor->supply.is_present;
    case PART_COUNT: break;
  }
  return false;
}

int sb_trace_write_header(FILE *out, const struct sb_model *model)
{
  struct sb_csv csv;
  sb_csv_begin(&csv, out, &sb_records_trace);
  sb_fields_put_names(&csv, instant);
  sb_csv_name(&csv, "phase");
  sb_fields_put_names(&csv, motion);
  if (model->load.road.is_present) sb_csv_names(&csv, "vehicle_speed_m_s,distance_m");
  for (enum part part = GRIP; part < PART_COUNT; part++) {
    if (has(model, part)) sb_fields_put_names(&csv, more[part]);
  }
  sb_csv_end_row(&csv);
  return sb_csv_result(&csv);
}

int sb_trace_write_row(FILE *out, const struct sb_row *row, const struct sb_model *model)
{
  const struct sb_road *road = &model->load.road;
  struct sb_csv csv;
  sb_csv_init(&csv, out);
  sb_fields_put_csv(&csv, instant, row);
  sb_csv_text(&csv, sb_trace_phase_name(row->phase));
  sb_fields_put_csv(&csv, motion, row);
  if (road->is_present) {
    sb_csv_number(&csv, row->vehicle_speed_rad_s * road->wheel_radius_m);
    sb_csv_number(&csv, row->vehicle_angle_rad * road->wheel_radius_m);
  }
  for (enum part part = GRIP; part < PART_COUNT; part++) {
    if (has(model, part)) sb_fields_put_csv(&csv, more[part], row);
  }
  sb_csv_end_row(&csv);
  return sb_csv_result(&csv);
}
