// SPDX-License-Identifier: GPL-3.0-or-later
/* Enumerates boxes by nested loops; nothing but the pairs is kept in memory. */
#include "design/boxes.h"

#include <math.h>
#include <stdlib.h>

/* Heads of two wheels that must not touch: one module each, twice. */
enum { CLEAR_TEETH = 4 };

struct pair {
  int driver, driven, sum;
};

struct sb_box_plan {
  const struct sb_shelf *shelf;
  int pair_count;
  struct pair *pairs; /* by sum, then by driver */
  int shared_count;
  struct pair *shared; /* those that reduce the speed, in the same order */
  int *first_of_sum;   /* index of the first pair of at least that sum; [sum_count + 1] */
  int sum_count;       /* sums 0..sum_count - 1 */
  int spread;          /* of sums between the same axles */
  bool has_plain, has_swing;
  long slice_count;
};

static int by_sum(const void *one, const void *other)
{
  const struct pair *a = one, *b = other;
  return a->sum != b->sum ? a->sum - b->sum : a->driver - b->driver;
}

static void list_pairs(struct sb_box_plan *plan)
{
  const struct sb_shelf *shelf = plan->shelf;
  for (int i = 0; i < shelf->teeth_count; i++) {
    for (int k = 0; k < shelf->teeth_count; k++) {
      const int driver = shelf->teeth[i], driven = shelf->teeth[k];
      plan->pairs[plan->pair_count++] = (struct pair){driver, driven, driver + driven};
    }
  }
  qsort(plan->pairs, (size_t)plan->pair_count, sizeof plan->pairs[0], by_sum);
  for (int k = 0; k < plan->pair_count; k++) {
    if (plan->pairs[k].driver < plan->pairs[k].driven) plan->shared[plan->shared_count++] = plan->pairs[k];
  }
  for (int sum = 0, k = 0; sum <= plan->sum_count; sum++) {
    while (k < plan->pair_count && plan->pairs[k].sum < sum) k++;
    plan->first_of_sum[sum] = k;
  }
}

/* Numbers of stages times numbers of speeds, of a way of shifting. */
static int form_count(const struct sb_box_plan *plan, bool is_swing)
{
  const struct sb_shelf *shelf = plan->shelf;
  const int stages = shelf->stages[1] - shelf->stages[0] + 1;
  if (is_swing) return plan->has_swing && shelf->speeds[0] <= 2 && shelf->speeds[1] >= 2 ? stages : 0;
  return plan->has_plain ? stages * (shelf->speeds[1] - shelf->speeds[0] + 1) : 0;
}

struct sb_box_plan *sb_boxes_plan(const struct sb_shelf *shelf, bool has_plain, bool has_swing)
{
  struct sb_box_plan *plan = calloc(1, sizeof *plan);
  if (plan == NULL) return NULL;
  const size_t teeth = (size_t)shelf->teeth_count;
  *plan = (struct sb_box_plan){.shelf = shelf,
                               .has_plain = has_plain,
                               .has_swing = has_swing,
                               .spread = (int)floor(2.0 * shelf->tolerance_m / shelf->module_m + 1e-9)};
  plan->sum_count = 2 * shelf->teeth[shelf->teeth_count - 1] + 1;
  plan->pairs = calloc(teeth * teeth, sizeof *plan->pairs);
  plan->shared = calloc(teeth * teeth, sizeof *plan->shared);
  plan->first_of_sum = calloc((size_t)plan->sum_count + 1, sizeof *plan->first_of_sum);
  if (plan->pairs == NULL || plan->shared == NULL || plan->first_of_sum == NULL) {
    sb_boxes_free(plan);
    return NULL;
  }
  list_pairs(plan);
  plan->slice_count = (long)plan->pair_count * (form_count(plan, false) + form_count(plan, true));
  return plan;
}

void sb_boxes_free(struct sb_box_plan *plan)
{
  if (plan == NULL) return;
  free(plan->pairs);
  free(plan->shared);
  free(plan->first_of_sum);
  free(plan);
}

/* ---- counts ---- */

/* n over k. */
static double choose(double n, int k)
{
  double count = 1.0;
  if (n < k) return 0.0;
  for (int i = 0; i < k; i++) count = count * (n - i) / (i + 1);
  return round(count);
}

/* Pairs with sums of from..to. */
static double pairs_of_sums(const struct sb_box_plan *plan, int from, int to)
{
  if (to > plan->sum_count - 1) to = plan->sum_count - 1;
  return from > to ? 0.0 : plan->first_of_sum[to + 1] - plan->first_of_sum[from];
}

static double last_stages(const struct sb_box_plan *plan, int speeds)
{
  double count = 0.0;
  for (int sum = 0; sum < plan->sum_count; sum++) {
    count += choose(pairs_of_sums(plan, sum, sum + plan->spread), speeds) -
             choose(pairs_of_sums(plan, sum + 1, sum + plan->spread), speeds);
  }
  return count;
}

static int largest_wheel(const struct sb_box_plan *plan)
{
  return plan->shelf->teeth[plan->shelf->teeth_count - 1];
}

static double swing_stages(const struct sb_box_plan *plan)
{
  double count = 0.0;
  for (int sum = 0; sum < plan->sum_count; sum++) {
    const int least = sum - 2 * largest_wheel(plan);
    const double others = pairs_of_sums(plan, least > 0 ? least : 0, sum - CLEAR_TEETH);
    count += pairs_of_sums(plan, sum, sum) * others;
  }
  return count;
}

