// SPDX-License-Identifier: GPL-3.0-or-later
/* any_load_point.h - internal: the verdict of a point out of its row and its column. */
#ifndef SHIFTBAND_PROVE_ANY_LOAD_POINT_H
#define SHIFTBAND_PROVE_ANY_LOAD_POINT_H

#include "prove/any_load.h"
#include "prove/any_load_lines.h"

/* Fills the point; false: it takes sets of states. The edges are of the thread's own, and are left bound to some constant load. */
bool sb_any_point_decide(const struct sb_any_lines *lines, struct sb_edges *edges, const struct sb_any_row *row,
                         const struct sb_any_column *column, struct sb_any_load_point *point);

#endif
