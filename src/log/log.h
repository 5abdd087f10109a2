// SPDX-License-Identifier: GPL-3.0-or-later
/* log.h - what the files of this room share: the columns by number, with the time behind all others. */
#ifndef SHIFTBAND_LOG_LOG_H
#define SHIFTBAND_LOG_LOG_H

#include "shiftband/log.h"
#include "text/csv_columns.h"

enum { SB_LOG_TIME = SB_LOG_COLUMN_COUNT, SB_LOG_QUANTITY_COUNT };

/* The quantities that a log can have: headings, kinds, units. */
extern const struct sb_csv_quantity sb_log_quantities[SB_LOG_QUANTITY_COUNT];

/* Where the values of a column are, SB_LOG_TIME included. */
double **sb_log_values(struct sb_log *log, int column);

/* Makes room for one more row in the columns that it has. False when memory runs out. */
bool sb_log_grow(struct sb_log *log, const bool has[SB_LOG_QUANTITY_COUNT]);

#endif
