// SPDX-License-Identifier: GPL-3.0-or-later
#include "map/counts.h"

#include <stdlib.h>

enum sb_status sb_counts_init(struct sb_counts *counts, int downshift_count, int upshift_count, struct sb_error *err)
{
  int *items = calloc((size_t)downshift_count * (size_t)upshift_count, sizeof *items);
  if (items == NULL)
    return sb_fail(err, SB_ERR_MEMORY, "out of memory for %d x %d thresholds", downshift_count, upshift_count);
  *counts = (struct sb_counts){.downshift_count = downshift_count, .upshift_count = upshift_count, .items = items};
  return SB_OK;
}

void sb_counts_clear(struct sb_counts *counts)
{
  free(counts->items);
  *counts = (struct sb_counts){.items = NULL};
}

static void add_corner(struct sb_counts *counts, int downshift, int upshift, int change)
{
  if (downshift >= counts->downshift_count || upshift >= counts->upshift_count) return;
  counts->items[(size_t)upshift * (size_t)counts->downshift_count + (size_t)downshift] += change;
}

void sb_counts_add(struct sb_counts *counts, const struct sb_rect *rect)
{
  add_corner(counts, rect->downshift_first, rect->upshift_first, +1);
  add_corner(counts, rect->downshift_last + 1, rect->upshift_first, -1);
  add_corner(counts, rect->downshift_first, rect->upshift_last + 1, -1);
  add_corner(counts, rect->downshift_last + 1, rect->upshift_last + 1, +1);
}

void sb_counts_finish(struct sb_counts *counts)
{
  const size_t width = (size_t)counts->downshift_count;
  for (int u = 0; u < counts->upshift_count; u++) {
    int *row = counts->items + (size_t)u * width;
    for (size_t d = 1; d < width; d++) row[d] += row[d - 1];
    for (size_t d = 0; u > 0 && d < width; d++) row[d] += (row - width)[d];
  }
}
