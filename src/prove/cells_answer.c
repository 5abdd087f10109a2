// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * cells_answer.c - what the sets of a load of bounded rate (cells.h) say: each bound is taken where it is tighter than without the rate.
 */
#include <limits.h>
#include <math.h>
#include <stdlib.h>

#include "prove/answer.h"
#include "prove/cells.h"

static struct sb_edges *edges_of(const struct sb_cells *cells)
{
  return &cells->reach->edges;
}

static void fail_memory(const struct sb_cells *cells)
{
  struct sb_edges *edges = edges_of(cells);
  edges->status = sb_fail(&edges->err, SB_ERR_MEMORY, "out of memory for the states of a machine");
}

static double sample_s(const struct sb_cells *cells)
{
  return edges_of(cells)->sample_s;
}

/* Bounds that a least value tightens by growing. */
static void take_lesser(double *bound, double value)
{
  if (value < *bound) *bound = value;
}

static void take_greater(double *bound, double value)
{
  if (value > *bound) *bound = value;
}

/* Cycle ---------------------------------------------------------------------------------------------------------------- */

/* A command's next states, sample by sample: those after no command yet, those after one, and shifts under way. */
struct pending {
  int sample;
  struct sb_cells_state state;
};

struct cycle {
  struct sb_cells *cells;
  struct sb_spans *layers[2][2];  /* before and after a sample; after no command yet, after one */
  struct sb_spans *known, *fresh; /* commands that have come already, sooner; those that come at this sample */
  int stage, now, sample, best;
  size_t pending_count, pending_max;
  struct pending *pending;
};

static void add_to(struct cycle *cycle, struct sb_spans *layer, const struct sb_cells_state *state)
{
  struct sb_cells *cells = cycle->cells;
  const size_t place = (size_t)(sb_cells_waiting(cells, state->gear, state->count, state->cell) - cells->waiting);
  const struct sb_span wide = sb_cells_widened(cells, state->gear, &state->span);
  sb_span_set_add(&layer[place], &wide, &edges_of(cells)->sizes);
}

static void add_next(void *context, const struct sb_cells_state *state)
{
  struct cycle *cycle = context;
  add_to(cycle, cycle->layers[cycle->stage][1 - cycle->now], state);
}

static void add_first(void *context, const struct sb_cells_state *state)
{
  struct cycle *cycle = context;
  add_to(cycle, cycle->layers[0][cycle->now], state);
}

static void add_pending(void *context, const struct sb_cells_state *state)
{
  struct cycle *cycle = context;
  if (cycle->pending_count == cycle->pending_max) {
    const size_t most = cycle->pending_max > 0 ? 2 * cycle->pending_max : 256;
    struct pending *grown = realloc(cycle->pending, most * sizeof *grown);
    if (grown == NULL) {
      fail_memory(cycle->cells);
      return;
    }
    cycle->pending = grown;
    cycle->pending_max = most;
  }
  cycle->pending[cycle->pending_count++] = (struct pending){cycle->sample + cycle->cells->shift_samples, *state};
}

/* A command after the one that is followed: the first begins a shift, the second ends the cycle. */
static void take_command(void *context, const struct sb_cells_state *state)
{
  struct cycle *cycle = context;
  struct sb_cells *cells = cycle->cells;
  if (cycle->stage == 1) {
    if (cycle->sample < cycle->best) cycle->best = cycle->sample;
    return;
  }
  const int way = sb_reach_commanded(cells->reach, state->count);
  struct sb_spans *known = &cycle->known[sb_cells_commands(cells, state->gear, way, state->cell) - cells->commands];
  if (cycle->best != INT_MAX && cycle->sample + cells->shift_samples >= cycle->best) return;
  const struct sb_span wide = sb_cells_widened_command(cells, state->gear, &state->span);
  if (!sb_span_set_add(known, &wide, &edges_of(cells)->sizes)) return;
  sb_span_set_add(&cycle->fresh[known - cycle->known], &wide, &edges_of(cells)->sizes);
}

