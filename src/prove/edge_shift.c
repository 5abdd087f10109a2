// SPDX-License-Identifier: GPL-3.0-or-later
/* edge_shift.c - both edges of a set of states through a shift (edge.h). */
#include <math.h>
#include <stdlib.h>

#include "prove/edge_course.h"
#include "sim/segment.h"

/* Least and greatest speed of the motor at each sample after a command. */
struct track {
  int count;
  double *low, *high;
};

static void record(const struct track *track, int sample, double motor_rad_s)
{
  if (track == NULL || sample >= track->count) return;
  track->low[sample] = fmin(track->low[sample], motor_rad_s);
  track->high[sample] = fmax(track->high[sample], motor_rad_s);
}

void sb_edge_command(struct sb_edges *edges, enum sb_edge_side side, int gear, int to, const struct sb_corner *from)
{
  struct sb_sim *sim = &edges->lanes[side].sim;
  edges->now =
      (struct sb_edge_shift){.engaged_s = INFINITY, .motor_rad_s = NAN, .output_rad_s = NAN, .joined_rad_s = NAN};
  sb_edge_begin(edges, side, gear, from, 0.0);
  edges->command_s = 0.0;
  sb_sim_command(sim, to);
  edges->now.least_output_rad_s = sim->state.output_speed_rad_s;
}

/* On to a sample, recording those that are passed. */
static void go_on(struct sb_edges *edges, enum sb_edge_side side, int from, int to, const struct track *track)
{
  const struct sb_sim *sim = &edges->lanes[side].sim;
  for (int k = track != NULL ? from : to; k <= to && edges->status == SB_OK; k++) {
    sb_edge_advance(edges, side, k * edges->steps_per_sample);
    record(track, k, sim->state.motor_speed_rad_s);
  }
}

/* Whether some load within the bounds holds an output that has come to rest in neutral, or a brake does that closes there. */
static bool can_rest(const struct sb_edges *edges)
{
  const struct sb_edge_load *load = &edges->load;
  const double hold_nm =
      fmax(load->resisting_nm[1], load->breakaway_nm) + edges->lanes[SB_EDGE_SLOW].model.load.brake_nm;
  return load->acting_nm[0] <= hold_nm && load->acting_nm[1] >= -hold_nm;
}

/* Step by step until the gear is engaged: when the output first comes to rest, from where another load may hold it. */
static void watch_rest(struct sb_edges *edges, enum sb_edge_side side)
{
  struct sb_sim *sim = &edges->lanes[side].sim;
  const long long last = edges->shift_samples_max * edges->steps_per_sample;
  const double first = sim->state.output_speed_rad_s;
  double since_s = first == 0.0 ? 0.0 : INFINITY;
  for (long long step = 1; step <= last && isinf(edges->now.engaged_s) && edges->status == SB_OK; step++) {
    if (isinf(since_s) && !(sim->state.output_speed_rad_s * first > 0.0)) since_s = sim->segment->start_s;
    sb_edge_advance(edges, side, step);
  }
  /* It may have come to rest within the last step. */
  if (isinf(since_s) && !(edges->now.output_rad_s * first > 0.0)) since_s = edges->now.engaged_s;
  if (can_rest(edges)) edges->now.standstill_s = fmax(edges->now.engaged_s - since_s, 0.0);
}

/* On to a sample in gear. What turns back at last might have been held by a lesser load since the sample before it did; what an engagement
 * turns back, even if it comes to rest then, by one that is engaged just at rest; but where the heaviest load lets it turn forward again,
 * none holds it at rest. */
