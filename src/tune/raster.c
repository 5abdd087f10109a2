// SPDX-License-Identifier: GPL-3.0-or-later
#include "tune/raster.h"

#include <stdlib.h>
#include <string.h>

enum sb_status sb_raster_init(struct sb_raster *raster, int side, bool has_figures, struct sb_error *err)
{
  const size_t points = (size_t)side * (size_t)side;
  *raster = (struct sb_raster){.side = side, .greatest_downshift = side - 1, .greatest_upshift = side - 1};
  raster->margin = calloc(points, sizeof *raster->margin);
  raster->least_upshift = calloc((size_t)side, sizeof *raster->least_upshift);
  raster->band_machine = calloc((size_t)side, sizeof *raster->band_machine);
  if (has_figures) {
    raster->way_rad = calloc(points, sizeof *raster->way_rad);
    raster->time_s = calloc(points, sizeof *raster->time_s);
    raster->energy_j = calloc(points, sizeof *raster->energy_j);
  }
  const bool has_all = raster->way_rad != NULL && raster->time_s != NULL && raster->energy_j != NULL;
  const bool is_whole = sb_counts_init(&raster->passing, side, side, err) == SB_OK &&
                        sb_counts_init(&raster->shifting, side, side, err) == SB_OK && raster->margin != NULL &&
                        raster->least_upshift != NULL && raster->band_machine != NULL && (!has_figures || has_all);
  if (is_whole) return SB_OK;
  sb_raster_clear(raster);
  return sb_fail(err, SB_ERR_MEMORY, "out of memory for %d x %d thresholds", side, side);
}

void sb_raster_clear(struct sb_raster *raster)
{
  sb_counts_clear(&raster->passing);
  sb_counts_clear(&raster->shifting);
  free(raster->margin);
  free(raster->least_upshift);
  free(raster->band_machine);
  free(raster->way_rad);
  free(raster->time_s);
  free(raster->energy_j);
  free(raster->swing_nm);
  *raster = (struct sb_raster){.side = 0};
}

void sb_raster_add(struct sb_raster *raster, const struct sb_map *map)
{
  for (size_t i = 0; i < map->cell_count; i++) {
    const struct sb_map_cell *cell = &map->cells[i];
    const struct sb_rect rect = {cell->downshift_first, cell->downshift_last, cell->upshift_first, cell->upshift_last};
    if (cell->verdict.kinds != 0) continue;
    sb_counts_add(&raster->passing, &rect);
    if (cell->figures.shift_count > 0) sb_counts_add(&raster->shifting, &rect);
  }
}

void sb_raster_cap_up(struct sb_raster *raster, int greatest_upshift, int machine)
{
  if (greatest_upshift >= raster->greatest_upshift) return;
  raster->greatest_upshift = greatest_upshift;
  raster->low_machine = machine;
}

void sb_raster_cap_down(struct sb_raster *raster, int greatest_downshift)
{
  if (greatest_downshift < raster->greatest_downshift) raster->greatest_downshift = greatest_downshift;
}

void sb_raster_ask_up(struct sb_raster *raster, int downshift, int least_upshift, int machine)
{
  if (least_upshift <= raster->least_upshift[downshift]) return;
  raster->least_upshift[downshift] = least_upshift;
  raster->band_machine[downshift] = machine;
}

void sb_raster_add_figures(struct sb_raster *raster, const struct sb_map *map)
{
  for (size_t i = 0; i < map->cell_count; i++) {
    const struct sb_map_cell *cell = &map->cells[i];
    for (int downshift = cell->downshift_first; downshift <= cell->downshift_last; downshift++) {
      for (int upshift = cell->upshift_first; upshift <= cell->upshift_last; upshift++) {
        const int at = downshift * raster->side + upshift;
        raster->way_rad[at] += (float)cell->figures.way_rad;
        raster->time_s[at] += (float)cell->figures.end_s;
        raster->energy_j[at] += (float)cell->figures.given_j;
      }
    }
  }
}

/* Chessboard distance to the nearest failure, exact in two passes (A. Rosenfeld, J. L. Pfaltz, 1966, from memory). What
 * lies outside the lattice is a failure. */
static int nearest(const struct sb_raster *raster, int downshift, int upshift, int step)
{
  int least = INT32_MAX - 1;
  const int neighbours[4][2] = {{-step, -step}, {-step, 0}, {-step, step}, {0, -step}};
  for (int k = 0; k < 4; k++) {
    const int d = downshift + neighbours[k][0], u = upshift + neighbours[k][1];
    const bool is_outside = d < 0 || u < 0 || d >= raster->side || u >= raster->side;
    const int there = is_outside ? 0 : sb_raster_margin(raster, d, u);
    if (there < least) least = there;
  }
  return least;
}

void sb_raster_finish(struct sb_raster *raster, int machine_count)
{
  const int side = raster->side;
  raster->machine_count = machine_count;
  sb_counts_finish(&raster->passing);
  sb_counts_finish(&raster->shifting);
  for (int downshift = 0; downshift < side; downshift++) {
    for (int upshift = 0; upshift < side; upshift++) {
      const bool passes = downshift < upshift && downshift <= raster->greatest_downshift &&
                          sb_raster_is_clear(raster, downshift, upshift) &&
                          sb_raster_passing(raster, downshift, upshift) == machine_count &&
                          sb_raster_shifting(raster, downshift, upshift) > 0;
      raster->margin[downshift * side + upshift] = passes ? nearest(raster, downshift, upshift, 1) + 1 : 0;
    }
  }
  for (int downshift = side - 1; downshift >= 0; downshift--) {
    for (int upshift = side - 1; upshift >= 0; upshift--) {
      int32_t *margin = &raster->margin[downshift * side + upshift];
      const int from_behind = nearest(raster, downshift, upshift, -1) + 1;
      if (from_behind < *margin) *margin = from_behind;
    }
  }
}

int sb_raster_widest(const struct sb_raster *raster)
{
  int widest = 0;
  for (int i = 0; i < raster->side * raster->side; i++) {
    if (raster->margin[i] > widest) widest = raster->margin[i];
  }
  return widest;
}
