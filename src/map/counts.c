// SPDX-License-Identifier: GPL-3.0-or-later
#include "map/counts.h"

#include <stdlib.h>

enum sb_status sb_counts_init(struct sb_counts *counts, int down_count, int up_count, struct sb_error *err)
{
  int *items = calloc((size_t)down_count * (size_t)up_count, sizeof *items);
  if (items == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for %d x %d thresholds", down_count, up_count);
  *counts = (struct sb_counts){.down_count = down_count, .up_count = up_count, .items = items};
  return SB_OK;
}

void sb_counts_clear(struct sb_counts *counts)
{
  free(counts->items);
  *counts = (struct sb_counts){.items = NULL};
}

static void add_corner(struct sb_counts *counts, int down, int up, int change)
{
  if (down >= counts->down_count || up >= counts->up_count) return;
  counts->items[(size_t)up * (size_t)counts->down_count + (size_t)down] += change;
}

void sb_counts_add(struct sb_counts *counts, const struct sb_rect *rect)
{
  add_corner(counts, rect->down_first, rect->up_first, +1);
  add_corner(counts, rect->down_last + 1, rect->up_first, -1);
  add_corner(counts, rect->down_first, rect->up_last + 1, -1);
  add_corner(counts, rect->down_last + 1, rect->up_last + 1, +1);
}

void sb_counts_finish(struct sb_counts *counts)
{
  const size_t width = (size_t)counts->down_count;
  for (int u = 0; u < counts->up_count; u++) {
    int *row = counts->items + (size_t)u * width;
    for (size_t d = 1; d < width; d++) row[d] += row[d - 1];
    for (size_t d = 0; u > 0 && d < width; d++) row[d] += (row - width)[d];
  }
}
