// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/trace.h"

#include <errno.h>
#include <math.h>

#include "base/constants.h"
#include "text/json.h"

static const char header[] =
    "time_s,gear,phase,duty_fraction,motor_speed_rpm,reading_pct,output_speed_rpm,output_torque_nm,load_torque_nm,"
    "motor_current_a,supply_voltage_v,output_turns";

const char *sb_phase_name(enum sb_phase phase)
{
  switch (phase) {
    case SB_PHASE_ENGAGED: return "engaged";
    case SB_PHASE_SHIFT: return "shift";
    case SB_PHASE_STANDSTILL: return "standstill";
  }
  return "";
}

/* A number, or nothing when it is not known; a zero never carries a sign. */
static void write_number(FILE *out, double value)
{
  char text[SB_JSON_NUMBER_SIZE];
  fputc(',', out);
  if (isfinite(value)) fputs(sb_json_format_number(value + 0.0, text), out);
}

static int result_of(FILE *out)
{
  if (!ferror(out)) return 0;
  if (errno == 0) errno = EIO;
  return -1;
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
    {"vehicle_speed_m_s", has_way, speed_of}, {"distance_m", has_way, distance_of},
    {"wheels_slip", has_grip, slip_of},       {"twist_deg", has_shaft, twist_of},
    {"charge_pct", has_battery, charge_of},   {"winding_c", has_winding, winding_of},
    {"housing_c", has_housing, housing_of},
};

enum { COLUMN_COUNT = sizeof columns / sizeof *columns };

int sb_trace_write_header(FILE *out, const struct sb_model *model)
{
  errno = 0;
  fputs(header, out);
  for (int i = 0; i < COLUMN_COUNT; i++) {
    if (columns[i].is_there(model)) fprintf(out, ",%s", columns[i].name);
  }
  fputc('\n', out);
  return result_of(out);
}

int sb_trace_write_row(FILE *out, const struct sb_row *row, const struct sb_model *model)
{
  char time[SB_JSON_NUMBER_SIZE];
  errno = 0;
  fprintf(out, "%s,%d,%s", sb_json_format_number(row->time_s, time), row->gear, sb_phase_name(row->phase));
  write_number(out, row->duty_fraction);
  write_number(out, row->motor_speed_rad_s / SB_RPM);
  write_number(out, row->reading_pct);
  write_number(out, row->output_speed_rad_s / SB_RPM);
  write_number(out, row->output_torque_nm);
  write_number(out, row->load_torque_nm);
  write_number(out, row->motor_current_a);
  write_number(out, row->supply_voltage_v);
  write_number(out, row->output_turns);
  for (int i = 0; i < COLUMN_COUNT; i++) {
    if (columns[i].is_there(model)) write_number(out, columns[i].value(row, model));
  }
  fputc('\n', out);
  return result_of(out);
}
