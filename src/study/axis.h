// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * axis.h - one number of a scenario over a range of values, evenly.
 *
 * A point's value reaches the scenario as a --set would bring it, so any key will do.
 */
#ifndef SHIFTBAND_STUDY_AXIS_H
#define SHIFTBAND_STUDY_AXIS_H

#include "shiftband/scenario.h"

enum { SB_AXIS_POINTS_MAX = 10000, SB_AXIS_SET_SIZE = 192 };

struct sb_axis {
  char path[128];
  char unit[24];   /* as it was given; "" for bare numbers */
  double from, to; /* in that unit */
  int points;      /* >= 1 */
};

/*
 * Reads `PATH=FROM..TO UNIT` for a scenario. PATH is a key that --set takes; a last name alone ("dwell") will do when only
 * one key has it. A range of whole numbers has no more points than numbers. SB_ERR_USAGE says what is wrong, and offers
 * the nearest key.
 */
enum sb_status sb_axis_parse(const char *text, const struct sb_scenario *scenario, int points, struct sb_axis *axis,
                             struct sb_error *err);

/* Whether its points are apart, and so are numbers that a picture can divide. Pure. */
bool sb_axis_is_sound(const struct sb_axis *axis);

/* Value of a point along an axis, in its unit. Pure. */
double sb_axis_value(const struct sb_axis *axis, int index);

/* "controller.dwell=0.2 s": what --set takes. Returns text. */
const char *sb_axis_set(const struct sb_axis *axis, int index, char text[SB_AXIS_SET_SIZE]);

/* "controller.dwell (s)", a heading; "controller.dwell" for bare numbers. Returns text. */
const char *sb_axis_heading(const struct sb_axis *axis, char text[SB_AXIS_SET_SIZE]);

#endif
