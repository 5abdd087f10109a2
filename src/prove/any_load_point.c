// SPDX-License-Identifier: GPL-3.0-or-later
#include "prove/any_load_point.h"

#include <math.h>

/* Places between the ends of a swing arm's speeds that are looked at under a constant load: at first, and where they leave a doubt. */
enum { PLACES = 8, PLACES_MOST = 128, FINER = 4, ROOT_STEPS = 60 };

/* A load is known to this share of the bounds. */
static const double same_load = 1e-11;

/* What is no bound of a load in practice, in stalls of the gear. */
static const double far_stalls = 2.0;

struct at {
  const struct sb_any_lines *lines;
  struct sb_edges *edges;
  const struct sb_any_row *row;
  const struct sb_any_column *column;
  double from_nm, to_nm;                      /* of the varied torque */
  double down_nm, up_nm;                      /* the steady states at the thresholds as a varied torque */
  bool has_edges;                             /* HA and LB are found */
  double least_down_rad_s, greatest_up_rad_s; /* how far commands come at most */
};

/* ---- a constant load ---- */

static void bind(const struct at *at, double varied_nm)
{
  const struct sb_edge_load load = sb_any_constant(at->lines, varied_nm);
  sb_edge_bind(at->edges, &load);
}

/* The speed that decides at the earliest after a shift from a speed, under the load that is bound; what the closed forms do not cover comes
 * out on the side on which nothing is decided. */
static double after(const struct at *at, int gear, double motor_rad_s)
{
  const enum sb_edge_side side = gear == 0 ? SB_EDGE_SLOW : SB_EDGE_FAST;
  const struct sb_corner from = sb_edge_corner(at->edges, gear, motor_rad_s);
  return sb_edge_pass(at->edges, side, gear, 1 - gear, &from, at->lines->last).corner.motor_rad_s;
}

/* How much a speed after a shift is beyond the threshold that brings the next command, > 0: it comes. */
static double beyond(const struct at *at, int gear, double motor_rad_s)
{
  const double speed = after(at, gear, motor_rad_s);
  return gear == 0 ? at->row->speed_rad_s - speed : speed - at->column->speed_rad_s;
}

/* The load between one at which no command comes and one at which it does, after a shift at the threshold itself: false position, where
 * the end that stays is made lighter. */
static double edge_nm(const struct at *at, int gear, double never_nm, double always_nm, double at_never,
                      double at_always)
{
  const double threshold = gear == 0 ? at->column->speed_rad_s : at->row->speed_rad_s;
  const double width = same_load * fmax(fabs(never_nm), fabs(always_nm));
  int kept = 0;
  for (int i = 0; i < ROOT_STEPS && fabs(always_nm - never_nm) > width; i++) {
    const double middle = always_nm - at_always * (always_nm - never_nm) / (at_always - at_never);
    const double nm = i % 8 == 7 || !isfinite(middle) ? 0.5 * (never_nm + always_nm) : middle;
    bind(at, nm);
    const double here = beyond(at, gear, threshold);
    if (here > 0.0) {
      always_nm = nm;
      at_always = here;
      if (kept > 0) at_never *= 0.5;
      kept = 1;
    } else {
      never_nm = nm;
      at_never = here;
      if (kept < 0) at_always *= 0.5;
      kept = -1;
    }
    if (fabs(here) <= same_load * threshold) return nm;
  }
  return always_nm;
}

/* HA (gear 0: upshifts lead to it) or LB: beside the steady state, where the dwell is over before the speed has come there. */
static double least_nm(const struct at *at, int gear)
{
  const double threshold = gear == 0 ? at->column->speed_rad_s : at->row->speed_rad_s;
  const double steady_nm = gear == 0 ? at->down_nm : at->up_nm, sign = gear == 0 ? -1.0 : 1.0;
  const double scale_nm = fmax(fabs(steady_nm), fmax(fabs(at->to_nm), 1e-9));
  const bool is_push = !at->lines->is_acting && steady_nm < 0.0; /* what resists never pushes */
  if (is_push && gear == 0) return steady_nm;
  double always_nm = is_push ? 0.0 : steady_nm;
  bind(at, always_nm);
  double at_always = beyond(at, gear, threshold);
  if (!(at_always > same_load * threshold)) return steady_nm;
  const double floor_nm = !at->lines->is_acting && gear == 0 ? 0.0 : sign * far_stalls * scale_nm;
  for (double step = 1e-6 * scale_nm;; step *= 16.0) {
    double nm = always_nm + sign * step;
    const bool is_end = sign < 0.0 ? nm <= floor_nm : nm >= floor_nm;
    if (is_end) nm = floor_nm;
    bind(at, nm);
    const double here = beyond(at, gear, threshold);
    if (here <= 0.0) return edge_nm(at, gear, nm, always_nm, here, at_always);
    always_nm = nm;
    at_always = here;
    if (is_end) return floor_nm;
  }
}

