// SPDX-License-Identifier: GPL-3.0-or-later
#include "prove/cells.h"

#include <math.h>
#include <stdlib.h>

/* So many cells at most; as many at least, where a sample's move is divided into up to MOVES_MAX cells. */
enum { CELLS_MAX = 256, CELLS_WANTED = 48, MOVES_MAX = 3 };

/* What waits is rounded outwards to this share of the reference, commands to a greater one: what is carried through a shift anew costs
 * most. Speeds backwards of less than the last share are none. */
static const double lattice = 1e-6, command_lattice = 1e-4, backwards = 1e-9;

/* Cells ---------------------------------------------------------------------------------------------------------------- */

static int counts_of(const struct sb_cells *cells)
{
  return 2 * cells->reach->debounce - 1;
}

struct sb_spans *sb_cells_waiting(const struct sb_cells *cells, int gear, int count, int cell)
{
  const int row = gear * counts_of(cells) + count + cells->reach->debounce - 1;
  return &cells->waiting[row * cells->count + cell];
}

struct sb_spans *sb_cells_commands(const struct sb_cells *cells, int gear, int way, int cell)
{
  return &cells->commands[(gear * SB_REACH_WAYS + way) * cells->count + cell];
}

static double bottom_nm(const struct sb_cells *cells, int cell)
{
  return cells->least_nm + cells->width_nm * cell;
}

static double top_nm(const struct sb_cells *cells, int cell)
{
  return cell + 1 >= cells->count ? cells->greatest_nm : bottom_nm(cells, cell + 1);
}

void sb_cells_bind(const struct sb_cells *cells, struct sb_cells_range from, struct sb_cells_range to, double time_s)
{
  const double a = cells->least_nm, b = cells->greatest_nm, rate = cells->rate_nm_s;
  const double from_above = from.to < 0 ? b : top_nm(cells, from.to), to_above = to.to < 0 ? b : top_nm(cells, to.to);
  const double from_below = from.from < 0 ? a : bottom_nm(cells, from.from);
  const double to_below = to.from < 0 ? a : bottom_nm(cells, to.from);
  struct sb_edge_path paths[SB_EDGE_SIDES];
  paths[SB_EDGE_SLOW] = sb_edge_path_above(from_above, to_above, b, rate, time_s);
  paths[SB_EDGE_FAST] = sb_edge_path_below(from_below, to_below, a, rate, time_s);
  sb_edge_bind_paths(&cells->reach->edges, &cells->full, cells->is_acting, paths);
}

static bool is_one_manner(const struct sb_edge_load *load)
{
  return load->acting_nm[0] == load->acting_nm[1] || load->resisting_nm[0] == load->resisting_nm[1];
}

/* The first sample after a command by which every shift has ended. */
static int engaged_samples_of(const struct sb_reach *reach, double longest_shift_s)
{
  const int engaged = (int)ceil(longest_shift_s / reach->edges.sample_s - 1e-9);
  return engaged > 1 ? engaged : 1;
}

bool sb_cells_apply(const struct sb_reach *reach, double longest_shift_s)
{
  const struct sb_edge_load *load = &reach->edges.load;
  const double width = sb_edge_greatest_nm(load) - sb_edge_least_nm(load);
  const double rate = reach->edges.model->load.bounds.rate_nm_s;
  const struct sb_shifter_ops *shifter = reach->edges.model->shifter.ops;
  const bool is_timed = !shifter->has_clutch && !shifter->is_direction_selected;
  if (reach->has_boxes || !isfinite(rate) || !is_one_manner(load) || load->breakaway_nm > load->resisting_nm[1])
    return false;
  if (!is_timed && engaged_samples_of(reach, longest_shift_s) > reach->dwell) return false;
  return isfinite(longest_shift_s) && width > 0.0 && MOVES_MAX * width > rate * reach->edges.sample_s;
}

