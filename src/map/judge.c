// SPDX-License-Identifier: GPL-3.0-or-later
#include "map/judge.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Where leaves are cut along the down axis: indices at which something begins or ends. Scratch, ascending. */
struct cuts {
  int *at; /* at[count], owned */
  size_t count, room;
};

static enum sb_status add_cut(struct cuts *cuts, int at, const struct sb_rect *rect, struct sb_error *err)
{
  if (at <= rect->down_first || at > rect->down_last) return SB_OK;
  size_t k = cuts->count;
  while (k > 0 && cuts->at[k - 1] > at) k--;
  if (k > 0 && cuts->at[k - 1] == at) return SB_OK;
  if (cuts->count == cuts->room) {
    const size_t room = cuts->room > 0 ? 2 * cuts->room : 16;
    int *grown = realloc(cuts->at, room * sizeof *grown);
    if (grown == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for the cuts of a map");
    cuts->at = grown;
    cuts->room = room;
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
static int threshold_down_from(const struct sb_plane *plane, const struct sb_chain *chain)
{
  return first_below(plane->downshift_nm, plane->options.down.count, chain->least_nm);
}

static int threshold_up_below(const struct sb_plane *plane, const struct sb_chain *chain)
{
  return sb_plane_count_above(plane->upshift_nm, plane->options.up.count, chain->greatest_nm, 0.0);
}

static enum sb_cause cause_of(const struct sb_plane *plane, const struct sb_chain *chain, int down, int up)
{
  const bool is_own = chain->pair == plane->options.pair;
  const double down_nm = is_own ? plane->downshift_nm[down] : plane->monitor.downshift_nm[chain->pair];
  const double up_nm = is_own ? plane->upshift_nm[up] : plane->monitor.upshift_nm[chain->pair];
  return sb_monitor_cause(down_nm, up_nm, chain->least_nm, chain->greatest_nm);
}

static struct sb_map_verdict judge_at(const struct sb_plane *plane, const struct sb_findings *findings, int down,
                                      int up)
{
  struct sb_map_verdict verdict = {findings->kinds, SB_CAUSE_NONE};
  for (const struct sb_chain *chain = findings->chains; chain != NULL; chain = chain->last) {
    const enum sb_cause cause = cause_of(plane, chain, down, up);
    if (verdict.cause == SB_CAUSE_NONE || cause < verdict.cause) verdict.cause = cause;
    verdict.kinds |= 1U << SB_VERDICT_HUNTING;
  }
  if (down < findings->false_below) verdict.kinds |= 1U << SB_VERDICT_NEEDLESS_DOWNSHIFT;
  if (down < findings->low_below) verdict.kinds |= 1U << SB_VERDICT_STUCK_LOW;
  return verdict;
}

int sb_map_verdict_worst(const struct sb_map_verdict *verdict)
{
  static const enum sb_verdict_kind order[] = {
      SB_VERDICT_STALL,     SB_VERDICT_NOT_ENGAGED, SB_VERDICT_HUNTING,
      SB_VERDICT_DRIVE_CUT, SB_VERDICT_OVERHEATED,  SB_VERDICT_OVERLOAD,
      SB_VERDICT_SLIPPING,  SB_VERDICT_STUCK_LOW,   SB_VERDICT_NEEDLESS_DOWNSHIFT};
  for (size_t k = 0; k < sizeof order / sizeof order[0]; k++) {
    if (verdict->kinds & (1U << order[k])) return (int)order[k];
  }
  return -1;
}

/* Adds the part of a leaf between these indices, if it has a point with down < up. */
static enum sb_status add_cell(const struct sb_plane *plane, const struct sb_findings *findings,
                               const struct sb_rect *rect, struct sb_map *map, size_t *room, struct sb_error *err)
{
  if (rect->up_first > rect->up_last) return SB_OK;
  if (!(sb_map_axis_at(&map->options.down, rect->down_first) < sb_map_axis_at(&map->options.up, rect->up_last))) {
    return SB_OK;
  }
  if (map->cell_count == *room) {
    const size_t more = *room > 0 ? 2 * *room : 1024;
    struct sb_map_cell *cells = realloc(map->cells, more * sizeof *cells);
    if (cells == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for the cells of a map");
    map->cells = cells;
    *room = more;
  }
  map->cells[map->cell_count++] =
      (struct sb_map_cell){.down_first = rect->down_first,
                           .down_last = rect->down_last,
                           .up_first = rect->up_first,
                           .up_last = rect->up_last,
                           .verdict = judge_at(plane, findings, rect->down_first, rect->up_first),
                           .figures = findings->figures,
                           .shifts = findings->shifts};
  return SB_OK;
}

static bool is_mapped(const struct sb_plane *plane, const struct sb_chain *chain)
{
  return chain->pair == plane->options.pair;
}

/* The first up index of the leaf from which on no hunting is threshold-driven, for a down index. */
static int up_cut_at(const struct sb_plane *plane, const struct sb_leaf *leaf, int down)
{
  int cut = leaf->rect.up_first;
  for (const struct sb_chain *chain = leaf->findings.chains; chain != NULL; chain = chain->last) {
    if (!is_mapped(plane, chain) || down < threshold_down_from(plane, chain)) continue;
    const int below = threshold_up_below(plane, chain);
    if (below > cut) cut = below;
  }
  return cut <= leaf->rect.up_last ? cut : leaf->rect.up_last + 1;
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
    if (is_mapped(plane, chain)) status = add_cut(cuts, threshold_down_from(plane, chain), rect, err);
  }
  for (size_t i = 0; i <= cuts->count && status == SB_OK; i++) {
    struct sb_rect strip = *rect;
    if (i > 0) strip.down_first = cuts->at[i - 1];
    if (i < cuts->count) strip.down_last = cuts->at[i] - 1;
    const int up_cut = up_cut_at(plane, leaf, strip.down_first);
    struct sb_rect lower = strip, upper = strip;
    lower.up_last = up_cut - 1;
    upper.up_first = up_cut;
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

static bool is_alike(const struct sb_map_cell *a, const struct sb_map_cell *b)
{
  return a->verdict.kinds == b->verdict.kinds && a->verdict.cause == b->verdict.cause &&
         a->figures.shift_count == b->figures.shift_count && a->figures.output_turns == b->figures.output_turns &&
         a->figures.given_j == b->figures.given_j && a->figures.greatest_torque_nm == b->figures.greatest_torque_nm;
}

static int compare_int(int a, int b)
{
  return (a > b) - (a < b);
}

/* Order in which cells that could join along the down axis stand next to each other. */
static int compare_along_down(const void *a, const void *b)
{
  const struct sb_map_cell *ca = a, *cb = b;
  const int first = compare_int(ca->up_first, cb->up_first), last = compare_int(ca->up_last, cb->up_last);
  return first != 0 ? first : last != 0 ? last : compare_int(ca->down_first, cb->down_first);
}

static int compare_along_up(const void *a, const void *b)
{
  const struct sb_map_cell *ca = a, *cb = b;
  const int first = compare_int(ca->down_first, cb->down_first), last = compare_int(ca->down_last, cb->down_last);
  return first != 0 ? first : last != 0 ? last : compare_int(ca->up_first, cb->up_first);
}

static bool touches_along_down(const struct sb_map_cell *a, const struct sb_map_cell *b)
{
  return a->up_first == b->up_first && a->up_last == b->up_last && a->down_last + 1 == b->down_first;
}

static bool touches_along_up(const struct sb_map_cell *a, const struct sb_map_cell *b)
{
  return a->down_first == b->down_first && a->down_last == b->down_last && a->up_last + 1 == b->up_first;
}

/* One pass along one axis; returns how many cells went. */
static size_t join_along(struct sb_map *map, int (*compare)(const void *, const void *),
                         bool (*touches)(const struct sb_map_cell *, const struct sb_map_cell *))
{
  if (map->cell_count == 0) return 0;
  qsort(map->cells, map->cell_count, sizeof *map->cells, compare);
  size_t kept = 0;
  for (size_t i = 1; i < map->cell_count; i++) {
    struct sb_map_cell *left = &map->cells[kept];
    const struct sb_map_cell *right = &map->cells[i];
    if (touches(left, right) && is_alike(left, right)) {
      left->down_last = right->down_last;
      left->up_last = right->up_last;
    } else {
      map->cells[++kept] = *right;
    }
  }
  const size_t gone = map->cell_count - (kept + 1);
  map->cell_count = kept + 1;
  return gone;
}

void sb_join(struct sb_map *map)
{
  while (join_along(map, compare_along_up, touches_along_up) + join_along(map, compare_along_down, touches_along_down) >
         0) {}
}
