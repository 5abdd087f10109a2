// SPDX-License-Identifier: GPL-3.0-or-later
/* dynamics.h - logs over time in one gear. */
#ifndef SHIFTBAND_FIT_DYNAMICS_H
#define SHIFTBAND_FIT_DYNAMICS_H

#include "fit/bench.h"

/* Sets the steps of each span, and the scratch memory for them. */
enum sb_status sb_dynamics_set_steps(struct sb_bench_test *test, const struct sb_model *machine, struct sb_error *err);

/* Computes the readings of one log; changes the machine. Returns 0, or -1 where it can't be simulated. */
int sb_dynamics_compute(const struct sb_bench *bench, const struct sb_bench_test *test, struct sb_model *machine,
                        const double *own, double *computed);

#endif
