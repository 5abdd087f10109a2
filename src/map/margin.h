// SPDX-License-Identifier: GPL-3.0-or-later
/* margin.h - how far the scenario's own thresholds are from failing. */
#ifndef SHIFTBAND_MAP_MARGIN_H
#define SHIFTBAND_MAP_MARGIN_H

#include "shiftband/map.h"

enum sb_map_direction { SB_MAP_DOWN_LOWER, SB_MAP_DOWN_HIGHER, SB_MAP_UP_LOWER, SB_MAP_UP_HIGHER, SB_MAP_DIRECTIONS };

/* "downshift lower", ... a constant string. */
const char *sb_map_direction_words(enum sb_map_direction direction);

/* The way from the scenario's own thresholds in one direction, the other threshold kept. */
struct sb_map_margin {
  bool changes;           /* a lattice point is there that fails (when the own thresholds pass), or one that passes */
  double last_fraction;   /* farthest lattice point before it that is as the own thresholds are; NAN: none */
  double first_fraction;  /* the first that is not; NAN: none */
  double margin_fraction; /* from the own threshold to it; without change to the last point of the lattice */
  struct sb_map_verdict verdict; /* there */
  struct sb_map_figures figures;
};

/* What the scenario's own thresholds come to. */
struct sb_map_own {
  double downshift_fraction, upshift_fraction;
  bool passes;
  struct sb_map_verdict verdict;
  struct sb_map_figures figures;
  struct sb_map_margin margins[SB_MAP_DIRECTIONS];
  long long sample_count; /* samples simulated to find all that */
};

/*
 * Looks around the model's own thresholds of a pair: exact, along lines of the whole lattice of the threshold step,
 * whatever plane the options take. The own thresholds need not lie on the lattice.
 */
enum sb_status sb_map_look_around(const struct sb_model *model, const struct sb_map_options *options,
                                  struct sb_map_own *own, struct sb_error *err);

/* What a pair of thresholds comes to, on the lattice or not. */
enum sb_status sb_map_look_at(const struct sb_model *model, const struct sb_map_options *options,
                              double downshift_fraction, double upshift_fraction, struct sb_map_verdict *verdict,
                              struct sb_map_figures *figures, struct sb_error *err);

/* Of a map that is one point wide along the other axis: the cell of each of its points, -1: none. cells[], to be freed. */
enum sb_status sb_map_line_cells(const struct sb_map *map, bool is_downshift, int **cells, struct sb_error *err);

#endif
