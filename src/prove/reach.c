// SPDX-License-Identifier: GPL-3.0-or-later
#include "prove/reach.h"

#include <limits.h>
#include <math.h>
#include <stdlib.h>

#include "prove/edge_clutch.h"
#include "prove/edge_course.h"
#include "shiftband/run.h"

/* Sets that still grow after so many samples are given up. */
enum { ROUNDS_MAX = 200000, LASTING_ROUNDS_MAX = 400 };

/* What waits is asked after so many samples whether a command can still come, then after somewhat more than twice as many, and so on. */
enum { PEACE_AFTER = 64 };

static const char no_engagement[] =
    "gearbox.shifter.shift_timeout: there are loads under which a shift does not engage in that time";
static const char runs_away[] =
    "gearbox.shifter.torque: there are loads under which the clutch slips in gear and lets the output turn ever faster";
static const char slips_before_lock[] =
    "gearbox.back_efficiency: the clutch slips in gear, and a gear cannot be driven backwards";
static const char is_driven[] =
    "gearbox.back_efficiency: a gear locks itself, and there are loads under which its output drives it";
static const char slips_from_rest[] = "load.breakaway: it may hold an output that stops while the clutch slips in gear";
static const char needs_boxes[] =
    "gearbox.shifter.torque: there are loads under which the clutch slips in gear, or joins after a first decision";
static const char no_end[] = "controller: the sets of states do not come to an end";

static void find_trouble(struct sb_reach *reach, const char *trouble)
{
  if (reach->trouble == NULL) reach->trouble = trouble;
}

/* An output beyond so many times what the motor turns it at without a load runs away. */
static const double away_share = 20.0;

static bool is_away(const struct sb_edges *edges, const struct sb_span *span)
{
  const double per_motor = sb_edge_per_motor(edges, edges->model->gearbox.gear_count - 1);
  const double most = away_share * fabs(per_motor) * edges->model->control.sensor.reference_rad_s;
  return span->low.output_rad_s < -most || span->high.output_rad_s > most;
}

/* A box is in play: neither may a gear stop its output at once, nor may rest hold more than motion does. */
static void take_boxes(struct sb_reach *reach)
{
  const struct sb_gearbox *gearbox = &reach->edges.model->gearbox;
  const struct sb_edge_load *load = &reach->edges.load;
  reach->has_boxes = true;
  if (reach->forgoes_boxes) find_trouble(reach, needs_boxes);
  for (int g = 0; g < gearbox->gear_count; g++) {
    if (!(gearbox->gears[g].back_efficiency > 0.0)) find_trouble(reach, slips_before_lock);
  }
  if (load->breakaway_nm > load->resisting_nm[1]) find_trouble(reach, slips_from_rest);
}

/* Decisions ---------------------------------------------------------------------------------------------------------- */

static void add_part(struct sb_reach_gear *gear, double from, double to, int way)
{
  if (!(from < to)) return;
  gear->parts[gear->part_count++] = (struct sb_reach_part){from, to, way};
}

/* Where counts of a gear's readings lie: below the downshift threshold, above the upshift threshold. */
static struct sb_reach_gear gear_of(const struct sb_model *model, const struct sb_controller_setup *setup, int index)
{
  const struct sb_sensor *sensor = &model->control.sensor;
  const double count = sb_sensor_count_fraction(sensor);
  const bool is_filtered = sensor->filter_s > 0.0;
  const double scale = is_filtered ? 1.0 : sensor->reference_rad_s;
  /* No reading is below the count 0. */
  const bool has_down = index > 0 && setup->downshift_below[index - 1] > 0;
  const double down = has_down ? (setup->downshift_below[index - 1] - 0.5) * count : 0.0;
  const double up = index + 1 < setup->gear_count ? (setup->upshift_above[index] + 0.5) * count : INFINITY;
  struct sb_reach_gear gear = {.downshift_rad_s = down * sensor->reference_rad_s,
                               .upshift_rad_s = up * sensor->reference_rad_s};
  if (!is_filtered) {
    add_part(&gear, -INFINITY, -up * scale, SB_REACH_UP);
    add_part(&gear, -up * scale, -down * scale, -1);
  }
  add_part(&gear, is_filtered ? -INFINITY : -down * scale, down * scale, SB_REACH_DOWN);
  add_part(&gear, down * scale, up * scale, -1);
  add_part(&gear, up * scale, INFINITY, SB_REACH_UP);
  return gear;
}