/* Begins the shifts of the commands of this sample. */
static void begin_shifts(struct cycle *cycle)
{
  struct sb_cells *cells = cycle->cells;
  const struct sb_cells_sink sink = {add_pending, NULL, cycle};
  for (int row = 0; row < cells->reach->gear_count * SB_REACH_WAYS; row++) {
    struct sb_spans *fresh = &cycle->fresh[row * cells->count];
    bool is_new = false;
    for (int k = 0; k < cells->count; k++) is_new = is_new || fresh[k].count > 0;
    if (is_new) sb_cells_shift(cells, row / SB_REACH_WAYS, row % SB_REACH_WAYS, fresh, &sink);
    for (int k = 0; k < cells->count; k++) fresh[k].count = 0;
  }
}

/* One sample of a stage's sets; false: nothing waits in them. */
static bool step(struct cycle *cycle, int stage)
{
  struct sb_cells *cells = cycle->cells;
  const struct sb_cells_sink sink = {add_next, take_command, cycle};
  const int counts = 2 * cells->reach->debounce - 1;
  struct sb_spans *from = cycle->layers[stage][cycle->now], *to = cycle->layers[stage][1 - cycle->now];
  bool is_any = false;
  cycle->stage = stage;
  for (size_t k = 0; k < sb_cells_places(cells); k++) to[k].count = 0;
  for (size_t k = 0; k < sb_cells_places(cells); k++) {
    const int row = (int)(k / (size_t)cells->count), cell = (int)(k % (size_t)cells->count);
    for (int i = 0; i < from[k].count; i++) {
      const struct sb_cells_state at = {row / counts, row % counts - cells->reach->debounce + 1, cell,
                                        from[k].items[i]};
      is_any = true;
      if (cycle->sample < cycle->best) sb_cells_decide(cells, &at, &sink);
    }
  }
  return is_any;
}

/* Whether a sample has changed nothing in what waits. */
static bool is_still(const struct cycle *cycle)
{
  for (int stage = 0; stage < 2; stage++) {
    for (size_t k = 0; k < sb_cells_places(cycle->cells); k++) {
      const struct sb_spans *a = &cycle->layers[stage][0][k], *b = &cycle->layers[stage][1][k];
      if (!sb_span_set_is_same(a, b, &edges_of(cycle->cells)->sizes)) return false;
    }
  }
  return true;
}

static void take_pending(struct cycle *cycle)
{
  size_t left = 0;
  for (size_t k = 0; k < cycle->pending_count; k++) {
    if (cycle->pending[k].sample == cycle->sample) {
      add_to(cycle, cycle->layers[1][cycle->now], &cycle->pending[k].state);
    } else {
      cycle->pending[left++] = cycle->pending[k];
    }
  }
  cycle->pending_count = left;
}

static void clear_cycle(struct cycle *cycle)
{
  const struct sb_cells *cells = cycle->cells;
  const size_t commands = (size_t)(cells->reach->gear_count * SB_REACH_WAYS * cells->count);
  for (size_t k = 0; k < commands; k++) cycle->known[k].count = cycle->fresh[k].count = 0;
  for (int layer = 0; layer < 4; layer++) {
    for (size_t k = 0; k < sb_cells_places(cells); k++) cycle->layers[layer / 2][layer % 2][k].count = 0;
  }
  cycle->pending_count = 0;
  cycle->now = 0;
}

