// SPDX-License-Identifier: GPL-3.0-or-later
/* predict.h - what each reading of the logs should have been: of points itself, else asks dynamics or shift. */
#ifndef SHIFTBAND_FIT_PREDICT_H
#define SHIFTBAND_FIT_PREDICT_H

#include "fit/bench.h"

/* Sets the steps of all simulations for the present parameters, and the scratch memory for them. */
enum sb_status sb_predict_set_steps(struct sb_bench *bench, struct sb_error *err);

/* Computes each reading: computed[reading_count]. Returns 0, or -1 where the parameters make no machine. */
int sb_predict(const struct sb_bench *bench, const double *p, double (*own)[SB_OWN_COUNT], double *computed);

/* Steady-state speed of the motor under a torque (at the output, with a scenario) at a voltage, in rad/s; not cut at rest. */
double sb_predict_speed_rad_s(const struct sb_model *machine, int gear, double voltage_v, double torque_nm);

/* ---- logs over time in one gear ---- */

/* Sets the steps of each span, and the scratch memory for them. */
enum sb_status sb_dynamics_set_steps(struct sb_bench_test *test, const struct sb_model *machine, struct sb_error *err);

/* Computes the readings of one log; changes the machine. Returns 0, or -1 where it can't be simulated. */
int sb_dynamics_compute(const struct sb_bench *bench, const struct sb_bench_test *test, struct sb_model *machine,
                        const double *own, double *computed);

/* ---- logs with shifts: one run of the simulator, in pieces from one command to the next ---- */

/* Sets the longest step of the run. */
void sb_shift_set_steps(struct sb_bench_test *test);

/* Computes the readings of one log; changes the machine. Returns 0, or -1 where it can't be simulated. */
int sb_shift_compute(const struct sb_bench *bench, const struct sb_bench_test *test, struct sb_model *machine,
                     const double *own, double *computed);

#endif
