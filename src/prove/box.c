// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * box.c - the answers of settle.c and extreme.c where a clutch slips in gear or engages late: safe, not exact, for sets are boxes.
 *
 * Under one load that stays, all that waits or shifts is followed at once: first from every state at a sample that may decide, which
 * comes a dwell (or a shift, or the start delay) and a sample after the load's change at the latest, then from all the commands that
 * this leads to, and so on, until none comes any more. Each round takes as long as its slowest state.
 *
 * An output that stands in gear does so while its motor slips on alone, whatever the load: as long as the motor's speed needs from the
 * highest of the set to a command.
 */
#include <math.h>
#include <stdlib.h>

#include "prove/answer.h"
#include "prove/edge_clutch.h"

enum { ROUNDS_MAX = 12 };

/* A resisting load that holds any output, as a multiple of what the clutch can bring. */
static const double holding_share = 1e3;

/* Commands of a round. */
struct round {
  struct sb_reach_commands *found;
  int last; /* the last sample with one; -1: none came */
};

static bool collect(void *context, int sample, int gear, int way, const struct sb_span *span)
{
  struct round *round = context;
  const struct sb_span_sizes sizes = {0.0, 0.0};
  (void)sb_span_set_add(&round->found->sets[gear][way], span, &sizes);
  round->last = sample > round->last ? sample : round->last;
  return false;
}

/* Settling ------------------------------------------------------------------------------------------------------------- */

struct settling {
  struct sb_reach *reach;
  struct sb_edge_load full;
  int wanted;                        /* the gear that is to be engaged at last; -1: any */
  struct sb_reach_commands *before;  /* of the last round */
  struct sb_reach_commands *follows; /* of this one */
};

/* Whether what waits in a gear is not settled there. */
static bool is_unsettled(const struct settling *settling, int gear, bool is_waiting)
{
  return settling->reach->is_restless || (is_waiting && settling->wanted >= 0 && gear != settling->wanted);
}

/* When a shift that has been commanded has engaged, once the load has its last value: from whatever has become of it until then. */
static double engaged_after_s(const struct settling *settling, int gear, int to, const struct sb_span *command)
{
  struct sb_edges *edges = &settling->reach->edges;
  const struct sb_edge_load last = edges->load;
  double full_s[2], last_s[2];
  struct sb_span box;
  sb_edge_bind(edges, &settling->full);
  sb_edge_meetings_s(edges, gear, to, command, full_s);
  const bool is_closed = sb_edge_closed_box(edges, to, command, &box);
  sb_edge_bind(edges, &last);
  if (!is_closed) return full_s[1];
  sb_edge_meetings_s(edges, gear, to, &box, last_s);
  return fmin(full_s[1], last_s[1]);
}

/* For how long a gear's first decision may be due yet, s; the longest shift counts in `engaged_s`. */
static double due_s(const struct settling *settling, const struct sb_reach_commands *commands, int gear,
                    double *engaged_s)
{
  struct sb_reach *reach = settling->reach;
  const double sample_s = reach->edges.sample_s;
  double due = 0.0;
  if (gear == reach->edges.model->control.start_gear - 1) due = reach->start_delay * sample_s;
  for (int way = 0; way < SB_REACH_WAYS; way++) {
    const int from = way == SB_REACH_DOWN ? gear + 1 : gear - 1;
    if (from < 0 || from >= reach->gear_count) continue;
    for (int i = 0; i < commands->sets[from][way].count; i++) {
      const double shift_s = engaged_after_s(settling, from, gear, &commands->sets[from][way].items[i]);
      *engaged_s = fmax(*engaged_s, shift_s);
      due = fmax(due, fmax(shift_s + sample_s, reach->dwell * sample_s));
    }
  }
  return due;
}

/* The first round: from all that may decide. Returns its time, INFINITY where something does not settle. */
static double from_all(struct settling *settling, const double due[SB_GEAR_MAX])
{
  struct sb_reach *reach = settling->reach;
  double time_s = 0.0;
  for (int g = 0; g < reach->gear_count; g++) {
    for (int i = 0; i < reach->engaged[g].count; i++) {
      for (int count = 1 - reach->debounce; count < reach->debounce; count++) {
        const struct sb_reach_item item = {count, reach->engaged[g].items[i]};
        struct round round = {settling->follows, -1};
        const bool is_waiting = sb_reach_follow_on(reach, g, &item, sb_reach_last_sample(reach, g), collect, &round);
        if (is_unsettled(settling, g, is_waiting)) return INFINITY;
        if (round.last >= 0) time_s = fmax(time_s, due[g] + (round.last + 1) * reach->edges.sample_s);
      }
    }
  }
  return time_s;
}