/* From all commands of a way of a gear at once. */
static void follow_from(struct cycle *cycle, int gear, int way)
{
  enum { SAMPLES_MAX = 20000 };
  struct sb_cells *cells = cycle->cells;
  const struct sb_cells_sink sink = {add_first, NULL, cycle};
  clear_cycle(cycle);
  sb_cells_shift(cells, gear, way, sb_cells_commands(cells, gear, way, 0), &sink);
  for (cycle->sample = cells->shift_samples; cycle->sample < cycle->best && cycle->sample < SAMPLES_MAX;
       cycle->sample++) {
    take_pending(cycle);
    const bool is_second = step(cycle, 1), is_first = step(cycle, 0);
    begin_shifts(cycle);
    if (edges_of(cells)->status != SB_OK || !(is_first || is_second || cycle->pending_count > 0)) break;
    if (cycle->pending_count == 0 && is_still(cycle)) break;
    cycle->now = 1 - cycle->now;
  }
}

/* The least samples from a command to the second one after it; INT_MAX: it never comes. */
static int find_cycle(struct sb_cells *cells)
{
  const size_t places = sb_cells_places(cells);
  struct cycle cycle = {.cells = cells, .best = INT_MAX};
  struct sb_spans *layers = calloc(4 * places, sizeof *layers);
  const size_t commands = (size_t)(cells->reach->gear_count * SB_REACH_WAYS * cells->count);
  cycle.known = calloc(commands, sizeof *cycle.known);
  cycle.fresh = calloc(commands, sizeof *cycle.fresh);
  for (int k = 0; k < 4; k++) cycle.layers[k / 2][k % 2] = layers + (size_t)k * places;
  if (layers != NULL && cycle.known != NULL && cycle.fresh != NULL) {
    for (int g = 0; g < cells->reach->gear_count; g++) {
      for (int way = 0; way < SB_REACH_WAYS; way++) follow_from(&cycle, g, way);
    }
  } else {
    fail_memory(cells);
  }
  free(layers);
  free(cycle.known);
  free(cycle.fresh);
  free(cycle.pending);
  return cycle.best;
}

/* Shifts --------------------------------------------------------------------------------------------------------------- */

enum { GROUP = 16, FOREVER = 1000000 };

static const struct sb_cells_range anywhere = {-1, -1};

/* The commands of some cells together; false: there are none. */
static bool gather(const struct sb_cells *cells, struct sb_cells_range range, struct sb_reach_commands *out)
{
  bool is_any = false;
  *out = (struct sb_reach_commands){0};
  for (int row = 0; row < cells->reach->gear_count * SB_REACH_WAYS; row++) {
    const int gear = row / SB_REACH_WAYS, way = row % SB_REACH_WAYS;
    for (int k = range.from; k <= range.to; k++) {
      const struct sb_spans *set = sb_cells_commands(cells, gear, way, k);
      for (int i = 0; i < set->count; i++) {
        is_any = true;
        sb_span_set_add(&out->sets[gear][way], &set->items[i], &edges_of(cells)->sizes);
      }
    }
  }
  return is_any;
}

static struct sb_answer_shifts find_shifts(struct sb_cells *cells, struct sb_reach_commands *commands)
{
  struct sb_answer_shifts worst = {NAN, NAN, NAN, {NAN, NAN}};
  for (int from = 0; from < cells->count; from += GROUP) {
    const struct sb_cells_range range = {from, from + GROUP < cells->count ? from + GROUP - 1 : cells->count - 1};
    if (!gather(cells, range, commands)) continue;
    sb_cells_bind(cells, range, anywhere, FOREVER);
    const struct sb_answer_shifts shifts = sb_answer_shifts(cells->reach, commands);
    worst.longest_s = fmax(worst.longest_s, shifts.longest_s);
    worst.standstill_s = fmax(worst.standstill_s, shifts.standstill_s);
    worst.least_output_rad_s = fmin(worst.least_output_rad_s, shifts.least_output_rad_s);
    for (int way = 0; way < SB_REACH_WAYS; way++) {
      worst.shock_nms[way] = fmax(worst.shock_nms[way], shifts.shock_nms[way]);
    }
  }
  return worst;
}

