// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * motor.h - brushed permanent-magnet DC motor, electrically quasi-static, and its supply.
 *
 *   R  = Vn / Is     kt = Ts / (Is - I0)     ke = (Vn - I0 R) / w0     Tf = kt I0
 *   I  = (u Voc - ke w) / (R + u^2 Ri)       T  = kt I - Tf sign(w)
 *   without currents                         T  = Ts (u V / Vn - w / w0)
 *
 * At one duty and supply both are a straight line in speed plus Coulomb friction: struct sb_motor_line. A driver that limits
 * the current bends it: see limiter.h.
 *
 * Leaves out: inductance, commutation, cogging, brush drop. Heat: winding.h, magnet.h.
 * Source: standard relations, as in A. E. Fitzgerald, C. Kingsley, S. D. Umans, Electric Machinery, chapter 11;
 * P. C. Sen, Principles of Electric Machines (from memory). Checked in tests/machine/test_motor.c against worked examples.
 */
#ifndef SHIFTBAND_MOTOR_H
#define SHIFTBAND_MOTOR_H

#include <stdbool.h>

#include "shiftband/status.h"

#ifdef __cplusplus
extern "C" {
#endif

struct sb_motor {
  /* Given, all at the motor's own shaft (a built-in gearhead included). */
  double nominal_voltage_v;   /* V,      > 0 */
  double no_load_speed_rad_s; /* rad/s,  > 0, at the nominal voltage */
  double stall_torque_nm;     /* N m,    > 0, at the nominal voltage */
  bool has_currents;          /* the two currents below were given */
  double stall_current_a;     /* A,      > no_load_current_a */
  double no_load_current_a;   /* A,      >= 0 */
  double rotor_inertia_kg_m2; /* kg m^2, > 0, seen at the shaft */

  /* Derived by sb_motor_derive(); meaningful only with currents, 0 without (friction too). */
  double resistance_ohm; /* ohm */
  double kt_nm_a;        /* N m / A,   torque constant */
  double ke_vs_rad;      /* V s / rad, voltage constant; equals kt in SI for a lossless magnetic path */
  double friction_nm;    /* N m,       Coulomb friction of brushes and bearings */
};

struct sb_supply {
  double open_circuit_voltage_v;  /* V,   > 0 */
  double internal_resistance_ohm; /* ohm, >= 0; must be 0 for a motor without currents */
  double current_limit_a; /* A, of the driver between supply and motor; 0: none, as for a motor without currents */
};

/*
 * The motor at one duty and supply, in the direction in which it is driven (speed x > 0: as driven):
 *
 *   torque  T(x) = stall_nm - slope_nms_rad x - friction_nm sign(x)       N m
 *   current I(x) = stall_a - slope_as_rad x                               A; 0 without currents
 *
 * Where that current is above the driver's limit, it is the limit, and the torque that of the limit.
 */
struct sb_motor_line {
  double stall_nm;      /* N m, >= 0, before friction */
  double slope_nms_rad; /* N m s / rad, >= 0 */
  double friction_nm;   /* N m, >= 0 */
  double stall_a;       /* A */
  double slope_as_rad;  /* A s / rad */
  double duty;          /* -1..1; 0 with no slope is an open circuit */
  double limit_a;       /* A, of the driver, either way; 0: none */
  double limit_nm;      /* N m, the torque of that current before friction */
};

/* Fills the derived fields. The given ones must be in range; fails when kt or ke would not be positive. */
enum sb_status sb_motor_derive(struct sb_motor *motor, struct sb_error *err);

/* The line at a duty in -1..1 from the supply; a duty of 0 is a short circuit, which brakes. Pure. */
struct sb_motor_line sb_motor_line_driven(const struct sb_motor *motor, const struct sb_supply *supply, double duty);

/* What feeds the motor: the supply's voltage at no current (V), the resistances (ohm) of motor and supply; what the magnets have
 * left of the motor's own kt and ke, a ratio > 0; and the driver's limit of the current (A; 0: none). */
struct sb_motor_circuit {
  double voltage_v, motor_ohm, supply_ohm, magnet_ratio, limit_a;
};

/* The circuit that a supply makes with a motor. Pure. */
struct sb_motor_circuit sb_motor_circuit_of(const struct sb_motor *motor, const struct sb_supply *supply);

/* The same from any circuit: the motor's own resistance is not used. Pure. */
struct sb_motor_line sb_motor_line_of_circuit(const struct sb_motor *motor, const struct sb_motor_circuit *circuit,
                                              double duty);

/* The line with the circuit open: no current, friction only. Pure. */
struct sb_motor_line sb_motor_line_open(const struct sb_motor *motor);

/* Torque at speed x (rad/s, in the driven direction), in N m; at x == 0 the torque before friction. Pure. */
double sb_motor_torque_nm(const struct sb_motor_line *line, double speed_rad_s);

/* Current at speed x, in A; 0 without currents. Pure. */
double sb_motor_current_a(const struct sb_motor_line *line, double speed_rad_s);

/* The line where the driver holds the current at its limit, in a direction (+1, or -1: what the motor gives back): no slope, no limit of
 * its own. Pure. */
struct sb_motor_line sb_motor_line_held(const struct sb_motor_line *line, int direction);

/* Speed below which the driver holds the current at its limit, rad/s; -INFINITY without a limit. Pure. */
double sb_motor_corner_rad_s(const struct sb_motor_line *line);

/* No-load speed wv = (stall - friction) / slope in rad/s: where the line, friction included, crosses zero. */
double sb_motor_no_load_speed_rad_s(const struct sb_motor_line *line);

/* Stall torque Tv = stall - friction in N m, or that of the driver's limit: what the shaft gives at standstill. */
double sb_motor_stall_torque_nm(const struct sb_motor_line *line);

/* (ke - kt) / kt; more than 0.15 either way deserves a note to the user. 0 without currents. */
double sb_motor_constants_mismatch(const struct sb_motor *motor);

#ifdef __cplusplus
}
#endif

#endif
