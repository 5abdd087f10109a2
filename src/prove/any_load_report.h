// SPDX-License-Identifier: GPL-3.0-or-later
/* any_load_report.h - a plane of any_load.h for people, as CSV and as JSON, with the way from the scenario's own thresholds. */
#ifndef SHIFTBAND_PROVE_ANY_LOAD_REPORT_H
#define SHIFTBAND_PROVE_ANY_LOAD_REPORT_H

#include <stdio.h>

#include "map/margin.h"
#include "prove/any_load.h"

/* From the scenario's own thresholds in one direction, the other one kept. */
struct sb_any_load_margin {
  bool changes;                    /* there is a threshold on the way that comes to something else */
  double fraction, first_fraction; /* how far that is, and where; without change how far the lattice goes, NAN */
  enum sb_any_load_class class;    /* there */
};

struct sb_any_load_own {
  double downshift_fraction, upshift_fraction;
  struct sb_any_load_point point;
  struct sb_any_load_margin margins[SB_MAP_DIRECTIONS];
};

/* Looks around the scenario's own thresholds, in steps of the plane's lattice. */
enum sb_status sb_any_load_look_around(const struct sb_any_load *plane, struct sb_any_load_own *own,
                                       struct sb_error *err);

/* Rectangles of one verdict, with the least and the greatest swing in them. Returns 0, or -1 when writing failed. */
int sb_any_load_write_csv(FILE *out, const struct sb_any_load *plane);

struct sb_any_load_wishes {
  bool is_whole, is_verbose; /* draws all of the plane; says how much was calculated */
};

enum sb_status sb_any_load_write_text(FILE *out, const struct sb_any_load *plane, const struct sb_any_load_own *own,
                                      const struct sb_any_load_wishes *wishes, struct sb_error *err);

void sb_any_load_write_json(FILE *out, const struct sb_any_load *plane, const struct sb_any_load_own *own);

/* The load of the bounds in words, with no rate; of the plane's points how many each class has, and how many `prove` answered itself.
 * Pure. */
struct sb_any_load_shares {
  long points, by_sets, classes[SB_ANY_LOAD_CLASS_COUNT];
};
struct sb_any_load_shares sb_any_load_shares(const struct sb_any_load *plane);

#endif
