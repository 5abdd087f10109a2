// SPDX-License-Identifier: GPL-3.0-or-later
/* possible.h - figures that no machine can have: frictions below zero, efficiencies above one. */
#ifndef SHIFTBAND_FIT_POSSIBLE_H
#define SHIFTBAND_FIT_POSSIBLE_H

#include "shiftband/fit.h"

/* SB_ERR_SCENARIO where the interval of a figure lies so far beyond what can be that no chance explains it; err says what may
 * be wrong in the logs. */
enum sb_status sb_possible_check(const struct sb_fit_result *result, const struct sb_log *logs, struct sb_error *err);

/* A figure whose whole interval lies beyond what can be, though it may be by chance. */
struct sb_doubt {
  enum sb_fit_figure_kind kind;
  const char *beyond; /* "below zero" */
  const char *wrong;  /* what may be wrong in the logs */
};

/* False where there is none. */
bool sb_possible_doubt(const struct sb_fit_result *result, struct sb_doubt *out);

#endif
