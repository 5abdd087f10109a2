// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/grid.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "shiftband/run.h"

double sb_grid_axis_value(const struct sb_grid_axis *axis, int index)
{
  const int last = axis->points - 1;
  if (index == 0 || last < 1) return axis->from;
  if (index == last) return axis->to;
  return (axis->from * (last - index) + axis->to * index) / last;
}

/* To twelve digits: rounding errors of the division above are not asked for. */
static void put_value(const struct sb_grid_axis *axis, int index, char *out, size_t size)
{
  snprintf(out, size, "%.12g", sb_grid_axis_value(axis, index));
}

const char *sb_grid_axis_set(const struct sb_grid_axis *axis, int index, char text[SB_GRID_SET_SIZE])
{
  char value[40];
  put_value(axis, index, value, sizeof value);
  snprintf(text, SB_GRID_SET_SIZE, "%s=%s%s%s", axis->path, value, axis->unit[0] != 0 ? " " : "", axis->unit);
  return text;
}

long sb_grid_point_count(const struct sb_grid *grid)
{
  long count = 1;
  for (int a = 0; a < grid->axis_count; a++) count *= grid->axes[a].points;
  return count;
}

int sb_grid_index(const struct sb_grid *grid, long point, int axis)
{
  const long first = grid->axes[0].points;
  return (int)(axis == 0 ? point % first : point / first);
}

static enum sb_status run_model(const struct sb_model *model, const struct sb_decider *decider,
                                struct sb_grid_point *out, struct sb_error *err)
{
  struct sb_run_options options = sb_run_options_default();
  options.decider = decider;
  struct sb_run_result result;
  const enum sb_status status = sb_run(model, &options, &result, err);
  if (status == SB_ERR_NUMERICS) {
    *out = (struct sb_grid_point){.end = SB_GRID_GAVE_UP};
    return SB_OK;
  }
  if (status != SB_OK) return status;
  *out = (struct sb_grid_point){.end = SB_GRID_RAN,
                                .verdict = sb_map_verdict_of(&result.monitor),
                                .figures = {.shift_count = (long)result.monitor.shift_count,
                                            .output_turns = result.end.output_turns,
                                            .given_j = result.sums.energy.given,
                                            .greatest_torque_nm = fabs(result.sums.output_torque_nm.value)},
                                .standstill_s = result.sums.standstill_time_s};
  sb_run_result_clear(&result);
  return SB_OK;
}

/* Loads the scenario with the sets and the point's own behind them; SB_ERR_SCENARIO: it is none there. */
static enum sb_status load_point(const struct sb_grid *grid, const char *path, const char *const *sets,
                                 size_t set_count, long point, struct sb_scenario *out, struct sb_error *err)
{
  const char **all = calloc(set_count + SB_GRID_AXIS_MAX, sizeof *all);
  char texts[SB_GRID_AXIS_MAX][SB_GRID_SET_SIZE];
  if (all == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for a point of the grid");
  size_t count = 0;
  for (; count < set_count; count++) all[count] = sets[count];
  for (int a = 0; a < grid->axis_count; a++) {
    all[count++] = sb_grid_axis_set(&grid->axes[a], sb_grid_index(grid, point, a), texts[a]);
  }
  struct sb_faults faults;
  const enum sb_status status = sb_scenario_load(path, all, count, out, &faults);
  if (status != SB_OK) sb_fail(err, status, "%s", faults.count > 0 ? faults.texts[0] : sb_status_text(status));
  sb_faults_clear(&faults);
  free(all);
  return status;
}

enum sb_status sb_grid_run(const struct sb_grid *grid, const char *path, const char *const *sets, size_t set_count,
                           const struct sb_decider *decider, long point, struct sb_grid_point *out,
                           struct sb_error *err)
{
  struct sb_scenario *scenario = malloc(sizeof *scenario); /* large, and threads have small stacks */
  if (scenario == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for a point of the grid");
  enum sb_status status = load_point(grid, path, sets, set_count, point, scenario, err);
  if (status == SB_ERR_SCENARIO) {
    *out = (struct sb_grid_point){.end = SB_GRID_REFUSED};
    status = SB_OK;
  } else if (status == SB_OK) {
    status = run_model(&scenario->model, decider, out, err);
    sb_scenario_clear(scenario);
  }
  free(scenario);
  return status;
}
