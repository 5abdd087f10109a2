// SPDX-License-Identifier: GPL-3.0-or-later
#include "map/margin.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>

#include "map/lattice.h"

/* A threshold this near the own one is the own one: far below any step, far above rounding. */
#define SAME 1e-9

const char *sb_map_direction_words(enum sb_map_direction direction)
{
  static const char *const words[SB_MAP_DIRECTIONS] = {"downshift lower", "downshift higher", "upshift lower",
                                                       "upshift higher"};
  return words[direction];
}

/* A map that is one point wide along the other axis. */
struct line {
  const struct sb_map *map;
  const struct sb_map_axis *axis;
  int *cells; /* of each lattice point; owned */
};

enum sb_status sb_map_line_cells(const struct sb_map *map, bool is_downshift, int **cells, struct sb_error *err)
{
  const int count = is_downshift ? map->options.downshift.count : map->options.upshift.count;
  int *out = calloc((size_t)count, sizeof *out);
  if (out == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for a line of thresholds");
  for (int k = 0; k < count; k++) out[k] = -1;
  for (size_t i = 0; i < map->cell_count; i++) {
    const struct sb_map_cell *cell = &map->cells[i];
    const int first = is_downshift ? cell->downshift_first : cell->upshift_first;
    const int last = is_downshift ? cell->downshift_last : cell->upshift_last;
    for (int k = first; k <= last; k++) out[k] = (int)i;
  }
  *cells = out;
  return SB_OK;
}

/* Walks from the own threshold in one direction until a point passes where the own one fails, or the other way round. */
static struct sb_map_margin walk(const struct line *line, double own_fraction, int step, bool passes)
{
  struct sb_map_margin margin = {.last_fraction = (double)NAN, .first_fraction = (double)NAN};
  int k = step > 0 ? 0 : line->axis->count - 1;
  assert(line->cells != NULL);
  for (; k >= 0 && k < line->axis->count; k += step) {
    const double at = sb_map_axis_at(line->axis, k);
    const double ahead = (at - own_fraction) * step;
    if (ahead < SAME) continue;
    /* A map of what passes may leave out what fails. */
    const struct sb_map_cell *cell = line->cells[k] >= 0 ? &line->map->cells[line->cells[k]] : NULL;
    const bool passes_here = cell != NULL && cell->verdict.kinds == 0;
    margin.margin_fraction = ahead;
    if (passes_here != passes) {
      margin.changes = true;
      margin.first_fraction = at;
      if (passes_here) margin.figures = cell->figures;
      break;
    }
    margin.last_fraction = at;
  }
  return margin;
}

/* The points of a lattice of whole steps between two fractions, ends left out. */
static struct sb_map_axis points_between(double low, double high, double step)
{
  const int first = (int)floor(low / step + 1e-6) + 1;
  const int last = (int)ceil(high / step - 1e-6) - 1;
  return (struct sb_map_axis){first * step, step, last - first + 1};
}

/* What a pair of thresholds comes to; *sample_count: samples simulated for it, added. */
static enum sb_status look_at(const struct sb_model *model, const struct sb_map_options *options,
                              double downshift_fraction, double upshift_fraction, struct sb_map_verdict *verdict,
                              struct sb_map_figures *figures, long long *sample_count, struct sb_error *err)
{
  struct sb_map map;
  struct sb_map_options point = *options;
  point.downshift = (struct sb_map_axis){downshift_fraction, options->downshift.step_fraction, 1};
  point.upshift = (struct sb_map_axis){upshift_fraction, options->upshift.step_fraction, 1};
  const enum sb_status status = sb_map_exact(model, &point, true, &map, err);
  if (status != SB_OK) return status;
  *verdict = map.cells[0].verdict;
  *figures = map.cells[0].figures;
  *sample_count += map.sample_count;
  sb_map_clear(&map);
  return SB_OK;
}

enum sb_status sb_map_look_at(const struct sb_model *model, const struct sb_map_options *options,
                              double downshift_fraction, double upshift_fraction, struct sb_map_verdict *verdict,
                              struct sb_map_figures *figures, struct sb_error *err)
{
  long long sample_count = 0;
  return look_at(model, options, downshift_fraction, upshift_fraction, verdict, figures, &sample_count, err);
}

/* Asks what the first failure of a direction is. */
static enum sb_status look_at_failure(const struct sb_model *model, const struct sb_map_options *options,
                                      bool is_downshift, struct sb_map_margin *margin, struct sb_map_own *own,
                                      struct sb_error *err)
{
  if (!margin->changes || !own->passes) return SB_OK;
  const double downshift = is_downshift ? margin->first_fraction : own->downshift_fraction;
  const double upshift = is_downshift ? own->upshift_fraction : margin->first_fraction;
  return look_at(model, options, downshift, upshift, &margin->verdict, &margin->figures, &own->sample_count, err);
}

/* Where it passes along one threshold is all that is asked for; then what the first failure on either side is. */
static enum sb_status look_along(const struct sb_model *model, struct sb_map_options options, bool is_downshift,
                                 struct sb_map_own *own, struct sb_error *err)
{
  const struct sb_map_axis *axis = is_downshift ? &options.downshift : &options.upshift;
  const double own_fraction = is_downshift ? own->downshift_fraction : own->upshift_fraction;
  struct sb_map_margin *lower = &own->margins[is_downshift ? SB_MAP_DOWN_LOWER : SB_MAP_UP_LOWER];
  struct sb_map_margin *higher = &own->margins[is_downshift ? SB_MAP_DOWN_HIGHER : SB_MAP_UP_HIGHER];
  *lower = *higher = (struct sb_map_margin){.last_fraction = (double)NAN, .first_fraction = (double)NAN};
  if (axis->count < 1) return SB_OK;
  struct sb_map map;
  struct line line = {&map, is_downshift ? &map.options.downshift : &map.options.upshift, NULL};
  options.is_passing_asked = true;
  enum sb_status status = sb_map_exact(model, &options, true, &map, err);
  if (status != SB_OK) return status;
  own->sample_count += map.sample_count;
  status = sb_map_line_cells(&map, is_downshift, &line.cells, err);
  if (status == SB_OK) {
    *lower = walk(&line, own_fraction, -1, own->passes);
    *higher = walk(&line, own_fraction, +1, own->passes);
  }
  free(line.cells);
  sb_map_clear(&map);
  options.is_passing_asked = false;
  if (status == SB_OK) status = look_at_failure(model, &options, is_downshift, lower, own, err);
  return status == SB_OK ? look_at_failure(model, &options, is_downshift, higher, own, err) : status;
}

enum sb_status sb_map_look_around(const struct sb_model *model, const struct sb_map_options *options,
                                  struct sb_map_own *own, struct sb_error *err)
{
  const double step = options->downshift.step_fraction;
  const struct sb_map_axis whole = sb_map_options_default(model).upshift;
  const double top = sb_map_axis_at(&whole, whole.count - 1) + 0.5 * step;
  struct sb_map_own out = {.downshift_fraction = model->control.downshift_fraction[options->pair],
                           .upshift_fraction = model->control.upshift_fraction[options->pair]};
  struct sb_map_options downshifts = *options, upshifts = *options;
  upshifts.downshift = (struct sb_map_axis){out.downshift_fraction, step, 1};
  downshifts.upshift = (struct sb_map_axis){out.upshift_fraction, step, 1};
  downshifts.downshift = points_between(0.0, fmin(1.0, out.upshift_fraction), step);
  upshifts.upshift = points_between(out.downshift_fraction, fmax(top, out.upshift_fraction), step);
  enum sb_status status = look_at(model, options, out.downshift_fraction, out.upshift_fraction, &out.verdict,
                                  &out.figures, &out.sample_count, err);
  out.passes = out.verdict.kinds == 0;
  if (status == SB_OK) status = look_along(model, downshifts, true, &out, err);
  if (status == SB_OK) status = look_along(model, upshifts, false, &out, err);
  if (status == SB_OK) *own = out;
  return status;
}
