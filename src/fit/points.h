// SPDX-License-Identifier: GPL-3.0-or-later
/* points.h - logs of points: steady states of the machine. */
#ifndef SHIFTBAND_FIT_POINTS_H
#define SHIFTBAND_FIT_POINTS_H

#include "fit/bench.h"

/* Steady-state speed of the motor under a torque (at the output, with a scenario) at a voltage, in rad/s; not cut at rest. */
double sb_points_speed_rad_s(const struct sb_model *machine, int gear, double voltage_v, double torque_nm);

/* Computes the readings of one log of points. */
void sb_points_compute(const struct sb_bench *bench, const struct sb_bench_test *test, const struct sb_model *machine,
                       double *computed);

#endif