static void tighten_shifts(struct sb_cells *cells, struct sb_reach_commands *commands, struct sb_prove *out)
{
  const struct sb_answer_shifts shifts = find_shifts(cells, commands);
  take_lesser(&out->bounds[SB_PROVE_SHIFT], shifts.longest_s);
  take_lesser(&out->bounds[SB_PROVE_STANDSTILL], shifts.standstill_s);
  take_greater(&out->bounds[SB_PROVE_OUTPUT], shifts.least_output_rad_s);
  for (int way = 0; way < SB_REACH_WAYS; way++) take_lesser(&out->shock_nms[way], shifts.shock_nms[way]);
  if (!isnan(out->bounds[SB_PROVE_SHOCK])) out->bounds[SB_PROVE_SHOCK] = fmax(out->shock_nms[0], out->shock_nms[1]);
  take_lesser(&out->bounds[SB_PROVE_TORQUE], edges_of(cells)->extremes.torque_nm);
  take_lesser(&out->bounds[SB_PROVE_SPEED], edges_of(cells)->extremes.motor_rad_s);
  take_lesser(&out->bounds[SB_PROVE_CURRENT], edges_of(cells)->extremes.current_a);
}

/* Standing ------------------------------------------------------------------------------------------------------------- */

/* All that is ever engaged in a gear in a cell, before a reading, as one span; false: nothing. */
static bool hull_of(const struct sb_cells *cells, int gear, int cell, struct sb_span *hull)
{
  bool is_any = false;
  for (int count = 1 - cells->reach->debounce; count < cells->reach->debounce; count++) {
    const struct sb_spans *set = sb_cells_waiting(cells, gear, count, cell);
    for (int i = 0; i < set->count; i++) {
      *hull = is_any ? sb_span_hull(hull, &set->items[i]) : set->items[i];
      is_any = true;
    }
  }
  return is_any;
}

/* The same sets as those that a load of any rate leads to, for the answers that look at them all at once. */
static double standing_waiting(struct sb_cells *cells)
{
  struct sb_reach *reach = cells->reach;
  double worst_s = 0.0;
  for (int g = 1; g < reach->gear_count; g++) {
    for (int k = 0; k < cells->count; k++) {
      struct sb_span hull;
      if (sb_reach_is_lowest(reach, g) || !hull_of(cells, g, k, &hull) ||
          hull.high.motor_rad_s < reach->gears[g].downshift_rad_s)
        continue;
      const double low = fmax(hull.low.motor_rad_s, reach->gears[g].downshift_rad_s);
      const struct sb_corner at = sb_edge_corner(&reach->edges, g, low);
      sb_cells_bind(cells, (struct sb_cells_range){k, k}, anywhere, FOREVER);
      worst_s = fmax(worst_s, sb_edge_standing_s(&reach->edges, SB_EDGE_SLOW, g, &at, reach->debounce));
    }
  }
  return worst_s;
}

static double standing_after(struct sb_cells *cells, struct sb_reach_commands *commands)
{
  double worst_s = 0.0;
  for (int k = 0; k < cells->count; k++) {
    const struct sb_cells_range range = {k, k};
    if (!gather(cells, range, commands)) continue;
    sb_cells_bind(cells, range, anywhere, FOREVER);
    worst_s = fmax(worst_s, sb_answer_standing_after(cells->reach, commands));
  }
  return worst_s;
}

/* Whether the heaviest load stops a gear for good that no reading takes into a slower one. */
static bool stops_for_good(struct sb_cells *cells, int gear)
{
  struct sb_span hull, lowest;
  bool is_any = false;
  for (int k = 0; k < cells->count; k++) {
    if (!hull_of(cells, gear, k, &hull)) continue;
    lowest = is_any ? sb_span_hull(&lowest, &hull) : hull;
    is_any = true;
  }
  return is_any && sb_reach_is_lowest(cells->reach, gear) &&
         sb_edge_limit(&cells->reach->edges, SB_EDGE_SLOW, gear, &lowest.low).motor_rad_s <= 0.0;
}

