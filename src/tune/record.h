// SPDX-License-Identifier: GPL-3.0-or-later
/* record.h - internal: a rectangle of a survey as a line of text, and back. */
#ifndef SHIFTBAND_TUNE_RECORD_H
#define SHIFTBAND_TUNE_RECORD_H

#include "shiftband/tasks.h"
#include "shiftband/tune.h"

void sb_record_write(struct sb_lines *out, const struct sb_map_cell *cell);

/* False: it does not read. */
bool sb_record_read(const char *line, struct sb_map_cell *cell);

#endif