/* ---- commands under a constant load ---- */

/* What is beyond the other threshold, at places between two speeds: the least, and what may be less between places. */
struct least {
  double seen, possible;
};

static struct least least_at(const struct at *at, int gear, double sign, const double ends_rad_s[2], int places)
{
  double before = sign * beyond(at, gear, ends_rad_s[0]);
  struct least least = {before, before};
  for (int k = 1; k <= places; k++) {
    const double here = sign * beyond(at, gear, ends_rad_s[0] + (ends_rad_s[1] - ends_rad_s[0]) * k / places);
    const double between = at->lines->has_arm ? 0.5 * fabs(here - before) : 0.0;
    least.seen = fmin(least.seen, here);
    least.possible = fmin(least.possible, fmin(here, before) - between);
    before = here;
  }
  return least;
}

/* Whether all between two speeds is beyond the threshold (sign 1), or none is (-1): at it no command comes. Places grow finer until that
 * is seen, or seen not to be. How far commands come is infinite where a shift may engage too late to tell: that is not seen. */
static bool is_all_beyond(const struct at *at, int gear, double sign, double from_rad_s, double to_rad_s)
{
  const double ends_rad_s[2] = {from_rad_s, to_rad_s};
  if (!isfinite(from_rad_s) || !isfinite(to_rad_s)) return false;
  for (int places = at->lines->has_arm ? PLACES : 1; places <= PLACES_MOST; places *= FINER) {
    const struct least least = least_at(at, gear, sign, ends_rad_s, places);
    if (sign > 0.0 ? least.possible > 0.0 : least.possible >= 0.0) return true;
    if (least.seen < 0.0 || !at->lines->has_arm) break;
  }
  return false;
}

/* Whether under a load each command within a sample of the thresholds, or as far as shifts lead, brings the opposite one. */
static bool goes_on(const struct at *at, double varied_nm)
{
  const struct sb_any_lines *lines = at->lines;
  struct sb_edges *edges = at->edges;
  bind(at, varied_nm);
  struct sb_corner low = sb_edge_corner(edges, 1, at->row->speed_rad_s),
                   high = sb_edge_corner(edges, 0, at->column->speed_rad_s);
  for (int k = 0; k < lines->debounce; k++) {
    low = sb_edge_after(edges, SB_EDGE_SLOW, 1, &low, edges->sample_s);
    high = sb_edge_after(edges, SB_EDGE_FAST, 0, &high, edges->sample_s);
  }
  const double fallen = fmin(fmin(low.motor_rad_s, at->row->speed_rad_s), after(at, 0, at->column->speed_rad_s));
  const double risen = fmax(fmax(high.motor_rad_s, at->column->speed_rad_s), after(at, 1, at->row->speed_rad_s));
  const bool is_down = varied_nm > at->down_nm || is_all_beyond(at, 0, 1.0, at->column->speed_rad_s, risen);
  const bool is_up = varied_nm < at->up_nm || is_all_beyond(at, 1, 1.0, fallen, at->row->speed_rad_s);
  return is_down && is_up;
}

/* Whether one of the sheets that are laid shows that nothing goes on for ever (below). */
static bool never_goes_on_by_sheets(const struct at *at)
{
  const struct sb_any_sheets *sheets = &at->lines->sheets;
  const struct sb_any_grid *grid = &at->lines->grid;
  const double down = at->row->speed_rad_s, up = at->column->speed_rad_s;
  for (int k = 0; k < sheets->count; k++) {
    if (sheets->load_nm[k] > at->down_nm || sheets->load_nm[k] < at->up_nm) continue;
    if (sb_any_grid_least(grid, sheets->up_last_rad_s[k], 1.0, up, at->greatest_up_rad_s) >= down &&
        -sb_any_grid_least(grid, sheets->down_last_rad_s[k], -1.0, at->least_down_rad_s, down) <= up) {
      return true;
    }
  }
  return false;
}

/* Whether no command of a swing arm brings a downshift up to some load, nor an upshift from it on. */
static bool never_goes_on(const struct at *at, double high_nm, double low_nm)
{
  if (never_goes_on_by_sheets(at)) return true;
  const double middle = fmin(fmax(0.5 * (high_nm + low_nm), at->from_nm), at->to_nm);
  if (middle > at->down_nm || middle < at->up_nm) return false;
  bind(at, middle);
  return is_all_beyond(at, 0, -1.0, at->column->speed_rad_s, at->greatest_up_rad_s) &&
         is_all_beyond(at, 1, -1.0, at->least_down_rad_s, at->row->speed_rad_s);
}