/* A further round; `engaged_s`: until its gears are engaged. */
static double from_commands(struct settling *settling, double *engaged_s)
{
  struct sb_reach *reach = settling->reach;
  int last = 0;
  *engaged_s = 0.0;
  for (int k = 0; k < reach->gear_count * SB_REACH_WAYS; k++) {
    const int gear = k / SB_REACH_WAYS, way = k % SB_REACH_WAYS, to = sb_reach_next_gear(gear, way);
    const struct sb_spans *set = &settling->before->sets[gear][way];
    for (int i = 0; i < set->count; i++) {
      struct round round = {settling->follows, -1};
      struct sb_edge_arrivals arrivals;
      sb_edge_arrive(&reach->edges, gear, to, &set->items[i], reach->dwell, &arrivals);
      const bool is_waiting =
          sb_reach_follow(reach, gear, way, &set->items[i], sb_reach_last_sample(reach, to), collect, &round);
      if (is_unsettled(settling, to, is_waiting) || arrivals.is_late || arrivals.is_loose) return INFINITY;
      *engaged_s = fmax(*engaged_s, arrivals.greatest_engaged_s);
      last = round.last > last ? round.last : last;
    }
  }
  return last * reach->edges.sample_s;
}

/* `worst_s`: of what was commanded before. */
static double settle(struct settling *settling, const double due[SB_GEAR_MAX], double worst_s)
{
  struct sb_reach *reach = settling->reach;
  double time_s = from_all(settling, due);
  for (int round = 0; round < ROUNDS_MAX && reach->edges.status == SB_OK; round++) {
    double engaged_s;
    if (isinf(time_s)) return INFINITY;
    if (!sb_reach_has_commands(reach, settling->follows)) return worst_s;
    struct sb_reach_commands *const again = settling->before;
    settling->before = settling->follows;
    settling->follows = again;
    *again = (struct sb_reach_commands){0};
    const double after_s = from_commands(settling, &engaged_s);
    worst_s = fmax(worst_s, time_s + engaged_s);
    time_s += after_s;
  }
  return INFINITY;
}

/* Whether a slower gear is asked for at all. */
static bool has_downshift(const struct sb_reach *reach, const struct sb_reach_commands *commands)
{
  for (int g = 1; g < reach->gear_count; g++) {
    if (commands->sets[g][SB_REACH_DOWN].count > 0) return true;
  }
  return false;
}

double sb_answer_box_settle(struct sb_reach *reach, const struct sb_reach_commands *commands, int way)
{
  const struct sb_edge_load full = reach->edges.load;
  const int end = way == SB_REACH_UP ? 0 : 1;
  const struct sb_edge_load last = sb_edge_load_at(&full, end);
  struct sb_reach_commands *both = calloc(2, sizeof *both);
  double due[SB_GEAR_MAX] = {0.0}, engaged_s = 0.0;
  if (way == SB_REACH_DOWN && !has_downshift(reach, commands)) {
    free(both);
    return sb_reach_has_commands(reach, commands) ? INFINITY : (double)NAN;
  }
  if (both == NULL) return INFINITY;
  struct settling settling = {reach, full, way == SB_REACH_UP ? reach->gear_count - 1 : -1, both, both + 1};
  sb_edge_bind(&reach->edges, &last);
  for (int g = 0; g < reach->gear_count; g++) due[g] = due_s(&settling, commands, g, &engaged_s);
  reach->is_restless = false;
  const double worst_s = settle(&settling, due, engaged_s);
  sb_edge_bind(&reach->edges, &full);
  free(both);
  return worst_s;
}

/* Standing ------------------------------------------------------------------------------------------------------------- */

