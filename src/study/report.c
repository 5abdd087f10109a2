// SPDX-License-Identifier: GPL-3.0-or-later
/* What the points of a grid came to: picture, table, JSON. */
#include <string.h>

#include "map/report.h"
#include "study/grid.h"

/* Marks beside the letters of verdicts. */
enum { REFUSED_MARK = 'x', GAVE_UP_MARK = '?' };

static char mark_of(const struct sb_grid_point *point)
{
  if (point->end == SB_GRID_REFUSED) return REFUSED_MARK;
  if (point->end == SB_GRID_GAVE_UP) return GAVE_UP_MARK;
  return sb_map_class_letter(sb_map_class_of(&point->verdict));
}

static const char *words_of(const struct sb_grid_point *point)
{
  if (point->end == SB_GRID_REFUSED) return "refused: no valid scenario";
  if (point->end == SB_GRID_GAVE_UP) return "the numerics gave up";
  return sb_map_class_words(sb_map_class_of(&point->verdict));
}

static struct sb_picture_axis picture_axis(const struct sb_grid *grid, int a)
{
  if (a >= grid->axis_count) return (struct sb_picture_axis){.name = "", .unit = "", .step = 1.0, .count = 1};
  const struct sb_grid_axis *axis = &grid->axes[a];
  const double step = axis->points > 1 ? (axis->to - axis->from) / (axis->points - 1) : 1.0;
  return (struct sb_picture_axis){
      .name = axis->path, .unit = axis->unit, .first = axis->from, .step = step, .count = axis->points};
}

static enum sb_status write_picture(FILE *out, const struct sb_grid *grid, const struct sb_grid_point *points,
                                    struct sb_error *err)
{
  const struct sb_picture_axis across = picture_axis(grid, 0), upward = picture_axis(grid, 1);
  const struct sb_span columns = {0, across.count - 1}, rows = {0, upward.count - 1};
  struct sb_picture picture;
  const enum sb_status status = sb_picture_init(&picture, &across, columns, &upward, rows, err);
  if (status != SB_OK) return status;
  struct sb_sketch *sketch = &picture.sketch;
  for (int r = 0; r < sketch->row_count; r++) {
    for (int c = 0; c < sketch->column_count; c++) {
      const long point = (long)sketch->rows[r] * across.count + sketch->columns[c];
      sketch->marks[r * sketch->column_count + c] = mark_of(&points[point]);
    }
  }
  sb_picture_write(out, &picture);
  sb_picture_clear(&picture);
  return SB_OK;
}

/* Each mark that occurs, with its words and how many points have it. */
static void write_legend(FILE *out, const struct sb_grid *grid, const struct sb_grid_point *points)
{
  const long count = sb_grid_point_count(grid);
  char seen[SB_MAP_CLASS_COUNT + 3] = "";
  fprintf(out, "\n  of %ld points\n", count);
  for (long i = 0; i < count; i++) {
    const char mark = mark_of(&points[i]);
    if (strchr(seen, mark) != NULL) continue;
    seen[strlen(seen)] = mark;
    long alike = 0;
    for (long k = i; k < count; k++) alike += mark_of(&points[k]) == mark;
    fprintf(out, "  %c  %-28s%8ld\n", mark, words_of(&points[i]), alike);
  }
}

static void write_table(FILE *out, const struct sb_grid *grid, const struct sb_grid_point *points)
{
  const struct sb_grid_axis *axis = &grid->axes[0];
  fprintf(out, "\n%11s  %-26s%6s%9s%9s%8s%9s\n", axis->unit, "verdict", "shifts", "turns", "J", "N.m", "rest, s");
  for (int k = 0; k < axis->points; k++) {
    const struct sb_grid_point *point = &points[k];
    fprintf(out, "%11.6g  %-26s", sb_grid_axis_value(axis, k), words_of(point));
    if (point->end == SB_GRID_RAN) {
      fprintf(out, "%6ld%9.4g%9.4g%8.3g%9.3g", point->figures.shift_count, point->figures.output_turns,
              point->figures.given_j, point->figures.greatest_torque_nm, point->standstill_s);
    }
    fputc('\n', out);
  }
}

enum sb_status sb_grid_write_text(FILE *out, const struct sb_grid *grid, const struct sb_grid_point *points,
                                  struct sb_error *err)
{
  fprintf(out, "%s\n", grid->scenario);
  if (grid->controller[0] != 0) {
    fprintf(out,
            "a grid, and no exact map: a run at each point, by controller %s;\nbetween two points nothing is known\n",
            grid->controller);
  }
  fputc('\n', out);
  const enum sb_status status = write_picture(out, grid, points, err);
  if (status != SB_OK) return status;
  write_legend(out, grid, points);
  if (grid->axis_count == 1) write_table(out, grid, points);
  return SB_OK;
}

static void put_axis(struct sb_json *json, const struct sb_grid_axis *axis)
{
  sb_json_open_object(json);
  sb_json_put_string(json, "path", axis->path);
  sb_json_put_string(json, "unit", axis->unit);
  sb_json_put_number(json, "from", axis->from);
  sb_json_put_number(json, "to", axis->to);
  sb_json_put_integer(json, "points", axis->points);
  sb_json_close(json);
}

static void put_point(struct sb_json *json, const struct sb_grid *grid, long index, const struct sb_grid_point *point)
{
  sb_json_open_object(json);
  sb_json_put_array(json, "values");
  for (int a = 0; a < grid->axis_count; a++) {
    sb_json_number(json, sb_grid_axis_value(&grid->axes[a], sb_grid_index(grid, index, a)));
  }
  sb_json_close(json);
  if (point->end == SB_GRID_RAN) {
    sb_map_put_verdict(json, &point->verdict);
    sb_map_put_figures(json, &point->figures);
    sb_json_put_number(json, "standstill_s", point->standstill_s);
  } else {
    sb_json_put_string(json, "verdict", point->end == SB_GRID_REFUSED ? "refused" : "gave up");
  }
  sb_json_close(json);
}

void sb_grid_write_json(struct sb_json *json, const struct sb_grid *grid, const struct sb_grid_point *points)
{
  sb_json_open_object(json);
  sb_json_put_string(json, "scenario", grid->scenario);
  if (grid->controller[0] != 0) sb_json_put_string(json, "controller", grid->controller);
  sb_json_put_array(json, "axes");
  for (int a = 0; a < grid->axis_count; a++) put_axis(json, &grid->axes[a]);
  sb_json_close(json);
  sb_json_put_array(json, "points");
  for (long i = 0; i < sb_grid_point_count(grid); i++) put_point(json, grid, i, &points[i]);
  sb_json_close(json);
  sb_json_close(json);
}
