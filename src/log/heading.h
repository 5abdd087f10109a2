// SPDX-License-Identifier: GPL-3.0-or-later
/* heading.h - which quantity a column of a log holds, and in which unit: speed_rpm, "speed [rpm]", or by option. */
#ifndef SHIFTBAND_LOG_HEADING_H
#define SHIFTBAND_LOG_HEADING_H

#include "shiftband/fit.h"

/* What a name of a header stands for. */
struct sb_log_heading {
  int column;   /* enum sb_fit_column, or -1: some other thing */
  double scale; /* SI of one, where has_unit */
  bool has_unit;
  bool is_unit_unknown; /* a unit was given, but it is none or none of that quantity */
  char unit[40];        /* as given */
};

struct sb_log_heading sb_log_heading_read(const char *name, const struct sb_fit_log_options *options);

enum sb_quantity sb_fit_column_quantity(enum sb_fit_column column);

#endif
