// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * spring_oracle.h - a machine with an output shaft that gives, moved by other means: its equations written out afresh,
 * integrated by GSL's rk8pd (Prince-Dormand, order 8) under tolerances of 1e-13 in steps of a fortieth of a radian of the
 * shaft's swing, events closed by bisection. It takes nothing from the simulator.
 *
 * The motor is a straight line of torque over speed; all gears turn both ends forward; a selector opens for its travel
 * time. The load resists with a constant, holds the same at rest, acts with a constant and is viscous.
 */
#ifndef SHIFTBAND_TESTS_SPRING_ORACLE_H
#define SHIFTBAND_TESTS_SPRING_ORACLE_H

#include <stdbool.h>

struct spring_gear {
  double ratio, efficiency, back_efficiency, drag_nm;
};

struct spring_machine {
  double stall_nm, no_load_rad_s, motor_inertia, output_inertia;
  double stiffness, damping, backlash;
  double resisting_nm, acting_nm, viscous;
  struct spring_gear gears[2];
  double travel_s;
  int shift_count;
  double shift_s[4]; /* each to the other gear */
};

struct spring_motion {
  double x, w, angle, twist; /* motor, output, output's angle, twist in mesh */
  int side;
  double peak_nm;                                       /* greatest torque in the shaft, by magnitude */
  long part_count, touch_count, stop_count, turn_count; /* events by kind; turns of driving into overrun or back */
};

/* From rest in the first gear to end_s. False when GSL gives up. */
bool spring_oracle_run(const struct spring_machine *machine, double end_s, struct spring_motion *out);

#endif
