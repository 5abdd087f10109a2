// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * grid.h - runs over a grid of one or two keys of a scenario, whichever they are.
 *
 * Unlike thresholds (map.h), most keys act on the motion itself, so every point is a run of its own. A point's values
 * reach the scenario as a --set would bring them; a point that is no valid scenario is "refused", one at which the
 * numerics give up says so.
 */
#ifndef SHIFTBAND_STUDY_GRID_H
#define SHIFTBAND_STUDY_GRID_H

#include "shiftband/map.h"
#include "shiftband/scenario.h"
#include "shiftband/tasks.h"
#include "text/json.h"

enum { SB_GRID_AXIS_MAX = 2, SB_GRID_POINTS_MAX = 10000, SB_GRID_POINTS_DEFAULT = 41, SB_GRID_SET_SIZE = 192 };

struct sb_grid_axis {
  char path[128];
  char unit[24];   /* as it was given; "" for bare numbers */
  double from, to; /* in that unit */
  int points;      /* >= 1 */
};

struct sb_grid {
  char scenario[128];   /* its name */
  char controller[128]; /* name of someone else's; "": ours */
  int axis_count;       /* 1 or 2; the first one varies fastest */
  struct sb_grid_axis axes[SB_GRID_AXIS_MAX];
};

/*
 * Reads `PATH=FROM..TO UNIT` for a scenario. PATH is a key that --set takes; a last name alone ("dwell") will do when only
 * one key has it. A range of whole numbers has no more points than numbers. SB_ERR_USAGE says what is wrong, and offers
 * the nearest key.
 */
enum sb_status sb_grid_axis_parse(const char *text, const struct sb_scenario *scenario, int points,
                                  struct sb_grid_axis *axis, struct sb_error *err);

/* Value of a point along an axis, in its unit. Pure. */
double sb_grid_axis_value(const struct sb_grid_axis *axis, int index);

/* "controller.dwell=0.2 s": what --set takes. Returns text. */
const char *sb_grid_axis_set(const struct sb_grid_axis *axis, int index, char text[SB_GRID_SET_SIZE]);

/* Points of the grid, and the index along an axis of one of them. Pure. */
long sb_grid_point_count(const struct sb_grid *grid);
int sb_grid_index(const struct sb_grid *grid, long point, int axis);

enum sb_grid_end { SB_GRID_RAN, SB_GRID_REFUSED, SB_GRID_GAVE_UP };

/* What one point comes to; figures mean something only when it ran. */
struct sb_grid_point {
  enum sb_grid_end end;
  struct sb_map_verdict verdict;
  struct sb_map_figures figures;
  double standstill_s; /* at rest in mesh */
};

/* Verdict and figures of a finished run. */
struct sb_map_verdict sb_grid_verdict(const struct sb_monitor *monitor);

/* Loads and runs one point: the scenario at path, with the sets, then the point's values; decider as in run.h.
 * SB_ERR_MEMORY, SB_ERR_IO, SB_ERR_CONTROLLER. */
enum sb_status sb_grid_run(const struct sb_grid *grid, const char *path, const char *const *sets, size_t set_count,
                           const struct sb_decider *decider, long point, struct sb_grid_point *out,
                           struct sb_error *err);

/* The CSV: header, and the row of a point. */
void sb_grid_write_header(struct sb_lines *lines, const struct sb_grid *grid);
void sb_grid_write_row(struct sb_lines *lines, const struct sb_grid *grid, long point,
                       const struct sb_grid_point *result);

/* Reads such a row back, for pictures. False when it is none. */
bool sb_grid_read_row(const char *row, const struct sb_grid *grid, struct sb_grid_point *out);

/* Writes what all points came to (points[sb_grid_point_count]): a strip and a table, or a picture, with a legend. */
enum sb_status sb_grid_write_text(FILE *out, const struct sb_grid *grid, const struct sb_grid_point *points,
                                  struct sb_error *err);

/* The same facts as one object. */
void sb_grid_write_json(struct sb_json *json, const struct sb_grid *grid, const struct sb_grid_point *points);

/* The grid as lines of text, and back. False when they are none. */
void sb_grid_write(struct sb_lines *lines, const struct sb_grid *grid);
bool sb_grid_read(const char *text, struct sb_grid *grid);

#endif
