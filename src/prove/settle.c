// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * settle.c - how long it takes until no shift follows any more, once the load stays at one end of its bounds; and how long the
 * output can stand in gear.
 *
 * When the load takes its last value, the opposite command may still come: as long as the speed needs from the farthest point
 * beyond the threshold back to it. A state that waits in a gear needs the time from the farthest point to the threshold, and, since
 * samples do not wait for it, one period more; each debounced reading another.
 */
#include <math.h>

#include "prove/answer.h"

enum { SHIFTS_MAX = 12 };

/* What a filter that nothing is known of holds at most, as a fraction of the reference. */
static const double most_filtered = 1.5;

/* How a gear engages at worst. */
struct engagement {
  double motor_rad_s, engaged_s; /* after the command; 0: it never engages again */
};

/* Settling under one load. */
struct settling {
  struct engagement engagements[SB_GEAR_MAX];
  struct sb_reach *reach;
  const struct sb_reach_commands *commands;
  int way;    /* of the shifts that are waited for */
  int wanted; /* the gear that is to be engaged at last; -1: any */
  struct sb_edge_load full;
};

/* A command that is followed until no other comes. */
struct followed {
  const struct settling *settling;
  double worst_s;
  int shifts_left;
};

static double time_after(const struct settling *settling, int gear, int way, const struct sb_span *command,
                         int shifts_left);

static bool take_next(void *context, int sample, int gear, int way, const struct sb_span *span)
{
  struct followed *followed = context;
  const double after_s = time_after(followed->settling, gear, way, span, followed->shifts_left - 1);
  followed->worst_s = fmax(followed->worst_s, sample * followed->settling->reach->edges.sample_s + after_s);
  return isinf(followed->worst_s);
}

/* From a command until the last gear is engaged, at most. */
static double time_after(const struct settling *settling, int gear, int way, const struct sb_span *command,
                         int shifts_left)
{
  struct sb_reach *reach = settling->reach;
  const int to = sb_reach_next_gear(gear, way);
  struct followed followed = {settling, 0.0, shifts_left};
  struct sb_edge_arrivals arrivals;
  if (shifts_left == 0) return INFINITY;
  sb_edge_arrive(&reach->edges, gear, to, command, reach->dwell, &arrivals);
  const bool is_waiting =
      sb_reach_follow(reach, gear, way, command, sb_reach_last_sample(reach, to), take_next, &followed);
  if (!is_waiting || isinf(followed.worst_s)) return followed.worst_s;
  if (settling->wanted >= 0 && to != settling->wanted) return INFINITY;
  return fmax(followed.worst_s, arrivals.greatest_engaged_s);
}

double sb_answer_settle_on(struct sb_reach *reach, int way, int gear, const struct sb_reach_item *from)
{
  const struct settling settling = {
      .reach = reach, .way = way, .wanted = way == SB_REACH_UP ? reach->gear_count - 1 : -1};
  struct followed followed = {&settling, NAN, SHIFTS_MAX};
  const bool is_waiting =
      sb_reach_follow_on(reach, gear, from, sb_reach_last_sample(reach, gear), take_next, &followed);
  const bool is_stuck = is_waiting && settling.wanted >= 0 && gear != settling.wanted;
  return is_stuck ? INFINITY : followed.worst_s;
}

/* The time that a corner needs to come to a threshold; with a filter whole samples. */
static double time_to(struct sb_reach *reach, enum sb_edge_side side, int gear, const struct sb_corner *from,
                      double speed_rad_s)
{
  struct sb_edges *edges = &reach->edges;
  if (edges->filter_gain == 0.0) return sb_edge_time_s(edges, side, gear, from, speed_rad_s);
  const double threshold = speed_rad_s / edges->model->control.sensor.reference_rad_s;
  const bool is_rising = from->filtered < threshold;
  const int last = sb_reach_last_sample(reach, gear) + (int)(40.0 / edges->filter_gain);
  struct sb_corner corner = *from;
  for (int k = 0; k <= last; k++) {
    if (is_rising ? corner.filtered >= threshold : corner.filtered <= threshold) return k * edges->sample_s;
    corner = sb_edge_after(edges, side, gear, &corner, edges->sample_s);
  }
  return INFINITY;
}

static const struct sb_corner *far_corner(const struct settling *settling, const struct sb_span *span)
{
  return settling->way == SB_REACH_UP ? &span->low : &span->high;
}

/* Under one load the sides differ by their machines: the one that takes longest on the way. */
static enum sb_edge_side side_of(const struct settling *settling)
{
  return settling->way == SB_REACH_UP ? SB_EDGE_SLOW : SB_EDGE_FAST;
}

