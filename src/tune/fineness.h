// SPDX-License-Identifier: GPL-3.0-or-later
/* fineness.h - internal: how fine a lattice of thresholds is tuned on. */
#ifndef SHIFTBAND_TUNE_FINENESS_H
#define SHIFTBAND_TUNE_FINENESS_H

#include "tune/rounds.h"

/*
 * Fills *axis, of both thresholds: so many points as are asked for; else, for someone else's controller, the usual number, and
 * for the built-in one as fine as its threshold step, unless maps of all machines would take too long. That is told from maps of
 * the first machine, by their effort (map.h) and not by a clock: the lattice is the same wherever it is chosen.
 */
enum sb_status sb_fineness_choose(const struct sb_tune_request *request, const struct sb_rounds *tuning,
                                  struct sb_map_axis *axis, struct sb_error *err);

/* The usual factor of the search over dwells, less where exact maps are on a coarser lattice already. */
int sb_fineness_dwell_stride(const struct sb_tune_request *request, const struct sb_rounds *tuning, int usual);

#endif
