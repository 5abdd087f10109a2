// SPDX-License-Identifier: GPL-3.0-or-later
#include "prove/edge.h"

#include <limits.h>
#include <math.h>
#include <stdlib.h>

#include "sim/segment.h"

/* Speeds that differ by less than this share of the reference are the same. */
static const double same_speed = 1e-10;

/* A sample that falls short of an engagement by less than this share of its period sees the gear engaged. */
static const double same_sample = 1e-9;

static void take_greater(double *greatest, double value)
{
  if (fabs(value) > *greatest) *greatest = fabs(value);
}

/* Beginning and end ---------------------------------------------------------------------------------------------------- */

static void note_output(struct sb_edges *edges, const struct sb_sim *sim)
{
  edges->least_output_rad_s = fmin(edges->least_output_rad_s, sim->state.output_speed_rad_s);
}

/* Torque and current in a gear at a state, of the machine and load that come together the other way round. */
static void look_across(struct sb_edges *edges, int side, int gear, double motor_rad_s, double output_rad_s,
                        double time_s)
{
  if (side >= SB_EDGE_SIDES || edges->lane_count == SB_EDGE_SIDES) return;
  struct sb_sim *sim = &edges->lanes[SB_EDGE_SIDES + side].sim;
  const struct sb_sim_observer observer = sim->observer;
  const struct sb_sim_place place = {gear, motor_rad_s, output_rad_s, time_s};
  sim->observer = (struct sb_sim_observer){NULL, NULL, NULL};
  sb_sim_begin_at(sim, &place);
  take_greater(&edges->extremes.torque_nm, sb_sim_sums(sim)->output_torque_nm.value);
  take_greater(&edges->extremes.current_a, sb_sim_sums(sim)->motor_current_a.value);
  sim->observer = observer;
}

static void look_across_now(struct sb_edges *edges, const struct sb_sim *sim)
{
  const struct sb_state *state = &sim->state;
  for (int side = 0; side < SB_EDGE_SIDES; side++) {
    if (sim != &edges->lanes[side].sim || !sb_sim_is_engaged(sim)) continue;
    look_across(edges, side, state->gear, state->motor_speed_rad_s, state->output_speed_rad_s, state->time_s);
  }
}

static void before_engaging(void *context, const struct sb_sim *sim)
{
  struct sb_edges *edges = context;
  note_output(edges, sim);
  edges->now.engaged_s = sim->state.time_s - edges->command_s;
  edges->now.motor_rad_s = sim->state.motor_speed_rad_s;
  edges->now.output_rad_s = sim->state.output_speed_rad_s;
}

static void on_event(void *context, const struct sb_sim *sim, enum sb_event event)
{
  struct sb_edges *edges = context;
  if (event == SB_EVENT_CLUTCH_SLIPPED) edges->now.has_slipped = true;
  if (event != SB_EVENT_ENGAGED) return;
  edges->now.joined_rad_s = sim->state.motor_speed_rad_s;
  note_output(edges, sim);
  look_across_now(edges, sim);
}

static enum sb_status init_lane(struct sb_edges *edges, int index, const struct sb_model *const ends[SB_EDGE_SIDES],
                                struct sb_error *err)
{
  struct sb_edge_lane *lane = &edges->lanes[index];
  const int side = index % SB_EDGE_SIDES; /* of the load; a lane across has the other machine */
  lane->model = *ends[index < SB_EDGE_SIDES ? side : 1 - side];
  lane->model.load = ends[side]->load;
  sb_edge_replace_parts(&lane->model.load);
  const enum sb_status status = sb_sim_init(&lane->sim, &lane->model, edges->model->control.start_gear - 1, err);
  if (status != SB_OK) return status;
  lane->sim.observer = (struct sb_sim_observer){edges, on_event, before_engaging};
  return SB_OK;
}

enum sb_status sb_edge_init(struct sb_edges *edges, const struct sb_model *model, struct sb_error *err)
{
  const struct sb_model *const ends[SB_EDGE_SIDES] = {model, model};
  return sb_edge_init_between(edges, model, ends, err);
}