static void watch_standing(struct sb_edges *edges, enum sb_edge_side side, int sample)
{
  struct sb_sim *sim = &edges->lanes[side].sim;
  const int first = (int)(sim->state.step / edges->steps_per_sample) + 1;
  int forward = first - 1; /* the last sample that found it turning forward */
  for (int k = first; k <= sample; k++) {
    go_on(edges, side, k, k, NULL);
    if (sim->state.motor_speed_rad_s >= 0.0) forward = k;
  }
  const double back_s = sim->state.motor_speed_rad_s < 0.0 ? (sample - forward) * edges->sample_s : 0.0;
  const bool is_joined_back = edges->now.joined_rad_s < 0.0 && !(sim->state.motor_speed_rad_s > 0.0);
  const double joined_s = is_joined_back ? sample * edges->sample_s - edges->now.engaged_s : 0.0;
  edges->now.standing_s = fmax(sb_sim_sums(sim)->standstill_time_s, fmax(back_s, joined_s));
}

double sb_edge_standing_s(struct sb_edges *edges, enum sb_edge_side side, int gear, const struct sb_corner *from,
                          int samples)
{
  edges->now.joined_rad_s = NAN;
  sb_edge_begin(edges, side, gear, from, 0.0);
  watch_standing(edges, side, samples);
  (void)sb_edge_finish(edges, side);
  return edges->now.standing_s;
}

struct sb_corner sb_edge_shift(struct sb_edges *edges, enum sb_edge_side side, int gear, int to,
                               const struct sb_corner *from, int sample, struct sb_edge_shift *shift)
{
  sb_edge_command(edges, side, gear, to, from);
  watch_rest(edges, side);
  struct sb_sim *sim = &edges->lanes[side].sim;
  watch_standing(edges, side, sample);
  const struct sb_corner out = sb_edge_finish(edges, side);
  edges->now.impulse_nms = fabs(sim->sums.greatest_impulse_nms);
  edges->now.least_output_rad_s = fmin(edges->now.least_output_rad_s, edges->now.output_rad_s);
  *shift = edges->now;
  return out;
}

/* Adds a lane's shift. */
static void widen(struct sb_edge_shifts *out, const struct sb_edge_shift *shift)
{
  out->engaged_s[0] = fmin(out->engaged_s[0], shift->engaged_s);
  out->engaged_s[1] = fmax(out->engaged_s[1], shift->engaged_s);
  out->joined_rad_s[0] = fmin(out->joined_rad_s[0], shift->joined_rad_s);
  out->joined_rad_s[1] = fmax(out->joined_rad_s[1], shift->joined_rad_s);
  out->impulse_nms = fmax(out->impulse_nms, shift->impulse_nms);
  out->standstill_s = fmax(out->standstill_s, shift->standstill_s);
  out->least_output_rad_s = fmin(out->least_output_rad_s, shift->least_output_rad_s);
}

/*
 * A swing arm engages sooner in a quicker machine, so motor and output need not be at their worst together at either end: any speed
 * of the one is taken with any of the other. Joined they turn at a w + (1 - a) N W, with an impulse in proportion to w - N W.
 */
static void join_any(struct sb_edge_shifts *out, const struct sb_edge_shift shifts[SB_EDGE_LANES], double ratio)
{
  double motor[2] = {INFINITY, -INFINITY}, output[2] = {INFINITY, -INFINITY};
  double widest = 0.0, per_slip = 0.0, share = 0.5;
  for (int lane = 0; lane < SB_EDGE_LANES; lane++) {
    const double w = shifts[lane].motor_rad_s, v = shifts[lane].output_rad_s * ratio;
    motor[0] = fmin(motor[0], w);
    motor[1] = fmax(motor[1], w);
    output[0] = fmin(output[0], v);
    output[1] = fmax(output[1], v);
    if (!(fabs(w - v) > widest)) continue;
    widest = fabs(w - v);
    per_slip = shifts[lane].impulse_nms / widest;
    share = (shifts[lane].joined_rad_s - v) / (w - v);
  }
  if (!(widest > 0.0)) return;
  for (int end = 0; end < 2; end++) {
    const double joined = share * motor[end] + (1.0 - share) * output[end];
    out->joined_rad_s[end] = end == 0 ? fmin(out->joined_rad_s[0], joined) : fmax(out->joined_rad_s[1], joined);
    out->impulse_nms = fmax(out->impulse_nms, per_slip * fabs(motor[end] - output[1 - end]));
  }
}

