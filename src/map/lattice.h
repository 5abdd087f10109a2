// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * lattice.h - numbers, percentages and points of the lattice of thresholds.
 *
 * Thresholds are printed in percent of the reference. Points whose downshift threshold is not below the upshift threshold
 * mean nothing and are left out wherever points are counted.
 */
#ifndef SHIFTBAND_MAP_LATTICE_H
#define SHIFTBAND_MAP_LATTICE_H

#include "shiftband/map.h"
#include "text/fields.h"
#include "text/picture.h"

/* A map of more rectangles of equal traces is given up. */
enum { SB_MAP_LEAF_MAX = 4000000 };

/* A rectangle of the lattice, ends included. */
struct sb_rect {
  int downshift_first, downshift_last, upshift_first, upshift_last;
};

/* The number n of a lattice point whose threshold is n steps, and that threshold in percent. Pure. */
long sb_map_axis_number(const struct sb_map_axis *axis, int index);
double sb_map_axis_pct(const struct sb_map_axis *axis, int index);

/* A round number of lattice steps, 1, 2, 25, 40 and so on, that leaves about `points` of an axis's lattice points. Pure. */
int sb_map_axis_stride(const struct sb_map_axis *axis, int points);

/* The index of the lattice point nearest to a threshold, which may lie outside the axis. The axis for pictures, in %. Pure. */
int sb_map_axis_index(const struct sb_map_axis *axis, double fraction);
struct sb_picture_axis sb_map_picture_axis(const char *name, const struct sb_map_axis *axis);

/* Down indices below this are ordered with an up index: their threshold is below that one. Pure. */
int sb_map_ordered_count(const struct sb_map_axis *downshift, const struct sb_map_axis *upshift, int upshift_index);

/* Number of the map's ordered lattice points, and of those inside a rectangle. Pure. */
long long sb_map_point_count(const struct sb_map *map);
long long sb_map_cell_point_count(const struct sb_map *map, const struct sb_map_cell *cell);

/* ---- join.c: rectangles put together, and in order ---- */

/* Joins neighbours of equal verdict and figures into greater rectangles. */
void sb_map_join(struct sb_map *map);

/* Keeps only the rectangles that pass, joined whatever their figures, in order; of these only whether they shift is kept, 0 or 1. */
void sb_map_keep_passing(struct sb_map *map);

/* Puts the cells in the order of the CSV: down, then up. */
void sb_map_sort(struct sb_map *map);

/* ---- plane.c: which plane is asked for, in words of a user ---- */

/*
 * Lays out a plane: `pair` is "slow/fast" or a number from 1, the ranges are in percent, "40..60" or "40..60 %"; NULL: the
 * first pair, all of the plane. SB_ERR_USAGE says what is wrong with them; SB_ERR_SCENARIO: the box has a single gear.
 */
enum sb_status sb_map_plane_parse(const struct sb_model *model, const char *pair, const char *downshift,
                                  const char *upshift, struct sb_map_options *options, struct sb_error *err);

#endif