/* The cells' size: as fine as is wanted, as coarse as is needed. */
static void divide(struct sb_cells *cells, double rate_nm_s)
{
  const double width = cells->greatest_nm - cells->least_nm, sample_s = cells->reach->edges.sample_s;
  const double a_sample = width / (rate_nm_s * sample_s);
  cells->moves = (int)fmax(1.0, fmin(CELLS_WANTED / a_sample, MOVES_MAX));
  cells->count = (int)fmin(ceil(a_sample * cells->moves - 1e-9), CELLS_MAX);
  cells->width_nm = fmax(rate_nm_s * sample_s / cells->moves, width / CELLS_MAX);
  cells->rate_nm_s = cells->width_nm * cells->moves / sample_s;
}

/* Sets ----------------------------------------------------------------------------------------------------------------- */

/* What has come to a node and is not yet carried on. */
struct fresh {
  struct sb_spans *waiting, *commands; /* like those of the cells */
  size_t *queue;                       /* a ring of places in `waiting` */
  bool *is_queued;
  size_t first, queued, places;
};

struct finding {
  struct sb_cells *cells;
  struct fresh fresh;
};

static struct sb_corner rounded(const struct sb_cells *cells, int gear, const struct sb_corner *corner, double share,
                                double toward)
{
  const struct sb_edges *edges = &cells->reach->edges;
  const double step = share * edges->model->control.sensor.reference_rad_s;
  const double steps = toward < 0.0 ? floor(corner->motor_rad_s / step) : ceil(corner->motor_rad_s / step);
  struct sb_corner out = sb_edge_corner(edges, gear, steps * step);
  if (edges->has_clutch) {
    const double output_step = fabs(sb_edge_corner(edges, gear, step).output_rad_s);
    const double outputs = corner->output_rad_s / output_step;
    out.output_rad_s = output_step * (toward < 0.0 ? floor(outputs) : ceil(outputs));
  }
  if (edges->filter_gain > 0.0) {
    const double filtered = corner->filtered / share;
    out.filtered = share * (toward < 0.0 ? floor(filtered) : ceil(filtered));
  }
  return out;
}

static struct sb_span widened(struct sb_cells *cells, int gear, const struct sb_span *span, double share)
{
  const double none = backwards * cells->reach->edges.model->control.sensor.reference_rad_s;
  struct sb_span out = *span;
  if (out.low.motor_rad_s < -none || sb_span_is_boxed(&out)) cells->has_left = true;
  if (out.low.motor_rad_s < 0.0) out.low.motor_rad_s = 0.0;
  out.low = rounded(cells, gear, &out.low, share, -1.0);
  out.high = rounded(cells, gear, &out.high, share, 1.0);
  return out;
}

struct sb_span sb_cells_widened(struct sb_cells *cells, int gear, const struct sb_span *span)
{
  return widened(cells, gear, span, lattice);
}

struct sb_span sb_cells_widened_command(struct sb_cells *cells, int gear, const struct sb_span *span)
{
  return widened(cells, gear, span, command_lattice);
}

/* Adds to a set and, where it grows, what it has become to another one; false: it did not. */
static bool grow(const struct sb_cells *cells, struct sb_spans *set, struct sb_spans *fresh, const struct sb_span *span)
{
  const struct sb_span_sizes *sizes = &cells->reach->edges.sizes;
  if (!sb_span_set_add(set, span, sizes)) return false;
  sb_span_set_add(fresh, &set->items[set->count - 1], sizes);
  return true;
}

static void add_waiting(void *context, const struct sb_cells_state *state)
{
  struct finding *f = context;
  struct sb_cells *cells = f->cells;
  struct sb_spans *set = sb_cells_waiting(cells, state->gear, state->count, state->cell);
  const size_t place = (size_t)(set - cells->waiting);
  const struct sb_span wide = sb_cells_widened(cells, state->gear, &state->span);
  if (!grow(cells, set, &f->fresh.waiting[place], &wide) || f->fresh.is_queued[place]) return;
  f->fresh.is_queued[place] = true;
  f->fresh.queue[(f->fresh.first + f->fresh.queued++) % f->fresh.places] = place;
}