enum sb_status sb_reach_init(struct sb_reach *reach, const struct sb_model *model, struct sb_error *err)
{
  const struct sb_model *const ends[SB_EDGE_SIDES] = {model, model};
  return sb_reach_init_between(reach, model, ends, err);
}

enum sb_status sb_reach_init_between(struct sb_reach *reach, const struct sb_model *model,
                                     const struct sb_model *const ends[SB_EDGE_SIDES], struct sb_error *err)
{
  const struct sb_controller_setup setup = sb_run_controller_setup(model);
  *reach = (struct sb_reach){.gear_count = model->gearbox.gear_count,
                             .dwell = setup.dwell_samples > 0 ? (int)setup.dwell_samples : 1,
                             .start_delay = (int)setup.start_delay_samples,
                             .debounce = setup.debounce_samples > 0 ? setup.debounce_samples : 1};
  for (int g = 0; g < reach->gear_count; g++) reach->gears[g] = gear_of(model, &setup, g);
  return sb_edge_init_between(&reach->edges, model, ends, err);
}

void sb_reach_clear(struct sb_reach *reach)
{
  sb_edge_clear(&reach->edges);
}

bool sb_reach_is_lowest(const struct sb_reach *reach, int gear)
{
  return !(reach->gears[gear].downshift_rad_s > 0.0);
}

int sb_reach_next_gear(int gear, int way)
{
  return way == SB_REACH_DOWN ? gear - 1 : gear + 1;
}

bool sb_reach_cut(const struct sb_reach *reach, int gear, const struct sb_span *span, const struct sb_reach_part *part,
                  struct sb_span *out)
{
  const struct sb_edges *edges = &reach->edges;
  *out = *span;
  if (edges->filter_gain > 0.0) {
    out->low.filtered = fmax(span->low.filtered, part->from);
    out->high.filtered = fmin(span->high.filtered, part->to);
    return out->low.filtered <= out->high.filtered && span->low.filtered < part->to;
  }
  if (!(span->high.motor_rad_s >= part->from && span->low.motor_rad_s < part->to)) return false;
  const double low = fmax(span->low.motor_rad_s, part->from), high = fmin(span->high.motor_rad_s, part->to);
  if (sb_span_is_boxed(span)) {
    out->low.motor_rad_s = low;
    out->high.motor_rad_s = high;
    return sb_edge_trim(edges, gear, out);
  }
  const struct sb_corner a = sb_edge_corner(edges, gear, low), b = sb_edge_corner(edges, gear, high);
  if (low > span->low.motor_rad_s) out->low = a;
  if (high < span->high.motor_rad_s) out->high = b;
  return true;
}

/* Clouds ------------------------------------------------------------------------------------------------------------- */

static void fail_memory(struct sb_reach *reach)
{
  struct sb_edges *edges = &reach->edges;
  edges->status = sb_fail(&edges->err, SB_ERR_MEMORY, "out of memory for the states of a machine");
}

static void add_item(struct sb_reach *reach, struct sb_reach_cloud *cloud, int count, const struct sb_span *span)
{
  for (size_t i = 0; i < cloud->item_count; i++) {
    struct sb_reach_item *item = &cloud->items[i];
    if (item->count != count || !sb_span_touches(&item->span, span, &reach->edges.sizes)) continue;
    item->span = sb_span_hull(&item->span, span);
    return;
  }
  if (cloud->item_count == cloud->item_max) {
    const size_t most = cloud->item_max > 0 ? 2 * cloud->item_max : 16;
    struct sb_reach_item *items = realloc(cloud->items, most * sizeof *items);
    if (items == NULL) {
      fail_memory(reach);
      return;
    }
    cloud->items = items;
    cloud->item_max = most;
  }
  cloud->items[cloud->item_count++] = (struct sb_reach_item){count, *span};
}

int sb_reach_counted(int count, int way)
{
  if (way == SB_REACH_DOWN) return count < 0 ? count - 1 : -1;
  if (way == SB_REACH_UP) return count > 0 ? count + 1 : 1;
  return 0;
}

int sb_reach_commanded(const struct sb_reach *reach, int count)
{
  if (abs(count) < reach->debounce) return -1;
  return count < 0 ? SB_REACH_DOWN : SB_REACH_UP;
}

/* All that waits in a gear --------------------------------------------------------------------------------------------- */