static double threshold_of(const struct settling *settling, int gear, int way)
{
  const struct sb_reach_gear *own = &settling->reach->gears[gear];
  (void)settling;
  return way == SB_REACH_UP ? own->upshift_rad_s : own->downshift_rad_s;
}

/* A corner just engaged, or at the start; of a filter nothing is known. */
static struct sb_corner fresh_corner(const struct settling *settling, int gear, double motor_rad_s)
{
  struct sb_edges *edges = &settling->reach->edges;
  struct sb_corner corner = sb_edge_corner(edges, gear, motor_rad_s);
  if (edges->filter_gain > 0.0) corner.filtered = settling->way == SB_REACH_UP ? 0.0 : most_filtered;
  return corner;
}

/* Where a corner is under the worst load of all, after a time. */
static struct sb_corner worst_after(const struct settling *settling, int gear, const struct sb_corner *from,
                                    double time_s)
{
  struct sb_edges *edges = &settling->reach->edges;
  const struct sb_edge_load last = edges->load;
  const enum sb_edge_side side = settling->way == SB_REACH_UP ? SB_EDGE_SLOW : SB_EDGE_FAST;
  sb_edge_bind(edges, &settling->full);
  struct sb_corner corner = sb_edge_after(edges, side, gear, from, time_s);
  sb_edge_bind(edges, &last);
  corner.filtered = from->filtered;
  return corner;
}

/* Whether the opposite command would come; a filter may say so for longer. */
static bool is_beyond(const struct settling *settling, const struct sb_corner *corner, double threshold_rad_s)
{
  const bool is_up = settling->way == SB_REACH_UP;
  if (settling->reach->edges.filter_gain > 0.0) return true;
  return is_up ? corner->motor_rad_s < threshold_rad_s : corner->motor_rad_s > threshold_rad_s;
}

/*
 * For how long the load may have its last value before an opposite command that comes when a wait is over, `wait_s` after a corner
 * could begin `from_s` after its own beginning: from there if that lasts, else from where the worst load has brought it by
 * the time from which on it does.
 */
static double still_waiting_s(const struct settling *settling, int gear, const struct sb_corner *from, double from_s,
                              double wait_s)
{
  struct sb_reach *reach = settling->reach;
  const double threshold = threshold_of(settling, gear, 1 - settling->way);
  if (!is_beyond(settling, from, threshold)) return 0.0; /* commands lie farther */
  const double back_s = time_to(reach, side_of(settling), gear, from, threshold);
  if (from_s + back_s >= wait_s) return fmin(from_s + back_s, wait_s + (reach->debounce - 1) * reach->edges.sample_s);
  const struct sb_corner later = worst_after(settling, gear, from, wait_s - back_s - from_s);
  if (!is_beyond(settling, &later, threshold)) return 0.0;
  return fmin(time_to(reach, side_of(settling), gear, &later, threshold), back_s);
}

/* For how long the opposite command may still come from a gear that the load holds: until the speed is back at the threshold, or until the
 * longest wait and the samples that confirm it are over: at rest the breakaway torque may keep it from ever coming back. */
static double still_s(const struct settling *settling, int gear)
{
  struct sb_reach *reach = settling->reach;
  const int away = 1 - settling->way;
  const struct sb_spans *set = &settling->commands->sets[gear][away];
  const double threshold = threshold_of(settling, gear, away), sample_s = reach->edges.sample_s;
  double worst_s = 0.0;
  for (int i = 0; i < set->count; i++) {
    const struct sb_corner *far = far_corner(settling, &set->items[i]);
    worst_s = fmax(worst_s, time_to(reach, side_of(settling), gear, far, threshold));
  }
  const bool is_start = gear == reach->edges.model->control.start_gear - 1;
  const int wait = is_start && reach->start_delay > reach->dwell ? reach->start_delay : reach->dwell;
  worst_s = fmin(worst_s, (wait + reach->debounce) * sample_s);
  const struct engagement *engagement = &settling->engagements[gear];
  if (engagement->engaged_s > 0.0) {
    const struct sb_corner joined = fresh_corner(settling, gear, engagement->motor_rad_s);
    worst_s = fmax(worst_s, still_waiting_s(settling, gear, &joined, engagement->engaged_s, reach->dwell * sample_s));
  }
  if (is_start) {
    const struct sb_model *model = reach->edges.model;
    const struct sb_gear *path = &model->gearbox.gears[gear];
    const struct sb_corner first =
        fresh_corner(settling, gear, model->run.initial_output_speed_rad_s * path->ratio * path->output_direction);
    worst_s = fmax(worst_s, still_waiting_s(settling, gear, &first, 0.0, reach->start_delay * sample_s));
  }
  return worst_s;
}