/* A filter holds what it has read: there nothing is gained. */
static double find_standing(struct sb_cells *cells, struct sb_reach_commands *commands)
{
  struct sb_reach *reach = cells->reach;
  if (reach->edges.filter_gain > 0.0) return INFINITY;
  sb_edge_bind(&reach->edges, &cells->full);
  for (int g = 0; g < reach->gear_count; g++) {
    if (stops_for_good(cells, g)) return INFINITY;
  }
  const double start_s =
      reach->start_standing_s > 0.0 ? reach->start_standing_s + (reach->debounce - 1) * sample_s(cells) : 0.0;
  return fmax(start_s, fmax(standing_waiting(cells), standing_after(cells, commands)));
}

/* Settling ------------------------------------------------------------------------------------------------------------- */

/* NAN is a time that does not count: no shift comes, which fmax() passes over.
 * Under the last load, which has come to its end at a sample or within the period before. */
struct settling {
  struct sb_cells *cells;
  int way;
  double end_nm;
  struct sb_edge_load last;
};

static struct sb_cells_range near_end(const struct settling *settling, int samples)
{
  const struct sb_cells *cells = settling->cells;
  const int moves = samples * cells->moves, last = cells->count - 1, reached = moves < last ? moves : last;
  return settling->way == SB_REACH_UP ? (struct sb_cells_range){0, reached}
                                      : (struct sb_cells_range){last - reached, last};
}

/* The load comes to its end within some samples, from wherever it may have been. */
static void bind_to_end(const struct settling *settling, int samples)
{
  const struct sb_cells *cells = settling->cells;
  const double a = cells->least_nm, b = cells->greatest_nm, time_s = samples * sample_s(cells);
  struct sb_edge_path paths[SB_EDGE_SIDES];
  paths[SB_EDGE_SLOW] = sb_edge_path_above(b, settling->end_nm, b, cells->rate_nm_s, time_s);
  paths[SB_EDGE_FAST] = sb_edge_path_below(a, settling->end_nm, a, cells->rate_nm_s, time_s);
  sb_edge_bind_paths(edges_of(cells), &cells->full, cells->is_acting, paths);
}

static double settle_from(const struct settling *settling, int gear, int count, const struct sb_span *span)
{
  const struct sb_reach_item from = {count, *span};
  sb_edge_bind(edges_of(settling->cells), &settling->last);
  return sb_answer_settle_on(settling->cells->reach, settling->way, gear, &from);
}

/* What waits when the load has come to its end. */
static double settle_waiting(const struct settling *settling)
{
  const struct sb_cells *cells = settling->cells;
  const int end = settling->way == SB_REACH_UP ? 0 : cells->count - 1, debounce = cells->reach->debounce;
  double worst_s = 0.0;
  for (int g = 0; g < cells->reach->gear_count; g++) {
    for (int count = 1 - debounce; count < debounce; count++) {
      const struct sb_spans *set = sb_cells_waiting(cells, g, count, end);
      for (int i = 0; i < set->count; i++) {
        worst_s = fmax(worst_s, settle_from(settling, g, count, &set->items[i]) + sample_s(cells));
      }
    }
  }
  return worst_s;
}

/* A shift is under way since `samples` when the load has come to its end. */
static double settle_shifting(const struct settling *settling, const struct sb_reach_commands *commands, int row,
                              int samples)
{
  struct sb_reach *reach = settling->cells->reach;
  const int gear = row / SB_REACH_WAYS, way = row % SB_REACH_WAYS, to = sb_reach_next_gear(gear, way);
  const struct sb_spans *set = &commands->sets[gear][way];
  const double before_s = (samples - 1) * sample_s(settling->cells);
  double worst_s = 0.0;
  for (int i = 0; i < set->count && !isinf(worst_s); i++) {
    struct sb_edge_arrivals arrivals;
    bind_to_end(settling, samples);
    sb_edge_arrive(&reach->edges, gear, to, &set->items[i], reach->dwell, &arrivals);
    worst_s = fmax(worst_s, arrivals.greatest_engaged_s - before_s);
    for (int k = 0; k < arrivals.count; k++) {
      const double since_s = arrivals.items[k].sample * sample_s(settling->cells) - before_s;
      worst_s = fmax(worst_s, settle_from(settling, to, 0, &arrivals.items[k].span) + since_s);
    }
  }
  return worst_s;
}

