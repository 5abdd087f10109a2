// SPDX-License-Identifier: GPL-3.0-or-later
#include "map/path.h"

#include <stdlib.h>
#include <string.h>

#include "base/arena.h"

/* Where leaves are cut along the down axis: indices at which something begins or ends. Scratch, ascending. */
struct cuts {
  int *at; /* at[count], owned */
  size_t count, room;
};

static enum sb_status add_cut(struct cuts *cuts, int at, const struct sb_rect *rect, struct sb_error *err)
{
  if (at <= rect->downshift_first || at > rect->downshift_last) return SB_OK;
  size_t k = cuts->count;
  while (k > 0 && cuts->at[k - 1] > at) k--;
  if (k > 0 && cuts->at[k - 1] == at) return SB_OK;
  if (!sb_grow(&cuts->at, &cuts->room, cuts->count, sizeof *cuts->at)) {
    return sb_fail(err, SB_ERR_MEMORY, "out of memory for the cuts of a map");
  }
  memmove(cuts->at + k + 1, cuts->at + k, (cuts->count - k) * sizeof *cuts->at);
  cuts->at[k] = at;
  cuts->count++;
  return SB_OK;
}

/* First down index whose downshift torque is below the load; descending torques. */
static int first_below(const double *torque_nm, int count, double load_nm)
{
  int low = 0, high = count;
  while (low < high) {
    const int middle = (low + high) / 2;
    if (torque_nm[middle] < load_nm) {
      high = middle;
    } else {
      low = middle + 1;
    }
  }
  return low;
}

/* A chain at the mapped pair is threshold-driven for down indices from one on and for up indices below another. */
static int downshift_from(const struct sb_plane *plane, const struct sb_chain *chain)
{
  return first_below(plane->downshift_nm, plane->options.downshift.count, chain->least_nm);
}

static int upshift_below(const struct sb_plane *plane, const struct sb_chain *chain)
{
  return sb_path_count_above(plane->upshift_nm, plane->options.upshift.count, chain->greatest_nm, 0.0);
}

static enum sb_cause cause_of(const struct sb_plane *plane, const struct sb_chain *chain, int downshift, int upshift)
{
  const bool is_own = chain->pair == plane->options.pair;
  const double downshift_nm = is_own ? plane->downshift_nm[downshift] : plane->monitor.downshift_nm[chain->pair];
  const double upshift_nm = is_own ? plane->upshift_nm[upshift] : plane->monitor.upshift_nm[chain->pair];
  return sb_monitor_cause(downshift_nm, upshift_nm, chain->least_nm, chain->greatest_nm);
}

static struct sb_map_verdict judge_at(const struct sb_plane *plane, const struct sb_findings *findings, int downshift,
                                      int upshift)
{
  struct sb_map_verdict verdict = {findings->kinds, SB_CAUSE_NONE};
  for (const struct sb_chain *chain = findings->chains; chain != NULL; chain = chain->last) {
    const enum sb_cause cause = cause_of(plane, chain, downshift, upshift);
    if (verdict.cause == SB_CAUSE_NONE || cause < verdict.cause) verdict.cause = cause;
  }
  if (verdict.cause != SB_CAUSE_NONE) verdict.kinds |= 1U << sb_verdict_of_cause(verdict.cause);
  if (downshift < findings->false_below) verdict.kinds |= 1U << SB_VERDICT_NEEDLESS_DOWNSHIFT;
  if (downshift < findings->low_below) verdict.kinds |= 1U << SB_VERDICT_STUCK_LOW;
  return verdict;
}

/* Adds the part of a leaf between these indices, if it has a point with down < up. */
static enum sb_status add_cell(const struct sb_plane *plane, const struct sb_findings *findings,
                               const struct sb_rect *rect, struct sb_map *map, size_t *room, struct sb_error *err)
{
  if (rect->upshift_first > rect->upshift_last) return SB_OK;
  if (!(sb_map_axis_at(&map->options.downshift, rect->downshift_first) <
        sb_map_axis_at(&map->options.upshift, rect->upshift_last))) {
    return SB_OK;
  }
  if (!sb_grow(&map->cells, room, map->cell_count, sizeof *map->cells)) {
    return sb_fail(err, SB_ERR_MEMORY, "out of memory for the cells of a map");
  }
  map->cells[map->cell_count++] =
      (struct sb_map_cell){.downshift_first = rect->downshift_first,
                           .downshift_last = rect->downshift_last,
                           .upshift_first = rect->upshift_first,
                           .upshift_last = rect->upshift_last,
                           .verdict = judge_at(plane, findings, rect->downshift_first, rect->upshift_first),
                           .figures = findings->figures,
                           .shifts = findings->shifts};
  return SB_OK;
}

static bool is_mapped(const struct sb_plane *plane, const struct sb_chain *chain)
{
  return chain->pair == plane->options.pair;
}

/* The first up index of the leaf from which on no hunting is threshold-driven, for a down index. */
static int upshift_cut_at(const struct sb_plane *plane, const struct sb_leaf *leaf, int downshift)
{
  int cut = leaf->rect.upshift_first;
  for (const struct sb_chain *chain = leaf->findings.chains; chain != NULL; chain = chain->last) {
    if (!is_mapped(plane, chain) || downshift < downshift_from(plane, chain)) continue;
    const int below = upshift_below(plane, chain);
    if (below > cut) cut = below;
  }
  return cut <= leaf->rect.upshift_last ? cut : leaf->rect.upshift_last + 1;
}

/*
 * Within a leaf, verdicts end at a down index; but for the cause of hunting, which is the thresholds on a staircase (for
 * each chain a corner: down from one index on, up below another). So strips along the down axis, each cut once, hold it.
 */
static enum sb_status judge_leaf(const struct sb_plane *plane, const struct sb_leaf *leaf, struct cuts *cuts,
                                 struct sb_map *map, size_t *room, struct sb_error *err)
{
  const struct sb_rect *rect = &leaf->rect;
  cuts->count = 0;
  enum sb_status status = add_cut(cuts, leaf->findings.false_below, rect, err);
  if (status == SB_OK) status = add_cut(cuts, leaf->findings.low_below, rect, err);
  for (const struct sb_chain *chain = leaf->findings.chains; chain != NULL && status == SB_OK; chain = chain->last) {
    if (is_mapped(plane, chain)) status = add_cut(cuts, downshift_from(plane, chain), rect, err);
  }
  for (size_t i = 0; i <= cuts->count && status == SB_OK; i++) {
    struct sb_rect strip = *rect;
    if (i > 0) strip.downshift_first = cuts->at[i - 1];
    if (i < cuts->count) strip.downshift_last = cuts->at[i] - 1;
    const int upshift_cut = upshift_cut_at(plane, leaf, strip.downshift_first);
    struct sb_rect lower = strip, upper = strip;
    lower.upshift_last = upshift_cut - 1;
    upper.upshift_first = upshift_cut;
    status = add_cell(plane, &leaf->findings, &lower, map, room, err);
    if (status == SB_OK) status = add_cell(plane, &leaf->findings, &upper, map, room, err);
  }
  return status;
}

enum sb_status sb_judge(const struct sb_plane *plane, const struct sb_leaves *leaves, struct sb_map *map,
                        struct sb_error *err)
{
  size_t room = 0;
  struct cuts cuts = {NULL, 0, 0};
  enum sb_status status = SB_OK;
  for (size_t i = 0; i < leaves->count && status == SB_OK; i++) {
    status = judge_leaf(plane, &leaves->items[i], &cuts, map, &room, err);
  }
  free(cuts.at);
  return status;
}
