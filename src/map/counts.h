// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * counts.h - rectangles of the lattice added up: at each point, how many of them hold it.
 *
 * Each rectangle is entered as four differences at its corners; summing up along both axes makes them counts.
 */
#ifndef SHIFTBAND_MAP_COUNTS_H
#define SHIFTBAND_MAP_COUNTS_H

#include <stddef.h>

#include "map/lattice.h"

struct sb_counts {
  int downshift_count, upshift_count;
  int *items; /* items[up * downshift_count + down], owned: differences until they are summed up */
};

/* All counts 0. */
enum sb_status sb_counts_init(struct sb_counts *counts, int downshift_count, int upshift_count, struct sb_error *err);
void sb_counts_clear(struct sb_counts *counts);

/* Enters a rectangle that lies within the lattice. */
void sb_counts_add(struct sb_counts *counts, const struct sb_rect *rect);

/* Sums up, once, after the last rectangle. */
void sb_counts_finish(struct sb_counts *counts);

static inline int sb_counts_at(const struct sb_counts *counts, int downshift, int upshift)
{
  return counts->items[(size_t)upshift * (size_t)counts->downshift_count + (size_t)downshift];
}

#endif
