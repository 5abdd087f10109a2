// SPDX-License-Identifier: GPL-3.0-or-later
#include "map/lattice.h"

#include <math.h>

#include "theory/steady.h"
#include "theory/torque_balance.h"

double sb_map_axis_at(const struct sb_map_axis *axis, int index)
{
  return axis->first_fraction + index * axis->step_fraction;
}

struct sb_map_options sb_map_options_default(const struct sb_model *model)
{
  const struct sb_motor_line line = sb_torque_balance_line(model);
  const double fastest = sb_steady_speed_reading(model, &line, sb_motor_no_load_speed_rad_s(&line));
  const double given = model->control.threshold_step_fraction;
  const double step = given > 0.0 ? given : 0.001;
  /* A controller's thresholds end at 1000 %; 1e-9: 1 / 0.001 is 1000 steps, not 1001. */
  const double enough = ceil(fmax(1.0, 1.02 * fastest) / step - 1e-9);
  const int count = (int)fmin(enough, floor(10.0 / step + 1e-9));
  const struct sb_map_axis axis = {step, step, count};
  return (struct sb_map_options){.pair = 0, .downshift = axis, .upshift = axis, .leaf_max = SB_MAP_LEAF_MAX};
}

long sb_map_axis_number(const struct sb_map_axis *axis, int index)
{
  return lround(axis->first_fraction / axis->step_fraction) + index;
}

double sb_map_axis_pct(const struct sb_map_axis *axis, int index)
{
  return sb_fields_rounded_percent(sb_map_axis_at(axis, index));
}

int sb_map_axis_stride(const struct sb_map_axis *axis, int points)
{
  static const int round_numbers[] = {1, 2, 3, 4, 5, 8, 10, 15, 20, 25, 30, 40, 50, 80};
  const double wanted = (double)axis->count / points;
  int best = 1;
  for (int scale = 1; scale <= 10000; scale *= 100) {
    for (size_t k = 0; k < sizeof round_numbers / sizeof round_numbers[0]; k++) {
      const int stride = scale * round_numbers[k];
      if (stride <= axis->count && fabs(log(stride / wanted)) < fabs(log(best / wanted))) best = stride;
    }
  }
  return best;
}

int sb_map_axis_index(const struct sb_map_axis *axis, double fraction)
{
  return (int)lround((fraction - axis->first_fraction) / axis->step_fraction);
}

struct sb_picture_axis sb_map_picture_axis(const char *name, const struct sb_map_axis *axis)
{
  return (struct sb_picture_axis){.name = name,
                                  .unit = "%",
                                  .first = 100.0 * axis->first_fraction,
                                  .step = 100.0 * axis->step_fraction,
                                  .count = axis->count};
}

/* In whole steps, so that equal thresholds are equal. */
int sb_map_ordered_count(const struct sb_map_axis *downshift, const struct sb_map_axis *upshift, int upshift_index)
{
  const long below = sb_map_axis_number(upshift, upshift_index) - sb_map_axis_number(downshift, 0);
  return below < 0 ? 0 : below < downshift->count ? (int)below : downshift->count;
}

static long long count_points(const struct sb_map_options *options, const struct sb_map_cell *cell)
{
  long long count = 0;
  for (int upshift = cell->upshift_first; upshift <= cell->upshift_last; upshift++) {
    const int end = sb_map_ordered_count(&options->downshift, &options->upshift, upshift);
    const int last = end - 1 < cell->downshift_last ? end - 1 : cell->downshift_last;
    if (last >= cell->downshift_first) count += last - cell->downshift_first + 1;
  }
  return count;
}

long long sb_map_cell_point_count(const struct sb_map *map, const struct sb_map_cell *cell)
{
  return count_points(&map->options, cell);
}

long long sb_map_point_count(const struct sb_map *map)
{
  const struct sb_map_cell all = {.downshift_last = map->options.downshift.count - 1,
                                  .upshift_last = map->options.upshift.count - 1};
  return count_points(&map->options, &all);
}