/* The opposite command still comes, in a gear that the load holds. */
static double after_opposite(const struct settling *settling, int gear, const struct sb_spans *set)
{
  const int away = 1 - settling->way;
  double worst_s = 0.0;
  for (int i = 0; i < set->count && !isinf(worst_s); i++) {
    worst_s = fmax(worst_s, time_after(settling, gear, away, &set->items[i], SHIFTS_MAX));
  }
  return set->count > 0 ? worst_s + still_s(settling, gear) : 0.0;
}

/* The span of the commands that come from a gear in the end: from the threshold to the farthest that is reached. */
static struct sb_span last_commands(const struct settling *settling, int gear, const struct sb_span *engaged)
{
  const struct sb_corner at =
      sb_edge_corner(&settling->reach->edges, gear, threshold_of(settling, gear, settling->way));
  const bool is_up = settling->way == SB_REACH_UP;
  return (struct sb_span){is_up ? at : engaged->low, is_up ? engaged->high : at, false, false};
}

/* The farthest that a gear engages at under all loads within the bounds, and the latest: each for itself. */
static void find_engagements(struct settling *settling)
{
  struct sb_reach *reach = settling->reach;
  const bool is_up = settling->way == SB_REACH_UP;
  for (int k = 0; k < reach->gear_count * SB_REACH_WAYS; k++) {
    const int from = k / SB_REACH_WAYS, way = k % SB_REACH_WAYS, to = sb_reach_next_gear(from, way);
    const struct sb_spans *set = &settling->commands->sets[from][way];
    for (int i = 0; i < 2 * set->count; i++) {
      struct engagement *engagement = &settling->engagements[to];
      const struct sb_span *span = &set->items[i / 2];
      const struct sb_edge_shifts shifts =
          sb_edge_shifts(&reach->edges, from, to, i % 2 == 0 ? &span->low : &span->high);
      const double speed = engagement->motor_rad_s, other = shifts.joined_rad_s[is_up ? 0 : 1];
      const bool is_first = engagement->engaged_s == 0.0;
      engagement->motor_rad_s = is_first ? other : is_up ? fmin(speed, other) : fmax(speed, other);
      engagement->engaged_s = fmax(engagement->engaged_s, shifts.engaged_s[1]);
    }
  }
}

/* The time from a corner in a gear until its command of the way is due; 0: it is at once. */
static double time_to_leave(const struct settling *settling, int gear, const struct sb_corner *from)
{
  const double threshold = threshold_of(settling, gear, settling->way);
  const double reference = settling->reach->edges.model->control.sensor.reference_rad_s;
  const bool is_filtered = settling->reach->edges.filter_gain > 0.0;
  const double short_of = is_filtered ? threshold / reference - from->filtered : threshold - from->motor_rad_s;
  if (settling->way == SB_REACH_UP ? short_of <= 0.0 : short_of >= 0.0) return 0.0;
  return time_to(settling->reach, side_of(settling), gear, from, threshold);
}

/* A gear that is waited in until it is left: from its farthest state; from the engagement, where that takes longer than the dwell; or
 * from the start. */
static double after_waiting(const struct settling *settling, int gear)
{
  struct sb_reach *reach = settling->reach;
  const double sample_s = reach->edges.sample_s;
  if (reach->engaged[gear].count == 0) return 0.0;
  const struct sb_span hull = sb_span_set_hull(&reach->engaged[gear]);
  const struct sb_span commands = last_commands(settling, gear, &hull);
  const struct engagement *engagement = &settling->engagements[gear];
  const struct sb_corner joined = fresh_corner(settling, gear, engagement->motor_rad_s);
  const double early_s = engagement->engaged_s + time_to_leave(settling, gear, &joined);
  double worst_s = time_to_leave(settling, gear, far_corner(settling, &hull));
  if (engagement->engaged_s > 0.0 && early_s > (reach->dwell - 1) * sample_s) worst_s = fmax(worst_s, early_s);
  worst_s += reach->debounce * sample_s;
  if (gear == reach->edges.model->control.start_gear - 1) {
    const bool is_spread = reach->edges.lane_count == SB_EDGE_LANES; /* then the near corner is of another machine */
    const bool is_high = (settling->way == SB_REACH_UP) != is_spread;
    const struct sb_corner *near = is_high ? &reach->start.high : &reach->start.low;
    const double delay_s = (reach->start_delay + reach->debounce - 1) * sample_s;
    const double left_s = time_to_leave(settling, gear, near);
    worst_s = fmax(worst_s, delay_s + (left_s > 0.0 ? left_s + sample_s : 0.0));
  }
  return worst_s + time_after(settling, gear, settling->way, &commands, SHIFTS_MAX);
}

