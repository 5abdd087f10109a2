// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * steady.h - the steady state of a gear, and what the controller reads there.
 *
 * In open loop the motor turns where its line carries the load (torque_balance.h). Under speed control it turns at its
 * target, whatever the load, until the duty is at its limit: a reading of the speed is at most that of the target, and no
 * load is light enough for a threshold above it (torque -INFINITY). Readings of duty and current (sensor.h) follow the
 * load through the motor's voltages and its torque:
 *
 *   duty     1 - u,  u Voc - Ri u^2 I = ke wh + R I    at the target wh, up to the limit of the duty
 *   current  1 - |I| / Iref,  T = kt I - Tf            at the target, or on the line of the limit
 *
 * Readings are fractions of the sensor's reference, torques are those of the load from outside at the output, gears are
 * indices from 0, and `line` is the motor's line at the limit of the duty. All functions are pure.
 */
#ifndef SHIFTBAND_THEORY_STEADY_H
#define SHIFTBAND_THEORY_STEADY_H

#include "shiftband/model.h"

/* The motor at the point where the reading just has a value. */
struct sb_reading_point {
  struct sb_motor_line line; /* at the duty there */
  double speed_rad_s;        /* motor speed */
  double reading;            /* the value */
  double
      motor_nm; /* the motor's torque; -INFINITY: no load is light enough for the reading, INFINITY: none heavy enough */
};

/* Where a motor in steady state reads a value. */
struct sb_reading_point sb_steady_point(const struct sb_model *model, const struct sb_motor_line *line, double reading);

/* Torque from outside that a gear carries in steady state at a reading > 0, N m. */
double sb_steady_load_nm(const struct sb_model *model, const struct sb_motor_line *line, int gear, double reading);

/* Readings of the current: torque of a load that drives the motor until |I| brings the reading down to a value < 1, N m;
 * -INFINITY for other readings, and where no load can. */
double sb_steady_helping_nm(const struct sb_model *model, const struct sb_motor_line *line, int gear, double reading);

/* Reading of a gear in steady state under a torque from outside; of the speed: 0 when the gear stalls. */
double sb_steady_reading(const struct sb_model *model, const struct sb_motor_line *line, int gear, double external_nm);

/* The motor's speed there in rad/s; 0 when the gear stalls. */
double sb_steady_speed_rad_s(const struct sb_model *model, const struct sb_motor_line *line, int gear,
                             double external_nm);

/* The supply's voltage under the motor's current there, in V; that at standstill when the gear stalls. */
double sb_steady_supply_v(const struct sb_model *model, const struct sb_motor_line *line, int gear, double external_nm);

/* The power that it takes from the supply there, the supply's own loss included, W; without currents that of the motor's shaft. */
double sb_steady_power_w(const struct sb_model *model, const struct sb_motor_line *line, int gear, double external_nm);

/* What a speed of the motor on a line is of the reference, which may follow the supply. */
double sb_steady_speed_reading(const struct sb_model *model, const struct sb_motor_line *line, double speed_rad_s);

/* The reading of an unloaded motor. */
double sb_steady_greatest_reading(const struct sb_model *model, const struct sb_motor_line *line);

/* The greatest constant torque that a gear still moves, N m. */
double sb_steady_stall_nm(const struct sb_model *model, const struct sb_motor_line *line, int gear);

/* Speed control: torque from outside at which the duty of a gear reaches its limit, so that the speed begins to fall, N m;
 * NAN in open loop. */
double sb_steady_hidden_nm(const struct sb_model *model, const struct sb_motor_line *line, int gear);

/* Whether the speed controller is stable in a gear, for small deviations; true in open loop. */
bool sb_steady_is_stable(const struct sb_model *model, const struct sb_motor_line *line, int gear);

#endif