struct sb_edge_shifts sb_edge_shifts(struct sb_edges *edges, int gear, int to, const struct sb_corner *from)
{
  struct sb_edge_shifts out = {
      .engaged_s = {INFINITY, -INFINITY}, .joined_rad_s = {INFINITY, -INFINITY}, .least_output_rad_s = INFINITY};
  struct sb_edge_shift shifts[SB_EDGE_LANES];
  for (int lane = 0; lane < edges->lane_count; lane++) {
    (void)sb_edge_shift(edges, (enum sb_edge_side)lane, gear, to, from, 0, &shifts[lane]);
    widen(&out, &shifts[lane]);
  }
  const bool has_arm = edges->model->shifter.ops->is_direction_selected;
  if (edges->lane_count == SB_EDGE_LANES && has_arm && isfinite(out.engaged_s[1])) {
    join_any(&out, shifts, 1.0 / sb_edge_per_motor(edges, to));
  }
  return out;
}

struct sb_edge_passage sb_edge_pass(struct sb_edges *edges, enum sb_edge_side side, int gear, int to,
                                    const struct sb_corner *from, int sample)
{
  sb_edge_command(edges, side, gear, to, from);
  go_on(edges, side, sample, sample, NULL);
  const bool is_slipping_now = edges->has_clutch && sb_edge_is_slipping(edges, side);
  return (struct sb_edge_passage){sb_edge_finish(edges, side), edges->now.engaged_s, is_slipping_now};
}

double sb_edge_standing_after_s(struct sb_edges *edges, int gear, int to, const struct sb_corner *from, int sample)
{
  sb_edge_command(edges, SB_EDGE_SLOW, gear, to, from);
  watch_standing(edges, SB_EDGE_SLOW, sample);
  (void)sb_edge_finish(edges, SB_EDGE_SLOW);
  return edges->now.standing_s;
}

struct sb_edge_shift sb_edge_engaging(struct sb_edges *edges, enum sb_edge_side side, int gear, int to,
                                      const struct sb_corner *from)
{
  sb_edge_command(edges, side, gear, to, from);
  for (int k = 1; k <= edges->shift_samples_max && isinf(edges->now.engaged_s) && edges->status == SB_OK; k++) {
    go_on(edges, side, k, k, NULL);
  }
  (void)sb_edge_finish(edges, side);
  return edges->now;
}

int sb_edge_first_sample(const struct sb_edges *edges, double engaged_s, int dwell)
{
  if (!(engaged_s < edges->shift_samples_max * edges->sample_s)) return edges->shift_samples_max;
  const int engaged = (int)ceil(engaged_s / edges->sample_s - SB_EDGE_SAME_SAMPLE);
  return engaged > dwell ? engaged : dwell;
}

/* The filter's bounds after the samples of a track. */
static void filter_track(const struct sb_edges *edges, const struct track *track, const struct sb_span *from,
                         struct sb_span *out)
{
  out->low.filtered = from->low.filtered;
  out->high.filtered = from->high.filtered;
  for (int k = 1; k < track->count; k++) {
    const double low = track->low[k], high = track->high[k];
    out->low.filtered = sb_edge_filter(edges, out->low.filtered, sb_edge_least_reading(edges, low, high));
    out->high.filtered = sb_edge_filter(edges, out->high.filtered, sb_edge_greatest_reading(edges, low, high));
  }
}

static bool open_track(struct sb_edges *edges, int sample, struct track *track)
{
  *track = (struct track){.count = sample + 1};
  track->low = malloc(sizeof(double) * 2 * (size_t)track->count);
  if (track->low == NULL) {
    edges->status = sb_fail(&edges->err, SB_ERR_MEMORY, "out of memory for the edges of a machine");
    return false;
  }
  track->high = track->low + track->count;
  for (int k = 0; k < track->count; k++) {
    track->low[k] = INFINITY;
    track->high[k] = -INFINITY;
  }
  return true;
}

