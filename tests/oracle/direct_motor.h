// SPDX-License-Identifier: GPL-3.0-or-later
/* direct_motor.h - the motor for the oracles, worked out straight from the data sheet's figures, under a driver that may limit its
 * current: the driver holds it at the limit as long as a duty between full ones either way can. */
#ifndef SHIFTBAND_TESTS_DIRECT_MOTOR_H
#define SHIFTBAND_TESTS_DIRECT_MOTOR_H

#include <math.h>

#include "shiftband/model.h"

static inline double direct_motor_a(const struct sb_model *model, double duty, double w)
{
  const struct sb_motor *m = &model->motor;
  const double ohm = m->nominal_voltage_v / m->stall_current_a;
  const double ke = (m->nominal_voltage_v - m->no_load_current_a * ohm) / m->no_load_speed_rad_s;
  return (duty * model->supply.open_circuit_voltage_v - ke * w) /
         (ohm + duty * duty * model->supply.internal_resistance_ohm);
}

static inline double direct_motor_kt(const struct sb_motor *m)
{
  return m->has_currents ? m->stall_torque_nm / (m->stall_current_a - m->no_load_current_a) : 0.0;
}

/* Torque before friction, of the duty asked for and the speed in one sense. */
static inline double direct_motor_nm(const struct sb_model *model, double duty, double w)
{
  const struct sb_motor *m = &model->motor;
  const double limit_a = model->supply.current_limit_a;
  if (!m->has_currents) {
    return m->stall_torque_nm *
           (duty * model->supply.open_circuit_voltage_v / m->nominal_voltage_v - w / m->no_load_speed_rad_s);
  }
  double current_a = direct_motor_a(model, duty, w);
  if (limit_a > 0.0 && current_a > limit_a) current_a = fmax(limit_a, direct_motor_a(model, -1.0, w));
  if (limit_a > 0.0 && current_a < -limit_a) current_a = fmin(-limit_a, direct_motor_a(model, 1.0, w));
  return direct_motor_kt(m) * current_a;
}

#endif