/* It waits since the start for `samples` when the load has come to its end. */
static double settle_starting(const struct settling *settling, int samples)
{
  struct sb_reach *reach = settling->cells->reach;
  const int gear = reach->edges.model->control.start_gear - 1;
  double standing_s;
  bind_to_end(settling, samples);
  const struct sb_span span = sb_edge_start(&reach->edges, gear, reach->start_delay, &standing_s);
  const double time_s = settle_from(settling, gear, 0, &span);
  const int before = samples > 0 ? samples - 1 : 0;
  return time_s + (reach->start_delay - before) * sample_s(settling->cells);
}

static double find_settling(struct sb_cells *cells, int way, struct sb_reach_commands *commands)
{
  const int end = way == SB_REACH_UP ? 0 : 1, rows = cells->reach->gear_count * SB_REACH_WAYS;
  const struct settling settling = {.cells = cells,
                                    .way = way,
                                    .end_nm = end == 0 ? cells->least_nm : cells->greatest_nm,
                                    .last = sb_edge_load_at(&cells->full, end)};
  double worst_s = settle_waiting(&settling);
  for (int i = 1; i <= cells->shift_samples && !isinf(worst_s); i++) {
    if (!gather(cells, near_end(&settling, i), commands)) continue;
    for (int row = 0; row < rows; row++) worst_s = fmax(worst_s, settle_shifting(&settling, commands, row, i));
  }
  for (int i = 0; i <= cells->reach->start_delay && !isinf(worst_s); i++) {
    worst_s = fmax(worst_s, settle_starting(&settling, i));
  }
  return worst_s;
}

/* All ------------------------------------------------------------------------------------------------------------------ */

static void tighten_cycles(struct sb_cells *cells, struct sb_prove *out)
{
  const int samples = find_cycle(cells);
  double *once = &out->bounds[SB_PROVE_CYCLE_ONCE], *lasting = &out->bounds[SB_PROVE_CYCLE_LASTING];
  if (samples == INT_MAX) {
    *once = *lasting = NAN;
    out->bounds[SB_PROVE_SWING] = out->least_swing_proved_nm = INFINITY;
    return;
  }
  take_greater(once, samples * sample_s(cells));
  take_greater(lasting, *once);
}

static void tighten_commands(struct sb_cells *cells, struct sb_reach_commands *commands, struct sb_prove *out)
{
  (void)gather(cells, (struct sb_cells_range){0, cells->count - 1}, commands);
  sb_answer_commands(cells->reach, commands, out);
}

enum sb_status sb_cells_tighten(struct sb_cells *cells, struct sb_prove *out)
{
  struct sb_edges *edges = edges_of(cells);
  struct sb_reach_commands *commands = calloc(1, sizeof *commands);
  if (commands == NULL) return sb_fail(&edges->err, SB_ERR_MEMORY, "out of memory for a proof");
  tighten_commands(cells, commands, out);
  tighten_shifts(cells, commands, out);
  tighten_cycles(cells, out);
  take_lesser(&out->bounds[SB_PROVE_STANDING], find_standing(cells, commands));
  take_lesser(&out->bounds[SB_PROVE_RETURN_TIME], find_settling(cells, SB_REACH_UP, commands));
  take_lesser(&out->bounds[SB_PROVE_REACTION_TIME], find_settling(cells, SB_REACH_DOWN, commands));
  free(commands);
  return edges->status;
}
