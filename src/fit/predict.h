// SPDX-License-Identifier: GPL-3.0-or-later
/* predict.h - what each reading of the logs should have been: asks points, dynamics or shift, as each log needs. */
#ifndef SHIFTBAND_FIT_PREDICT_H
#define SHIFTBAND_FIT_PREDICT_H

#include "fit/bench.h"

/* Sets the steps of all simulations for the present parameters, and the scratch memory for them. */
enum sb_status sb_predict_set_steps(struct sb_bench *bench, struct sb_error *err);

/* Computes each reading: computed[reading_count]. Returns 0, or -1 where the parameters make no machine. */
int sb_predict(const struct sb_bench *bench, const double *p, double (*own)[SB_OWN_COUNT], double *computed);

#endif
