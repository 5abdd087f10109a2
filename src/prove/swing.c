// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * swing.c - the least swing of the load that can make the box shift for ever.
 *
 * Whether commands go on for ever within [c, c + delta] only becomes true as the bounds widen. So no swing below delta does
 * that from any c between c1 and c2 where they end within [c1, c2 + delta]. Where commands at the thresholds themselves can be
 * reached, the least swing is HA - LB: HA the least constant load that takes the fast gear, entered from the upshift threshold, below
 * the downshift threshold, LB the greatest that lets the slow one, entered from there, pass the upshift threshold.
 */
#include <math.h>
#include <stdlib.h>

#include "prove/answer.h"

enum { CONSTANTS = 64, BISECTIONS = 46, CELLS_MAX = 20000 };

/* Cells narrower than this share of the swing are not halved any more; what is found is known to that share. */
static const double cell_share = 2e-3, swing_share = 0.995;

struct swing {
  struct sb_reach *reach;
  const struct sb_reach_commands *commands;
  struct sb_reach_commands *lasting; /* scratch */
  struct sb_edge_load full;
  double *varied; /* the range of `full` that swings */
  double from_nm, to_nm;
  double least_nm, proved_nm;
  double at_nm[2];
  int cells;
};

static void fail_memory(struct sb_reach *reach)
{
  struct sb_edges *edges = &reach->edges;
  edges->status = sb_fail(&edges->err, SB_ERR_MEMORY, "out of memory for the least swing");
}

static void bind(struct swing *swing, double low_nm, double high_nm)
{
  struct sb_edge_load load = swing->full;
  double *range = swing->varied == swing->full.acting_nm ? load.acting_nm : load.resisting_nm;
  range[0] = fmax(low_nm, swing->from_nm);
  range[1] = fmin(high_nm, swing->to_nm);
  if (range[0] > range[1]) range[0] = range[1];
  sb_edge_bind(&swing->reach->edges, &load);
}

/* Whether commands go on for ever within bounds; not found out counts as that they do. Boxes only show that they do not. */
static int lasts(struct swing *swing, double low_nm, double high_nm)
{
  const struct sb_reach *reach = swing->reach;
  bind(swing, low_nm, high_nm);
  const int is_lasting = sb_reach_lasting(swing->reach, swing->commands, swing->lasting);
  return reach->has_boxes && reach->trouble != NULL ? -1 : is_lasting;
}

/* Whether a constant load brings a command of a way after the opposite one at its very threshold, between two gears. */
static bool comes_again(struct swing *swing, int slower, int way, double load_nm)
{
  struct sb_reach *reach = swing->reach;
  const bool is_up = way == SB_REACH_UP;
  const int gear = is_up ? slower + 1 : slower;
  const double speed = is_up ? reach->gears[gear].downshift_rad_s : reach->gears[gear].upshift_rad_s;
  const struct sb_corner corner = sb_edge_corner(&reach->edges, gear, speed);
  struct sb_reach_commands *next = swing->lasting;
  struct sb_reach_commands *only = calloc(1, sizeof *only);
  if (only == NULL) {
    fail_memory(reach);
    return false;
  }
  only->sets[gear][is_up ? SB_REACH_DOWN : SB_REACH_UP] = (struct sb_spans){1, {{corner, corner, false, false}}};
  bind(swing, load_nm, load_nm);
  (void)sb_reach_next(reach, only, next);
  free(only);
  return next->sets[is_up ? slower : slower + 1][way].count > 0;
}

/* The load of the bounds up to which a command comes (up), or from which on (down); NAN: it comes for none. */
static double edge_nm(struct swing *swing, int slower, int way)
{
  const bool is_up = way == SB_REACH_UP;
  double never = is_up ? swing->to_nm : swing->from_nm, always = is_up ? swing->from_nm : swing->to_nm;
  if (!comes_again(swing, slower, way, always)) return NAN;
  if (comes_again(swing, slower, way, never)) return never;
  for (int i = 0; i < BISECTIONS; i++) {
    const double middle = 0.5 * (never + always);
    *(comes_again(swing, slower, way, middle) ? &always : &never) = middle;
  }
  return always;
}

static void take(struct swing *swing, double low_nm, double high_nm)
{
  if (!(high_nm - low_nm < swing->least_nm)) return;
  swing->least_nm = high_nm - low_nm;
  swing->at_nm[0] = low_nm;
  swing->at_nm[1] = high_nm;
}

/* HA - LB of each pair, where bounds a little wider make it last. */
static void try_pairs(struct swing *swing)
{
  const double slack_nm = 1e-7 * fmax(swing->to_nm - swing->from_nm, fabs(swing->to_nm));
  for (int slower = 0; slower + 1 < swing->reach->gear_count; slower++) {
    const double high = edge_nm(swing, slower, SB_REACH_DOWN), low = edge_nm(swing, slower, SB_REACH_UP);
    if (isnan(high) || isnan(low)) continue;
    if (high < low) {
      const double middle = 0.5 * (low + high);
      if (lasts(swing, middle, middle) == 1) take(swing, middle, middle);
    } else if (lasts(swing, low - slack_nm, high + slack_nm) == 1) {
      take(swing, low, high);
    }
  }
}

static void try_constants(struct swing *swing)
{
  for (int i = 0; i <= CONSTANTS && swing->least_nm > 0.0; i++) {
    const double nm = swing->from_nm + (swing->to_nm - swing->from_nm) * i / CONSTANTS;
    if (lasts(swing, nm, nm) == 1) take(swing, nm, nm);
  }
}

