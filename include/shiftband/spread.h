// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * spread.h - samples of a scenario within its tolerances.
 *
 * Every tolerance is a range of one key. Three ways to sample it, all seeded and the same on every machine:
 *
 *   nominal       sample 0: the scenario as written
 *   corners       all combinations of least and greatest for up to 4 tolerances, else one tolerance at a time
 *   quasi-random  Sobol points (GSL), shifted by a seeded random vector: even coverage, for searching
 *   random        independent uniform draws (GSL mt19937): for shares with a confidence bound
 *
 * The reference speed of the reading stays that of the nominal scenario unless it has a tolerance of its own: a
 * controller does not know that its motor is a slow one.
 */
#ifndef SHIFTBAND_SPREAD_H
#define SHIFTBAND_SPREAD_H

#include "shiftband/scenario.h"

enum sb_spread_kind { SB_SPREAD_SEARCH, SB_SPREAD_RANDOM };

/* Number of corner samples of a scenario: 0 without tolerances. */
int sb_spread_corner_count(const struct sb_scenario *scenario);

/*
 * Values, in SI, of all tolerances of the first `count` samples, in one pass: values[count * tolerance_count]. The first
 * ones of more samples are the same.
 *   SEARCH: 0 nominal, then the corners, then quasi-random points.    RANDOM: all random.
 * SB_ERR_MEMORY, or SB_ERR_NUMERICS when there are more tolerances than Sobol dimensions (40).
 */
enum sb_status sb_spread_draw(const struct sb_scenario *scenario, enum sb_spread_kind kind, unsigned long seed,
                              int count, double *values, struct sb_error *err);

/*
 * Loads the scenario at `path` again with the sets and one sample's values in place. A sample that is no valid scenario
 * is SB_ERR_SCENARIO, with the faults.
 */
enum sb_status sb_spread_load(const char *path, const char *const *sets, size_t set_count,
                              const struct sb_scenario *nominal, const double *values, struct sb_scenario *out,
                              struct sb_faults *faults);

/* One sample in words, of what differs from the scenario as written: "supply.open_circuit_voltage 9.6 V,
 * motor.stall_torque 0.38 N.m"; "nominal" when nothing does. */
const char *sb_spread_words(const struct sb_scenario *nominal, const double *values, char *text, size_t size);

#endif
