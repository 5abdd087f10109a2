// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * low.h - internal: stuck low for all down thresholds at once.
 *
 * A stay in a slower gear is stuck low for a down threshold whose downshift torque lies above the load for longer than
 * the monitor's patience. So it comes down to one figure: the least, over all stretches of time longer than that, of the
 * greatest load in the stretch; the stay is stuck low for every downshift torque above it. A stretch begins with a row
 * (a sample, or an event between two) and ends before another, as the monitor counts.
 */
#ifndef SHIFTBAND_MAP_LOW_H
#define SHIFTBAND_MAP_LOW_H

#include <stdbool.h>
#include <stddef.h>

#include "shiftband/status.h"

struct sb_low_row {
  double time_s, load_nm;
};

/* Begin with all zero; clear with sb_low_clear(). */
struct sb_low {
  struct sb_low_row *rows; /* ring: rows first..end - 1 of this stay */
  size_t *falling;         /* ring: front..back - 1, the rows that no later one of as great a load follows */
  size_t room;             /* of both, a power of two */
  size_t first, end, front, back;
  double patience_s;
  double ceiling_nm;  /* no downshift torque in question is above this */
  double floor_nm;    /* and none below this */
  double critical_nm; /* INFINITY: not stuck low yet at all */
};

/* A stay begins. */
void sb_low_begin(struct sb_low *low, double patience_s, double ceiling_nm, double floor_nm);

/* Whether a row of so great a load changes nothing: no stretch is under way, and none that lowers the figure begins with it. Pure. */
bool sb_low_is_idle(const struct sb_low *low, double load_nm);

/* A row of the stay. */
enum sb_status sb_low_pass(struct sb_low *low, double time_s, double load_nm, struct sb_error *err);

void sb_low_clear(struct sb_low *low);

#endif
