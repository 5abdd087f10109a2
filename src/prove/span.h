// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * span.h - sets of states in one gear, as intervals between two corners of which neither course ever crosses the other.
 *
 * A corner is the speed of the motor in the direction in which the gear drives it, that of the output, and what the filter of
 * the reading holds. Without a clutch the output follows the motor; without a filter its state is not used.
 */
#ifndef SHIFTBAND_PROVE_SPAN_H
#define SHIFTBAND_PROVE_SPAN_H

#include <stdbool.h>

#include "shiftband/status.h"

struct sb_corner {
  double motor_rad_s, output_rad_s;
  double filtered; /* fraction of the reference */
};

/* All between the slowest and the fastest corner. */
struct sb_span {
  struct sb_corner low, high;
  bool is_leading, is_lagging; /* a clutch slips in gear: the motor may turn faster, slower than the gears */
};

/* Whether motor and output may be anywhere between their ends, each for itself: a box. Else the output follows the motor. */
static inline bool sb_span_is_boxed(const struct sb_span *span)
{
  return span->is_leading || span->is_lagging;
}

enum { SB_SPANS_MAX = 48 };

/* A union; spans that touch are one. More than fit are joined, which is safe. */
struct sb_spans {
  int count;
  struct sb_span items[SB_SPANS_MAX];
};

/* What speeds (rad/s) and readings (fractions) are the same: motions that come closer are taken as met. */
struct sb_span_sizes {
  double speed_rad_s, filtered;
};

/* The least span that contains both. Pure. */
struct sb_span sb_span_hull(const struct sb_span *a, const struct sb_span *b);

/* Whether they have a state in common, nearly. Pure. */
bool sb_span_touches(const struct sb_span *a, const struct sb_span *b, const struct sb_span_sizes *sizes);

/* Whether all of the inner one are in the outer one, nearly. Pure. */
bool sb_span_contains(const struct sb_span *outer, const struct sb_span *inner, const struct sb_span_sizes *sizes);

/* Adds a span; false: it was contained already. */
bool sb_span_set_add(struct sb_spans *set, const struct sb_span *span, const struct sb_span_sizes *sizes);

/* Whether each contains the other's spans. Pure. */
bool sb_span_set_is_same(const struct sb_spans *a, const struct sb_spans *b, const struct sb_span_sizes *sizes);

/* The hull of all; the set is not empty. Pure. */
struct sb_span sb_span_set_hull(const struct sb_spans *set);

#endif
