// SPDX-License-Identifier: GPL-3.0-or-later
/* log.h - room for one more row of a log. */
#ifndef SHIFTBAND_LOG_LOG_H
#define SHIFTBAND_LOG_LOG_H

#include <stdbool.h>

#include "shiftband/log.h"

/* Makes room in time and in the columns that it has. False when out of memory; the log stays as it was. */
bool sb_log_grow(struct sb_log *log, const bool has[SB_LOG_COLUMN_COUNT]);

#endif
