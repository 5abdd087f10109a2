// SPDX-License-Identifier: GPL-3.0-or-later
/* predict.h - what each reading of the logs should have been: of points itself, else asks dynamics or shift. */
#ifndef SHIFTBAND_FIT_PREDICT_H
#define SHIFTBAND_FIT_PREDICT_H

#include "fit/bench.h"

/* Computes each reading: computed[reading_count]. Returns 0, or -1 where the parameters make no machine. */
int sb_predict(const struct sb_bench *bench, const double *p, double (*own)[SB_OWN_COUNT], double *computed);

/* Steady-state speed of the motor under a torque (at the output, with a scenario) at a voltage, in rad/s; not cut at rest. */
double sb_predict_speed_rad_s(const struct sb_model *machine, int gear, double voltage_v, double torque_nm);

/* ---- logs over time in one gear ---- */

/* Computes the readings of one log; changes the machine. Returns 0, or -1 where it can't be simulated. */
int sb_dynamics_compute(const struct sb_bench *bench, const struct sb_bench_test *test, struct sb_model *machine,
                        const double *own, double *computed);

/* ---- logs with shifts: one run of the simulator, in pieces from one command to the next ---- */

/* Computes the readings of one log; changes the machine. Returns 0, or -1 where it can't be simulated. */
int sb_shift_compute(const struct sb_bench *bench, const struct sb_bench_test *test, struct sb_model *machine,
                     const double *own, double *computed);

#endif
