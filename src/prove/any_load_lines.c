// SPDX-License-Identifier: GPL-3.0-or-later
#include "prove/any_load_lines.h"

#include <math.h>
#include <stdlib.h>

#include "prove/edge_course.h"
#include "shiftband/run.h"
#include "theory/steady.h"

/* Cells of the grid, as a share of the reference. */
static const double grid_share = 0.005;

/* ---- one shift ---- */

struct asking {
  struct sb_any_lines *lines;
  struct sb_edges *edges;
  bool is_doubtful; /* of the line that is calculated */
};

/* The speed at a sample after a shift from a speed; anything that the closed forms do not cover is noted. */
static double after(struct asking *asking, enum sb_edge_side side, int gear, double motor_rad_s, int sample)
{
  struct sb_edges *edges = asking->edges;
  const struct sb_corner from = sb_edge_corner(edges, gear, motor_rad_s);
  const struct sb_edge_passage passage = sb_edge_pass(edges, side, gear, 1 - gear, &from, sample);
  const double dwell_s = asking->lines->dwell * edges->sample_s;
  if (!(passage.engaged_s <= dwell_s * (1.0 + 1e-9)) || passage.is_slipping || passage.corner.motor_rad_s < 0.0) {
    asking->is_doubtful = true;
  }
  return passage.corner.motor_rad_s;
}

static double standing_after(struct asking *asking, int gear, double motor_rad_s)
{
  const struct sb_corner from = sb_edge_corner(asking->edges, gear, motor_rad_s);
  return sb_edge_standing_after_s(asking->edges, gear, 1 - gear, &from, asking->lines->last);
}

/* The speed in a gear after as many samples as it takes to decide. */
static double waited(struct asking *asking, enum sb_edge_side side, int gear, double motor_rad_s)
{
  struct sb_edges *edges = asking->edges;
  struct sb_corner corner = sb_edge_corner(edges, gear, motor_rad_s);
  struct sb_span span = {corner, corner, false, false};
  for (int k = 0; k < asking->lines->debounce; k++) {
    span = sb_edge_sample(edges, gear, &span);
    asking->is_doubtful = asking->is_doubtful || sb_span_is_boxed(&span) || span.low.motor_rad_s < 0.0;
  }
  return side == SB_EDGE_SLOW ? span.low.motor_rad_s : span.high.motor_rad_s;
}

/* Whether a clutch transmits all that a gear asks of it, under all loads, in a state that waits. */
static void check_clutch(struct asking *asking, int gear, double motor_rad_s)
{
  if (!asking->edges->has_clutch) return;
  const struct sb_corner corner = sb_edge_corner(asking->edges, gear, motor_rad_s);
  const struct sb_span span = {corner, corner, false, false};
  const struct sb_span next = sb_edge_sample(asking->edges, gear, &span);
  if (sb_span_is_boxed(&next)) asking->is_doubtful = true;
}

/* ---- rows and columns ---- */

static struct sb_any_row row_at(struct asking *asking, const struct sb_motor_line *line, double threshold_fraction)
{
  const struct sb_model *model = asking->lines->model;
  const struct sb_sensor *sensor = &model->control.sensor;
  const double reading = (sb_sensor_down_count(sensor, threshold_fraction) - 0.5) * sb_sensor_count_fraction(sensor);
  struct sb_any_row row = {.speed_rad_s = reading * sensor->reference_rad_s};
  asking->is_doubtful = false;
  row.steady_nm = sb_steady_load_nm(model, line, 1, reading);
  row.is_passed = asking->lines->heaviest_rad_s[1] < row.speed_rad_s;
  row.fallen_rad_s = waited(asking, SB_EDGE_SLOW, 1, row.speed_rad_s);
  const struct sb_corner at = sb_edge_corner(asking->edges, 1, row.speed_rad_s);
  row.standing_s = fmax(sb_edge_standing_s(asking->edges, SB_EDGE_SLOW, 1, &at, asking->lines->debounce),
                        row.is_passed ? standing_after(asking, 1, row.fallen_rad_s) : 0.0);
  row.waiting_rad_s = after(asking, SB_EDGE_SLOW, 1, row.fallen_rad_s, asking->lines->dwell);
  row.last_rad_s = after(asking, SB_EDGE_FAST, 1, row.speed_rad_s, asking->lines->last);
  check_clutch(asking, 0, row.waiting_rad_s);
  check_clutch(asking, 0, row.last_rad_s);
  row.is_doubtful = asking->is_doubtful;
  return row;
}

