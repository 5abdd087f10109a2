// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * passing.h - of many samples, how many pass at each pair of thresholds.
 *
 * Each sample's exact map (map.h) is boiled down to the rectangles in which it passes; they are counted per lattice point,
 * so that memory does not grow with the number of samples. Where a sample passes without a shift is counted beside that:
 * thresholds under which all samples pass and none of them ever shifts are a class of their own, and never the best.
 */
#ifndef SHIFTBAND_STUDY_PASSING_H
#define SHIFTBAND_STUDY_PASSING_H

#include <stdio.h>

#include "map/counts.h"
#include "shiftband/tasks.h"

/* Lattice points at most: twice 256 MiB of counts. */
enum { SB_PASSING_POINTS_MAX = 1 << 26 };

struct sb_passing {
  struct sb_map_axis downshift, upshift;
  long samples;
  struct sb_counts counts;      /* samples that pass */
  struct sb_counts never_shift; /* of these, those that never shift */
};

/* SB_ERR_USAGE when the lattice has too many points to count at. Pure. */
enum sb_status sb_passing_check(const struct sb_map_axis *downshift, const struct sb_map_axis *upshift,
                                struct sb_error *err);

/* All counts 0. */
enum sb_status sb_passing_init(struct sb_passing *passing, const struct sb_map_axis *downshift,
                               const struct sb_map_axis *upshift, struct sb_error *err);
void sb_passing_clear(struct sb_passing *passing);

/* Writes the rectangles of a map in which it passes, as few as joining makes them: lines of four lattice indices, down
 * first and last, up first and last, and 1 where it never shifts, else 0. The map's cells are changed. */
void sb_passing_write(struct sb_lines *lines, struct sb_map *map);

/* Takes one sample from such lines ("": none pass). SB_ERR_SCENARIO when they are none. */
enum sb_status sb_passing_add(struct sb_passing *passing, const char *lines, struct sb_error *err);

/* Sums up, after the last sample. False when more pass somewhere than there are: rectangles of one sample overlap. */
bool sb_passing_finish(struct sb_passing *passing);

/* Samples that pass at a lattice point, and those of them that never shift. */
int sb_passing_at(const struct sb_passing *passing, int downshift, int upshift);
int sb_passing_never_shift_at(const struct sb_passing *passing, int downshift, int upshift);

/* Of the pairs of thresholds that mean something, the share at which all pass, and that at which none of them ever shifts. */
struct sb_passing_shares {
  double all, never_shift; /* the second one is a part of the first */
};

struct sb_passing_shares sb_passing_shares_of(const struct sb_passing *passing);

/* CSV of rectangles of equal counts. Returns 0, or -1 when writing failed or memory ran out (errno). */
int sb_passing_write_csv(FILE *out, const struct sb_passing *passing);

/* Picture with a mark a share (share.h), '@' at the own thresholds. With its legend, which has the mark of what never shifts only
 * where that is somewhere. */
enum sb_status sb_passing_write_picture(FILE *out, const struct sb_passing *passing, double own_downshift_fraction,
                                        double own_upshift_fraction, bool is_whole, bool has_never_shifting,
                                        struct sb_error *err);

/* Where most samples pass and at least one of them shifts, and how many pass at the own thresholds. */
struct sb_passing_best {
  int passed, never_shift; /* passed 0: no sample that shifts passes anywhere; then the next three mean nothing */
  long long points;        /* lattice points at which as many pass, and one of them shifts */
  int downshift, upshift;  /* middle of the widest square of them */
  int own; /* samples that pass at the lattice point nearest to the own thresholds; -1: outside the plane */
  int own_never_shift;
};

enum sb_status sb_passing_find_best(const struct sb_passing *passing, double own_downshift_fraction,
                                    double own_upshift_fraction, struct sb_passing_best *best, struct sb_error *err);

#endif
