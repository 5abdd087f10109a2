// SPDX-License-Identifier: GPL-3.0-or-later
#include "map/lattice.h"

#include <stdlib.h>

static bool is_alike(const struct sb_map_cell *a, const struct sb_map_cell *b)
{
  return a->verdict.kinds == b->verdict.kinds && a->verdict.cause == b->verdict.cause &&
         a->figures.shift_count == b->figures.shift_count && a->figures.output_turns == b->figures.output_turns &&
         a->figures.given_j == b->figures.given_j && a->figures.greatest_torque_nm == b->figures.greatest_torque_nm;
}

static int compare_int(int a, int b)
{
  return (a > b) - (a < b);
}

/* Orders in which cells that could join stand next to each other: cells do not overlap, so none comes between two that touch. */
static int compare_along_downshift(const void *a, const void *b)
{
  const struct sb_map_cell *ca = a, *cb = b;
  const int up = compare_int(ca->upshift_first, cb->upshift_first);
  return up != 0 ? up : compare_int(ca->downshift_first, cb->downshift_first);
}

static int compare_along_upshift(const void *a, const void *b)
{
  const struct sb_map_cell *ca = a, *cb = b;
  const int down = compare_int(ca->downshift_first, cb->downshift_first);
  return down != 0 ? down : compare_int(ca->upshift_first, cb->upshift_first);
}

static bool touches_along_downshift(const struct sb_map_cell *a, const struct sb_map_cell *b)
{
  return a->upshift_first == b->upshift_first && a->upshift_last == b->upshift_last &&
         a->downshift_last + 1 == b->downshift_first;
}

static bool touches_along_upshift(const struct sb_map_cell *a, const struct sb_map_cell *b)
{
  return a->downshift_first == b->downshift_first && a->downshift_last == b->downshift_last &&
         a->upshift_last + 1 == b->upshift_first;
}

/* One pass along one axis; returns how many cells went. */
static size_t join_along(struct sb_map *map, int (*compare)(const void *, const void *),
                         bool (*touches)(const struct sb_map_cell *, const struct sb_map_cell *))
{
  if (map->cell_count == 0) return 0;
  qsort(map->cells, map->cell_count, sizeof *map->cells, compare);
  size_t kept = 0;
  for (size_t i = 1; i < map->cell_count; i++) {
    struct sb_map_cell *left = &map->cells[kept];
    const struct sb_map_cell *right = &map->cells[i];
    if (touches(left, right) && is_alike(left, right)) {
      left->downshift_last = right->downshift_last;
      left->upshift_last = right->upshift_last;
    } else {
      map->cells[++kept] = *right;
    }
  }
  const size_t gone = map->cell_count - (kept + 1);
  map->cell_count = kept + 1;
  return gone;
}

void sb_map_join(struct sb_map *map)
{
  while (join_along(map, compare_along_upshift, touches_along_upshift) +
             join_along(map, compare_along_downshift, touches_along_downshift) >
         0) {}
}

void sb_map_sort(struct sb_map *map)
{
  if (map->cell_count > 0) qsort(map->cells, map->cell_count, sizeof *map->cells, compare_along_upshift);
}

void sb_map_keep_passing(struct sb_map *map)
{
  size_t kept = 0;
  for (size_t i = 0; i < map->cell_count; i++) {
    if (map->cells[i].verdict.kinds != 0) continue;
    map->cells[kept] = map->cells[i];
    const long shift_count = map->cells[i].figures.shift_count > 0 ? 1 : 0;
    map->cells[kept++].figures = (struct sb_map_figures){.shift_count = shift_count};
  }
  map->cell_count = kept;
  sb_map_join(map);
  sb_map_sort(map);
}
