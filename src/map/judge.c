// SPDX-License-Identifier: GPL-3.0-or-later
#include "map/path.h"

#include <math.h>
#include <stdlib.h>

#include "base/arena.h"
#include "base/sign.h"

/*
 * Within a leaf every decision is the same, but what a verdict compares a load with depends on the thresholds: Td on the downshift
 * threshold alone, Tu on the upshift threshold alone. So each comparison parts the leaf along one of the axes, and where none of
 * them changes the verdict is one.
 */

/* Scratch: the threes of a leaf, and where it is cut along an axis: first indices of strips, ascending. */
struct scratch {
  struct sb_three *threes;
  size_t count, room;
  int *cuts[2];
  size_t cut_count[2], cut_room[2];
  int *run_last[2]; /* along each axis; find_runs() */
};

static enum sb_status no_memory(struct sb_error *err)
{
  return sb_fail(err, SB_ERR_MEMORY, "out of memory for the cuts of a map");
}

/* Whether two threes are judged alike. */
static bool is_alike(const struct sb_three *one, const struct sb_three *other)
{
  for (int k = 0; k < 3; k++) {
    if (one->load_nm[k] != other->load_nm[k] || one->faster_nm[k] != other->faster_nm[k]) return false;
  }
  return one->is_down_first == other->is_down_first && one->is_soon == other->is_soon &&
         one->is_quick == other->is_quick;
}

/* Gathers the threes of a leaf, each once. */
static enum sb_status gather(struct scratch *scratch, const struct sb_findings *findings, struct sb_error *err)
{
  scratch->count = 0;
  for (const struct sb_three_seen *seen = findings->threes; seen != NULL; seen = seen->last) {
    size_t k = 0;
    while (k < scratch->count && !is_alike(&scratch->threes[k], &seen->three)) k++;
    if (k < scratch->count) continue;
    if (!sb_grow(&scratch->threes, &scratch->room, scratch->count, sizeof *scratch->threes)) return no_memory(err);
    scratch->threes[scratch->count++] = seen->three;
  }
  return SB_OK;
}

struct sb_band sb_judge_band(const struct sb_plane *plane, int downshift, int upshift)
{
  const struct sb_band *own = &plane->monitor.bands[plane->options.pair];
  return (struct sb_band){plane->downshift_nm[downshift], plane->upshift_nm[upshift], own->step_nm};
}

static bool is_downshift_out_of_reach(const struct sb_plane *plane, int downshift)
{
  return sb_band_is_downshift_out_of_reach(plane->downshift_nm[downshift], plane->stall_nm);
}

static bool is_upshift_out_of_reach(const struct sb_plane *plane, int upshift)
{
  return sb_band_is_upshift_out_of_reach(plane->upshift_nm[upshift], plane->lightest_nm);
}

static struct sb_map_verdict judge_at(const struct sb_plane *plane, const struct sb_findings *findings,
                                      const struct scratch *scratch, int downshift, int upshift)
{
  struct sb_map_verdict verdict = {findings->kinds, findings->cause};
  const struct sb_band band = sb_judge_band(plane, downshift, upshift);
  for (size_t k = 0; k < scratch->count; k++) {
    sb_map_take_cause(&verdict, sb_three_cause(&scratch->threes[k], &band));
  }
  if (sb_band_is_needless(findings->needless_nm, band.downshift_nm)) {
    verdict.kinds |= 1U << SB_VERDICT_NEEDLESS_DOWNSHIFT;
  }
  if (findings->low_nm < band.downshift_nm) verdict.kinds |= 1U << SB_VERDICT_STUCK_LOW;
  if (is_downshift_out_of_reach(plane, downshift) || is_upshift_out_of_reach(plane, upshift)) {
    verdict.kinds |= 1U << SB_VERDICT_OUT_OF_REACH;
  }
  return verdict;
}

/* Strips --------------------------------------------------------------------------------------------------------------- */

/* How a three compares with the shift points, one bit each: those of one axis alone, the other's point out of the way. */
static unsigned compare(const struct sb_three *three, const struct sb_band *band)
{
  unsigned bits = 2U * sb_three_is_called_for(three, band) + sb_three_has_moved(three, band);
  for (int k = 0; k < 3; k++) {
    bits = 4U * bits + 2U * sb_three_is_above(three, k, band->downshift_nm) +
           sb_three_is_below(three, k, band->upshift_nm);
  }
  return bits;
}

/* A load that did not move far did not ask, whatever it called for. */
static unsigned judged(unsigned bits)
{
  const unsigned asked = 3U << 6;
  return (bits & asked) == asked ? bits : bits & ~asked;
}