/* How long an output that stands while a gear waits can do so: the motor slips alone. */
static double standing_waiting(struct sb_reach *reach, int gear)
{
  struct sb_edges *edges = &reach->edges;
  struct sb_reach_commands *found;
  if (reach->engaged[gear].count == 0) return 0.0;
  const struct sb_span hull = sb_span_set_hull(&reach->engaged[gear]);
  if (hull.low.output_rad_s > 0.0 && hull.low.motor_rad_s > 0.0) return 0.0;
  if (sb_reach_is_lowest(reach, gear) || hull.low.motor_rad_s < 0.0) return INFINITY;
  found = calloc(1, sizeof *found);
  if (found == NULL) return INFINITY;
  const struct sb_edge_load full = edges->load;
  const double holding_nm = holding_share * edges->model->gearbox.gears[0].ratio * edges->model->shifter.clutch_nm;
  const struct sb_edge_load holding = {{0.0, 0.0}, {holding_nm, holding_nm}, 0.0};
  struct sb_reach_item item = {0, hull};
  struct round round = {found, -1};
  item.span.low.output_rad_s = item.span.high.output_rad_s = 0.0;
  item.span.is_leading = item.span.is_lagging = true;
  sb_edge_bind(edges, &holding);
  reach->is_restless = false;
  const bool is_waiting = sb_reach_follow_on(reach, gear, &item, sb_reach_last_sample(reach, gear), collect, &round);
  sb_edge_bind(edges, &full);
  free(found);
  return is_waiting ? INFINITY : (round.last + 1) * edges->sample_s;
}

/* What the start and the shifts into a gear may add, before it waits. */
static double standing_before(struct sb_reach *reach, const struct sb_reach_commands *commands, int gear)
{
  double worst_s = 0.0;
  if (gear == reach->edges.model->control.start_gear - 1) {
    const struct sb_span *start = &reach->start;
    const bool can_stand =
        reach->start_standing_s > 0.0 || start->low.output_rad_s <= 0.0 || start->low.motor_rad_s <= 0.0;
    if (can_stand) worst_s = reach->start_delay * reach->edges.sample_s;
  }
  for (int way = 0; way < SB_REACH_WAYS; way++) {
    const int from = way == SB_REACH_DOWN ? gear + 1 : gear - 1;
    if (from < 0 || from >= reach->gear_count) continue;
    for (int i = 0; i < commands->sets[from][way].count; i++) {
      struct sb_edge_arrivals arrivals;
      struct sb_edge_clutch_facts facts = {INFINITY, 0.0, 0.0};
      sb_edge_arrive_slipping(&reach->edges, from, gear, &commands->sets[from][way].items[i], reach->dwell, &arrivals,
                              &facts);
      worst_s = fmax(worst_s, facts.standing_s);
    }
  }
  return worst_s;
}

double sb_answer_box_standing(struct sb_reach *reach, const struct sb_reach_commands *commands)
{
  double worst_s = 0.0;
  for (int g = 0; g < reach->gear_count && !isinf(worst_s); g++) {
    worst_s = fmax(worst_s, standing_before(reach, commands, g) + standing_waiting(reach, g));
  }
  return worst_s;
}

/* Shifts --------------------------------------------------------------------------------------------------------------- */

struct sb_answer_shifts sb_answer_box_shifts(struct sb_reach *reach, const struct sb_reach_commands *commands)
{
  struct sb_answer_shifts out = {NAN, NAN, NAN, {NAN, NAN}};
  for (int k = 0; k < reach->gear_count * SB_REACH_WAYS; k++) {
    const int gear = k / SB_REACH_WAYS, way = k % SB_REACH_WAYS;
    const struct sb_spans *set = &commands->sets[gear][way];
    for (int i = 0; i < set->count; i++) {
      struct sb_edge_arrivals arrivals;
      struct sb_edge_clutch_facts facts = {INFINITY, INFINITY, -INFINITY};
      sb_edge_arrive_slipping(&reach->edges, gear, sb_reach_next_gear(gear, way), &set->items[i], reach->dwell,
                              &arrivals, &facts);
      out.longest_s = fmax(out.longest_s, arrivals.greatest_engaged_s);
      out.standstill_s = fmax(out.standstill_s, facts.standstill_s);
      out.least_output_rad_s = fmin(out.least_output_rad_s, facts.least_output_rad_s);
    }
  }
  return out;
}
