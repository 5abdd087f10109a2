// SPDX-License-Identifier: GPL-3.0-or-later
/* answer.h - internal: all that is reported about chosen thresholds, each claim run on its own. */
#ifndef SHIFTBAND_TUNE_ANSWER_H
#define SHIFTBAND_TUNE_ANSWER_H

#include "tune/choice.h"
#include "tune/survey.h"

/* The longest sample period of the machines, in s. */
double sb_answer_sample_period_s(const struct sb_tune_machine *machines, int count);

/* withstand.c: fills the reserves of a result whose answer passes. */
enum sb_status sb_withstand_find(const struct sb_survey *survey, struct sb_tune_result *result, struct sb_error *err);

/* Fills the result for the recommended one of the choices, at result->dwell_s; but for a rough search with all that stands beside it. */
enum sb_status sb_answer_describe(const struct sb_survey *survey, const struct sb_raster *raster,
                                  const struct sb_choices *choices, struct sb_tune_result *result,
                                  struct sb_error *err);

#endif