static struct sb_any_column column_at(struct asking *asking, const struct sb_motor_line *line,
                                      double threshold_fraction)
{
  const struct sb_model *model = asking->lines->model;
  const struct sb_sensor *sensor = &model->control.sensor;
  const double reading = (sb_sensor_up_count(sensor, threshold_fraction) + 0.5) * sb_sensor_count_fraction(sensor);
  struct sb_any_column column = {.speed_rad_s = reading * sensor->reference_rad_s};
  asking->is_doubtful = false;
  column.steady_nm = sb_steady_load_nm(model, line, 0, reading);
  column.is_passed = asking->lines->lightest_rad_s[0] > column.speed_rad_s;
  column.risen_rad_s = waited(asking, SB_EDGE_FAST, 0, column.speed_rad_s);
  column.standing_s = standing_after(asking, 0, column.speed_rad_s);
  column.first_rad_s = after(asking, SB_EDGE_SLOW, 0, column.speed_rad_s, asking->lines->dwell);
  column.last_rad_s = after(asking, SB_EDGE_SLOW, 0, column.speed_rad_s, asking->lines->last);
  column.waiting_rad_s = after(asking, SB_EDGE_SLOW, 1, column.last_rad_s, asking->lines->dwell);
  check_clutch(asking, 1, column.first_rad_s);
  check_clutch(asking, 0, column.waiting_rad_s);
  column.is_doubtful = asking->is_doubtful;
  return column;
}

/* ---- a swing arm's grid ---- */

/* The speed at the last sample after shifts from all speeds of the grid: up on the slowest course, down on the fastest. */
static void fill_arrivals(struct asking *asking, double *up_rad_s, double *down_rad_s)
{
  const struct sb_any_grid *grid = &asking->lines->grid;
  for (int k = 0; k < grid->count; k++) {
    const double speed = k * grid->width_rad_s;
    asking->is_doubtful = false;
    up_rad_s[k] = after(asking, SB_EDGE_SLOW, 0, speed, asking->lines->last);
    if (asking->is_doubtful) up_rad_s[k] = -INFINITY;
    asking->is_doubtful = false;
    down_rad_s[k] = after(asking, SB_EDGE_FAST, 1, speed, asking->lines->last);
    if (asking->is_doubtful) down_rad_s[k] = INFINITY;
  }
}

static void fill_grid(struct asking *asking)
{
  struct sb_any_lines *lines = asking->lines;
  struct sb_any_grid *grid = &lines->grid;
  const double reference = lines->model->control.sensor.reference_rad_s;
  const double top = 1.05 * fmax(reference, fmax(lines->lightest_rad_s[0], lines->lightest_rad_s[1]));
  grid->width_rad_s = fmax(grid_share * reference, top / (SB_ANY_GRID_MAX - 2));
  grid->count = (int)ceil(top / grid->width_rad_s) + 1;
  fill_arrivals(asking, grid->up_last_rad_s, grid->down_last_rad_s);
  for (int k = 0; k < grid->count; k++) {
    const double speed = k * grid->width_rad_s;
    grid->up_standing_s[k] = standing_after(asking, 0, speed);
    grid->down_standing_s[k] = standing_after(asking, 1, speed);
  }
}

double sb_any_grid_least(const struct sb_any_grid *grid, const double *values, double sign, double from_rad_s,
                         double to_rad_s)
{
  if (grid->count == 0) return INFINITY;
  const int last = grid->count - 1;
  const int from = (int)fmin(fmax(floor(from_rad_s / grid->width_rad_s), 0.0), last);
  const int to = (int)fmin(fmax(ceil(to_rad_s / grid->width_rad_s), 0.0), last);
  double least = sign * values[from];
  for (int k = from + 1; k <= to; k++) {
    const double here = sign * values[k], before = sign * values[k - 1];
    least = fmin(least, fmin(here, before) - 0.5 * fabs(here - before));
  }
  return least;
}

/* ---- what hangs on no threshold ---- */

static double steady(struct sb_edges *edges, enum sb_edge_side side, int gear, bool *is_slipping)
{
  const struct sb_corner middle = sb_edge_corner(edges, gear, 0.5 * edges->model->control.sensor.reference_rad_s);
  edges->now.has_slipped = false;
  const double speed_rad_s = sb_edge_limit(edges, side, gear, &middle).motor_rad_s;
  *is_slipping = edges->has_clutch && sb_edge_is_slipping(edges, side);
  return speed_rad_s;
}