double sb_boxes_count(const struct sb_box_plan *plan, bool is_swing)
{
  const struct sb_shelf *shelf = plan->shelf;
  double last = 0.0, count = 0.0;
  if (form_count(plan, is_swing) == 0) return 0.0;
  if (is_swing) {
    last = swing_stages(plan);
  } else {
    for (int s = shelf->speeds[0]; s <= shelf->speeds[1]; s++) last += last_stages(plan, s);
  }
  for (int n = shelf->stages[0]; n <= shelf->stages[1]; n++)
    count += choose(plan->shared_count + n - 2.0, n - 1) * last;
  return count;
}

/* ---- slices ---- */

long sb_boxes_slice_count(const struct sb_box_plan *plan)
{
  return plan->slice_count;
}

struct sb_box_slice sb_boxes_slice(const struct sb_box_plan *plan, long index)
{
  const struct sb_shelf *shelf = plan->shelf;
  const long plain = (long)plan->pair_count * form_count(plan, false);
  const bool is_swing = index >= plain;
  const long form = (is_swing ? index - plain : index) / plan->pair_count;
  const int speed_forms = is_swing ? 1 : shelf->speeds[1] - shelf->speeds[0] + 1;
  return (struct sb_box_slice){.is_swing = is_swing,
                               .stages = shelf->stages[0] + (int)(form / speed_forms),
                               .speeds = is_swing ? 2 : shelf->speeds[0] + (int)(form % speed_forms),
                               .anchor = (int)(index % plan->pair_count)};
}

/* ---- visits ---- */

struct visiting {
  const struct sb_box_plan *plan;
  struct sb_box box;
  bool (*visit)(void *context, const struct sb_box *box);
  void *context;
  bool is_over;
};

static void put_pair(int wheels[2], const struct pair *pair)
{
  wheels[0] = pair->driver;
  wheels[1] = pair->driven;
}

/* All multisets of shared stages from the stage on, pairs from `from` on. */
static void visit_shared(struct visiting *visiting, int stage, int from)
{
  struct sb_box *box = &visiting->box;
  if (stage == box->stages - 1) {
    visiting->is_over = visiting->is_over || !visiting->visit(visiting->context, box);
    return;
  }
  for (int p = from; p < visiting->plan->shared_count && !visiting->is_over; p++) {
    put_pair(box->shared[stage], &visiting->plan->shared[p]);
    visit_shared(visiting, stage + 1, p);
  }
}

static double ratio_of(const int wheels[2])
{
  return (double)wheels[1] / wheels[0];
}

/* Puts the pairs of the last stage in order, the slowest first. */
static void sort_speeds(struct sb_box *box)
{
  for (int i = 1; i < box->speeds; i++) {
    for (int k = i; k > 0 && ratio_of(box->last[k]) > ratio_of(box->last[k - 1]); k--) {
      for (int w = 0; w < 2; w++) {
        const int wheel = box->last[k][w];
        box->last[k][w] = box->last[k - 1][w];
        box->last[k - 1][w] = wheel;
      }
    }
  }
}

/* All sets of pairs between the axles of the anchor, whose sum is the least. */
static void visit_last(struct visiting *visiting, int speeds[SB_SHELF_SPEED_MAX], int count, int anchor)
{
  const struct sb_box_plan *plan = visiting->plan;
  struct sb_box *box = &visiting->box;
  if (count == box->speeds) {
    for (int s = 0; s < count; s++) put_pair(box->last[s], &plan->pairs[speeds[s]]);
    sort_speeds(box);
    visit_shared(visiting, 0, 0);
    return;
  }
  const int most = plan->pairs[anchor].sum + plan->spread;
  for (int p = speeds[count - 1] + 1; p < plan->pair_count && plan->pairs[p].sum <= most && !visiting->is_over; p++) {
    speeds[count] = p;
    visit_last(visiting, speeds, count + 1, anchor);
  }
}

/* A wheel that reaches both wheels of a pair between axles that are farther apart: the smallest that is no weaker than the smaller wheel of
 * the pair, else the greatest; 0: none. */
static int idler_of(const struct sb_shelf *shelf, const struct pair *pair, int axle_sum)
{
  const int least = pair->driver < pair->driven ? pair->driver : pair->driven;
  int found = 0;
  for (int k = 0; k < shelf->teeth_count && found < least; k++) {
    if (pair->sum + 2 * shelf->teeth[k] >= axle_sum) found = shelf->teeth[k];
  }
  return found;
}

static void visit_swing(struct visiting *visiting, int anchor)
{
  const struct sb_box_plan *plan = visiting->plan;
  const struct pair *direct = &plan->pairs[anchor];
  struct sb_box *box = &visiting->box;
  for (int p = 0; p < plan->pair_count && plan->pairs[p].sum + CLEAR_TEETH <= direct->sum && !visiting->is_over; p++) {
    const struct pair *other = &plan->pairs[p];
    box->idler = idler_of(plan->shelf, other, direct->sum);
    if (box->idler == 0) continue;
    const bool is_slow = (double)other->driven / other->driver > (double)direct->driven / direct->driver;
    box->idler_speed = is_slow ? 0 : 1;
    put_pair(box->last[is_slow ? 0 : 1], other);
    put_pair(box->last[is_slow ? 1 : 0], direct);
    visit_shared(visiting, 0, 0);
  }
}

void sb_boxes_visit(const struct sb_box_plan *plan, const struct sb_box_slice *slice,
                    bool (*visit)(void *context, const struct sb_box *box), void *context)
{
  struct visiting visiting = {
      .plan = plan, .box = {.stages = slice->stages, .speeds = slice->speeds}, .visit = visit, .context = context};
  int speeds[SB_SHELF_SPEED_MAX] = {slice->anchor};
  if (slice->is_swing) {
    visit_swing(&visiting, slice->anchor);
  } else {
    visit_last(&visiting, speeds, 1, slice->anchor);
  }
}