static void add_arrival(const struct sb_edges *edges, struct sb_edge_arrivals *out, int sample,
                        const struct sb_span *span)
{
  for (int i = 0; i < out->count; i++) {
    const bool is_full = out->count == SB_EDGE_ARRIVALS_MAX;
    if (out->items[i].sample == sample && (is_full || sb_span_touches(&out->items[i].span, span, &edges->sizes))) {
      out->items[i].span = sb_span_hull(&out->items[i].span, span);
      return;
    }
  }
  if (out->count < SB_EDGE_ARRIVALS_MAX) {
    out->items[out->count++] = (struct sb_edge_arrival){sample, *span};
  } else {
    out->is_loose = true;
  }
}

static void note_times(struct sb_edge_arrivals *out, const struct sb_edge_shift *shift)
{
  out->least_engaged_s = fmin(out->least_engaged_s, shift->engaged_s);
  out->greatest_engaged_s = fmax(out->greatest_engaged_s, shift->engaged_s);
}

/* The first sample that may decide after a selector, which engages all of a span at one time. */
static int selected(struct sb_edges *edges, int gear, int to, const struct sb_span *from, int dwell,
                    struct sb_edge_arrivals *out)
{
  int sample = dwell;
  for (int k = 0; k < edges->lane_count; k++) {
    const struct sb_edge_shift shift = sb_edge_engaging(edges, (enum sb_edge_side)k, gear, to, &from->low);
    const int first = sb_edge_first_sample(edges, shift.engaged_s, dwell);
    note_times(out, &shift);
    sample = first > sample ? first : sample;
  }
  return sample;
}

/* The load may jump just as the gear is engaged, where both sides have engaged. */
static void take_joined(struct sb_edges *edges, int to, const double joined_rad_s[SB_EDGE_SIDES], double engaged_s)
{
  const double low = joined_rad_s[SB_EDGE_SLOW], high = joined_rad_s[SB_EDGE_FAST];
  if (isfinite(low) && isfinite(high)) sb_edge_take_jumps(edges, to, low, high, engaged_s);
}

/* Both corners, all the way; a filter besides. */
static void arrive_by_corners(struct sb_edges *edges, int gear, int to, const struct sb_span *from, int dwell,
                              struct sb_edge_arrivals *out)
{
  const int sample = selected(edges, gear, to, from, dwell, out);
  const struct sb_corner *ends[SB_EDGE_SIDES] = {&from->low, &from->high};
  struct sb_corner reached[SB_EDGE_SIDES];
  double joined_rad_s[SB_EDGE_SIDES];
  struct track track;
  if (!open_track(edges, sample, &track)) return;
  for (int side = 0; side < SB_EDGE_SIDES; side++) {
    sb_edge_command(edges, (enum sb_edge_side)side, gear, to, ends[side]);
    go_on(edges, (enum sb_edge_side)side, 1, sample, edges->filter_gain > 0.0 ? &track : NULL);
    reached[side] = sb_edge_finish(edges, (enum sb_edge_side)side);
    joined_rad_s[side] = edges->now.joined_rad_s;
  }
  take_joined(edges, to, joined_rad_s, edges->now.engaged_s);
  struct sb_span span = {reached[SB_EDGE_SLOW], reached[SB_EDGE_FAST], false, false};
  if (edges->filter_gain > 0.0) filter_track(edges, &track, from, &span);
  free(track.low);
  add_arrival(edges, out, sample, &span);
}

/* The output's speed in neutral after a time. */
static double coasted_rad_s(struct sb_edges *edges, enum sb_edge_side side, int gear, int to,
                            const struct sb_corner *from, double time_s)
{
  struct sb_shifter *shifter = &edges->lanes[side].model.shifter;
  const struct sb_shifter own = *shifter;
  *shifter = (struct sb_shifter){
      .ops = sb_shifter_kind_find("selector"), .travel_time_s = time_s, .is_drive_cut = true, .timeout_s = INFINITY};
  const struct sb_edge_extremes extremes = edges->extremes; /* this engagement is none */
  const struct sb_edge_meshes meshes = edges->meshes;
  const double speed_rad_s = sb_edge_engaging(edges, side, gear, to, from).output_rad_s;
  edges->extremes = extremes;
  edges->meshes = meshes;
  *shifter = own;
  return speed_rad_s;
}