/* Whether the last load holds a gear of a side's machine: else a command of a way comes from it in steady state, where there is a gear that
 * way: a load that turns back the slowest one is below a threshold that does not exist. */
static bool is_left_by(const struct settling *settling, enum sb_edge_side side, int gear, int way)
{
  struct sb_reach *reach = settling->reach;
  const int next = sb_reach_next_gear(gear, way);
  if (next < 0 || next >= reach->gear_count) return false;
  const struct sb_corner middle =
      sb_edge_corner(&reach->edges, gear, 0.5 * settling->reach->edges.model->control.sensor.reference_rad_s);
  const double limit = sb_edge_limit(&reach->edges, side, gear, &middle).motor_rad_s;
  const double threshold = threshold_of(settling, gear, way);
  return way == SB_REACH_UP ? limit > threshold : limit < threshold;
}

/* By every machine; by any. */
static bool is_left(const struct settling *settling, int gear, int way)
{
  return is_left_by(settling, way == SB_REACH_UP ? SB_EDGE_SLOW : SB_EDGE_FAST, gear, way);
}

static bool can_be_left(const struct settling *settling, int gear, int way)
{
  return is_left_by(settling, way == SB_REACH_UP ? SB_EDGE_FAST : SB_EDGE_SLOW, gear, way);
}

static double longest(const struct settling *settling)
{
  const struct sb_reach *reach = settling->reach;
  double worst_s = 0.0;
  for (int g = 0; g < reach->gear_count && !isinf(worst_s); g++) {
    worst_s = fmax(worst_s, after_opposite(settling, g, &settling->commands->sets[g][1 - settling->way]));
    if (!can_be_left(settling, g, settling->way)) continue;
    /* Machines between those that leave the gear and those that do not take as long as one likes. */
    const double waiting_s = is_left(settling, g, settling->way) ? after_waiting(settling, g) : INFINITY;
    worst_s = fmax(worst_s, reach->engaged[g].count > 0 ? waiting_s : 0.0);
  }
  return worst_s;
}

/* Whether any gear in use is left for good under the last load; else no shift is needed. */
static bool is_needed(const struct settling *settling)
{
  const struct sb_reach *reach = settling->reach;
  if (settling->way == SB_REACH_UP) return true;
  for (int g = 1; g < reach->gear_count; g++) {
    if (reach->engaged[g].count > 0 && can_be_left(settling, g, SB_REACH_DOWN)) return true;
  }
  return false;
}

double sb_answer_settle(struct sb_reach *reach, const struct sb_reach_commands *commands, int way)
{
  const struct sb_edge_load full = reach->edges.load;
  const int end = way == SB_REACH_UP ? 0 : 1, fastest = reach->gear_count - 1;
  const struct sb_edge_load last = sb_edge_load_at(&full, end);
  struct settling settling = {
      .reach = reach, .commands = commands, .way = way, .wanted = way == SB_REACH_UP ? fastest : -1, .full = full};
  find_engagements(&settling);
  sb_edge_bind(&reach->edges, &last);
  double worst_s = NAN;
  if (is_needed(&settling)) {
    worst_s = longest(&settling);
    /* A gear that is not left although another one is wanted, or the wanted one that is left. */
    for (int g = 0; g < fastest && way == SB_REACH_UP; g++) {
      if (reach->engaged[g].count > 0 && !is_left(&settling, g, SB_REACH_UP)) worst_s = INFINITY;
    }
    if (way == SB_REACH_UP && can_be_left(&settling, fastest, SB_REACH_DOWN)) worst_s = INFINITY;
  }
  sb_edge_bind(&reach->edges, &full);
  return worst_s;
}

/* Standing ----------------------------------------------------------------------------------------------------------- */

/* By how much longer than in the slowest machine the output may stand after a shift: another one may engage sooner. */
static double sooner_s(struct sb_reach *reach, int gear, int to, const struct sb_corner *from)
{
  struct sb_edges *edges = &reach->edges;
  if (edges->lane_count == SB_EDGE_SIDES) return 0.0;
  const struct sb_corner at = sb_edge_corner(edges, to, reach->gears[to].downshift_rad_s);
  if (sb_edge_limit(edges, SB_EDGE_SLOW, to, &at).motor_rad_s > 0.0) return 0.0;
  const struct sb_edge_shifts shifts = sb_edge_shifts(edges, gear, to, from);
  return shifts.engaged_s[1] - shifts.engaged_s[0];
}