enum sb_status sb_edge_init_between(struct sb_edges *edges, const struct sb_model *model,
                                    const struct sb_model *const ends[SB_EDGE_SIDES], struct sb_error *err)
{
  const struct sb_control *control = &model->control;
  struct sb_reading reading;
  *edges = (struct sb_edges){.model = model, .sample_s = control->sample_period_s};
  edges->lane_count = ends[0] == ends[1] ? SB_EDGE_SIDES : SB_EDGE_LANES;
  edges->lanes = calloc((size_t)edges->lane_count, sizeof *edges->lanes);
  if (edges->lanes == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for the edges of a machine");
  enum sb_status status = sb_sensor_init(&reading, &control->sensor, control->sample_period_s, err);
  if (status == SB_OK) {
    edges->filter_gain = control->sensor.filter_s > 0.0 ? reading.filter_gain : 0.0;
    sb_sensor_clear(&reading);
  }
  for (int lane = 0; lane < edges->lane_count && status == SB_OK; lane++) {
    status = init_lane(edges, lane, ends, err);
  }
  if (status != SB_OK) {
    sb_edge_clear(edges);
    return status;
  }
  const double reference = control->sensor.reference_rad_s;
  edges->sizes = (struct sb_span_sizes){same_speed * reference, edges->filter_gain > 0.0 ? same_speed : INFINITY};
  edges->has_clutch = model->shifter.ops->has_clutch;
  edges->steps_per_sample = edges->lanes[0].sim.samples.of;
  edges->shift_samples_max = (int)fmin(ceil(fmin(model->shifter.timeout_s, 60.0) / edges->sample_s) + 1.0, 1e6);
  const struct sb_edge_load load = sb_edge_load_between(ends);
  sb_edge_bind(edges, &load);
  return SB_OK;
}

void sb_edge_clear(struct sb_edges *edges)
{
  for (int lane = 0; lane < edges->lane_count && edges->lanes != NULL; lane++) {
    sb_sim_clear(&edges->lanes[lane].sim);
  }
  free(edges->lanes);
  edges->lanes = NULL;
}

/* Engaged ------------------------------------------------------------------------------------------------------------ */

static double per_motor(const struct sb_edges *edges, int gear)
{
  const struct sb_gear *path = &edges->model->gearbox.gears[gear];
  return path->output_direction / path->ratio;
}

static double reading_of(const struct sb_edges *edges, double motor_rad_s)
{
  return fabs(motor_rad_s) / edges->model->control.sensor.reference_rad_s;
}

struct sb_corner sb_edge_corner(const struct sb_edges *edges, int gear, double motor_rad_s)
{
  return (struct sb_corner){motor_rad_s, motor_rad_s * per_motor(edges, gear), reading_of(edges, motor_rad_s)};
}

static void begin(struct sb_edges *edges, enum sb_edge_side side, int gear, const struct sb_corner *from, double time_s)
{
  const struct sb_sim_place place = {
      gear, from->motor_rad_s, edges->has_clutch ? from->output_rad_s : from->motor_rad_s * per_motor(edges, gear),
      time_s};
  look_across(edges, (int)side, gear, place.motor_speed_rad_s, place.output_speed_rad_s, time_s);
  sb_sim_begin_at(&edges->lanes[side].sim, &place);
  note_output(edges, &edges->lanes[side].sim);
}

static void advance(struct sb_edges *edges, enum sb_edge_side side, long long step)
{
  struct sb_error err;
  const enum sb_status status = sb_sim_advance(&edges->lanes[side].sim, step, &err);
  if (status == SB_OK || edges->status != SB_OK) return;
  edges->status = status;
  edges->err = err;
}

/* Ends a course: its greatest values count. */
static struct sb_corner finish(struct sb_edges *edges, enum sb_edge_side side, double filtered)
{
  struct sb_sim *sim = &edges->lanes[side].sim;
  const struct sb_sums *sums = sb_sim_sums(sim);
  take_greater(&edges->extremes.torque_nm, sums->output_torque_nm.value);
  take_greater(&edges->extremes.current_a, sums->motor_current_a.value);
  take_greater(&edges->extremes.motor_rad_s, sums->motor_speed_rad_s.value);
  note_output(edges, sim);
  look_across_now(edges, sim);
  return (struct sb_corner){sim->state.motor_speed_rad_s, sim->state.output_speed_rad_s, filtered};
}

static double filter(const struct sb_edges *edges, double filtered, double reading)
{
  return filtered + edges->filter_gain * (reading - filtered);
}

struct sb_corner sb_edge_after(struct sb_edges *edges, enum sb_edge_side side, int gear, const struct sb_corner *from,
                               double time_s)
{
  const double step_s = edges->model->run.step_s;
  const double steps = ceil(time_s / step_s - same_sample);
  if (!(steps > 0.0)) return *from;
  begin(edges, side, gear, from, fmax(steps * step_s - time_s, 0.0));
  advance(edges, side, (long long)steps);
  struct sb_corner out = finish(edges, side, from->filtered);
  out.filtered = filter(edges, from->filtered, reading_of(edges, out.motor_rad_s));
  return out;
}

/* The least and the greatest reading of all speeds between two. */
static double least_reading(const struct sb_edges *edges, double low_rad_s, double high_rad_s)
{
  if (low_rad_s <= 0.0 && high_rad_s >= 0.0) return 0.0;
  return fmin(reading_of(edges, low_rad_s), reading_of(edges, high_rad_s));
}

static double greatest_reading(const struct sb_edges *edges, double low_rad_s, double high_rad_s)
{
  return fmax(reading_of(edges, low_rad_s), reading_of(edges, high_rad_s));
}

/* Whether the clutch of a course that has been followed slips, or has begun to slip. */
static bool is_slipping(const struct sb_edges *edges, enum sb_edge_side side)
{
  return edges->lanes[side].sim.state.link == SB_LINK_SLIP || edges->now.has_slipped;
}

/* What a speed delivers under the load of a side counts, if only for an instant. */
static void take_instant(struct sb_edges *edges, enum sb_edge_side side, int gear, double motor_rad_s)
{
  const struct sb_corner at = sb_edge_corner(edges, gear, motor_rad_s);
  begin(edges, side, gear, &at, 0.0);
  (void)finish(edges, side, 0.0);
}

/* A load jumps: the heaviest finds the fastest course, and the lightest the slowest. Between them the torque is greatest at an end,
 * or where the output only just turns. */
static void take_jumps(struct sb_edges *edges, int gear, const struct sb_span *span)
{
  const double low = span->low.motor_rad_s, high = span->high.motor_rad_s, hair = 1e-9 * edges->sizes.speed_rad_s;
  take_instant(edges, SB_EDGE_SLOW, gear, high);
  take_instant(edges, SB_EDGE_FAST, gear, low);
  if (low <= 0.0 && high > hair) take_instant(edges, SB_EDGE_SLOW, gear, hair);
  if (low < -hair && high >= 0.0) take_instant(edges, SB_EDGE_FAST, gear, -hair);
}

struct sb_span sb_edge_sample(struct sb_edges *edges, int gear, const struct sb_span *from)
{
  struct sb_span out;
  take_jumps(edges, gear, from);
  edges->now.has_slipped = false;
  out.low = sb_edge_after(edges, SB_EDGE_SLOW, gear, &from->low, edges->sample_s);
  out.is_boxed = is_slipping(edges, SB_EDGE_SLOW);
  out.high = sb_edge_after(edges, SB_EDGE_FAST, gear, &from->high, edges->sample_s);
  out.is_boxed = from->is_boxed || out.is_boxed || is_slipping(edges, SB_EDGE_FAST);
  const double low = out.low.motor_rad_s, high = out.high.motor_rad_s;
  out.low.filtered = filter(edges, from->low.filtered, least_reading(edges, low, high));
  out.high.filtered = filter(edges, from->high.filtered, greatest_reading(edges, low, high));
  return out;
}

struct sb_corner sb_edge_limit(struct sb_edges *edges, enum sb_edge_side side, int gear, const struct sb_corner *from)
{
  struct sb_sim *sim = &edges->lanes[side].sim;
  const double constant_s = sim->derived.time_constant_s[gear + 1];
  const long long chunk = (long long)fmax(1.0, fmin(ceil(constant_s / sim->step_s), 1e6));
  const struct sb_sim_multiple usual = sim->samples;
  begin(edges, side, gear, from, 0.0);
  sim->samples = (struct sb_sim_multiple){chunk, 0};
  double last = INFINITY;
  for (int i = 1; i <= 400 && fabs(sim->state.motor_speed_rad_s - last) > 1e-4 * edges->sizes.speed_rad_s; i++) {
    last = sim->state.motor_speed_rad_s;
    advance(edges, side, i * chunk);
    if (edges->status != SB_OK) break;
  }
  sim->samples = usual;
  const struct sb_corner out = finish(edges, side, 0.0);
  return (struct sb_corner){out.motor_rad_s, out.output_rad_s, reading_of(edges, out.motor_rad_s)};
}

/* The time within the step that ends at `to` at which a course from a corner at `from` passes a speed. */
static double passing_s(struct sb_edges *edges, enum sb_edge_side side, int gear, const struct sb_corner *from,
                        double motor_rad_s)
{
  const double step_s = edges->model->run.step_s;
  const bool is_rising = from->motor_rad_s < motor_rad_s;
  double low = 0.0, high = step_s;
  for (int i = 0; i < 40; i++) {
    const double middle = 0.5 * (low + high);
    const double speed = sb_edge_after(edges, side, gear, from, middle).motor_rad_s;
    *((speed < motor_rad_s) == is_rising ? &low : &high) = middle;
  }
  return high;
}

double sb_edge_time_s(struct sb_edges *edges, enum sb_edge_side side, int gear, const struct sb_corner *from,
                      double motor_rad_s)
{
  const bool is_rising = from->motor_rad_s < motor_rad_s;
  if (from->motor_rad_s == motor_rad_s) return 0.0;
  const double limit = sb_edge_limit(edges, side, gear, from).motor_rad_s;
  if (is_rising ? !(limit > motor_rad_s) : !(limit < motor_rad_s)) return INFINITY;
  struct sb_sim *sim = &edges->lanes[side].sim;
  struct sb_corner before = *from;
  begin(edges, side, gear, from, 0.0);
  for (long long step = 1; step < 100000000; step++) {
    advance(edges, side, step);
    const double speed = sim->state.motor_speed_rad_s;
    if (is_rising ? speed >= motor_rad_s : speed <= motor_rad_s) {
      return (double)(step - 1) * sim->step_s + passing_s(edges, side, gear, &before, motor_rad_s);
    }
    before = (struct sb_corner){speed, sim->state.output_speed_rad_s, 0.0};
    if (edges->status != SB_OK) break;
  }
  return INFINITY;
}

/* From rest, what holds at rest may be more than the load that resists in motion. */
static void begin_start(struct sb_edges *edges, enum sb_edge_side side, int gear, const struct sb_corner *from)
{
  struct sb_edge_lane *lane = &edges->lanes[side];
  const struct sb_edge_load *load = &edges->load;
  struct sb_load_part *resisting = sb_edge_resisting_part(&lane->model.load);
  const double hold_nm = load->acting_nm[1] + load->breakaway_nm - sb_edge_acting_part(&lane->model.load)->torque_nm;
  if (side == SB_EDGE_SLOW && load->breakaway_nm > load->resisting_nm[1]) resisting->breakaway_nm = hold_nm;
  begin(edges, side, gear, from, 0.0);
}

struct sb_span sb_edge_start(struct sb_edges *edges, int gear, int sample, double *standing_s)
{
  const double speed_rad_s = edges->model->run.initial_output_speed_rad_s / per_motor(edges, gear);
  const struct sb_corner from = sb_edge_corner(edges, gear, speed_rad_s);
  struct sb_corner ends[SB_EDGE_SIDES];
  bool is_boxed = false;
  edges->now.has_slipped = false;
  for (int side = 0; side < SB_EDGE_SIDES; side++) {
    begin_start(edges, (enum sb_edge_side)side, gear, &from);
    double filtered = from.filtered;
    for (int k = 1; k <= sample; k++) {
      advance(edges, (enum sb_edge_side)side, k * edges->steps_per_sample);
      filtered = filter(edges, filtered, reading_of(edges, edges->lanes[side].sim.state.motor_speed_rad_s));
    }
    ends[side] = finish(edges, (enum sb_edge_side)side, filtered);
    is_boxed = is_boxed || is_slipping(edges, (enum sb_edge_side)side);
    sb_edge_resisting_part(&edges->lanes[side].model.load)->breakaway_nm = 0.0;
  }
  const struct sb_sim *slow = &edges->lanes[SB_EDGE_SLOW].sim;
  /* What turns back at once might have been held by a lesser load. */
  *standing_s = slow->state.motor_speed_rad_s < 0.0 ? sample * edges->sample_s : slow->sums.standstill_time_s;
  return (struct sb_span){ends[SB_EDGE_SLOW], ends[SB_EDGE_FAST], is_boxed};
}

/* Through a shift ---------------------------------------------------------------------------------------------------- */

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

static void command(struct sb_edges *edges, enum sb_edge_side side, int gear, int to, const struct sb_corner *from)
{
  struct sb_sim *sim = &edges->lanes[side].sim;
  edges->now = (struct sb_edge_shift){.engaged_s = INFINITY, .motor_rad_s = NAN, .output_rad_s = NAN};
  begin(edges, side, gear, from, 0.0);
  edges->command_s = 0.0;
  sb_sim_command(sim, to);
  edges->now.least_output_rad_s = sim->state.output_speed_rad_s;
}

/* On to a sample, recording those that are passed. */
static void go_on(struct sb_edges *edges, enum sb_edge_side side, int from, int to, const struct track *track)
{
  const struct sb_sim *sim = &edges->lanes[side].sim;
  for (int k = track != NULL ? from : to; k <= to && edges->status == SB_OK; k++) {
    advance(edges, side, k * edges->steps_per_sample);
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
    advance(edges, side, step);
  }
  /* It may have come to rest within the last step. */
  if (isinf(since_s) && !(edges->now.output_rad_s * first > 0.0)) since_s = edges->now.engaged_s;
  if (can_rest(edges)) edges->now.standstill_s = fmax(edges->now.engaged_s - since_s, 0.0);
}

/* On to a sample in gear. What turns back at last might have been held by a lesser load since the sample before it did. */
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
  edges->now.standing_s = fmax(sb_sim_sums(sim)->standstill_time_s, back_s);
}