/* is_each: also where comparisons that differ are judged alike. */
static bool are_compared_alike(const struct scratch *scratch, const struct sb_band bands[2], bool is_each)
{
  for (size_t k = 0; k < scratch->count; k++) {
    const unsigned one = compare(&scratch->threes[k], &bands[0]), other = compare(&scratch->threes[k], &bands[1]);
    if (is_each ? one != other : judged(one) != judged(other)) return false;
  }
  return true;
}

static bool is_downshift_alike(const struct sb_plane *plane, const struct sb_findings *findings,
                               const struct scratch *scratch, int one, int other, bool is_each)
{
  const double one_nm = plane->downshift_nm[one], other_nm = plane->downshift_nm[other];
  if (is_downshift_out_of_reach(plane, one) != is_downshift_out_of_reach(plane, other)) return false;
  if ((findings->low_nm < one_nm) != (findings->low_nm < other_nm)) return false;
  if (sb_band_is_needless(findings->needless_nm, one_nm) != sb_band_is_needless(findings->needless_nm, other_nm))
    return false;
  const struct sb_band bands[2] = {{one_nm, INFINITY, 0.0}, {other_nm, INFINITY, 0.0}};
  return are_compared_alike(scratch, bands, is_each);
}

static bool is_upshift_alike(const struct sb_plane *plane, const struct sb_findings *findings,
                             const struct scratch *scratch, int one, int other, bool is_each)
{
  (void)findings;
  if (is_upshift_out_of_reach(plane, one) != is_upshift_out_of_reach(plane, other)) return false;
  const struct sb_band bands[2] = {{-INFINITY, plane->upshift_nm[one], 0.0},
                                   {-INFINITY, plane->upshift_nm[other], 0.0}};
  return are_compared_alike(scratch, bands, is_each);
}

typedef bool alike(const struct sb_plane *plane, const struct sb_findings *findings, const struct scratch *scratch,
                   int one, int other, bool is_each);
static alike *const are_alike[2] = {is_downshift_alike, is_upshift_alike};

static enum sb_status add_cut(struct scratch *scratch, int axis, int first, struct sb_error *err)
{
  size_t *count = &scratch->cut_count[axis];
  if (!sb_grow(&scratch->cuts[axis], &scratch->cut_room[axis], *count, sizeof *scratch->cuts[axis]))
    return no_memory(err);
  scratch->cuts[axis][(*count)++] = first;
  return SB_OK;
}

/* Cuts between two indices of a run of torques. Each comparison changes once in it at most: where each is the same at both ends,
 * so it is between them. */
static enum sb_status cut_between(const struct sb_plane *plane, const struct sb_findings *findings,
                                  struct scratch *scratch, int axis, int low, int high, struct sb_error *err)
{
  if (are_alike[axis](plane, findings, scratch, low, high, high - low > 1)) return SB_OK;
  if (high - low == 1) return add_cut(scratch, axis, high, err);
  const int middle = low + (high - low) / 2;
  const enum sb_status status = cut_between(plane, findings, scratch, axis, low, middle, err);
  return status == SB_OK ? cut_between(plane, findings, scratch, axis, middle, high, err) : status;
}

/* Cuts first..last into strips in which every comparison comes out alike. */
static enum sb_status cut(const struct sb_plane *plane, const struct sb_findings *findings, struct scratch *scratch,
                          int axis, int first, int last, struct sb_error *err)
{
  scratch->cut_count[axis] = 0;
  enum sb_status status = add_cut(scratch, axis, first, err);
  for (int k = first, end; k < last && status == SB_OK; k = end) {
    end = scratch->run_last[axis][k] < last ? scratch->run_last[axis][k] : last;
    status = cut_between(plane, findings, scratch, axis, k, end, err);
  }
  return status;
}

/* For each torque the last one of its run, in which torques and their sizes only rise or only fall; owned, NULL: no memory. */
static int *find_runs(const double *torque_nm, int count)
{
  int *last = calloc((size_t)count, sizeof *last);
  int rise = 0, growth = 0;
  if (last == NULL) return NULL;
  last[count - 1] = count - 1;
  for (int k = count - 2; k >= 0; k--) {
    const int next_rise = sb_sign_of(torque_nm[k + 1] - torque_nm[k]);
    const int next_growth = sb_sign_of(fabs(torque_nm[k + 1]) - fabs(torque_nm[k]));
    last[k] = next_rise == rise && next_growth == growth ? last[k + 1] : k + 1;
    rise = next_rise;
    growth = next_growth;
  }
  return last;
}