/* Whether a load within the bounds lies between two. */
static bool has_load_between(const struct at *at, double low_nm, double high_nm)
{
  return low_nm < high_nm && low_nm < at->to_nm && at->from_nm < high_nm;
}

/* ---- the verdict ---- */

enum answer { NO, YES, DOUBT };

/* Which commands there are at all. */
struct commands {
  bool starts_down, starts_up;     /* as soon as a sample may decide */
  enum answer arrives_down;        /* as soon as it may after an upshift */
  bool is_slow_used, is_fast_used; /* gears */
};

static struct commands commands_of(const struct at *at)
{
  const struct sb_any_lines *lines = at->lines;
  const double down = at->row->speed_rad_s, up = at->column->speed_rad_s;
  struct commands out = {.arrives_down = NO};
  const bool is_fast = lines->start_gear == 1;
  out.starts_down = is_fast && fmax(lines->start.low.motor_rad_s, lines->start_last.low.motor_rad_s) < down;
  out.starts_up = !is_fast && fmin(lines->start.high.motor_rad_s, lines->start_last.high.motor_rad_s) >= up;
  out.is_slow_used = !is_fast || out.starts_down || at->row->is_passed;
  out.is_fast_used = is_fast || out.starts_up || at->column->is_passed;
  const double least = sb_any_grid_least(&lines->grid, lines->grid.up_last_rad_s, 1.0, up, at->greatest_up_rad_s);
  if (fmax(at->column->first_rad_s, at->column->last_rad_s) < down) {
    out.arrives_down = YES;
  } else if (least < down) {
    out.arrives_down = DOUBT;
  }
  return out;
}

/* How far commands come at most, up and down: from the thresholds while they wait, and after shifts. */
static void find_ends(struct at *at)
{
  const struct sb_any_lines *lines = at->lines;
  const double down = at->row->speed_rad_s, up = at->column->speed_rad_s;
  const double highest = -sb_any_grid_least(&lines->grid, lines->grid.down_last_rad_s, -1.0, 0.0, down);
  at->greatest_up_rad_s = fmax(at->column->risen_rad_s, lines->has_arm ? highest : at->row->last_rad_s);
  if (lines->start_gear == 0) at->greatest_up_rad_s = fmax(at->greatest_up_rad_s, lines->start_last.high.motor_rad_s);
  const double lowest = sb_any_grid_least(&lines->grid, lines->grid.up_last_rad_s, 1.0, up, at->greatest_up_rad_s);
  at->least_down_rad_s = fmin(at->row->fallen_rad_s, fmin(at->column->last_rad_s, lowest));
  if (lines->start_gear == 1) at->least_down_rad_s = fmin(at->least_down_rad_s, lines->start_last.low.motor_rad_s);
}

/* How long the output stands in gear. `sure_s`: some load profile brings it about; `most_s`: none brings more. Forward, the heaviest load stops
 * the slower gear for ever or not at all, so what a downshift leads to adds nothing. */
static void find_standing(const struct at *at, const struct commands *commands, double *sure_s, double *most_s)
{
  const struct sb_any_lines *lines = at->lines;
  const struct sb_any_grid *grid = &lines->grid;
  double sure = lines->start_standing_s, lowest_waiting = INFINITY;
  bool is_doubtful = commands->arrives_down == DOUBT;
  if (commands->is_slow_used && lines->heaviest_rad_s[0] <= 0.0) sure = INFINITY;
  if (commands->is_fast_used) sure = fmax(sure, at->row->standing_s);
  if (commands->is_fast_used && at->row->is_passed) lowest_waiting = at->row->waiting_rad_s;
  if (commands->starts_down) lowest_waiting = fmin(lowest_waiting, lines->start_waiting_rad_s);
  if (commands->is_slow_used && commands->is_fast_used && commands->arrives_down == YES) {
    lowest_waiting = fmin(lowest_waiting, at->column->waiting_rad_s);
  }
  if (lines->start_gear == 0) lowest_waiting = fmin(lowest_waiting, lines->start.low.motor_rad_s);
  const bool has_up = commands->is_slow_used && commands->is_fast_used;
  /* Where all arrive above the threshold, upshifts begin above it. */
  const double up_s = has_up ? at->column->standing_s : 0.0;
  if (lowest_waiting < at->column->speed_rad_s) {
    sure = fmax(sure, up_s);
  } else if (up_s > sure) {
    is_doubtful = true;
  }
  double most = fmax(sure, up_s);
  if (grid->count > 0 && has_up) {
    const double up =
        -sb_any_grid_least(grid, grid->up_standing_s, -1.0, at->column->speed_rad_s, at->greatest_up_rad_s);
    const double down =
        -sb_any_grid_least(grid, grid->down_standing_s, -1.0, at->least_down_rad_s, at->row->speed_rad_s);
    /* None stands for longer than it takes to decide. */
    most = fmax(most, fmin(fmax(up, down), lines->last * at->edges->sample_s));
  }
  if (is_doubtful) most = fmax(most, up_s);
  *sure_s = sure;
  *most_s = most;
}