double sb_edge_standing_s(struct sb_edges *edges, enum sb_edge_side side, int gear, const struct sb_corner *from,
                          int samples)
{
  begin(edges, side, gear, from, 0.0);
  watch_standing(edges, side, samples);
  (void)finish(edges, side, 0.0);
  return edges->now.standing_s;
}

struct sb_corner sb_edge_shift(struct sb_edges *edges, enum sb_edge_side side, int gear, int to,
                               const struct sb_corner *from, int sample, struct sb_edge_shift *shift)
{
  command(edges, side, gear, to, from);
  watch_rest(edges, side);
  struct sb_sim *sim = &edges->lanes[side].sim;
  watch_standing(edges, side, sample);
  const struct sb_corner out = finish(edges, side, 0.0);
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
    join_any(&out, shifts, 1.0 / per_motor(edges, to));
  }
  return out;
}

struct sb_edge_passage sb_edge_pass(struct sb_edges *edges, enum sb_edge_side side, int gear, int to,
                                    const struct sb_corner *from, int sample)
{
  command(edges, side, gear, to, from);
  go_on(edges, side, sample, sample, NULL);
  const bool is_slipping_now = edges->has_clutch && is_slipping(edges, side);
  return (struct sb_edge_passage){finish(edges, side, 0.0), edges->now.engaged_s, is_slipping_now};
}