struct waiting {
  struct sb_reach *reach;
  int gear;
  struct sb_reach_cloud todo;      /* before a sample's reading */
  struct sb_spans *seen;           /* seen[2 debounce - 1]: after it, by count */
  struct sb_reach_commands *found; /* commands */
};

static struct sb_spans *seen_at(const struct waiting *waiting, int count)
{
  return &waiting->seen[count + waiting->reach->debounce - 1];
}

/* Ends that go on go to their limits, within the part. */
static void stretch_ends(struct sb_reach *reach, int gear, const struct sb_reach_part *part, const struct sb_span *next,
                         struct sb_span *span)
{
  struct sb_edges *edges = &reach->edges;
  if (next->low.motor_rad_s < span->low.motor_rad_s) {
    const struct sb_corner limit = sb_edge_limit(edges, SB_EDGE_SLOW, gear, &span->low);
    if (limit.motor_rad_s < span->low.motor_rad_s) span->low = limit;
    if (span->low.motor_rad_s < part->from) span->low = sb_edge_corner(edges, gear, part->from);
  }
  if (next->high.motor_rad_s > span->high.motor_rad_s) {
    const struct sb_corner limit = sb_edge_limit(edges, SB_EDGE_FAST, gear, &span->high);
    if (limit.motor_rad_s > span->high.motor_rad_s) span->high = limit;
    if (span->high.motor_rad_s > part->to) span->high = sb_edge_corner(edges, gear, part->to);
  }
}

/* A box that goes on goes to where it drifts, within the part. */
static void stretch_box(struct sb_reach *reach, int gear, const struct sb_reach_part *part, const struct sb_span *next,
                        struct sb_span *span)
{
  struct sb_span far = *next;
  struct sb_span cut;
  far = sb_edge_drift(&reach->edges, gear, &far);
  *span = sb_span_hull(span, &far);
  if (sb_reach_cut(reach, gear, span, part, &cut)) *span = cut;
}

/* What stays undecided, with all that follows as long as it does. */
static void stay(struct waiting *waiting, const struct sb_reach_part *part, struct sb_span span)
{
  struct sb_reach *reach = waiting->reach;
  struct sb_edges *edges = &reach->edges;
  const bool is_plain = edges->filter_gain == 0.0;
  struct sb_span next = sb_edge_sample(edges, waiting->gear, &span);
  if (is_plain && sb_span_touches(&next, &span, &edges->sizes)) {
    if (!sb_span_is_boxed(&next)) {
      stretch_ends(reach, waiting->gear, part, &next, &span);
    } else if (!sb_span_contains(&span, &next, &edges->sizes)) {
      stretch_box(reach, waiting->gear, part, &next, &span);
    }
    next = sb_edge_sample(edges, waiting->gear, &span);
  }
  if (sb_span_set_add(seen_at(waiting, 0), &span, &edges->sizes)) add_item(reach, &waiting->todo, 0, &next);
}

static void decide(struct waiting *waiting, const struct sb_reach_item *item)
{
  struct sb_reach *reach = waiting->reach;
  const struct sb_reach_gear *gear = &reach->gears[waiting->gear];
  struct sb_edges *edges = &reach->edges;
  sb_span_set_add(&reach->engaged[waiting->gear], &item->span, &edges->sizes);
  if (sb_span_is_boxed(&item->span)) {
    const struct sb_span *span = &item->span;
    take_boxes(reach);
    if (is_away(edges, span)) find_trouble(reach, runs_away);
    const double slip_nm = sb_edge_slip_torque_nm(edges, waiting->gear, span, span->is_leading, span->is_lagging);
    reach->slip_nm = fmax(reach->slip_nm, slip_nm);
  }
  for (int p = 0; p < gear->part_count; p++) {
    struct sb_span span;
    if (!sb_reach_cut(reach, waiting->gear, &item->span, &gear->parts[p], &span)) continue;
    const int count = sb_reach_counted(item->count, gear->parts[p].way), way = sb_reach_commanded(reach, count);
    if (count == 0) {
      stay(waiting, &gear->parts[p], span);
    } else if (way >= 0) {
      sb_span_set_add(&waiting->found->sets[waiting->gear][way], &span, &edges->sizes);
    } else if (sb_span_set_add(seen_at(waiting, count), &span, &edges->sizes)) {
      const struct sb_span next = sb_edge_sample(edges, waiting->gear, &span);
      add_item(reach, &waiting->todo, count, &next);
    }
  }
}

