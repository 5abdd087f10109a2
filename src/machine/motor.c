// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/motor.h"

#include <math.h>

enum sb_status sb_motor_derive(struct sb_motor *motor, struct sb_error *err)
{
  double resistance_ohm = 0.0;
  double kt_nm_a = 0.0;
  double ke_vs_rad = 0.0;

  if (motor->has_currents) {
    const double working_a = motor->stall_current_a - motor->no_load_current_a;
    resistance_ohm = motor->nominal_voltage_v / motor->stall_current_a;
    kt_nm_a = motor->stall_torque_nm / working_a;
    ke_vs_rad = (motor->nominal_voltage_v - motor->no_load_current_a * resistance_ohm) / motor->no_load_speed_rad_s;
    if (!(kt_nm_a > 0.0 && ke_vs_rad > 0.0)) { /* written so that NaN fails too */
      return sb_fail(err, SB_ERR_SCENARIO,
                     "motor.stall_current: needs more than motor.no_load_current (%.17g A), found %.17g A",
                     motor->no_load_current_a, motor->stall_current_a);
    }
  }
  motor->resistance_ohm = resistance_ohm;
  motor->kt_nm_a = kt_nm_a;
  motor->ke_vs_rad = ke_vs_rad;
  motor->friction_nm = motor->has_currents ? kt_nm_a * motor->no_load_current_a : 0.0;
  return SB_OK;
}

struct sb_motor_circuit sb_motor_circuit_of(const struct sb_motor *motor, const struct sb_supply *supply)
{
  return (struct sb_motor_circuit){.voltage_v = supply->open_circuit_voltage_v,
                                   .motor_ohm = motor->resistance_ohm,
                                   .supply_ohm = supply->internal_resistance_ohm,
                                   .magnet_ratio = 1.0,
                                   .limit_a = supply->current_limit_a};
}

struct sb_motor_line sb_motor_line_driven(const struct sb_motor *motor, const struct sb_supply *supply, double duty)
{
  const struct sb_motor_circuit circuit = sb_motor_circuit_of(motor, supply);
  return sb_motor_line_of_circuit(motor, &circuit, duty);
}

struct sb_motor_line sb_motor_line_of_circuit(const struct sb_motor *motor, const struct sb_motor_circuit *circuit,
                                              double duty)
{
  struct sb_motor_line line = {.duty = duty, .friction_nm = motor->friction_nm};

  if (motor->has_currents) {
    /* The supply sees duty times the motor's current, the motor duty times the supply's voltage: hence the square. */
    const double loop_ohm = circuit->motor_ohm + duty * duty * circuit->supply_ohm;
    line.stall_a = duty * circuit->voltage_v / loop_ohm;
    const double kt_nm_a = circuit->magnet_ratio * motor->kt_nm_a;
    line.slope_as_rad = circuit->magnet_ratio * motor->ke_vs_rad / loop_ohm;
    line.stall_nm = kt_nm_a * line.stall_a;
    line.slope_nms_rad = kt_nm_a * line.slope_as_rad;
    line.limit_a = circuit->limit_a;
    line.limit_nm = kt_nm_a * line.limit_a;
  } else {
    const double voltage_ratio = duty * circuit->voltage_v / motor->nominal_voltage_v;
    line.stall_nm = motor->stall_torque_nm * voltage_ratio;
    line.slope_nms_rad = motor->stall_torque_nm / motor->no_load_speed_rad_s;
  }
  return line;
}

struct sb_motor_line sb_motor_line_open(const struct sb_motor *motor)
{
  return (struct sb_motor_line){.friction_nm = motor->friction_nm};
}

/* A current, or the torque in proportion to it, at the limit where it would be above it. */
static double limited(double value, double limit)
{
  return limit > 0.0 ? fmin(fmax(value, -limit), limit) : value;
}

double sb_motor_torque_nm(const struct sb_motor_line *line, double speed_rad_s)
{
  double friction_nm = 0.0;
  if (speed_rad_s > 0.0) friction_nm = line->friction_nm;
  if (speed_rad_s < 0.0) friction_nm = -line->friction_nm;
  return limited(line->stall_nm - line->slope_nms_rad * speed_rad_s, line->limit_nm) - friction_nm;
}

double sb_motor_current_a(const struct sb_motor_line *line, double speed_rad_s)
{
  return limited(line->stall_a - line->slope_as_rad * speed_rad_s, line->limit_a);
}

struct sb_motor_line sb_motor_line_held(const struct sb_motor_line *line, int direction)
{
  return (struct sb_motor_line){.stall_nm = direction * line->limit_nm,
                                .friction_nm = line->friction_nm,
                                .stall_a = direction * line->limit_a,
                                .duty = line->duty};
}

double sb_motor_corner_rad_s(const struct sb_motor_line *line)
{
  if (!(line->limit_a > 0.0 && line->slope_as_rad > 0.0)) return -INFINITY;
  return (line->stall_a - line->limit_a) / line->slope_as_rad;
}

double sb_motor_no_load_speed_rad_s(const struct sb_motor_line *line)
{
  /* An open circuit has no line to follow: the motor settles at rest. */
  if (!(line->slope_nms_rad > 0.0)) return 0.0;
  return (line->stall_nm - line->friction_nm) / line->slope_nms_rad;
}

double sb_motor_stall_torque_nm(const struct sb_motor_line *line)
{
  return limited(line->stall_nm, line->limit_nm) - line->friction_nm;
}

double sb_motor_constants_mismatch(const struct sb_motor *motor)
{
  if (!motor->has_currents) return 0.0;
  return (motor->ke_vs_rad - motor->kt_nm_a) / motor->kt_nm_a;
}
