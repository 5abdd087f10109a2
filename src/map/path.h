// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * path.h - internal: one way through the run, from command to command, for a rectangle of thresholds that all decide
 * alike so far; and the leaves that it ends in.
 */
#ifndef SHIFTBAND_MAP_PATH_H
#define SHIFTBAND_MAP_PATH_H

#include "base/arena.h"
#include "map/lattice.h"
#include "map/track.h"
#include "shiftband/map.h"

/* A spell of at least three opposite commands. Lists share their tails. */
struct sb_chain {
  double least_nm, greatest_nm; /* loads at the decisions */
  int pair;
  const struct sb_chain *last;
};

/* What a path has gathered that verdicts are made of. */
struct sb_findings {
  unsigned kinds;             /* found whatever the mapped pair's thresholds: bit k is enum sb_verdict_kind k */
  int false_below, low_below; /* needless downshift, stuck low at the mapped pair: for down indices below this */
  const struct sb_chain *chains;
  struct sb_map_figures figures;
  const struct sb_map_shift *shifts;
};

/* What all paths of a map share: thresholds in counts and their closed forms along the lattice. */
struct sb_plane {
  const struct sb_model *model;
  struct sb_map_options options;
  struct sb_controller_setup setup; /* of the fixed pairs, the times and the debounce count */
  int32_t *downshift_counts;        /* downshift_counts[down.count], ascending */
  int32_t *upshift_counts;
  double *downshift_nm;      /* Td at each down index: descending */
  double *upshift_nm;        /* Tu at each up index: descending */
  struct sb_monitor monitor; /* Td, Tu and tau of all gears as a run has them */
  struct sb_tracks tracks;
  struct sb_arena arena;
};

struct sb_leaf {
  struct sb_rect rect;
  struct sb_findings findings;
};

struct sb_leaves {
  struct sb_leaf *items; /* items[count], owned */
  size_t count, room;
};

/* Follows all paths of the whole lattice into leaves. */
enum sb_status sb_path_follow_all(struct sb_plane *plane, struct sb_leaves *leaves, struct sb_error *err);

/* Number of lattice points, from the first on, whose (descending) torque is above load_nm, less a fraction of itself. */
int sb_path_count_above(const double *torque_nm, int count, double load_nm, double less_fraction);

/* Cuts each leaf where a verdict changes inside it, drops what has no point with down < up, and appends the cells. */
enum sb_status sb_judge(const struct sb_plane *plane, const struct sb_leaves *leaves, struct sb_map *map,
                        struct sb_error *err);

#endif
