// SPDX-License-Identifier: GPL-3.0-or-later
/* The map command's grid over any keys. */
#include <stdlib.h>

#include "cli/command.h"
#include "cli/map_request.h"
#include "map/report.h"

/* What the tasks of the study share. */
struct vary {
  const struct sb_map_request *request;
  struct sb_grid grid;
};

static enum sb_status run_point(void *context, long index, struct sb_lines *out, struct sb_error *err)
{
  const struct vary *vary = context;
  const struct sb_map_request *request = vary->request;
  struct sb_grid_point point;
  const enum sb_status status = sb_grid_run(&vary->grid, request->file, request->sets.items, request->sets.count,
                                            sb_own_options_decider(&request->own), index, &point, err);
  if (status == SB_OK) sb_grid_write_row(out, &vary->grid, index, &point);
  return status;
}

static int read_axes(const struct sb_map_request *request, const struct sb_scenario *scenario, struct sb_grid *grid)
{
  const int points = request->points > 0 ? (int)request->points : SB_GRID_POINTS_DEFAULT;
  snprintf(grid->scenario, sizeof grid->scenario, "%s", scenario->model.name);
  grid->axis_count = (int)request->vary.count;
  for (int a = 0; a < grid->axis_count; a++) {
    struct sb_error err;
    const enum sb_status status = sb_grid_axis_parse(request->vary.items[a], scenario, points, &grid->axes[a], &err);
    if (status == SB_ERR_USAGE) return sb_command_usage("--vary: %s", err.text);
    if (status != SB_OK) {
      sb_command_complain("%s", err.text);
      return sb_command_exit(status);
    }
  }
  return SB_EXIT_DONE;
}

static int write_csv(FILE *out, const void *context)
{
  const struct sb_tasks_result *result = context;
  struct sb_grid grid;
  struct sb_lines header = {.text = NULL};
  sb_grid_read(result->about, &grid);
  sb_grid_write_header(&header, &grid);
  fwrite(header.text, 1, header.length, out);
  const bool is_whole = !header.is_out_of_memory;
  sb_lines_clear(&header);
  for (long i = 0; i < result->task_count; i++) fwrite(result->tasks[i].text, 1, result->tasks[i].length, out);
  return is_whole && !ferror(out) ? 0 : -1;
}

static int report(const struct sb_map_request *request, const struct sb_grid *grid, const struct sb_grid_point *points)
{
  struct sb_error err;
  if (request->is_json) {
    struct sb_json json;
    sb_json_init(&json, stdout);
    sb_grid_write_json(&json, grid, points);
    sb_json_end(&json);
    return SB_EXIT_DONE;
  }
  const enum sb_status status = sb_grid_write_text(sb_map_words_stream(request), grid, points, &err);
  if (status != SB_OK) sb_command_complain("%s", err.text);
  return sb_command_exit(status);
}

/* Reads all rows back; false when one is none. */
static bool read_rows(const struct sb_tasks_result *result, const struct sb_grid *grid, struct sb_grid_point *points)
{
  if (result->task_count != sb_grid_point_count(grid)) return false;
  for (long i = 0; i < result->task_count; i++) {
    const char *row = result->tasks[i].text;
    if (row == NULL || !sb_grid_read_row(row, grid, &points[i])) return false;
  }
  return true;
}

int sb_map_finish_vary(const struct sb_map_request *request, const struct sb_tasks_result *result, bool *is_ours)
{
  struct sb_grid grid;
  *is_ours = sb_grid_read(result->about, &grid);
  if (!*is_ours) return SB_EXIT_DONE;
  struct sb_grid_point *points = calloc((size_t)result->task_count, sizeof *points);
  int code = SB_EXIT_DONE;
  if (points == NULL) {
    code = sb_command_fail(NULL, SB_ERR_MEMORY, NULL);
  } else if (!read_rows(result, &grid, points)) {
    sb_command_complain("the results of this study cannot be read");
    code = SB_EXIT_SCENARIO;
  }
  if (code == SB_EXIT_DONE && request->work.output != NULL) {
    code = sb_command_write_file(request->work.output, (struct sb_command_writer){write_csv, result});
  }
  if (code == SB_EXIT_DONE) code = report(request, &grid, points);
  free(points);
  return code;
}

