// SPDX-License-Identifier: GPL-3.0-or-later
/* loaded.h - one scenario at a time from a file, and maps of parts of its plane. */
#ifndef SHIFTBAND_TESTS_LOADED_H
#define SHIFTBAND_TESTS_LOADED_H

#include "map/lattice.h"
#include "shiftband/map.h"
#include "shiftband/scenario.h"

extern struct sb_scenario loaded_scenario; /* large, hence not on the stack */

/* Loads a scenario; fails the test with its first fault. */
void loaded_take(const char *path, const char *const *sets, size_t set_count);

/* The same with a shipped scenario, by its name without folder and ending. */
void loaded_take_shipped(const char *name);

/* A rectangle of thresholds, fractions of the reference, ends included. */
struct sb_map_options loaded_plane(const struct sb_model *model, double downshift_from, double downshift_to,
                                   double upshift_from, double upshift_to, double step);

/* The joined and sorted map of the loaded scenario. */
void loaded_map(const struct sb_map_options *options, struct sb_map *map);

#endif
