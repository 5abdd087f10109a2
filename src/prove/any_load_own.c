// SPDX-License-Identifier: GPL-3.0-or-later
/* any_load_own.c - how far the scenario's own thresholds are from another verdict, and how much of a plane each verdict has. */
#include <math.h>

#include "map/lattice.h"
#include "prove/any_load_report.h"

/* Thresholds closer than this share of the reference are one. */
static const double same = 1e-9;

/* Walks along a line of the lattice from the own threshold until something else comes. */
static struct sb_any_load_margin walk(const struct sb_any_load *line, bool is_downshift, double own_fraction, int step,
                                      enum sb_any_load_class own)
{
  const struct sb_map_axis *axis = is_downshift ? &line->options.downshift : &line->options.upshift;
  struct sb_any_load_margin margin = {.first_fraction = NAN, .class = own};
  for (int k = step > 0 ? 0 : axis->count - 1; k >= 0 && k < axis->count; k += step) {
    const double at = sb_map_axis_at(axis, k), ahead = (at - own_fraction) * step;
    if (ahead < same) continue;
    const enum sb_any_load_class here = line->points[k].class;
    margin.fraction = ahead;
    if (here == own) continue;
    margin.changes = true;
    margin.first_fraction = at;
    margin.class = here;
    break;
  }
  return margin;
}

/* The lattice's points between two fractions, ends left out. */
static struct sb_map_axis between(const struct sb_map_axis *axis, double low, double high)
{
  const double step = axis->step_fraction;
  const int first = (int)floor(low / step + 1e-6) + 1, last = (int)ceil(high / step - 1e-6) - 1;
  return (struct sb_map_axis){first * step, step, last - first + 1};
}

static enum sb_status look_along(const struct sb_any_load *plane, bool is_downshift, struct sb_any_load_own *own,
                                 struct sb_error *err)
{
  const struct sb_map_axis whole = sb_map_options_default(plane->model).upshift;
  struct sb_any_load_options options = plane->options;
  struct sb_map_axis *along = is_downshift ? &options.downshift : &options.upshift;
  struct sb_map_axis *kept = is_downshift ? &options.upshift : &options.downshift;
  const double at = is_downshift ? own->downshift_fraction : own->upshift_fraction;
  const double step = along->step_fraction;
  const double top = floor(sb_map_axis_at(&whole, whole.count - 1) / step + 1e-6) * step;
  *kept = (struct sb_map_axis){is_downshift ? own->upshift_fraction : own->downshift_fraction, step, 1};
  *along = is_downshift ? between(along, 0.0, fmin(1.0, own->upshift_fraction))
                        : between(along, own->downshift_fraction, top + step);
  struct sb_any_load_margin *lower = &own->margins[is_downshift ? SB_MAP_DOWN_LOWER : SB_MAP_UP_LOWER];
  struct sb_any_load_margin *higher = &own->margins[is_downshift ? SB_MAP_DOWN_HIGHER : SB_MAP_UP_HIGHER];
  *lower = *higher = (struct sb_any_load_margin){.first_fraction = NAN};
  if (along->count < 1) return SB_OK;
  struct sb_any_load line;
  const enum sb_status status = sb_any_load_solve(plane->model, &options, &line, err);
  if (status != SB_OK) return status;
  *lower = walk(&line, is_downshift, at, -1, own->point.class);
  *higher = walk(&line, is_downshift, at, +1, own->point.class);
  sb_any_load_clear(&line);
  return SB_OK;
}

enum sb_status sb_any_load_look_around(const struct sb_any_load *plane, struct sb_any_load_own *own,
                                       struct sb_error *err)
{
  const struct sb_control *control = &plane->model->control;
  const int pair = plane->options.pair;
  struct sb_any_load_own out = {.downshift_fraction = control->downshift_fraction[pair],
                                .upshift_fraction = control->upshift_fraction[pair]};
  enum sb_status status =
      sb_any_load_look_at(plane->model, pair, out.downshift_fraction, out.upshift_fraction, &out.point, err);
  if (status == SB_OK) status = look_along(plane, true, &out, err);
  if (status == SB_OK) status = look_along(plane, false, &out, err);
  if (status == SB_OK) *own = out;
  return status;
}

struct sb_any_load_shares sb_any_load_shares(const struct sb_any_load *plane)
{
  const struct sb_any_load_options *options = &plane->options;
  struct sb_any_load_shares shares = {0};
  for (int j = 0; j < options->upshift.count; j++) {
    const int ordered = sb_map_ordered_count(&options->downshift, &options->upshift, j);
    for (int i = 0; i < ordered; i++) {
      const struct sb_any_load_point *point = sb_any_load_at(plane, i, j);
      shares.points++;
      shares.by_sets += point->is_by_sets;
      shares.classes[point->class]++;
    }
  }
  return shares;
}