/* The least upper end with which it lasts from a lower one on. */
static void try_from(struct swing *swing, double low_nm)
{
  double no = low_nm, yes = fmin(low_nm + swing->least_nm, swing->to_nm);
  if (lasts(swing, low_nm, yes) != 1) return;
  for (int i = 0; i < 20; i++) {
    const double middle = 0.5 * (no + yes);
    *(lasts(swing, low_nm, middle) == 1 ? &yes : &no) = middle;
  }
  take(swing, low_nm, yes);
}

/* Shows that no swing below the least one lasts from any lower end in a cell, or finds a lesser one. */
static void cover(struct swing *swing, double from_nm, double to_nm)
{
  const double scale_nm = swing->to_nm - swing->from_nm;
  if (swing->reach->edges.status != SB_OK) return;
  const double asked_nm = fmin(swing_share * swing->least_nm, scale_nm);
  if (lasts(swing, from_nm, to_nm + asked_nm) == 0) return;
  const double width = to_nm - from_nm;
  if (width <= fmax(cell_share * swing->least_nm, 1e-4 * scale_nm) || swing->cells++ > CELLS_MAX) {
    const double before = swing->least_nm;
    try_from(swing, from_nm);
    if (swing->least_nm < before) {
      cover(swing, from_nm, to_nm);
    } else {
      swing->proved_nm = fmin(swing->proved_nm, fmax(asked_nm - width, 0.0));
    }
    return;
  }
  const double middle = 0.5 * (from_nm + to_nm);
  cover(swing, from_nm, middle);
  cover(swing, middle, to_nm);
}

struct sb_answer_range sb_answer_swinging(const struct sb_reach *reach)
{
  const struct sb_edge_load *load = &reach->edges.load;
  const bool is_acting = load->acting_nm[1] - load->acting_nm[0] > load->resisting_nm[1] - load->resisting_nm[0];
  const double *range = is_acting ? load->acting_nm : load->resisting_nm;
  return (struct sb_answer_range){is_acting, range[0], range[1]};
}

/* False: no memory. */
static bool open_swing(struct swing *swing, struct sb_reach *reach, const struct sb_reach_commands *commands)
{
  const struct sb_answer_range range = sb_answer_swinging(reach);
  *swing = (struct swing){.reach = reach, .commands = commands, .full = reach->edges.load, .least_nm = INFINITY};
  swing->varied = range.is_acting ? swing->full.acting_nm : swing->full.resisting_nm;
  swing->from_nm = range.from_nm;
  swing->to_nm = range.to_nm;
  swing->proved_nm = INFINITY;
  swing->lasting = malloc(sizeof *swing->lasting);
  if (swing->lasting == NULL) fail_memory(reach);
  return swing->lasting != NULL;
}

static void close_swing(struct swing *swing)
{
  free(swing->lasting);
  sb_edge_bind(&swing->reach->edges, &swing->full);
}

static void cover_quietly(struct swing *swing, double asked_nm, double narrow_nm, const double ends_nm[2],
                          double left_nm[2])
{
  if (swing->reach->edges.status != SB_OK) return;
  if (lasts(swing, ends_nm[0], ends_nm[1] + asked_nm) == 0) return;
  if (ends_nm[1] - ends_nm[0] <= narrow_nm) {
    left_nm[0] = fmin(left_nm[0], ends_nm[0]);
    left_nm[1] = fmax(left_nm[1], ends_nm[1]);
    return;
  }
  const double middle = 0.5 * (ends_nm[0] + ends_nm[1]);
  const double halves[2][2] = {{ends_nm[0], middle}, {middle, ends_nm[1]}};
  cover_quietly(swing, asked_nm, narrow_nm, halves[0], left_nm);
  cover_quietly(swing, asked_nm, narrow_nm, halves[1], left_nm);
}

bool sb_answer_is_quiet(struct sb_reach *reach, const struct sb_reach_commands *commands, double asked_nm,
                        double narrow_nm, const double ends_nm[2], double left_nm[2])
{
  struct swing swing;
  left_nm[0] = INFINITY;
  left_nm[1] = -INFINITY;
  if (!open_swing(&swing, reach, commands)) return false;
  cover_quietly(&swing, asked_nm, narrow_nm, ends_nm, left_nm);
  close_swing(&swing);
  return left_nm[0] > left_nm[1];
}

bool sb_answer_hunts(struct sb_reach *reach, const struct sb_reach_commands *commands, double load_nm)
{
  struct swing swing;
  if (!open_swing(&swing, reach, commands)) return false;
  const bool is_lasting = lasts(&swing, load_nm, load_nm) == 1 && !reach->has_boxes;
  close_swing(&swing);
  return is_lasting;
}

struct sb_answer_swing sb_answer_swing(struct sb_reach *reach, const struct sb_reach_commands *commands)
{
  struct swing swing;
  if (!open_swing(&swing, reach, commands)) return (struct sb_answer_swing){INFINITY, {NAN, NAN}, 0.0};
  const int is_lasting = lasts(&swing, swing.from_nm, swing.to_nm);
  if (is_lasting == 1) {
    take(&swing, swing.from_nm, swing.to_nm);
    try_pairs(&swing);
    try_constants(&swing);
    if (swing.least_nm > 0.0) cover(&swing, swing.from_nm, swing.to_nm);
    swing.proved_nm = fmin(swing.proved_nm, swing_share * swing.least_nm);
  } else if (is_lasting < 0) {
    swing.proved_nm = 0.0;
  }
  close_swing(&swing);
  return (struct sb_answer_swing){swing.least_nm, {swing.at_nm[0], swing.at_nm[1]}, swing.proved_nm};
}