static void add_command(void *context, const struct sb_cells_state *state)
{
  struct finding *f = context;
  struct sb_cells *cells = f->cells;
  const int way = sb_reach_commanded(cells->reach, state->count);
  struct sb_spans *set = sb_cells_commands(cells, state->gear, way, state->cell);
  const struct sb_span wide = sb_cells_widened_command(cells, state->gear, &state->span);
  grow(cells, set, &f->fresh.commands[set - cells->commands], &wide);
}

static struct sb_cells_range around(const struct sb_cells *cells, int cell, int samples)
{
  const int moves = cells->moves * samples;
  return (struct sb_cells_range){cell > moves ? cell - moves : 0,
                                 cell + moves < cells->count ? cell + moves : cells->count - 1};
}

static struct sb_cells_range only(int cell)
{
  return (struct sb_cells_range){cell, cell};
}

/* A span that waits, over a sample, to all cells that the load can come to. */
static void wait_on(struct sb_cells *cells, const struct sb_cells_state *from, const struct sb_cells_sink *sink)
{
  struct sb_edges *edges = &cells->reach->edges;
  const struct sb_cells_range range = around(cells, from->cell, 1);
  for (int k = range.from; k <= range.to; k++) {
    sb_cells_bind(cells, only(from->cell), only(k), edges->sample_s);
    const struct sb_cells_state next = {from->gear, from->count, k, sb_edge_sample(edges, from->gear, &from->span)};
    sink->wait(sink->context, &next);
  }
}

void sb_cells_decide(struct sb_cells *cells, const struct sb_cells_state *at, const struct sb_cells_sink *sink)
{
  const struct sb_reach *reach = cells->reach;
  const struct sb_reach_gear *gear = &reach->gears[at->gear];
  for (int p = 0; p < gear->part_count; p++) {
    struct sb_cells_state part = *at;
    if (!sb_reach_cut(reach, at->gear, &at->span, &gear->parts[p], &part.span)) continue;
    part.count = sb_reach_counted(at->count, gear->parts[p].way);
    if (sb_reach_commanded(reach, part.count) >= 0) {
      sink->command(sink->context, &part);
    } else {
      wait_on(cells, &part, sink);
    }
  }
}

/* Whether all is well so far. */
static bool is_fine(const struct sb_cells *cells)
{
  return !cells->has_left && cells->reach->edges.status == SB_OK;
}

/* Carries on all that waits, until no set grows. */
static void close_waiting(struct finding *f)
{
  struct sb_cells *cells = f->cells;
  struct fresh *fresh = &f->fresh;
  const int counts = counts_of(cells);
  const struct sb_cells_sink sink = {add_waiting, add_command, f};
  while (fresh->queued > 0 && is_fine(cells)) {
    const size_t place = fresh->queue[fresh->first];
    fresh->first = (fresh->first + 1) % fresh->places;
    fresh->queued--;
    fresh->is_queued[place] = false;
    const struct sb_spans spans = fresh->waiting[place];
    fresh->waiting[place].count = 0;
    const int row = (int)(place / (size_t)cells->count), cell = (int)(place % (size_t)cells->count);
    for (int i = 0; i < spans.count; i++) {
      const struct sb_cells_state at = {row / counts, row % counts - cells->reach->debounce + 1, cell, spans.items[i]};
      sb_cells_decide(cells, &at, &sink);
    }
  }
}

/* States of a gear by cells of the load, as one span each. */
struct layer {
  int gear;
  bool *is_any;          /* is_any[count], owned with the spans */
  struct sb_span *spans; /* spans[count] */
};

static bool open_layer(struct sb_cells *cells, int gear, struct layer *layer)
{
  const size_t count = (size_t)cells->count;
  struct sb_edges *edges = &cells->reach->edges;
  *layer = (struct layer){gear, calloc(count, sizeof *layer->is_any), calloc(count, sizeof *layer->spans)};
  if (layer->is_any != NULL && layer->spans != NULL) return true;
  edges->status = sb_fail(&edges->err, SB_ERR_MEMORY, "out of memory for the states of a machine");
  return false;
}