/* The end of a strip. */
static int strip_last(const struct scratch *scratch, int axis, size_t strip, int last)
{
  return strip + 1 < scratch->cut_count[axis] ? scratch->cuts[axis][strip + 1] - 1 : last;
}

/* Cells ---------------------------------------------------------------------------------------------------------------- */

/* Adds a part of a leaf, if it has a point with down < up. */
static enum sb_status add_cell(const struct sb_findings *findings, const struct sb_rect *rect,
                               struct sb_map_verdict verdict, struct sb_map *map, size_t *room, struct sb_error *err)
{
  if (!(sb_map_axis_at(&map->options.downshift, rect->downshift_first) <
        sb_map_axis_at(&map->options.upshift, rect->upshift_last))) {
    return SB_OK;
  }
  if (!sb_grow(&map->cells, room, map->cell_count, sizeof *map->cells)) {
    return sb_fail(err, SB_ERR_MEMORY, "out of memory for the cells of a map");
  }
  map->cells[map->cell_count++] = (struct sb_map_cell){.downshift_first = rect->downshift_first,
                                                       .downshift_last = rect->downshift_last,
                                                       .upshift_first = rect->upshift_first,
                                                       .upshift_last = rect->upshift_last,
                                                       .verdict = verdict,
                                                       .figures = findings->figures,
                                                       .shifts = findings->shifts};
  return SB_OK;
}

static bool is_same(const struct sb_map_verdict *one, const struct sb_map_verdict *other)
{
  return one->kinds == other->kinds && one->cause == other->cause;
}

/* One strip along the downshift axis; what is alike along the other axis stays in one piece. */
static enum sb_status judge_strip(const struct sb_plane *plane, const struct sb_findings *findings,
                                  const struct scratch *scratch, struct sb_rect rect, struct sb_map *map, size_t *room,
                                  struct sb_error *err)
{
  const int last = rect.upshift_last;
  struct sb_map_verdict verdict = {0, SB_CAUSE_NONE};
  enum sb_status status = SB_OK;
  for (size_t k = 0; k < scratch->cut_count[1] && status == SB_OK; k++) {
    const int first = scratch->cuts[1][k];
    const struct sb_map_verdict here = judge_at(plane, findings, scratch, rect.downshift_first, first);
    if (k > 0 && !is_same(&here, &verdict)) {
      status = add_cell(findings, &rect, verdict, map, room, err);
      rect.upshift_first = first;
    }
    verdict = here;
    rect.upshift_last = strip_last(scratch, 1, k, last);
  }
  return status == SB_OK ? add_cell(findings, &rect, verdict, map, room, err) : status;
}

static enum sb_status judge_leaf(const struct sb_plane *plane, const struct sb_leaf *leaf, struct scratch *scratch,
                                 struct sb_map *map, size_t *room, struct sb_error *err)
{
  const struct sb_rect *rect = &leaf->rect;
  const struct sb_findings *findings = &leaf->findings;
  enum sb_status status = gather(scratch, findings, err);
  if (status == SB_OK) status = cut(plane, findings, scratch, 0, rect->downshift_first, rect->downshift_last, err);
  if (status == SB_OK) status = cut(plane, findings, scratch, 1, rect->upshift_first, rect->upshift_last, err);
  for (size_t k = 0; k < scratch->cut_count[0] && status == SB_OK; k++) {
    struct sb_rect strip = *rect;
    strip.downshift_first = scratch->cuts[0][k];
    strip.downshift_last = strip_last(scratch, 0, k, rect->downshift_last);
    status = judge_strip(plane, findings, scratch, strip, map, room, err);
  }
  return status;
}

static enum sb_status start(struct scratch *scratch, const struct sb_plane *plane, struct sb_error *err)
{
  const struct sb_map_options *options = &plane->options;
  *scratch = (struct scratch){.run_last = {find_runs(plane->downshift_nm, options->downshift.count),
                                           find_runs(plane->upshift_nm, options->upshift.count)}};
  return scratch->run_last[0] != NULL && scratch->run_last[1] != NULL ? SB_OK : no_memory(err);
}

enum sb_status sb_judge(const struct sb_plane *plane, const struct sb_leaves *leaves, struct sb_map *map,
                        struct sb_error *err)
{
  size_t room = 0;
  struct scratch scratch;
  enum sb_status status = start(&scratch, plane, err);
  for (size_t i = 0; i < leaves->count && status == SB_OK; i++) {
    status = judge_leaf(plane, &leaves->items[i], &scratch, map, &room, err);
  }
  free(scratch.threes);
  for (int axis = 0; axis < 2; axis++) {
    free(scratch.cuts[axis]);
    free(scratch.run_last[axis]);
  }
  return status;
}