/* All commands that a set, at a sample that may decide, leads to next. */
static void close_waiting(struct sb_reach *reach, int gear, const struct sb_span *span, struct sb_reach_commands *found)
{
  struct waiting waiting = {.reach = reach, .gear = gear, .found = found};
  waiting.seen = calloc((size_t)(2 * reach->debounce - 1), sizeof *waiting.seen);
  if (waiting.seen == NULL) {
    fail_memory(reach);
    return;
  }
  add_item(reach, &waiting.todo, 0, span);
  int rounds = 0;
  while (waiting.todo.item_count > 0 && !(reach->has_boxes && reach->trouble != NULL) && reach->edges.status == SB_OK &&
         rounds++ < ROUNDS_MAX) {
    const struct sb_reach_item item = waiting.todo.items[--waiting.todo.item_count];
    decide(&waiting, &item);
  }
  if (waiting.todo.item_count > 0) find_trouble(reach, no_end);
  free(waiting.todo.items);
  free(waiting.seen);
}

/* From a command to the next ones. */
static void follow_all(struct sb_reach *reach, int gear, int way, const struct sb_span *command,
                       struct sb_reach_commands *found)
{
  const int to = sb_reach_next_gear(gear, way);
  struct sb_edge_arrivals arrivals;
  sb_edge_arrive(&reach->edges, gear, to, command, reach->dwell, &arrivals);
  if (arrivals.is_loose) find_trouble(reach, no_end);
  if (!reach->edges.has_clutch && isinf(arrivals.greatest_engaged_s)) find_trouble(reach, no_engagement);
  if (reach->edges.has_clutch) {
    const double slip_nm = sb_edge_shift_torque_nm(&reach->edges, to, command);
    reach->slip_nm = fmax(reach->slip_nm, slip_nm);
    if (arrivals.count > 1 || arrivals.is_late) take_boxes(reach);
  }
  for (int i = 0; i < arrivals.count; i++) close_waiting(reach, to, &arrivals.items[i].span, found);
}

static void follow_set(struct sb_reach *reach, const struct sb_reach_commands *from, struct sb_reach_commands *found)
{
  for (int g = 0; g < reach->gear_count; g++) {
    for (int way = 0; way < SB_REACH_WAYS; way++) {
      const struct sb_spans *set = &from->sets[g][way];
      for (int i = 0; i < set->count; i++) follow_all(reach, g, way, &set->items[i], found);
    }
  }
}

static bool is_same(const struct sb_reach *reach, const struct sb_reach_commands *a, const struct sb_reach_commands *b)
{
  for (int g = 0; g < reach->gear_count; g++) {
    for (int way = 0; way < SB_REACH_WAYS; way++) {
      if (!sb_span_set_is_same(&a->sets[g][way], &b->sets[g][way], &reach->edges.sizes)) return false;
    }
  }
  return true;
}

/* The output of a gear that locks itself must never drive (edge.h). */
static void look_for_driving_outputs(struct sb_reach *reach)
{
  const struct sb_gearbox *gearbox = &reach->edges.model->gearbox;
  for (int g = 0; g < gearbox->gear_count; g++) {
    const bool is_locking = gearbox->gears[g].back_efficiency < 0.0;
    if (is_locking && sb_edge_can_be_driven(&reach->edges, g)) find_trouble(reach, is_driven);
  }
}

void sb_reach_all(struct sb_reach *reach, struct sb_reach_commands *commands)
{
  const int gear = reach->edges.model->control.start_gear - 1;
  *commands = (struct sb_reach_commands){0};
  reach->start = sb_edge_start(&reach->edges, gear, reach->start_delay, &reach->start_standing_s);
  close_waiting(reach, gear, &reach->start, commands);
  struct sb_reach_commands *grown = malloc(sizeof *grown);
  if (grown == NULL) {
    fail_memory(reach);
    return;
  }
  for (int round = 0; reach->edges.status == SB_OK; round++) {
    *grown = *commands;
    follow_set(reach, commands, grown);
    const bool is_done = is_same(reach, commands, grown);
    *commands = *grown;
    look_for_driving_outputs(reach);
    if (is_done || reach->trouble == is_driven) break;
    if (round == LASTING_ROUNDS_MAX) {
      find_trouble(reach, no_end);
      break;
    }
  }
  free(grown);
}

