// SPDX-License-Identifier: GPL-3.0-or-later
/* worn.h - simulated logs, and what a real logger makes of them: noise, rounding, lost samples. */
#ifndef SHIFTBAND_TESTS_WORN_H
#define SHIFTBAND_TESTS_WORN_H

#include <gsl/gsl_rng.h>

#include "shiftband/log.h"
#include "shiftband/run.h"

/* Wear of a log. */
struct wear {
  double noise;     /* standard deviation of speeds and torques, fraction of each column's greatest value */
  double lost;      /* fraction of the rows that are lost, one by one */
  double round_rpm; /* speeds are rounded to this; 0: not */
  double hole_s;    /* one hole of this length, anywhere; 0: none */
};

/* Runs the model and keeps one row every interval_s, the last one at that time. Release both. */
void worn_log(const struct sb_model *model, double interval_s, struct sb_log *log, struct sb_run_result *result);

/* Wears the log: the gear and the drive stay as they are, but where rows are lost. */
void worn_wear(struct sb_log *log, const struct wear *wear, gsl_rng *random);

/* Takes a column away. */
void worn_strip(struct sb_log *log, enum sb_log_column column);

/* A machine like a shipped one (loaded into *scenario) with other thresholds, dwell, load, inertia and shifter. */
void worn_draw(struct sb_model *model, gsl_rng *random);

#endif
