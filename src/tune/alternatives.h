// SPDX-License-Identifier: GPL-3.0-or-later
/* alternatives.h - internal: what choices come to in runs of all machines, and which are worth showing. */
#ifndef SHIFTBAND_TUNE_ALTERNATIVES_H
#define SHIFTBAND_TUNE_ALTERNATIVES_H

#include "tune/choice.h"
#include "tune/survey.h"

/* Fills the choices of a result: those points that there are, the scenario's own thresholds, each gear locked; and the gear that
 * alone does as well. result->dwell_s is known. */
enum sb_status sb_alternatives_find(const struct sb_survey *survey, const struct sb_raster *raster,
                                    const struct sb_choices *choices, struct sb_tune_result *result,
                                    struct sb_error *err);

#endif
