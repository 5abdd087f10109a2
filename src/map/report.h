// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * report.h - what a map of thresholds says: as rectangles in CSV, as a picture for the terminal, in words, as JSON.
 *
 * Ends of rectangles are lattice points, included.
 */
#ifndef SHIFTBAND_MAP_REPORT_H
#define SHIFTBAND_MAP_REPORT_H

#include <stdio.h>

#include "map/margin.h"
#include "text/fields.h"

/* Writes the CSV: header and one row a cell. Returns 0, or -1 when writing failed. */
int sb_map_write_csv(FILE *out, const struct sb_map *map);

/*
 * Closed-form boundaries over the same plane, as CSV limit,downshift_below_pct,upshift_above_pct: "hunting" the least safe up for each down,
 * "stuck low" and "needless downshift" two end points each. Returns 0, or -1 when writing failed.
 */
int sb_map_write_limits(FILE *out, const struct sb_model *model, const struct sb_map_options *options);

struct sb_map_wishes {
  bool is_whole;   /* draws the map's whole plane, else the part where anything changes, the own thresholds in it */
  bool is_verbose; /* says how much was simulated */
};

/* Picture with a letter a verdict and '@' at the own thresholds, its legend, the own thresholds and their margins. */
enum sb_status sb_map_write_text(FILE *out, const struct sb_model *model, const struct sb_map *map,
                                 const struct sb_map_own *own, const struct sb_map_wishes *wishes,
                                 struct sb_error *err);

/* The member `verdicts` of an open object: the worst one first, and none when it passes. */
void sb_map_put_verdicts(struct sb_json *json, const struct sb_map_verdict *verdict);

/* An axis of the plane as a member: from_pct, to_pct, points. */
void sb_map_put_axis(struct sb_json *json, const char *name, const struct sb_map_axis *axis);

/* shifts, output_turns, given_j and greatest_torque_nm of struct sb_map_figures. */
extern const struct sb_field sb_map_figure_fields[];

/* The same facts as the text as one object: without the rectangles, which are the CSV's. */
void sb_map_write_json(FILE *out, const struct sb_model *model, const struct sb_map *map, const struct sb_map_own *own);

#endif