/* A cell of the motor's speed under a swing arm: ends, and the times to engage from them. */
struct cell {
  struct sb_corner ends[2];
  struct sb_edge_shift shifts[2];
};

/* From one of the times on, the slowest or the fastest that any of the cell can be. Returns the speed that the gear joins. */
static double engage_at(struct sb_edges *edges, enum sb_edge_side side, int gear, int to, const struct cell *cell,
                        double time_s, int sample, const struct track *track)
{
  const bool is_slow = side == SB_EDGE_SLOW;
  const double a = cell->shifts[0].motor_rad_s, b = cell->shifts[1].motor_rad_s;
  struct sb_sim *sim = &edges->lanes[side].sim;
  const double output = coasted_rad_s(edges, side, gear, to, &cell->ends[is_slow ? 0 : 1], time_s);
  const struct sb_sim_place place = {to, is_slow ? fmin(a, b) : fmax(a, b), output, time_s};
  sb_sim_begin_at(sim, &place);
  sb_edge_note_mesh(edges, sim);
  const double joined_rad_s = sim->state.motor_speed_rad_s;
  const int first = (int)floor(time_s / edges->sample_s + SB_EDGE_SAME_SAMPLE) + 1;
  const bool is_on_sample = fabs(time_s / edges->sample_s - (first - 1)) <= SB_EDGE_SAME_SAMPLE;
  if (is_on_sample) record(track, first - 1, sim->state.motor_speed_rad_s);
  go_on(edges, side, first, sample, track);
  (void)sb_edge_finish(edges, side);
  return joined_rad_s;
}

static void carry_cell(struct sb_edges *edges, int gear, int to, const struct cell *cell, const struct sb_span *from,
                       int sample, struct sb_edge_arrivals *out)
{
  struct track track;
  if (!open_track(edges, sample, &track)) return;
  for (int end = 0; end < 2; end++) {
    const double engaged_s = cell->shifts[end].engaged_s;
    double joined_rad_s[SB_EDGE_SIDES];
    for (int side = 0; side < SB_EDGE_SIDES; side++) {
      sb_edge_command(edges, (enum sb_edge_side)side, gear, to, &cell->ends[end]);
      go_on(edges, (enum sb_edge_side)side, 1, sample, &track);
      (void)sb_edge_finish(edges, (enum sb_edge_side)side);
      joined_rad_s[side] = engage_at(edges, (enum sb_edge_side)side, gear, to, cell, engaged_s, sample, &track);
    }
    take_joined(edges, to, joined_rad_s, engaged_s);
  }
  struct sb_span span = {sb_edge_corner(edges, to, track.low[sample]), sb_edge_corner(edges, to, track.high[sample]),
                         false, false};
  filter_track(edges, &track, from, &span);
  free(track.low);
  add_arrival(edges, out, sample, &span);
}

/* Cells whose ends may decide from different samples on are halved until next to nothing straddles. */
static void arrive_cell(struct sb_edges *edges, int gear, int to, const struct cell *cell, const struct sb_span *from,
                        int dwell, struct sb_edge_arrivals *out, int depth)
{
  const int first = sb_edge_first_sample(edges, cell->shifts[0].engaged_s, dwell);
  const int last = sb_edge_first_sample(edges, cell->shifts[1].engaged_s, dwell);
  if (edges->status != SB_OK) return;
  if (first == last || depth == 0) {
    carry_cell(edges, gear, to, cell, from, first, out);
    if (last != first) carry_cell(edges, gear, to, cell, from, last, out);
    return;
  }
  const double middle = 0.5 * (cell->ends[0].motor_rad_s + cell->ends[1].motor_rad_s);
  const struct sb_corner corner = sb_edge_corner(edges, gear, middle);
  const struct sb_edge_shift shift = sb_edge_engaging(edges, SB_EDGE_SLOW, gear, to, &corner);
  const struct cell halves[2] = {{{cell->ends[0], corner}, {cell->shifts[0], shift}},
                                 {{corner, cell->ends[1]}, {shift, cell->shifts[1]}}};
  arrive_cell(edges, gear, to, &halves[0], from, dwell, out, depth - 1);
  arrive_cell(edges, gear, to, &halves[1], from, dwell, out, depth - 1);
}