/* Runs and finishes the grid of `vary`. */
static int run_grid(struct sb_map_request *request, const struct sb_scenario *scenario, struct vary *vary)
{
  struct sb_lines about = {.text = NULL};
  uint64_t identity = 0;
  const struct sb_decider *decider = sb_own_options_decider(&request->own);
  if (decider != NULL) snprintf(vary->grid.controller, sizeof vary->grid.controller, "%s", decider->name);
  int code = sb_map_identify(request, scenario, &identity);
  if (code == SB_EXIT_DONE) code = sb_own_options_hash(&request->own, &identity);
  if (code != SB_EXIT_DONE) return code;
  sb_grid_write(&about, &vary->grid);
  const struct sb_tasks study = {.identity = identity,
                                 .about = about.text != NULL ? about.text : "",
                                 .task_count = sb_grid_point_count(&vary->grid),
                                 .run_task = run_point,
                                 .context = vary};
  code = sb_map_run_study(request, &study, "points", sb_map_finish_vary);
  sb_lines_clear(&about);
  return code;
}

int sb_map_do_vary(struct sb_map_request *request, const struct sb_scenario *scenario)
{
  struct vary vary = {.request = request};
  const int code = read_axes(request, scenario, &vary.grid);
  return code == SB_EXIT_DONE ? run_grid(request, scenario, &vary) : code;
}

/* A threshold over a thinned lattice: whole multiples of `stride` steps. */
static int lay_axis(const struct sb_scenario *scenario, const char *name, int pair, const struct sb_map_axis *axis,
                    long stride, struct sb_grid_axis *out)
{
  char text[SB_GRID_SET_SIZE];
  struct sb_error err;
  const long first = sb_map_axis_number(axis, 0), last = sb_map_axis_number(axis, axis->count - 1);
  const long from = (first + stride - 1) / stride, to = last / stride;
  const double step_pct = sb_map_pct(axis->step_fraction) * (double)stride;
  snprintf(text, sizeof text, "controller.%s=%.12g..%.12g %%", name, step_pct * (double)from, step_pct * (double)to);
  enum sb_status status = sb_grid_axis_parse(text, scenario, (int)(to - from) + 1, out, &err);
  if (status == SB_ERR_USAGE) { /* a list of thresholds: one a pair */
    snprintf(text, sizeof text, "controller.%s.%d=%.12g..%.12g %%", name, pair + 1, step_pct * (double)from,
             step_pct * (double)to);
    status = sb_grid_axis_parse(text, scenario, (int)(to - from) + 1, out, &err);
  }
  if (status != SB_OK) sb_command_complain("%s", err.text);
  return sb_command_exit(status);
}

int sb_map_do_plane_grid(struct sb_map_request *request, const struct sb_scenario *scenario)
{
  struct vary vary = {.request = request};
  struct sb_map_options plane;
  int code = sb_map_read_plane(request, scenario, &plane);
  if (code != SB_EXIT_DONE) return code;
  const int points = request->points > 0 ? (int)request->points : SB_GRID_POINTS_DEFAULT;
  const int down_stride = sb_map_axis_stride(&plane.down, points), up_stride = sb_map_axis_stride(&plane.up, points);
  snprintf(vary.grid.scenario, sizeof vary.grid.scenario, "%s", scenario->model.name);
  vary.grid.axis_count = 2;
  code = lay_axis(scenario, "downshift_below", plane.pair, &plane.down, down_stride, &vary.grid.axes[0]);
  if (code == SB_EXIT_DONE)
    code = lay_axis(scenario, "upshift_above", plane.pair, &plane.up, up_stride, &vary.grid.axes[1]);
  return code == SB_EXIT_DONE ? run_grid(request, scenario, &vary) : code;
}
