// SPDX-License-Identifier: GPL-3.0-or-later
/* cover.h - reads CSV of rectangles back, and checks that they cover a plane of thresholds exactly once. */
#ifndef SHIFTBAND_TESTS_COVER_H
#define SHIFTBAND_TESTS_COVER_H

#include <stdio.h>

#include "shiftband/map.h"

/* All that a function writes, as one text; to be freed. */
char *cover_written_by(void (*write)(FILE *out, const void *context), const void *context);

/* The next field of a CSV row as a number. */
double cover_take_number(const char **row);

/* How often each lattice point lies in a row's rectangle, to be freed; `values`, when not NULL, gets the row's next
 * number there. Both are [up index * down.count + down index]. */
int *cover_count(const char *csv, const struct sb_map_axis *downshift, const struct sb_map_axis *upshift, int *values);

/* Each point above the diagonal lies in one rectangle. */
void cover_assert_once(const char *csv, const struct sb_map_axis *downshift, const struct sb_map_axis *upshift);

#endif
