// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * plane.h - maps held against runs of their own, and seeded random machines to do so on.
 *
 * A point of the lattice is one pair of thresholds: sb_run() with these thresholds must shift at the same samples into
 * the same gears, find the same verdicts and come to the same figures as the map's rectangle says.
 */
#ifndef SHIFTBAND_TESTS_PLANE_H
#define SHIFTBAND_TESTS_PLANE_H

#include <gsl/gsl_rng.h>
#include <stdbool.h>

#include "shiftband/map.h"
#include "shiftband/model.h"

enum { PLANE_POINT_MAX = 16, PLANE_TABLE_MAX = 4 };

/* A model with the tables that its load points to: copying one means copying the other, so it stays where it is. */
struct plane_case {
  struct sb_model model;
  struct sb_map_options options;
  double x[PLANE_TABLE_MAX][PLANE_POINT_MAX];
  double torque_nm[PLANE_TABLE_MAX][PLANE_POINT_MAX];
  int table_count;
};

/* Uniform between two numbers; uniform in the logarithm; true with that chance. */
double plane_between(gsl_rng *rng, double least, double greatest);
double plane_between_log(gsl_rng *rng, double least, double greatest);
bool plane_chance(gsl_rng *rng, double chance);

/*
 * A random machine with everything that a scenario can have in it: all shifters, two or three gears, readings exact or
 * rounded, filtered, noisy, confirmed, loads over time and turns that rise, fall, jump, swing and break away, limits.
 */
void plane_random_case(gsl_rng *rng, struct plane_case *out);

/* The verdict as a map has it, from the verdicts of a run. */
struct sb_map_verdict plane_verdict_of(const struct sb_monitor *monitor);

/* What a comparison of points has met, to see that it was not about nothing. */
struct plane_seen {
  unsigned kinds;
  unsigned causes; /* bit k: enum sb_cause k */
  long points, shifts;
  double worst_turns, worst_given; /* relative */
};

/* Runs one point on its own and fails the test when the cell says anything else. */
void plane_check_point(const struct sb_model *model, const struct sb_map *map, const struct sb_map_cell *cell,
                       int downshift, int upshift, struct plane_seen *seen);

/* All four corners of a cell that have down < up, and one point within it. */
void plane_check_cell(const struct sb_model *model, const struct sb_map *map, const struct sb_map_cell *cell,
                      gsl_rng *rng, struct plane_seen *seen);

/* GSL's abort handler off, as a program does at its start; group setup of cmocka. */
int plane_quiet_gsl(void **state);

#endif
