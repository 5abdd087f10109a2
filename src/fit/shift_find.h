// SPDX-License-Identifier: GPL-3.0-or-later
/* shift_find.h - finds the shifts in a log by its gear column; of a log without any it changes nothing else. */
#ifndef SHIFTBAND_FIT_SHIFT_FIND_H
#define SHIFTBAND_FIT_SHIFT_FIND_H

#include "fit/bench.h"

/* Finds events, the first and last row that count, and the row from which the machine moves. */
enum sb_status sb_shift_find(const struct sb_model *model, struct sb_bench_test *test, struct sb_error *err);

/* Sets first values for the log's own unknowns: its start, and the instants of its events. */
void sb_shift_find_own(struct sb_bench_test *test);

/* Number of shifts found. */
int sb_shift_find_count(const struct sb_bench_test *test);

/* Whether a reading is compared: not where a jump of speed or current may stand on either side of it. */
bool sb_shift_find_is_wanted(const struct sb_bench_test *test, enum sb_fit_column column, size_t row);

#endif