double sb_edge_standing_after_s(struct sb_edges *edges, int gear, int to, const struct sb_corner *from, int sample)
{
  command(edges, SB_EDGE_SLOW, gear, to, from);
  watch_standing(edges, SB_EDGE_SLOW, sample);
  (void)finish(edges, SB_EDGE_SLOW, 0.0);
  return edges->now.standing_s;
}

/* The time to engage from a corner, and the state just before. */
static struct sb_edge_shift engaging(struct sb_edges *edges, enum sb_edge_side side, int gear, int to,
                                     const struct sb_corner *from)
{
  command(edges, side, gear, to, from);
  for (int k = 1; k <= edges->shift_samples_max && isinf(edges->now.engaged_s) && edges->status == SB_OK; k++) {
    go_on(edges, side, k, k, NULL);
  }
  (void)finish(edges, side, 0.0);
  return edges->now;
}

/* The first sample that finds the gear engaged, and may decide. */
static int first_sample(const struct sb_edges *edges, double engaged_s, int dwell)
{
  if (!(engaged_s < edges->shift_samples_max * edges->sample_s)) return edges->shift_samples_max;
  const int engaged = (int)ceil(engaged_s / edges->sample_s - same_sample);
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
    out->low.filtered = filter(edges, out->low.filtered, least_reading(edges, low, high));
    out->high.filtered = filter(edges, out->high.filtered, greatest_reading(edges, low, high));
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

/* When all of a span have engaged at the latest. A clutch's sides meet at a time that depends on the load, too. */
static int last_engaged(struct sb_edges *edges, int gear, int to, const struct sb_span *from, int dwell,
                        struct sb_edge_arrivals *out)
{
  const struct sb_corner *starts[] = {&from->low, &from->high};
  const int count = edges->has_clutch ? 2 : 1, lanes = edges->lane_count;
  int least = INT_MAX, sample = dwell;
  for (int k = 0; k < count * lanes; k++) {
    const struct sb_edge_shift shift = engaging(edges, (enum sb_edge_side)(k % lanes), gear, to, starts[k / lanes]);
    const int first = first_sample(edges, shift.engaged_s, dwell);
    note_times(out, &shift);
    if (k % SB_EDGE_SIDES == SB_EDGE_FAST && isfinite(shift.joined_rad_s) && isfinite(shift.engaged_s)) {
      take_instant(edges, SB_EDGE_SLOW, to, shift.joined_rad_s);
    }
    least = first < least ? first : least;
    sample = first > sample ? first : sample;
  }
  out->is_loose = out->is_loose || least < sample;
  return sample;
}

/* Both corners, all the way; a filter besides. */
static void arrive_by_corners(struct sb_edges *edges, int gear, int to, const struct sb_span *from, int dwell,
                              struct sb_edge_arrivals *out)
{
  const int sample = last_engaged(edges, gear, to, from, dwell, out);
  const struct sb_corner *ends[SB_EDGE_SIDES] = {&from->low, &from->high};
  struct sb_corner reached[SB_EDGE_SIDES];
  struct track track;
  bool is_boxed = false;
  if (!open_track(edges, sample, &track)) return;
  for (int side = 0; side < SB_EDGE_SIDES; side++) {
    command(edges, (enum sb_edge_side)side, gear, to, ends[side]);
    go_on(edges, (enum sb_edge_side)side, 1, sample, edges->filter_gain > 0.0 ? &track : NULL);
    is_boxed = is_boxed || (edges->has_clutch && is_slipping(edges, (enum sb_edge_side)side));
    reached[side] = finish(edges, (enum sb_edge_side)side, 0.0);
  }
  struct sb_span span = {reached[SB_EDGE_SLOW], reached[SB_EDGE_FAST], is_boxed};
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
  const double speed_rad_s = engaging(edges, side, gear, to, from).output_rad_s;
  edges->extremes = extremes;
  *shifter = own;
  return speed_rad_s;
}

/* A cell of the motor's speed under a swing arm: ends, and the times to engage from them. */
struct cell {
  struct sb_corner ends[2];
  struct sb_edge_shift shifts[2];
};

/* From one of the times on, the slowest or the fastest that any of the cell can be. */
static void engage_at(struct sb_edges *edges, enum sb_edge_side side, int gear, int to, const struct cell *cell,
                      double time_s, int sample, const struct track *track)
{
  const bool is_slow = side == SB_EDGE_SLOW;
  const double a = cell->shifts[0].motor_rad_s, b = cell->shifts[1].motor_rad_s;
  struct sb_sim *sim = &edges->lanes[side].sim;
  const double output = coasted_rad_s(edges, side, gear, to, &cell->ends[is_slow ? 0 : 1], time_s);
  const struct sb_sim_place place = {to, is_slow ? fmin(a, b) : fmax(a, b), output, time_s};
  sb_sim_begin_at(sim, &place);
  const int first = (int)floor(time_s / edges->sample_s + same_sample) + 1;
  const bool is_on_sample = fabs(time_s / edges->sample_s - (first - 1)) <= same_sample;
  if (is_on_sample) record(track, first - 1, sim->state.motor_speed_rad_s);
  go_on(edges, side, first, sample, track);
  (void)finish(edges, side, 0.0);
}

static void carry_cell(struct sb_edges *edges, int gear, int to, const struct cell *cell, const struct sb_span *from,
                       int sample, struct sb_edge_arrivals *out)
{
  struct track track;
  if (!open_track(edges, sample, &track)) return;
  for (int end = 0; end < 2; end++) {
    for (int side = 0; side < SB_EDGE_SIDES; side++) {
      command(edges, (enum sb_edge_side)side, gear, to, &cell->ends[end]);
      go_on(edges, (enum sb_edge_side)side, 1, sample, &track);
      (void)finish(edges, (enum sb_edge_side)side, 0.0);
      engage_at(edges, (enum sb_edge_side)side, gear, to, cell, cell->shifts[end].engaged_s, sample, &track);
    }
  }
  struct sb_span span = {sb_edge_corner(edges, to, track.low[sample]), sb_edge_corner(edges, to, track.high[sample]),
                         false};
  filter_track(edges, &track, from, &span);
  free(track.low);
  add_arrival(edges, out, sample, &span);
}

/* Cells whose ends may decide from different samples on are halved until next to nothing straddles. */
static void arrive_cell(struct sb_edges *edges, int gear, int to, const struct cell *cell, const struct sb_span *from,
                        int dwell, struct sb_edge_arrivals *out, int depth)
{
  const int first = first_sample(edges, cell->shifts[0].engaged_s, dwell);
  const int last = first_sample(edges, cell->shifts[1].engaged_s, dwell);
  if (edges->status != SB_OK) return;
  if (first == last || depth == 0) {
    carry_cell(edges, gear, to, cell, from, first, out);
    if (last != first) carry_cell(edges, gear, to, cell, from, last, out);
    return;
  }
  const double middle = 0.5 * (cell->ends[0].motor_rad_s + cell->ends[1].motor_rad_s);
  const struct sb_corner corner = sb_edge_corner(edges, gear, middle);
  const struct sb_edge_shift shift = engaging(edges, SB_EDGE_SLOW, gear, to, &corner);
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
  cell.shifts[0] = engaging(edges, SB_EDGE_SLOW, gear, to, &cell.ends[0]);
  for (int k = 1; k <= cells && edges->status == SB_OK; k++) {
    cell.ends[1] = sb_edge_corner(edges, gear, low + width * k / cells);
    cell.shifts[1] = engaging(edges, SB_EDGE_SLOW, gear, to, &cell.ends[1]);
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
    const struct sb_edge_shift shift = engaging(edges, (enum sb_edge_side)(k % 2), gear, to, &out.ends[k / 2]);
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
  double ends[SB_EDGE_SIDES] = {INFINITY, -INFINITY};
  for (int k = 0; k < 2 * SB_EDGE_SIDES; k++) {
    const int side = k % SB_EDGE_SIDES, at = k / SB_EDGE_SIDES;
    const bool is_slow = side == SB_EDGE_SLOW;
    const double output = (is_slow ? fmin : fmax)(outputs[0][side], outputs[1][side]);
    const struct sb_sim_place place = {to, meeting->motor_rad_s[side], output, times_s[at]};
    sb_sim_begin_at(&edges->lanes[side].sim, &place);
    look_across_now(edges, &edges->lanes[side].sim);
    go_on(edges, (enum sb_edge_side)side, sample, sample, NULL);
    const double speed = finish(edges, (enum sb_edge_side)side, 0.0).motor_rad_s;
    ends[side] = (is_slow ? fmin : fmax)(ends[side], speed);
  }
  return (struct sb_span){sb_edge_corner(edges, to, ends[0]), sb_edge_corner(edges, to, ends[1]), false};
}

/* The next of the instants between which engagements are taken together: no farther than a share of a sample, and none between. */
static double next_instant(const struct sb_edges *edges, double from_s, double last_s)
{
  enum { PIECES = 8 };
  const double piece_s = edges->sample_s / PIECES;
  return fmin(floor(from_s / piece_s + 1.0 + same_sample) * piece_s, last_s);
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
    const int sample = first_sample(edges, times[1], dwell);
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

void sb_edge_arrive(struct sb_edges *edges, int gear, int to, const struct sb_span *from, int dwell,
                    struct sb_edge_arrivals *out)
{
  *out = (struct sb_edge_arrivals){.least_engaged_s = INFINITY, .greatest_engaged_s = 0.0};
  if (edges->model->shifter.ops->is_direction_selected && edges->lane_count == SB_EDGE_LANES) {
    arrive_spread(edges, gear, to, from, dwell, out);
  } else if (edges->model->shifter.ops->is_direction_selected) {
    arrive_by_cells(edges, gear, to, from, dwell, out);
  } else {
    arrive_by_corners(edges, gear, to, from, dwell, out);
  }
}