static void close_layer(struct layer *layer)
{
  free(layer->is_any);
  free(layer->spans);
}

static void add_to_layer(struct sb_cells *cells, struct layer *layer, int cell, const struct sb_span *span)
{
  const struct sb_span wide = sb_cells_widened(cells, layer->gear, span);
  layer->spans[cell] = layer->is_any[cell] ? sb_span_hull(&layer->spans[cell], &wide) : wide;
  layer->is_any[cell] = true;
}

/* A command to all cells that the load can come to by the time when every shift has ended. */
static void arrive(struct sb_cells *cells, int gear, int cell, const struct sb_span *command, struct layer *layer)
{
  struct sb_reach *reach = cells->reach;
  const struct sb_cells_range range = around(cells, cell, cells->engaged_samples);
  for (int k = range.from; k <= range.to && is_fine(cells); k++) {
    struct sb_edge_arrivals arrivals;
    sb_cells_bind(cells, only(cell), only(k), cells->engaged_samples * reach->edges.sample_s);
    sb_edge_arrive(&reach->edges, gear, layer->gear, command, cells->engaged_samples, &arrivals);
    cells->has_left = cells->has_left || arrivals.is_loose || isinf(arrivals.greatest_engaged_s);
    for (int i = 0; i < arrivals.count; i++) {
      cells->has_left = cells->has_left || arrivals.items[i].sample != cells->engaged_samples;
      add_to_layer(cells, layer, k, &arrivals.items[i].span);
    }
  }
}

/* A sample of the dwell. */
static void dwell(struct sb_cells *cells, const struct layer *now, struct layer *next)
{
  struct sb_edges *edges = &cells->reach->edges;
  for (int k = 0; k < cells->count; k++) next->is_any[k] = false;
  for (int k = 0; k < cells->count && is_fine(cells); k++) {
    const struct sb_cells_range range = around(cells, k, 1);
    for (int to = range.from; to <= range.to && now->is_any[k]; to++) {
      sb_cells_bind(cells, only(k), only(to), edges->sample_s);
      const struct sb_span span = sb_edge_sample(edges, now->gear, &now->spans[k]);
      add_to_layer(cells, next, to, &span);
    }
  }
}

void sb_cells_shift(struct sb_cells *cells, int gear, int way, const struct sb_spans *commands,
                    const struct sb_cells_sink *sink)
{
  const int to = sb_reach_next_gear(gear, way);
  struct layer layers[2];
  const bool is_first_open = open_layer(cells, to, &layers[0]), is_second_open = open_layer(cells, to, &layers[1]);
  const bool is_open = is_first_open && is_second_open;
  int now = 0;
  for (int k = 0; is_open && k < cells->count; k++) {
    for (int i = 0; i < commands[k].count; i++) arrive(cells, gear, k, &commands[k].items[i], &layers[0]);
  }
  for (int n = cells->engaged_samples; is_open && n < cells->shift_samples; n++, now = 1 - now) {
    dwell(cells, &layers[now], &layers[1 - now]);
  }
  for (int k = 0; is_open && k < cells->count; k++) {
    const struct sb_cells_state state = {to, 0, k, layers[now].spans[k]};
    if (layers[now].is_any[k]) sink->wait(sink->context, &state);
  }
  close_layer(&layers[0]);
  close_layer(&layers[1]);
}

/* Carries all new commands through their shifts; false: there were none. */
static bool follow_commands(struct finding *f)
{
  struct sb_cells *cells = f->cells;
  const struct sb_cells_sink sink = {add_waiting, add_command, f};
  bool is_any = false;
  for (int row = 0; row < cells->reach->gear_count * SB_REACH_WAYS && is_fine(cells); row++) {
    struct sb_spans *fresh = &f->fresh.commands[row * cells->count];
    bool is_new = false;
    for (int k = 0; k < cells->count; k++) is_new = is_new || fresh[k].count > 0;
    if (!is_new) continue;
    sb_cells_shift(cells, row / SB_REACH_WAYS, row % SB_REACH_WAYS, fresh, &sink);
    for (int k = 0; k < cells->count; k++) fresh[k].count = 0;
    is_any = true;
  }
  return is_any;
}

