// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/charges.h"

#include <math.h>
#include <stdlib.h>

#include "map/report.h"
#include "shiftband/discharge.h"

static double share_that_holds(const struct sb_map *map)
{
  long long holds = 0;
  for (size_t i = 0; i < map->cell_count; i++) {
    if (map->cells[i].verdict.kinds == 0) holds += sb_map_cell_point_count(map, &map->cells[i]);
  }
  const long long all = sb_map_point_count(map);
  return all > 0 ? (double)holds / (double)all : 0.0;
}

/* Points of the plane's axis on one side of a threshold. */
static struct sb_map_axis side_of(const struct sb_map_axis *axis, double fraction, bool is_above)
{
  const double slack = 1e-6; /* of a step: far below it, far above rounding */
  const double place = (fraction - axis->first_fraction) / axis->step_fraction;
  const int first = is_above ? (int)fmax(floor(place + slack) + 1.0, 0.0) : 0;
  const int end = is_above ? axis->count : (int)fmin(ceil(place - slack), (double)axis->count);
  return (struct sb_map_axis){sb_map_axis_at(axis, first), axis->step_fraction, end - first};
}

/* The unbroken stretch of lattice points that hold, around the point nearest to a threshold. */
static struct sb_map_held stretch_near(const struct sb_map_axis *axis, const bool *holds, double fraction)
{
  const double place = (fraction - axis->first_fraction) / axis->step_fraction;
  int nearest = -1;
  for (int k = 0; k < axis->count; k++) {
    if (holds[k] && (nearest < 0 || fabs((double)k - place) < fabs((double)nearest - place))) nearest = k;
  }
  if (nearest < 0) return (struct sb_map_held){NAN, NAN};
  int first = nearest, last = nearest;
  while (first > 0 && holds[first - 1]) first--;
  while (last + 1 < axis->count && holds[last + 1]) last++;
  return (struct sb_map_held){sb_map_axis_at(axis, first), sb_map_axis_at(axis, last)};
}

/* Maps a line of one threshold with the other at its own, and finds where it holds. */
static enum sb_status look_along(const struct sb_model *model, const struct sb_map_options *options, bool is_down,
                                 struct sb_map_held *held, struct sb_error *err)
{
  struct sb_map map;
  const struct sb_map_axis *axis = is_down ? &options->down : &options->up;
  const int pair = options->pair;
  const double own = is_down ? model->control.downshift_fraction[pair] : model->control.upshift_fraction[pair];
  *held = (struct sb_map_held){NAN, NAN};
  if (axis->count < 1) return SB_OK;
  bool *holds = calloc((size_t)axis->count, sizeof *holds);
  if (holds == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for a line of thresholds");
  const enum sb_status status = sb_map_exact(model, options, true, &map, err);
  if (status == SB_OK) {
    for (size_t i = 0; i < map.cell_count; i++) {
      const struct sb_map_cell *cell = &map.cells[i];
      const int first = is_down ? cell->down_first : cell->up_first;
      const int last = is_down ? cell->down_last : cell->up_last;
      for (int k = first; k <= last; k++) holds[k] = cell->verdict.kinds == 0;
    }
    *held = stretch_near(axis, holds, own);
    sb_map_clear(&map);
  }
  free(holds);
  return status;
}

static enum sb_status look_at_own(const struct sb_model *model, const struct sb_map_options *options,
                                  struct sb_map_charge *at, struct sb_error *err)
{
  struct sb_map map;
  const enum sb_status status = sb_map_exact(model, options, true, &map, err);
  if (status != SB_OK) return status;
  at->verdict = map.cells[0].verdict;
  at->figures = map.cells[0].figures;
  sb_map_clear(&map);
  return SB_OK;
}

/* The whole map at one charge, then lines through the own thresholds, which need not lie on the lattice. */
static enum sb_status map_at(const struct sb_model *full, const struct sb_map_options *plane, struct sb_map_charge *at,
                             struct sb_error *err)
{
  struct sb_map map;
  struct sb_model model = *full;
  const double down = model.control.downshift_fraction[plane->pair], up = model.control.upshift_fraction[plane->pair];
  sb_discharge_set(&model, at->charge_fraction);
  at->voltage_v = model.supply.open_circuit_voltage_v;
  enum sb_status status = sb_map_exact(&model, plane, true, &map, err);
  if (status != SB_OK) return status;
  at->safe_share = share_that_holds(&map);
  sb_map_clear(&map);

  struct sb_map_options own = *plane, ups = *plane, downs = *plane;
  own.down = ups.down = (struct sb_map_axis){down, plane->down.step_fraction, 1};
  own.up = downs.up = (struct sb_map_axis){up, plane->up.step_fraction, 1};
  ups.up = side_of(&plane->up, down, true);
  downs.down = side_of(&plane->down, up, false);
  status = look_at_own(&model, &own, at, err);
  if (status == SB_OK) status = look_along(&model, &ups, false, &at->up, err);
  if (status == SB_OK) status = look_along(&model, &downs, true, &at->down, err);
  return status;
}

/* Evenly from full to the end in use. */
static enum sb_status fill_charges(const struct sb_model *model, struct sb_map_charge *charges, int count,
                                   struct sb_error *err)
{
  struct sb_discharge discharge;
  const enum sb_status status = sb_discharge_solve(model, &discharge, err);
  if (status != SB_OK) return status;
  const double end = sb_discharge_end_fraction(model, &discharge);
  for (int k = 0; k < count; k++) {
    const double share = count > 1 ? (double)k / (double)(count - 1) : 0.0;
    charges[k].charge_fraction = 1.0 - share * (1.0 - end);
  }
  return SB_OK;
}

enum sb_status sb_map_over_discharge(const struct sb_model *model, const struct sb_map_options *options,
                                     struct sb_map_charge *charges, int count, struct sb_error *err)
{
  enum sb_status worst = fill_charges(model, charges, count, err);
  if (worst != SB_OK) return worst;
#pragma omp parallel for schedule(dynamic)
  for (int k = 0; k < count; k++) {
    struct sb_error own = {SB_OK, ""};
    const enum sb_status status = map_at(model, options, &charges[k], &own);
    if (status == SB_OK) continue;
#pragma omp critical
    {
      worst = status;
      if (err != NULL) *err = own;
    }
  }
  return worst;
}
