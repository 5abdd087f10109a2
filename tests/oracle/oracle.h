// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * oracle.h - the same machines moved by other means, for comparison: the equations of motion written out afresh in the
 * motor's and the output's real senses, integrated by GSL's rk8pd (Prince-Dormand, order 8) under tolerances of 1e-13,
 * events bracketed on a fine grid and closed by GSL's Brent solver. It takes nothing from the simulator, the load
 * parts, the gearbox or the motor module but the given figures.
 */
#ifndef SHIFTBAND_TESTS_ORACLE_H
#define SHIFTBAND_TESTS_ORACLE_H

#include <stdbool.h>
#include <stddef.h>

#include "shiftband/sim.h"

struct oracle_command {
  double time_s;
  int gear; /* index from 0 */
};

struct oracle_event {
  enum sb_event event; /* engaged, stopped, started; and commands */
  double time_s;
  double motor_speed_rad_s; /* in its real sense, just after */
  double output_speed_rad_s;
};

enum { ORACLE_EVENT_MAX = 256 };

struct oracle_result {
  size_t event_count;
  struct oracle_event events[ORACLE_EVENT_MAX];
  double motor_speed_rad_s;
  double output_speed_rad_s;
  double output_angle_rad;
  double shift_loss_j; /* of joinings alone */
  double jam_loss_j;   /* of paths that lock themselves */
  size_t jam_count;
};

/* Moves the model from rest or its initial speed in a gear (index from 0) to end_s. 0, or -1 when GSL gives up. */
int oracle_run(const struct sb_model *model, int gear, const struct oracle_command *commands, size_t command_count,
               double end_s, struct oracle_result *result);

#endif