bool sb_reach_has_commands(const struct sb_reach *reach, const struct sb_reach_commands *commands)
{
  for (int g = 0; g < reach->gear_count; g++) {
    if (commands->sets[g][SB_REACH_DOWN].count > 0 || commands->sets[g][SB_REACH_UP].count > 0) return true;
  }
  return false;
}

bool sb_reach_next(struct sb_reach *reach, const struct sb_reach_commands *from, struct sb_reach_commands *next)
{
  *next = (struct sb_reach_commands){0};
  follow_set(reach, from, next);
  return sb_reach_has_commands(reach, next);
}

int sb_reach_lasting(struct sb_reach *reach, const struct sb_reach_commands *from, struct sb_reach_commands *lasting)
{
  struct sb_reach_commands *next = malloc(sizeof *next);
  int answer = -1;
  *lasting = *from;
  if (next == NULL) {
    fail_memory(reach);
    return answer;
  }
  for (int round = 0; answer < 0 && round < LASTING_ROUNDS_MAX && reach->edges.status == SB_OK; round++) {
    const bool goes_on = sb_reach_next(reach, lasting, next);
    if (!goes_on) {
      answer = 0;
    } else if (is_same(reach, lasting, next)) {
      answer = 1;
    }
    *lasting = *next;
  }
  free(next);
  return answer;
}

int sb_reach_last_sample(const struct sb_reach *reach, int gear)
{
  const double constant_s = reach->edges.lanes[0].sim.derived.time_constant_s[gear + 1];
  return (int)fmin(reach->dwell + reach->debounce + 40.0 * constant_s / reach->edges.sample_s + 2.0, 1e6);
}

/* Sample by sample ----------------------------------------------------------------------------------------------------- */

struct following {
  struct sb_reach *reach;
  int gear;
  sb_reach_told *told;
  void *context;
  bool is_enough;
};

static void decide_sample(struct following *f, int sample, const struct sb_reach_cloud *now,
                          struct sb_reach_cloud *next)
{
  struct sb_reach *reach = f->reach;
  const struct sb_reach_gear *gear = &reach->gears[f->gear];
  for (size_t i = 0; i < now->item_count && !f->is_enough; i++) {
    for (int p = 0; p < gear->part_count && !f->is_enough; p++) {
      struct sb_span span;
      if (!sb_reach_cut(reach, f->gear, &now->items[i].span, &gear->parts[p], &span)) continue;
      const int count = sb_reach_counted(now->items[i].count, gear->parts[p].way);
      const int way = sb_reach_commanded(reach, count);
      if (way >= 0) {
        if (f->told != NULL) f->is_enough = f->told(f->context, sample, f->gear, way, &span);
        continue;
      }
      span = sb_edge_sample(&reach->edges, f->gear, &span);
      add_item(reach, next, count, &span);
    }
  }
}

/* Whether a part of a span commands. */
static bool commands_from(const struct sb_reach *reach, int gear, const struct sb_span *span)
{
  for (int p = 0; p < reach->gears[gear].part_count; p++) {
    const struct sb_reach_part *part = &reach->gears[gear].parts[p];
    struct sb_span cut;
    if (part->way >= 0 && sb_reach_cut(reach, gear, span, part, &cut)) return true;
  }
  return false;
}

/* The same of a box: one about all that its ends drift to which holds what a sample makes of it. */
static bool is_box_at_peace(struct sb_reach *reach, int gear, const struct sb_span *span)
{
  struct sb_edges *edges = &reach->edges;
  const struct sb_span next = sb_edge_sample(edges, gear, span);
  struct sb_span both = sb_span_hull(span, &next);
  const struct sb_span far = sb_edge_drift(edges, gear, &both);
  struct sb_span hull = sb_span_hull(&both, &far);
  const double low = hull.low.motor_rad_s, high = hull.high.motor_rad_s;
  hull.low.filtered = fmin(hull.low.filtered, sb_edge_least_reading(edges, low, high));
  hull.high.filtered = fmax(hull.high.filtered, sb_edge_greatest_reading(edges, low, high));
  const struct sb_span after = sb_edge_sample(edges, gear, &hull);
  return sb_span_contains(&hull, &after, &edges->sizes) && !commands_from(reach, gear, &hull);
}