static void find_edges(struct at *at, struct sb_any_load_point *point)
{
  if (at->has_edges) return;
  at->has_edges = true;
  point->high_nm = least_nm(at, 0);
  point->low_nm = least_nm(at, 1);
}

/* Whether a constant load makes it shift for ever; finds HA and LB where that hangs on them. */
static enum answer hunts(struct at *at, const struct commands *commands, struct sb_any_load_point *point)
{
  const bool is_down_told = at->down_nm < at->to_nm || commands->arrives_down != NO;
  const double highest = -sb_any_grid_least(&at->lines->grid, at->lines->grid.down_last_rad_s, -1.0,
                                            at->least_down_rad_s, at->row->speed_rad_s);
  const double arrival = at->lines->has_arm ? fmax(highest, at->row->last_rad_s) : at->row->last_rad_s;
  const bool is_up_told = at->up_nm > at->from_nm || arrival >= at->column->speed_rad_s;
  if (has_load_between(at, at->down_nm, at->up_nm)) return YES;
  if (!(is_down_told && is_up_told)) return NO;
  find_edges(at, point);
  if (has_load_between(at, point->high_nm, point->low_nm)) {
    const double middle = 0.5 * (fmax(point->high_nm, at->from_nm) + fmin(point->low_nm, at->to_nm));
    return goes_on(at, middle) ? YES : DOUBT;
  }
  if (!at->lines->has_arm) return NO;
  return never_goes_on(at, point->high_nm, point->low_nm) ? NO : DOUBT;
}

static bool classify(struct sb_any_load_point *point, enum sb_any_load_class class)
{
  point->class = class;
  return true;
}

/* Whether the lightest load leaves the box in the slower gear, or holds no gear. */
static bool is_stuck_low(const struct at *at, const struct commands *commands)
{
  return at->lines->lightest_rad_s[1] < at->row->speed_rad_s || (commands->is_slow_used && !at->column->is_passed);
}

static bool decide(struct at *at, struct sb_any_load_point *point)
{
  const struct sb_any_lines *lines = at->lines;
  find_ends(at);
  const struct commands commands = commands_of(at);
  const bool is_shifting = commands.is_slow_used && commands.is_fast_used;
  double sure_s, most_s;
  if (is_shifting && (at->row->is_doubtful || at->column->is_doubtful)) return false;
  const enum answer hunting = is_shifting ? hunts(at, &commands, point) : NO;
  if (hunting != NO) return hunting == YES && classify(point, SB_ANY_LOAD_HUNTS);
  if (is_stuck_low(at, &commands)) return classify(point, SB_ANY_LOAD_STUCK_LOW);
  find_standing(at, &commands, &sure_s, &most_s);
  const double stall_s = lines->model->limits.stall_time_s;
  if (most_s > stall_s && !(sure_s > stall_s)) return false;
  if (is_shifting) find_edges(at, point);
  point->standing_s = most_s;
  if (sure_s > stall_s) return classify(point, SB_ANY_LOAD_STALLS);
  return classify(point, is_shifting ? SB_ANY_LOAD_PROVED : SB_ANY_LOAD_NEVER_SHIFTS);
}

bool sb_any_point_decide(const struct sb_any_lines *lines, struct sb_edges *edges, const struct sb_any_row *row,
                         const struct sb_any_column *column, struct sb_any_load_point *point)
{
  const double *varied = sb_any_varied_nm(lines);
  const double *other = lines->is_acting ? lines->full.resisting_nm : lines->full.acting_nm;
  struct at at = {
      .lines = lines, .edges = edges, .row = row, .column = column, .from_nm = varied[0], .to_nm = varied[1]};
  at.down_nm = row->steady_nm - other[1];
  at.up_nm = column->steady_nm - other[0];
  *point = (struct sb_any_load_point){.high_nm = at.down_nm, .low_nm = at.up_nm};
  /* A threshold that no reading can be below, or what slips without falling below it: there the faster gear is kept. */
  if (lines->is_doubtful || !(row->speed_rad_s > 0.0) || (lines->is_fast_slipping && !row->is_passed)) return false;
  const bool is_decided = decide(&at, point);
  /* As torques from outside. */
  point->high_nm += other[1];
  point->low_nm += other[0];
  return is_decided;
}
