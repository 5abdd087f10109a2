// SPDX-License-Identifier: GPL-3.0-or-later
/* any_load_lines.h - internal: what hangs on one threshold alone, and on none (any_load.h). Two gears, no filter. */
#ifndef SHIFTBAND_PROVE_ANY_LOAD_LINES_H
#define SHIFTBAND_PROVE_ANY_LOAD_LINES_H

#include "prove/edge.h"
#include "shiftband/map.h"

/* A downshift threshold. "Last" is the sample that decides for a command that follows a shift as soon as it may. */
struct sb_any_row {
  double speed_rad_s, steady_nm; /* the load that holds the faster gear there */
  bool is_passed;                /* the heaviest load takes the faster gear below it */
  bool is_doubtful;              /* a clutch slips, something turns backwards: sets of states are needed */
  double fallen_rad_s;           /* the lowest command of what waits: from the threshold on while samples decide */
  double standing_s;             /* of the output while it waits in the faster gear, and after a shift from there */
  double waiting_rad_s;          /* of the slower gear at the dwell after a shift from there, heaviest load */
  double last_rad_s; /* of the slower gear at the last sample after a shift from the threshold, lightest load */
};

/* An upshift threshold. */
struct sb_any_column {
  double speed_rad_s, steady_nm;
  bool is_passed, is_doubtful;
  double risen_rad_s;   /* the highest command of what waits */
  double standing_s;    /* after a shift from the threshold, heaviest load */
  double first_rad_s;   /* of the faster gear at the dwell, */
  double last_rad_s;    /* and at the last sample after a shift from the threshold, heaviest load */
  double waiting_rad_s; /* of the slower gear at the dwell after it */
};

/* Of a swing arm: by the speed at which a shift is commanded, grid[k] = k width. */
enum { SB_ANY_GRID_MAX = 512 };
struct sb_any_grid {
  int count; /* 0: none is needed, for ends are the extremes */
  double width_rad_s;
  double up_last_rad_s[SB_ANY_GRID_MAX], up_standing_s[SB_ANY_GRID_MAX];     /* heaviest load */
  double down_last_rad_s[SB_ANY_GRID_MAX], down_standing_s[SB_ANY_GRID_MAX]; /* lightest; heaviest */
};

/* Of a swing arm: where commands lead under constant loads, [load][speed of the grid]. */
enum { SB_ANY_SHEETS_MAX = 16 };
struct sb_any_sheets {
  int count;                         /* 0: none are laid */
  double load_nm[SB_ANY_SHEETS_MAX]; /* of the varied torque */
  double up_last_rad_s[SB_ANY_SHEETS_MAX][SB_ANY_GRID_MAX], down_last_rad_s[SB_ANY_SHEETS_MAX][SB_ANY_GRID_MAX];
};

struct sb_any_lines {
  const struct sb_model *model;
  struct sb_edge_load full;
  bool is_acting; /* which torque is varied */
  bool has_arm;
  int dwell, last, debounce; /* samples */
  int start_gear;            /* index */
  struct sb_span start,
      start_last; /* at the first sample that may decide, and at the one that decides at the earliest */
  bool is_doubtful;
  bool
      is_fast_slipping; /* the heaviest load makes the clutch slip on the faster gear's way to rest or a steady speed */
  double start_standing_s;
  double lightest_rad_s[2], heaviest_rad_s[2]; /* steady states by gear */
  double start_waiting_rad_s;
  struct sb_any_row *rows;
  struct sb_any_column *columns;
  struct sb_any_grid grid;
  struct sb_any_sheets sheets;
};

/* Release with sb_any_lines_clear(). */
enum sb_status sb_any_lines_init(struct sb_any_lines *lines, struct sb_edges *edges,
                                 const struct sb_map_axis *downshift, const struct sb_map_axis *upshift,
                                 struct sb_error *err);
void sb_any_lines_clear(struct sb_any_lines *lines);

/* Lays the sheets of a swing arm, which pay for many points only: what they leave open is calculated for each point. */
enum sb_status sb_any_lines_lay_sheets(struct sb_any_lines *lines, struct sb_edges *edges, struct sb_error *err);

/* The varied torque, its bounds, and a load at which it is constant. Pure. */
const double *sb_any_varied_nm(const struct sb_any_lines *lines);
struct sb_edge_load sb_any_constant(const struct sb_any_lines *lines, double varied_nm);

/* The least (sign 1) or minus the greatest (sign -1) of values of the grid between two speeds, with what may lie between the grid's
 * speeds. INFINITY without a grid. Pure. */
double sb_any_grid_least(const struct sb_any_grid *grid, const double *values, double sign, double from_rad_s,
                         double to_rad_s);

#endif