enum { CELLS_MAX = 32, HALVINGS = 40 };

/* Into how many cells of about 1 % of the reference a width of speeds is cut. */
static int cell_count(const struct sb_edges *edges, double width_rad_s)
{
  const double wide = 0.01 * edges->model->control.sensor.reference_rad_s;
  return (int)fmax(1.0, fmin(ceil(width_rad_s / wide), CELLS_MAX));
}

static void arrive_by_cells(struct sb_edges *edges, int gear, int to, const struct sb_span *from, int dwell,
                            struct sb_edge_arrivals *out)
{
  const double low = from->low.motor_rad_s, width = from->high.motor_rad_s - low;
  const int cells = cell_count(edges, width);
  struct cell cell;
  cell.ends[0] = sb_edge_corner(edges, gear, low);
  cell.shifts[0] = sb_edge_engaging(edges, SB_EDGE_SLOW, gear, to, &cell.ends[0]);
  for (int k = 1; k <= cells && edges->status == SB_OK; k++) {
    cell.ends[1] = sb_edge_corner(edges, gear, low + width * k / cells);
    cell.shifts[1] = sb_edge_engaging(edges, SB_EDGE_SLOW, gear, to, &cell.ends[1]);
    note_times(out, &cell.shifts[0]);
    note_times(out, &cell.shifts[1]);
    if (isinf(cell.shifts[0].engaged_s) || isinf(cell.shifts[1].engaged_s)) return;
    arrive_cell(edges, gear, to, &cell, from, dwell, out, HALVINGS);
    cell.ends[0] = cell.ends[1];
    cell.shifts[0] = cell.shifts[1];
  }
}

/* Of a swing arm in machines that differ: what a cell of speeds comes to, each for itself. */
struct meeting {
  struct sb_corner ends[SB_EDGE_SIDES];
  double engaged_s[2], motor_rad_s[2]; /* least and greatest; the motor's speed just before */
};

static struct meeting meeting_of(struct sb_edges *edges, int gear, int to, double low_rad_s, double high_rad_s)
{
  struct meeting out = {{sb_edge_corner(edges, gear, low_rad_s), sb_edge_corner(edges, gear, high_rad_s)},
                        {INFINITY, -INFINITY},
                        {INFINITY, -INFINITY}};
  for (int k = 0; k < 2 * SB_EDGE_SIDES; k++) {
    const struct sb_edge_shift shift = sb_edge_engaging(edges, (enum sb_edge_side)(k % 2), gear, to, &out.ends[k / 2]);
    out.engaged_s[0] = fmin(out.engaged_s[0], shift.engaged_s);
    out.engaged_s[1] = fmax(out.engaged_s[1], shift.engaged_s);
    out.motor_rad_s[0] = fmin(out.motor_rad_s[0], shift.motor_rad_s);
    out.motor_rad_s[1] = fmax(out.motor_rad_s[1], shift.motor_rad_s);
  }
  return out;
}

/* All that engage between two instants: the output is at the lesser of its two speeds there, or at the greater one, and since neither
 * course turns about, the sooner or the later engagement is the worse. */
