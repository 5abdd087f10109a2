// SPDX-License-Identifier: GPL-3.0-or-later
/* A grid and its points as text, and back. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "map/report.h"
#include "study/grid.h"

static const char refused[] = "refused", gave_up[] = "gave up";

void sb_grid_write_header(struct sb_lines *lines, const struct sb_grid *grid)
{
  for (int a = 0; a < grid->axis_count; a++) {
    const struct sb_grid_axis *axis = &grid->axes[a];
    if (axis->unit[0] != 0) {
      sb_lines_add(lines, "%s (%s),", axis->path, axis->unit);
    } else {
      sb_lines_add(lines, "%s,", axis->path);
    }
  }
  sb_lines_add(lines, "verdict,cause,all_verdicts,shifts,output_turns,given_j,greatest_torque_nm,standstill_s\n");
}

static void add_figures(struct sb_lines *lines, const struct sb_grid_point *result)
{
  const double figures[] = {result->figures.output_turns, result->figures.given_j, result->figures.greatest_torque_nm,
                            result->standstill_s};
  sb_lines_add(lines, ",%ld", result->figures.shift_count);
  for (size_t i = 0; i < sizeof figures / sizeof figures[0]; i++) {
    char text[SB_JSON_NUMBER_SIZE];
    sb_lines_add(lines, ",%s", sb_json_format_number(figures[i], text));
  }
  sb_lines_add(lines, "\n");
}

void sb_grid_write_row(struct sb_lines *lines, const struct sb_grid *grid, long point,
                       const struct sb_grid_point *result)
{
  for (int a = 0; a < grid->axis_count; a++) {
    sb_lines_add(lines, "%.12g,", sb_grid_axis_value(&grid->axes[a], sb_grid_index(grid, point, a)));
  }
  if (result->end != SB_GRID_RAN) {
    sb_lines_add(lines, "%s,,,,,,,\n", result->end == SB_GRID_REFUSED ? refused : gave_up);
    return;
  }
  char all[SB_MAP_VERDICTS_SIZE];
  const int worst = sb_map_verdict_worst(&result->verdict);
  const char *cause = sb_cause_name(result->verdict.cause);
  sb_lines_add(lines, "%s,%s,%s", worst < 0 ? "holds" : sb_verdict_name((enum sb_verdict_kind)worst),
               cause != NULL ? cause : "", sb_map_all_verdicts(&result->verdict, all));
  add_figures(lines, result);
}

/* Cuts the next field of a row off; false at its end. */
static bool take_field(const char **row, char *out, size_t size)
{
  if (*row == NULL) return false;
  const size_t length = strcspn(*row, ",\n");
  if (length >= size) return false;
  memcpy(out, *row, length);
  out[length] = 0;
  *row = (*row)[length] == ',' ? *row + length + 1 : NULL;
  return true;
}

static bool read_verdicts(const char *cause, char *all, struct sb_map_verdict *verdict)
{
  *verdict = (struct sb_map_verdict){0, SB_CAUSE_NONE};
  for (int c = SB_CAUSE_THRESHOLDS; c <= SB_CAUSE_LOAD; c++) {
    if (strcmp(cause, sb_cause_name((enum sb_cause)c)) == 0) verdict->cause = (enum sb_cause)c;
  }
  if (strcmp(all, "holds") == 0) return true;
  for (char *name = all; *name != 0;) {
    const size_t length = strcspn(name, ";");
    char *next = name[length] != 0 ? name + length + 1 : name + length;
    name[length] = 0;
    const int kind = sb_verdict_find(name);
    if (kind < 0) return false;
    verdict->kinds |= 1U << kind;
    name = next;
  }
  return verdict->kinds != 0;
}

bool sb_grid_read_row(const char *row, const struct sb_grid *grid, struct sb_grid_point *out)
{
  char field[64], cause[64], all[SB_MAP_VERDICTS_SIZE];
  struct sb_grid_point point = {.end = SB_GRID_RAN};
  for (int a = 0; a < grid->axis_count; a++) {
    if (!take_field(&row, field, sizeof field)) return false;
  }
  if (!take_field(&row, field, sizeof field) || !take_field(&row, cause, sizeof cause) ||
      !take_field(&row, all, sizeof all)) {
    return false;
  }
  if (strcmp(field, refused) == 0) point.end = SB_GRID_REFUSED;
  if (strcmp(field, gave_up) == 0) point.end = SB_GRID_GAVE_UP;
  if (point.end == SB_GRID_RAN) {
    double *const figures[] = {&point.figures.output_turns, &point.figures.given_j, &point.figures.greatest_torque_nm,
                               &point.standstill_s};
    if (!read_verdicts(cause, all, &point.verdict) || !take_field(&row, field, sizeof field)) return false;
    point.figures.shift_count = atol(field);
    for (size_t i = 0; i < sizeof figures / sizeof figures[0]; i++) {
      if (!take_field(&row, field, sizeof field) || sb_number_parse(field, figures[i]) == NULL) return false;
    }
  }
  *out = point;
  return true;
}

void sb_grid_write(struct sb_lines *lines, const struct sb_grid *grid)
{
  sb_lines_add(lines, "grid %d\n%s\n", grid->axis_count, grid->scenario);
  for (int a = 0; a < grid->axis_count; a++) {
    const struct sb_grid_axis *axis = &grid->axes[a];
    sb_lines_add(lines, "%d %.17g %.17g %s %s\n", axis->points, axis->from, axis->to, axis->path, axis->unit);
  }
  if (grid->controller[0] != 0) sb_lines_add(lines, "controller %s\n", grid->controller);
}

static bool read_axis(const char **text, struct sb_grid_axis *axis)
{
  int length = 0;
  const bool is_read =
      sscanf(*text, "%d %lf %lf %127s%n", &axis->points, &axis->from, &axis->to, axis->path, &length) == 4;
  if (!is_read || axis->points < 1 || axis->points > SB_GRID_POINTS_MAX || (*text)[length] != ' ') return false;
  const char *unit = *text + length + 1;
  const size_t unit_length = strcspn(unit, "\n");
  if (unit_length >= sizeof axis->unit || unit[unit_length] != '\n') return false;
  memcpy(axis->unit, unit, unit_length);
  axis->unit[unit_length] = 0;
  *text = unit + unit_length + 1;
  return true;
}

/* The last line, which only a grid with someone else's controller has. */
static bool read_controller(const char **text, char *out, size_t size)
{
  static const char word[] = "controller ";
  if (strncmp(*text, word, sizeof word - 1) != 0) return true;
  const char *name = *text + sizeof word - 1;
  const size_t length = strcspn(name, "\n");
  if (length == 0 || length >= size || name[length] != '\n') return false;
  memcpy(out, name, length);
  *text = name + length + 1;
  return true;
}

bool sb_grid_read(const char *text, struct sb_grid *grid)
{
  struct sb_grid out = {.axis_count = 0};
  int length = 0;
  if (sscanf(text, "grid %d%n", &out.axis_count, &length) != 1 || text[length] != '\n') return false;
  if (out.axis_count < 1 || out.axis_count > SB_GRID_AXIS_MAX) return false;
  const char *name = text + length + 1;
  const size_t name_length = strcspn(name, "\n");
  if (name_length >= sizeof out.scenario || name[name_length] != '\n') return false;
  memcpy(out.scenario, name, name_length);
  text = name + name_length + 1;
  for (int a = 0; a < out.axis_count; a++) {
    if (!read_axis(&text, &out.axes[a])) return false;
  }
  if (!read_controller(&text, out.controller, sizeof out.controller)) return false;
  *grid = out;
  return *text == 0;
}
