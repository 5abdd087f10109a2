// SPDX-License-Identifier: GPL-3.0-or-later
/* remedy.h - internal: when no thresholds pass, which single change would give some that do. */
#ifndef SHIFTBAND_TUNE_REMEDY_H
#define SHIFTBAND_TUNE_REMEDY_H

#include "tune/survey.h"

/* Tries changes to all light machines, the cheapest for a builder first, and enters the first that opens a region. */
enum sb_status sb_remedy_find(const struct sb_survey *survey, struct sb_tune_result *result, struct sb_error *err);

#endif
