// SPDX-License-Identifier: GPL-3.0-or-later
/* plane.h - which plane of thresholds is asked for, in words of a user. */
#ifndef SHIFTBAND_MAP_PLANE_H
#define SHIFTBAND_MAP_PLANE_H

#include "shiftband/map.h"

/*
 * Lays out a plane: `pair` is "slow/fast" or a number from 1, the ranges are in percent, "40..60" or "40..60 %"; NULL: the
 * first pair, all of the plane. SB_ERR_USAGE says what is wrong with them; SB_ERR_SCENARIO: the box has a single gear.
 */
enum sb_status sb_map_plane_parse(const struct sb_model *model, const char *pair, const char *downshift,
                                  const char *upshift, struct sb_map_options *options, struct sb_error *err);

#endif
