// SPDX-License-Identifier: GPL-3.0-or-later
/* answer.h - internal: all that is reported about chosen thresholds, each claim run on its own. */
#ifndef SHIFTBAND_TUNE_ANSWER_H
#define SHIFTBAND_TUNE_ANSWER_H

#include "tune/survey.h"

/* Lattice indices of the thresholds. */
struct sb_point {
  int downshift, upshift;
};

/* The longest sample period of the machines, in s. */
double sb_answer_sample_period_s(const struct sb_tune_machine *machines, int count);

/* Runs a machine with these thresholds and dwell, under the controller of the options. */
enum sb_status sb_answer_try(const struct sb_model *model, const struct sb_tune_options *options,
                             double downshift_fraction, double upshift_fraction, double dwell_s,
                             struct sb_map_verdict *verdict, struct sb_map_figures *figures, struct sb_error *err);

/* Fills the result for a point of the raster, at result->dwell_s. */
enum sb_status sb_answer_describe(const struct sb_survey *survey, const struct sb_raster *raster, struct sb_point at,
                                  struct sb_tune_result *result, struct sb_error *err);

#endif
