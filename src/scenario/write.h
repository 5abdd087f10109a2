// SPDX-License-Identifier: GPL-3.0-or-later
/* write.h - a tree as YAML again, so that reading it gives the same tree. */
#ifndef SHIFTBAND_SCENARIO_WRITE_H
#define SHIFTBAND_SCENARIO_WRITE_H

#include <stdio.h>

#include "scenario/document.h"

/* On one line, "{kind: selector, travel_time: 120 ms}"; to be given to free(), NULL when memory runs out. */
char *sb_write_flow(const struct sb_node *node);

/* The keys of a map on lines of their own; below them maps likewise, lists item by item. */
void sb_write_block(FILE *out, const struct sb_node *map, int indent);

#endif
