// SPDX-License-Identifier: GPL-3.0-or-later
/* judge.h - internal: from leaves of equal traces to cells of equal verdicts. */
#ifndef SHIFTBAND_MAP_JUDGE_H
#define SHIFTBAND_MAP_JUDGE_H

#include "map/path.h"

/* Cuts each leaf where a verdict changes inside it, drops what has no point with down < up, and appends the cells. */
enum sb_status sb_judge(const struct sb_plane *plane, const struct sb_leaves *leaves, struct sb_map *map,
                        struct sb_error *err);

#endif