static void find_all(struct finding *f)
{
  struct sb_cells *cells = f->cells;
  struct sb_reach *reach = cells->reach;
  const int gear = reach->edges.model->control.start_gear - 1;
  for (int k = 0; k < cells->count; k++) {
    double standing_s;
    sb_cells_bind(cells, (struct sb_cells_range){-1, -1}, only(k), reach->start_delay * reach->edges.sample_s);
    const struct sb_cells_state state = {gear, 0, k,
                                         sb_edge_start(&reach->edges, gear, reach->start_delay, &standing_s)};
    add_waiting(f, &state);
  }
  do {
    close_waiting(f);
  } while (follow_commands(f) && is_fine(cells));
}

size_t sb_cells_places(const struct sb_cells *cells)
{
  return (size_t)cells->reach->gear_count * (size_t)counts_of(cells) * (size_t)cells->count;
}

static size_t command_places(const struct sb_cells *cells)
{
  return (size_t)cells->reach->gear_count * SB_REACH_WAYS * (size_t)cells->count;
}

static bool open_fresh(const struct sb_cells *cells, struct fresh *fresh)
{
  const size_t waiting = sb_cells_places(cells), commands = command_places(cells);
  *fresh = (struct fresh){.places = waiting};
  fresh->waiting = calloc(waiting, sizeof *fresh->waiting);
  fresh->commands = calloc(commands, sizeof *fresh->commands);
  fresh->queue = calloc(waiting, sizeof *fresh->queue);
  fresh->is_queued = calloc(waiting, sizeof *fresh->is_queued);
  return fresh->waiting != NULL && fresh->commands != NULL && fresh->queue != NULL && fresh->is_queued != NULL;
}

static void close_fresh(struct fresh *fresh)
{
  free(fresh->waiting);
  free(fresh->commands);
  free(fresh->queue);
  free(fresh->is_queued);
}

enum sb_status sb_cells_init(struct sb_cells *cells, struct sb_reach *reach, double longest_shift_s)
{
  struct sb_edges *edges = &reach->edges;
  const struct sb_edge_load *load = &edges->load;
  *cells = (struct sb_cells){.reach = reach, .full = *load, .is_acting = load->acting_nm[0] < load->acting_nm[1]};
  const double *range = cells->is_acting ? load->acting_nm : load->resisting_nm;
  cells->least_nm = range[0];
  cells->greatest_nm = range[1];
  cells->engaged_samples = engaged_samples_of(reach, longest_shift_s);
  cells->shift_samples = cells->engaged_samples > reach->dwell ? cells->engaged_samples : reach->dwell;
  edges->extremes = (struct sb_edge_extremes){0};
  divide(cells, edges->model->load.bounds.rate_nm_s);
  cells->waiting = calloc(sb_cells_places(cells), sizeof *cells->waiting);
  cells->commands = calloc(command_places(cells), sizeof *cells->commands);
  struct finding f = {.cells = cells};
  if (cells->waiting != NULL && cells->commands != NULL && open_fresh(cells, &f.fresh)) {
    find_all(&f);
  } else {
    edges->status = sb_fail(&edges->err, SB_ERR_MEMORY, "out of memory for the states of a machine");
  }
  close_fresh(&f.fresh);
  sb_edge_bind(edges, &cells->full);
  return edges->status;
}

void sb_cells_clear(struct sb_cells *cells)
{
  sb_edge_bind(&cells->reach->edges, &cells->full);
  free(cells->waiting);
  free(cells->commands);
  cells->waiting = cells->commands = NULL;
}
