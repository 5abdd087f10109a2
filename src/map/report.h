// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * report.h - what a map of thresholds says: as rectangles in CSV, as a picture for the terminal, in words, as JSON;
 * and how far the scenario's own thresholds are from failing.
 *
 * Thresholds are printed in percent of the reference. Ends of rectangles are lattice points, included; points with
 * down >= up mean nothing and are left out wherever points are counted.
 */
#ifndef SHIFTBAND_MAP_REPORT_H
#define SHIFTBAND_MAP_REPORT_H

#include <stdint.h>
#include <stdio.h>

#include "shiftband/map.h"
#include "text/json.h"
#include "text/picture.h"

/* What a point of the plane is called, worst verdict first: X(code, letter, words). */
#define SB_MAP_CLASS_LIST(X)                                   \
  X(SB_MAP_HOLDS, '.', "holds")                                \
  X(SB_MAP_HUNTS_THRESHOLDS, 'H', "hunting, threshold-driven") \
  X(SB_MAP_HUNTS_DWELL, 'D', "hunting, dwell-driven")          \
  X(SB_MAP_HUNTS_LOAD, 'L', "hunting, load-driven")            \
  X(SB_MAP_STALLS, 'S', "stall")                               \
  X(SB_MAP_LATE, 'E', "shift not engaged")                     \
  X(SB_MAP_DRIVE_CUT, 'C', "drive cut")                        \
  X(SB_MAP_OVERHEATS, 'T', "overheated")                       \
  X(SB_MAP_OVERLOADS, 'O', "overload")                         \
  X(SB_MAP_SLIPS, 'W', "slipping")                             \
  X(SB_MAP_STUCK_LOW, 'K', "stuck low")                        \
  X(SB_MAP_NEEDLESS_DOWNSHIFT, 'N', "needless downshift")

enum sb_map_class {
#define SB_MAP_CLASS_CODE(code, letter, words) code,
  SB_MAP_CLASS_LIST(SB_MAP_CLASS_CODE)
#undef SB_MAP_CLASS_CODE
      SB_MAP_CLASS_COUNT
};

/* The class of the verdict that matters most; its letter; its words, a constant string. Pure. */
enum sb_map_class sb_map_class_of(const struct sb_map_verdict *verdict);
char sb_map_class_letter(enum sb_map_class class);
const char *sb_map_class_words(enum sb_map_class class);

/* All verdicts, worst first, with ';' between them: "stall;hunting"; "holds" without any. Returns text. */
enum { SB_MAP_VERDICTS_SIZE = 160 };
const char *sb_map_all_verdicts(const struct sb_map_verdict *verdict, char text[SB_MAP_VERDICTS_SIZE]);

/* A threshold in percent, free of the rounding errors of multiples: 50.1, not 50.099999999999994. Pure. */
double sb_map_pct(double fraction);

/* The number n of a lattice point whose threshold is n steps, and that threshold in percent. Pure. */
long sb_map_axis_number(const struct sb_map_axis *axis, int index);
double sb_map_axis_pct(const struct sb_map_axis *axis, int index);

/* A round number of lattice steps, 1, 2, 25, 40 and so on, that leaves about `points` of an axis's lattice points. Pure. */
int sb_map_axis_stride(const struct sb_map_axis *axis, int points);

/* The index of the lattice point nearest to a threshold, which may lie outside the axis. The axis for pictures, in %. Pure. */
int sb_map_axis_index(const struct sb_map_axis *axis, double fraction);
struct sb_picture_axis sb_map_picture_axis(const char *name, const struct sb_map_axis *axis);

/* Number of the map's lattice points with down < up, and of those inside a rectangle. Pure. */
long long sb_map_point_count(const struct sb_map *map);
long long sb_map_cell_point_count(const struct sb_map *map, const struct sb_map_cell *cell);

/* Puts the cells in the order of the CSV: down, then up. */
void sb_map_sort(struct sb_map *map);

/* Writes the CSV: header and one row a cell. Returns 0, or -1 when writing failed. */
int sb_map_write_csv(FILE *out, const struct sb_map *map);

/*
 * Closed-form boundaries over the same plane, as CSV limit,downshift_below_pct,upshift_above_pct: "hunting" the least safe up for each down,
 * "stuck low" and "needless downshift" two end points each. Returns 0, or -1 when writing failed.
 */
int sb_map_write_limits(FILE *out, const struct sb_model *model, const struct sb_map_options *options);

enum sb_map_direction { SB_MAP_DOWN_LOWER, SB_MAP_DOWN_HIGHER, SB_MAP_UP_LOWER, SB_MAP_UP_HIGHER, SB_MAP_DIRECTIONS };

/* "down lower", ... a constant string. */
const char *sb_map_direction_words(enum sb_map_direction direction);

/* The way from the scenario's own thresholds in one direction, the other threshold kept. */
struct sb_map_margin {
  bool changes;           /* there is a lattice point that fails (when the own thresholds hold), or one that holds */
  double last_fraction;   /* farthest lattice point before it that is as the own thresholds are; NAN: none */
  double first_fraction;  /* the first that is not; NAN: none */
  double margin_fraction; /* from the own threshold to it; without change to the last point of the lattice */
  struct sb_map_verdict verdict; /* there */
  struct sb_map_figures figures;
};

/* What the scenario's own thresholds come to. */
struct sb_map_own {
  double downshift_fraction, upshift_fraction;
  bool holds;
  struct sb_map_verdict verdict;
  struct sb_map_figures figures;
  struct sb_map_margin margins[SB_MAP_DIRECTIONS];
};

/*
 * Looks around the model's own thresholds of a pair: exact, along lines of the whole lattice of the threshold step,
 * whatever plane the options take. The own thresholds need not lie on the lattice.
 */
enum sb_status sb_map_look_around(const struct sb_model *model, const struct sb_map_options *options,
                                  struct sb_map_own *own, struct sb_error *err);

/* Draws the plane with a letter a verdict and '@' at the own thresholds; is_whole: the map's whole plane, else the part
 * where anything changes, the own thresholds in it. The legend gives each letter's words and its share of the plane. */
enum sb_status sb_map_write_picture(FILE *out, const struct sb_map *map, const struct sb_map_own *own, bool is_whole,
                                    struct sb_error *err);

/* What the own thresholds come to and their margins, as text. */
void sb_map_write_own(FILE *out, const struct sb_map_own *own);

/* Members of an open object: verdict, cause and all_verdicts; shifts, output_turns, given_j and greatest_torque_nm. */
void sb_map_put_verdict(struct sb_json *json, const struct sb_map_verdict *verdict);
void sb_map_put_figures(struct sb_json *json, const struct sb_map_figures *figures);

/* The same facts as one object. */
void sb_map_write_json(struct sb_json *json, const struct sb_model *model, const struct sb_map *map,
                       const struct sb_map_own *own);

#endif
