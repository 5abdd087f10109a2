// SPDX-License-Identifier: GPL-3.0-or-later
/* show.h - how figures are shown: units that people read, and digits that fit the error. */
#ifndef SHIFTBAND_FIT_SHOW_H
#define SHIFTBAND_FIT_SHOW_H

#include "shiftband/fit.h"
#include "text/words.h"

struct sb_shown_unit {
  const char *name; /* as a scenario takes it */
  double per_si;    /* shown = SI * per_si */
};

/* The unit for a figure near a value. */
struct sb_shown_unit sb_show_unit(enum sb_fit_figure_kind kind, double value);

/* The SI unit of a figure; "" for a plain number. */
const char *sb_show_si(enum sb_fit_figure_kind kind);

/* The unit for a measured column. */
struct sb_shown_unit sb_show_column_unit(enum sb_log_column column);

/* Number with digits down to a tenth of its error, or six where there is none. */
const char *sb_show_number(double value, double error, char text[32]);

/* The gauges used: "torque 2 %, speed 0.5 %"; "" where all are exact. */
void sb_show_gauges(const struct sb_fit_result *result, struct sb_sentence *out);

/* The shortest text that reads back to nine digits. */
const char *sb_show_exact(double value, char text[32]);

/* ---- possible.c: figures that no machine can have: frictions below zero, efficiencies above one ---- */

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
