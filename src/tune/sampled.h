// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * sampled.h - internal: where a machine holds under someone else's controller, by a run at each lattice point.
 *
 * Only of the built-in controller is it known that thresholds act through comparisons alone, which makes its maps exact.
 * Of another one nothing is known between two points.
 */
#ifndef SHIFTBAND_TUNE_SAMPLED_H
#define SHIFTBAND_TUNE_SAMPLED_H

#include "shiftband/tasks.h"
#include "tune/survey.h"

/* One row of the lattice, down kept: lines as a survey reads them. dwell_s as in the survey. */
enum sb_status sb_sampled_row(const struct sb_survey *survey, const struct sb_model *model, int downshift,
                              bool has_figures, struct sb_lines *out, struct sb_error *err);

#endif
