// SPDX-License-Identifier: GPL-3.0-or-later
/* shift.h - logs with shifts: one run of the simulator, in pieces from one command to the next. */
#ifndef SHIFTBAND_FIT_SHIFT_H
#define SHIFTBAND_FIT_SHIFT_H

#include "fit/bench.h"

/* Sets the longest step of the run. */
void sb_shift_set_steps(struct sb_bench_test *test, const struct sb_model *machine);

/* Computes the readings of one log; changes the machine. Returns 0, or -1 where it can't be simulated. */
int sb_shift_compute(const struct sb_bench *bench, const struct sb_bench_test *test, struct sb_model *machine,
                     const double *own, double *computed);

#endif