/* In a gear that is left as soon as a sample may decide. */
static double standing_after(struct sb_reach *reach, int gear, int way, const struct sb_span *command)
{
  enum { PLACES = 8 };
  const int to = sb_reach_next_gear(gear, way);
  double worst_s = 0.0;
  for (int i = 0; i <= PLACES; i++) {
    const double low = command->low.motor_rad_s, high = command->high.motor_rad_s;
    const struct sb_corner from =
        i == 0 ? command->low : sb_edge_corner(&reach->edges, gear, low + (high - low) * i / PLACES);
    struct sb_edge_shift shift;
    (void)sb_edge_shift(&reach->edges, SB_EDGE_SLOW, gear, to, &from, reach->dwell + reach->debounce - 1, &shift);
    worst_s = fmax(worst_s, shift.standing_s + sooner_s(reach, gear, to, &from));
    if (!reach->edges.model->shifter.ops->is_direction_selected) break;
  }
  return worst_s;
}

/* While it waits, a speed at the threshold falls at most for as many samples as it takes to decide. */
static double standing_waiting(struct sb_reach *reach, int gear)
{
  const struct sb_corner at = sb_edge_corner(&reach->edges, gear, reach->gears[gear].downshift_rad_s);
  return sb_edge_standing_s(&reach->edges, SB_EDGE_SLOW, gear, &at, reach->debounce);
}

/* For how long a filter holds the reading of a gear above its downshift threshold while the output stands. */
static double held_s(const struct sb_reach *reach, int gear)
{
  const double gain = reach->edges.filter_gain;
  if (!(gain > 0.0 && gain < 1.0) || sb_reach_is_lowest(reach, gear) || reach->engaged[gear].count == 0) return 0.0;
  const double threshold = reach->gears[gear].downshift_rad_s / reach->edges.model->control.sensor.reference_rad_s;
  const struct sb_span hull = sb_span_set_hull(&reach->engaged[gear]);
  const double samples = ceil(log(hull.high.filtered / threshold) / -log(1.0 - gain));
  return fmax(samples, 0.0) * reach->edges.sample_s;
}

/* From the start on it stands until enough samples have decided. */
static double standing_at_start(const struct sb_reach *reach)
{
  const int gear = reach->edges.model->control.start_gear - 1;
  if (!(reach->start_standing_s > 0.0)) return 0.0;
  return reach->start_standing_s + (reach->debounce - 1) * reach->edges.sample_s + held_s(reach, gear);
}

double sb_answer_standing_after(struct sb_reach *reach, const struct sb_reach_commands *commands)
{
  double worst_s = 0.0;
  for (int g = 0; g < reach->gear_count; g++) {
    for (int way = 0; way < SB_REACH_WAYS; way++) {
      const struct sb_spans *set = &commands->sets[g][way];
      for (int i = 0; i < set->count; i++) {
        const double held = held_s(reach, sb_reach_next_gear(g, way));
        const double standing_s = standing_after(reach, g, way, &set->items[i]);
        worst_s = fmax(worst_s, standing_s > 0.0 ? standing_s + held : 0.0);
      }
    }
  }
  return worst_s;
}

int sb_answer_stopped_gear(struct sb_reach *reach)
{
  for (int g = 0; g < reach->gear_count; g++) {
    if (reach->engaged[g].count == 0 || !sb_reach_is_lowest(reach, g)) continue;
    const struct sb_span hull = sb_span_set_hull(&reach->engaged[g]);
    if (sb_edge_limit(&reach->edges, SB_EDGE_SLOW, g, &hull.low).motor_rad_s <= 0.0) return g;
  }
  return -1;
}

double sb_answer_standing(struct sb_reach *reach, const struct sb_reach_commands *commands)
{
  double worst_s = standing_at_start(reach);
  if (sb_answer_stopped_gear(reach) >= 0) return INFINITY;
  for (int g = 1; g < reach->gear_count; g++) {
    if (reach->engaged[g].count == 0 || sb_reach_is_lowest(reach, g)) continue;
    worst_s = fmax(worst_s, standing_waiting(reach, g) + held_s(reach, g));
  }
  return fmax(worst_s, sb_answer_standing_after(reach, commands));
}
