// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * passing.h - of many samples, how many pass at each pair of thresholds.
 *
 * Each sample's exact map (map.h) is boiled down to the rectangles in which it passes; they are counted per lattice point,
 * so that memory does not grow with the number of samples.
 */
#ifndef SHIFTBAND_STUDY_PASSING_H
#define SHIFTBAND_STUDY_PASSING_H

#include <stdio.h>

#include "map/counts.h"
#include "shiftband/tasks.h"

/* Lattice points at most: 256 MiB of counts. */
enum { SB_PASSING_POINTS_MAX = 1 << 26 };

struct sb_passing {
  struct sb_map_axis downshift, upshift;
  long samples;
  struct sb_counts counts;
};

/* SB_ERR_USAGE when the lattice has too many points to count at. Pure. */
enum sb_status sb_passing_check(const struct sb_map_axis *downshift, const struct sb_map_axis *upshift,
                                struct sb_error *err);

/* All counts 0. */
enum sb_status sb_passing_init(struct sb_passing *passing, const struct sb_map_axis *downshift,
                               const struct sb_map_axis *upshift, struct sb_error *err);
void sb_passing_clear(struct sb_passing *passing);

/* Writes the rectangles of a map in which it passes, as few as joining makes them: lines of four lattice indices, down
 * first and last, up first and last. The map's cells are changed. */
void sb_passing_write(struct sb_lines *lines, struct sb_map *map);

/* Takes one sample from such lines ("": none pass). SB_ERR_SCENARIO when they are none. */
enum sb_status sb_passing_add(struct sb_passing *passing, const char *lines, struct sb_error *err);

/* Sums up, after the last sample. False when more pass somewhere than there are: rectangles of one sample overlap. */
bool sb_passing_finish(struct sb_passing *passing);

/* Samples that pass at a lattice point; of the pairs of thresholds that mean something, those at which all pass. */
int sb_passing_at(const struct sb_passing *passing, int downshift, int upshift);
double sb_passing_share_of_all(const struct sb_passing *passing);

/* CSV of rectangles of equal counts. Returns 0, or -1 when writing failed or memory ran out (errno). */
int sb_passing_write_csv(FILE *out, const struct sb_passing *passing);

/* Picture with a mark a share (share.h), '@' at the own thresholds. With its legend. */
enum sb_status sb_passing_write_picture(FILE *out, const struct sb_passing *passing, double own_downshift_fraction,
                                        double own_upshift_fraction, bool is_whole, struct sb_error *err);

/* Where most samples pass, and how many pass at the own thresholds. */
struct sb_passing_best {
  int passed;
  long long points;       /* lattice points with as many */
  int downshift, upshift; /* middle of the widest square of them */
  int own; /* samples that pass at the lattice point nearest to the own thresholds; -1: outside the plane */
};

enum sb_status sb_passing_find_best(const struct sb_passing *passing, double own_downshift_fraction,
                                    double own_upshift_fraction, struct sb_passing_best *best, struct sb_error *err);

#endif
