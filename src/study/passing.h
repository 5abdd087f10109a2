// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * passing.h - the share of samples in which each threshold pair holds, with a confidence bound.
 *
 * Each sample's exact map (map.h) is boiled down to the rectangles in which it holds; they are counted per lattice point,
 * so that memory does not grow with the number of samples. The bound is the one-sided 95 % lower one of Clopper and
 * Pearson for x of n independent samples:
 *
 *   sum over k >= x of C(n, k) p^k (1 - p)^(n - k) = 0.05,   p = the 5 % quantile of Beta(x, n - x + 1)
 *
 * Source: C. J. Clopper, E. S. Pearson, Biometrika 26 (1934), 404-413 (from memory); the quantile is GSL's.
 */
#ifndef SHIFTBAND_STUDY_PASSING_H
#define SHIFTBAND_STUDY_PASSING_H

#include <stdio.h>

#include "shiftband/map.h"
#include "shiftband/tasks.h"
#include "text/json.h"

#define SB_SURVIVAL_CONFIDENCE 0.95

/* The share that `survived` of `samples` (>= 1) speak for at least, with 95 % confidence; 0 for none. */
double sb_survival_least_share(long survived, long samples);

/* Lattice points at most: 256 MiB of counts. */
enum { SB_SURVIVAL_POINTS_MAX = 1 << 26 };

struct sb_survival {
  struct sb_map_axis down, up;
  long samples;
  int *counts; /* counts[up index * down.count + down index], owned: samples that hold, once summed up */
  bool is_summed;
};

/* All counts 0. SB_ERR_USAGE when the lattice has too many points. */
enum sb_status sb_survival_init(struct sb_survival *survival, const struct sb_map_axis *down,
                                const struct sb_map_axis *up, struct sb_error *err);
void sb_survival_clear(struct sb_survival *survival);

/* Writes the rectangles of a map in which it holds, as few as joining makes them: lines of four lattice indices, down first
 * and last, up first and last. The map's cells are changed. */
void sb_survival_write_holding(struct sb_lines *lines, struct sb_map *map);

/* Takes one sample from such lines (NULL: none hold). SB_ERR_SCENARIO when they are none. */
enum sb_status sb_survival_add(struct sb_survival *survival, const char *lines, struct sb_error *err);

/* Sums up, after the last sample. */
void sb_survival_finish(struct sb_survival *survival);

/* Samples that hold at a lattice point. */
int sb_survival_at(const struct sb_survival *survival, int down, int up);

/* CSV of rectangles of equal counts. Returns 0, or -1 when writing failed or memory ran out (errno). */
int sb_survival_write_csv(FILE *out, const struct sb_survival *survival);

/* Picture with a mark a share: '.' all, 9 to 0 tenths, '-' none; '@' at the own thresholds. With its legend. */
enum sb_status sb_survival_write_picture(FILE *out, const struct sb_survival *survival, double own_downshift_fraction,
                                         double own_upshift_fraction, bool is_whole, struct sb_error *err);

/* The share in words: at the own thresholds (at the nearest lattice point), and the greatest with the middle of the
 * widest square that has it. */
struct sb_survival_best {
  int survived;
  long long points; /* lattice points with as many */
  int down, up;     /* middle of the widest square of them */
  int own;          /* samples that hold at the own thresholds; -1: they lie outside the plane */
};

enum sb_status sb_survival_find_best(const struct sb_survival *survival, double own_downshift_fraction,
                                     double own_upshift_fraction, struct sb_survival_best *best, struct sb_error *err);

#endif
