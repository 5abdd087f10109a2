// SPDX-License-Identifier: GPL-3.0-or-later
/* join.h - rectangles of a map put together, and in order. */
#ifndef SHIFTBAND_MAP_JOIN_H
#define SHIFTBAND_MAP_JOIN_H

#include "shiftband/map.h"

/* Joins neighbours of equal verdict and figures into greater rectangles. */
void sb_map_join(struct sb_map *map);

/* Keeps only the rectangles that pass, joined whatever their figures, in order. */
void sb_map_keep_passing(struct sb_map *map);

/* Puts the cells in the order of the CSV: down, then up. */
void sb_map_sort(struct sb_map *map);

#endif
