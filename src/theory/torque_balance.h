// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * torque_balance.h - torques of one gear on one line of the motor, at a constant speed.
 *
 *   driving   N eta (T(w) - D) = TL + b W + c W^2,  W = w / N       overrun: 1 / eta_back for eta
 *
 * TL is the torque of the load from outside, without the parts that follow the speed. Gears are indices from 0. All are pure.
 * Source: equilibrium of the linear motor line, standard (closed_form.h).
 */
#ifndef SHIFTBAND_THEORY_TORQUE_BALANCE_H
#define SHIFTBAND_THEORY_TORQUE_BALANCE_H

#include "shiftband/model.h"

/* The motor's line at the model's duty and supply. */
struct sb_motor_line sb_torque_balance_line(const struct sb_model *model);

/* TL that a gear carries while the motor gives a torque at a speed >= 0, N m. */
double sb_torque_balance_output_nm(const struct sb_model *model, int gear, double motor_nm, double speed_rad_s);

/* The load that helps, < 0, that a path which locks itself lowers with the same torque, N m: TL = N (T - D) / eta_back less what
 * follows the speed; -INFINITY: any, or the path does not lock. */
double sb_torque_balance_lowered_nm(const struct sb_model *model, int gear, double motor_nm, double speed_rad_s);

/* The other way round: the torque that the motor must give, N m. */
double sb_torque_balance_motor_nm(const struct sb_model *model, int gear, double external_nm, double speed_rad_s);

/* Motor speed at which the line carries TL, rad/s; 0 when the gear stalls. */
double sb_torque_balance_speed_rad_s(const struct sb_model *model, const struct sb_motor_line *line, int gear,
                                     double external_nm);

/* Time constant of a gear in s, driving: J_eff / (m + b / (N^2 eta)). */
double sb_torque_balance_time_constant_s(const struct sb_model *model, const struct sb_motor_line *line, int gear);

#endif
