// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/trace.h"

#include <errno.h>
#include <math.h>

#include "constants.h"
#include "shiftband/json.h"

static const char header[] =
    "time_s,gear,phase,drive,motor_speed_rpm,reading_pct,output_speed_rpm,output_torque_nm,load_torque_nm,"
    "motor_current_a,supply_voltage_v,output_turns\n";

const char *sb_phase_name(enum sb_phase phase)
{
  switch (phase) {
    case SB_PHASE_DRIVE: return "drive";
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

int sb_trace_write_header(FILE *out)
{
  errno = 0;
  fputs(header, out);
  return result_of(out);
}

int sb_trace_write_row(FILE *out, const struct sb_row *row)
{
  char time[SB_JSON_NUMBER_SIZE];
  errno = 0;
  fprintf(out, "%s,%d,%s", sb_json_format_number(row->time_s, time), row->gear, sb_phase_name(row->phase));
  write_number(out, row->drive);
  write_number(out, row->motor_speed_rad_s / SB_RPM);
  write_number(out, row->reading_pct);
  write_number(out, row->output_speed_rad_s / SB_RPM);
  write_number(out, row->output_torque_nm);
  write_number(out, row->load_torque_nm);
  write_number(out, row->motor_current_a);
  write_number(out, row->supply_voltage_v);
  write_number(out, row->output_turns);
  fputc('\n', out);
  return result_of(out);
}