static void begin(struct asking *asking)
{
  struct sb_any_lines *lines = asking->lines;
  struct sb_edges *edges = asking->edges;
  const struct sb_controller_setup setup = sb_run_controller_setup(lines->model);
  lines->dwell = setup.dwell_samples > 0 ? (int)setup.dwell_samples : 1;
  lines->debounce = setup.debounce_samples > 0 ? setup.debounce_samples : 1;
  lines->last = lines->dwell + lines->debounce - 1;
  lines->start_gear = lines->model->control.start_gear - 1;
  double standing_s;
  lines->start = sb_edge_start(edges, lines->start_gear, (int)setup.start_delay_samples, &lines->start_standing_s);
  lines->start_last =
      sb_edge_start(edges, lines->start_gear, (int)setup.start_delay_samples + lines->debounce - 1, &standing_s);
  if (lines->start_standing_s > 0.0) lines->start_standing_s += (lines->debounce - 1) * edges->sample_s;
  bool is_light_slipping[2], is_heavy_slipping[2];
  for (int gear = 0; gear < 2; gear++) {
    lines->lightest_rad_s[gear] = steady(edges, SB_EDGE_FAST, gear, &is_light_slipping[gear]);
    lines->heaviest_rad_s[gear] = steady(edges, SB_EDGE_SLOW, gear, &is_heavy_slipping[gear]);
  }
  lines->is_fast_slipping = is_heavy_slipping[1];
  const double low = fmin(lines->start.low.motor_rad_s, lines->start_last.low.motor_rad_s);
  asking->is_doubtful = sb_span_is_boxed(&lines->start) || sb_span_is_boxed(&lines->start_last) || low < 0.0;
  if (is_heavy_slipping[0] || is_light_slipping[0] || is_light_slipping[1]) asking->is_doubtful = true;
  check_clutch(asking, lines->start_gear, lines->start.low.motor_rad_s);
  check_clutch(asking, 1, lines->lightest_rad_s[1]);
  if (lines->start_gear == 1) {
    lines->start_waiting_rad_s = after(asking, SB_EDGE_SLOW, 1, lines->start_last.low.motor_rad_s, lines->dwell);
  }
  lines->is_doubtful = asking->is_doubtful;
}

enum sb_status sb_any_lines_init(struct sb_any_lines *lines, struct sb_edges *edges,
                                 const struct sb_map_axis *downshift, const struct sb_map_axis *upshift,
                                 struct sb_error *err)
{
  const struct sb_model *model = edges->model;
  const struct sb_motor_line line = sb_motor_line_driven(&model->motor, &model->supply, model->drive.limit_fraction);
  *lines =
      (struct sb_any_lines){.model = model, .full = edges->load, .has_arm = model->shifter.ops->is_direction_selected};
  const double *acting = lines->full.acting_nm, *resisting = lines->full.resisting_nm;
  lines->is_acting = acting[1] - acting[0] > resisting[1] - resisting[0];
  lines->rows = calloc((size_t)downshift->count, sizeof *lines->rows);
  lines->columns = calloc((size_t)upshift->count, sizeof *lines->columns);
  if (lines->rows == NULL || lines->columns == NULL) {
    sb_any_lines_clear(lines);
    return sb_fail(err, SB_ERR_MEMORY, "out of memory for a plane of thresholds");
  }
  struct asking asking = {lines, edges, false};
  begin(&asking);
  for (int i = 0; i < downshift->count; i++) lines->rows[i] = row_at(&asking, &line, sb_map_axis_at(downshift, i));
  for (int j = 0; j < upshift->count; j++) lines->columns[j] = column_at(&asking, &line, sb_map_axis_at(upshift, j));
  if (lines->has_arm) fill_grid(&asking);
  if (edges->status == SB_OK) return SB_OK;
  *err = edges->err;
  sb_any_lines_clear(lines);
  return edges->status;
}

enum sb_status sb_any_lines_lay_sheets(struct sb_any_lines *lines, struct sb_edges *edges, struct sb_error *err)
{
  struct sb_any_sheets *sheets = &lines->sheets;
  struct asking asking = {lines, edges, false};
  const double *varied = sb_any_varied_nm(lines);
  if (!lines->has_arm) return SB_OK;
  for (int k = 0; k < SB_ANY_SHEETS_MAX; k++) {
    sheets->load_nm[k] = varied[0] + (varied[1] - varied[0]) * k / (SB_ANY_SHEETS_MAX - 1);
    const struct sb_edge_load load = sb_any_constant(lines, sheets->load_nm[k]);
    sb_edge_bind(edges, &load);
    fill_arrivals(&asking, sheets->up_last_rad_s[k], sheets->down_last_rad_s[k]);
  }
  sheets->count = SB_ANY_SHEETS_MAX;
  sb_edge_bind(edges, &lines->full);
  if (edges->status != SB_OK) *err = edges->err;
  return edges->status;
}

void sb_any_lines_clear(struct sb_any_lines *lines)
{
  free(lines->rows);
  free(lines->columns);
  lines->rows = NULL;
  lines->columns = NULL;
}

const double *sb_any_varied_nm(const struct sb_any_lines *lines)
{
  return lines->is_acting ? lines->full.acting_nm : lines->full.resisting_nm;
}

struct sb_edge_load sb_any_constant(const struct sb_any_lines *lines, double varied_nm)
{
  struct sb_edge_load load = lines->full;
  double *range = lines->is_acting ? load.acting_nm : load.resisting_nm;
  range[0] = range[1] = varied_nm;
  return load;
}
