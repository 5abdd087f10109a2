// SPDX-License-Identifier: GPL-3.0-or-later
/* any_load.h - internal: thresholds that are proved for every load, in all machines at once. */
#ifndef SHIFTBAND_TUNE_ANY_LOAD_H
#define SHIFTBAND_TUNE_ANY_LOAD_H

#include "tune/survey.h"

/* Fills the raster's swings, on a coarser lattice and where all machines pass. A standstill that no thresholds avoid is let be. */
enum sb_status sb_tune_any_load_mark(const struct sb_survey *survey, struct sb_raster *raster, struct sb_error *err);

/* Asks `prove` about the answer in each machine. */
enum sb_status sb_tune_any_load_verify(const struct sb_survey *survey, struct sb_tune_result *result,
                                       struct sb_error *err);

#endif