static struct sb_span engage_between(struct sb_edges *edges, int to, const struct meeting *meeting,
                                     const double times_s[2], double outputs[2][SB_EDGE_SIDES], int sample)
{
  double ends[SB_EDGE_SIDES] = {INFINITY, -INFINITY}, joined_rad_s[SB_EDGE_SIDES];
  for (int k = 0; k < 2 * SB_EDGE_SIDES; k++) {
    const int side = k % SB_EDGE_SIDES, at = k / SB_EDGE_SIDES;
    const bool is_slow = side == SB_EDGE_SLOW;
    const double output = (is_slow ? fmin : fmax)(outputs[0][side], outputs[1][side]);
    const struct sb_sim_place place = {to, meeting->motor_rad_s[side], output, times_s[at]};
    sb_sim_begin_at(&edges->lanes[side].sim, &place);
    joined_rad_s[side] = edges->lanes[side].sim.state.motor_speed_rad_s;
    sb_edge_look_across(edges, &edges->lanes[side].sim);
    go_on(edges, (enum sb_edge_side)side, sample, sample, NULL);
    const double speed = sb_edge_finish(edges, (enum sb_edge_side)side).motor_rad_s;
    ends[side] = (is_slow ? fmin : fmax)(ends[side], speed);
    if (side == SB_EDGE_FAST) take_joined(edges, to, joined_rad_s, times_s[at]);
  }
  return (struct sb_span){sb_edge_corner(edges, to, ends[0]), sb_edge_corner(edges, to, ends[1]), false, false};
}

/* The next of the instants between which engagements are taken together: no farther than a share of a sample, and none between. */
static double next_instant(const struct sb_edges *edges, double from_s, double last_s)
{
  enum { PIECES = 8 };
  const double piece_s = edges->sample_s / PIECES;
  return fmin(floor(from_s / piece_s + 1.0 + SB_EDGE_SAME_SAMPLE) * piece_s, last_s);
}

static void arrive_by_instants(struct sb_edges *edges, int gear, int to, const struct meeting *meeting, int dwell,
                               struct sb_edge_arrivals *out)
{
  double times[2] = {meeting->engaged_s[0], meeting->engaged_s[0]}, outputs[2][SB_EDGE_SIDES];
  bool is_first = true;
  while ((is_first || times[0] < meeting->engaged_s[1]) && edges->status == SB_OK) {
    times[1] = is_first ? times[0] : next_instant(edges, times[0], meeting->engaged_s[1]);
    for (int side = 0; side < SB_EDGE_SIDES; side++) {
      if (!is_first) outputs[0][side] = outputs[1][side];
      outputs[1][side] = coasted_rad_s(edges, (enum sb_edge_side)side, gear, to, &meeting->ends[side], times[1]);
      if (is_first) outputs[0][side] = outputs[1][side];
    }
    const int sample = sb_edge_first_sample(edges, times[1], dwell);
    const struct sb_span span = engage_between(edges, to, meeting, times, outputs, sample);
    add_arrival(edges, out, sample, &span);
    times[0] = times[1];
    is_first = false;
  }
}

static void arrive_spread(struct sb_edges *edges, int gear, int to, const struct sb_span *from, int dwell,
                          struct sb_edge_arrivals *out)
{
  const double low = from->low.motor_rad_s, width = from->high.motor_rad_s - low;
  const int cells = cell_count(edges, width);
  for (int k = 0; k < cells && edges->status == SB_OK; k++) {
    const struct meeting meeting = meeting_of(edges, gear, to, low + width * k / cells, low + width * (k + 1) / cells);
    out->least_engaged_s = fmin(out->least_engaged_s, meeting.engaged_s[0]);
    out->greatest_engaged_s = fmax(out->greatest_engaged_s, meeting.engaged_s[1]);
    if (isinf(meeting.engaged_s[1])) return;
    arrive_by_instants(edges, gear, to, &meeting, dwell, out);
  }
}

void sb_edge_arrive_at_once(struct sb_edges *edges, int gear, int to, const struct sb_span *from, int dwell,
                            struct sb_edge_arrivals *out)
{
  if (edges->model->shifter.ops->is_direction_selected && edges->lane_count == SB_EDGE_LANES) {
    arrive_spread(edges, gear, to, from, dwell, out);
  } else if (edges->model->shifter.ops->is_direction_selected) {
    arrive_by_cells(edges, gear, to, from, dwell, out);
  } else {
    arrive_by_corners(edges, gear, to, from, dwell, out);
  }
}
