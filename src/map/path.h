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

/* Three opposite commands at the mapped pair, which thresholds judge (verdict.h). Lists share their tails. */
struct sb_three_seen {
  struct sb_three three;
  const struct sb_three_seen *last;
};

/* What a path has gathered that verdicts are made of. */
struct sb_findings {
  unsigned kinds;      /* found whatever the mapped pair's thresholds: bit k is enum sb_verdict_kind k */
  enum sb_cause cause; /* likewise, of hunting and busy shifting at other pairs */
  /* Of the mapped pair: the least load at a downshift, and the least that a stay in the slower gear is stuck low with, for
   * downshift torques above them; INFINITY: none. */
  double needless_nm, low_nm;
  double way_rad, back_rad; /* to and fro; greatest back */
  const struct sb_three_seen *threes;
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
  double *downshift_nm; /* Td at each down index: most readings fall as the load rises, but not all do everywhere */
  double *upshift_nm;   /* Tu at each up index */
  double lightest_nm;   /* load of the run */
  double stall_nm;      /* of the faster gear of the pair */
  unsigned kinds;       /* verdicts of every point */
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

/* The mapped pair's shift points at a lattice point. Pure. */
struct sb_band sb_judge_band(const struct sb_plane *plane, int downshift, int upshift);

/* Follows all paths of the whole lattice into leaves. */
enum sb_status sb_path_follow_all(struct sb_plane *plane, struct sb_leaves *leaves, struct sb_error *err);

/* Cuts each leaf where a verdict changes inside it, drops what has no point with down < up, and appends the cells. */
enum sb_status sb_judge(const struct sb_plane *plane, const struct sb_leaves *leaves, struct sb_map *map,
                        struct sb_error *err);

#endif