/* Whether no command can come from a span: its ends go to their limits, and between those no part commands. */
static bool is_at_peace(struct sb_reach *reach, int gear, const struct sb_span *span)
{
  struct sb_edges *edges = &reach->edges;
  const double hair = edges->sizes.speed_rad_s;
  if (sb_span_is_boxed(span)) return is_box_at_peace(reach, gear, span);
  const double slowest = sb_edge_limit(edges, SB_EDGE_SLOW, gear, &span->low).motor_rad_s;
  const double fastest = sb_edge_limit(edges, SB_EDGE_FAST, gear, &span->high).motor_rad_s;
  struct sb_span hull = {.low = sb_edge_corner(edges, gear, fmin(span->low.motor_rad_s, slowest) - hair),
                         .high = sb_edge_corner(edges, gear, fmax(span->high.motor_rad_s, fastest) + hair)};
  const double low = hull.low.motor_rad_s, high = hull.high.motor_rad_s;
  hull.low.filtered = fmin(span->low.filtered, sb_edge_least_reading(edges, low, high));
  hull.high.filtered = fmax(span->high.filtered, sb_edge_greatest_reading(edges, low, high));
  return !commands_from(reach, gear, &hull);
}

/* Leaves out what waits for ever; returns whether there was any. */
static bool leave_peaceful(struct sb_reach *reach, int gear, struct sb_reach_cloud *cloud)
{
  const size_t before = cloud->item_count;
  size_t kept = 0;
  for (size_t i = 0; i < before; i++) {
    if (!is_at_peace(reach, gear, &cloud->items[i].span)) cloud->items[kept++] = cloud->items[i];
  }
  cloud->item_count = kept;
  return kept < before;
}

static int first_arrival(const struct sb_edge_arrivals *arrivals)
{
  int first = INT_MAX;
  for (int i = 0; i < arrivals->count; i++)
    first = arrivals->items[i].sample < first ? arrivals->items[i].sample : first;
  return first;
}

/* Whether commands may come from what is followed no further: from a box at any time, or from what has not arrived. */
static void note_restless(struct sb_reach *reach, int gear, struct sb_reach_cloud *cloud, int left)
{
  (void)leave_peaceful(reach, gear, cloud);
  reach->is_restless = reach->is_restless || cloud->item_count > 0 || left > 0;
}

/* From arrivals on, whose readings in a row are `count`; returns whether any still waits at the last sample. */
static bool follow(struct following *f, const struct sb_edge_arrivals *arrivals, int count, int last_sample)
{
  struct sb_reach *reach = f->reach;
  struct sb_reach_cloud clouds[2] = {{0}, {0}};
  const int first = first_arrival(arrivals);
  bool waits_for_ever = false;
  int left = arrivals->count, now = 0, peace = first;
  for (int k = first; k <= last_sample && !f->is_enough && reach->edges.status == SB_OK; k++) {
    for (int i = 0; i < arrivals->count; i++) {
      if (arrivals->items[i].sample != k) continue;
      add_item(reach, &clouds[now], count, &arrivals->items[i].span);
      left--;
    }
    clouds[1 - now].item_count = 0;
    decide_sample(f, k, &clouds[now], &clouds[1 - now]);
    now = 1 - now;
    if (k == peace) {
      if (leave_peaceful(reach, f->gear, &clouds[now])) waits_for_ever = true;
      peace = first + 2 * (k - first) + PEACE_AFTER; /* looking takes about as long as waiting on */
    }
    if (clouds[now].item_count == 0 && left == 0) break;
  }
  const bool is_waiting = waits_for_ever || clouds[now].item_count > 0 || left > 0;
  if (reach->has_boxes && !f->is_enough) note_restless(reach, f->gear, &clouds[now], left);
  free(clouds[0].items);
  free(clouds[1].items);
  return is_waiting;
}

bool sb_reach_follow(struct sb_reach *reach, int gear, int way, const struct sb_span *command, int last_sample,
                     sb_reach_told *told, void *context)
{
  struct following f = {reach, sb_reach_next_gear(gear, way), told, context, false};
  struct sb_edge_arrivals arrivals;
  sb_edge_arrive(&reach->edges, gear, f.gear, command, reach->dwell, &arrivals);
  return follow(&f, &arrivals, 0, last_sample);
}

bool sb_reach_follow_on(struct sb_reach *reach, int gear, const struct sb_reach_item *from, int last_sample,
                        sb_reach_told *told, void *context)
{
  struct following f = {reach, gear, told, context, false};
  const struct sb_edge_arrivals arrivals = {.count = 1, .items = {{0, from->span}}};
  return follow(&f, &arrivals, from->count, last_sample);
}
