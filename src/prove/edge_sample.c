// SPDX-License-Identifier: GPL-3.0-or-later
/* edge_sample.c - both edges of a set of states in gear: from the start, over a sample, and where they go (edge.h). */
#include <math.h>

#include "prove/edge_clutch.h"
#include "prove/edge_course.h"
#include "sim/segment.h"

void sb_edge_take_jumps(struct sb_edges *edges, int gear, double low_rad_s, double high_rad_s, double time_s)
{
  const double hair = 1e-9 * edges->sizes.speed_rad_s;
  if (edges->is_motion_alone) return;
  sb_edge_take_instant(edges, SB_EDGE_SLOW, gear, high_rad_s, time_s);
  sb_edge_take_instant(edges, SB_EDGE_FAST, gear, low_rad_s, time_s);
  if (low_rad_s <= 0.0 && high_rad_s > hair) sb_edge_take_instant(edges, SB_EDGE_SLOW, gear, hair, time_s);
  if (low_rad_s < -hair && high_rad_s >= 0.0) sb_edge_take_instant(edges, SB_EDGE_FAST, gear, -hair, time_s);
}

/* A clutch may have slipped on the way from one span to the other one. */
static void mark_sample(struct sb_edges *edges, int gear, const struct sb_span *from, struct sb_span *to)
{
  struct sb_edge_joined joined = {INFINITY, -INFINITY};
  to->is_leading = from->is_leading || edges->slips.is_leading;
  to->is_lagging = from->is_lagging || edges->slips.is_lagging;
  sb_edge_joined_add(edges, gear, from, &joined);
  sb_edge_joined_add(edges, gear, to, &joined);
  sb_edge_joined_add_met(edges, &joined);
  sb_edge_mark_slips(edges, gear, &joined, to);
  if (sb_span_is_boxed(to)) (void)sb_edge_trim(edges, gear, to);
}

struct sb_span sb_edge_sample(struct sb_edges *edges, int gear, const struct sb_span *from)
{
  struct sb_span out = *from;
  sb_edge_take_jumps(edges, gear, from->low.motor_rad_s, from->high.motor_rad_s, 0.0);
  edges->now.has_slipped = false;
  sb_edge_watch_slips(edges);
  out.low = sb_edge_after(edges, SB_EDGE_SLOW, gear, &from->low, edges->sample_s);
  sb_edge_note_slip(edges, SB_EDGE_SLOW);
  out.high = sb_edge_after(edges, SB_EDGE_FAST, gear, &from->high, edges->sample_s);
  sb_edge_note_slip(edges, SB_EDGE_FAST);
  if (edges->has_clutch) mark_sample(edges, gear, from, &out);
  const double low = out.low.motor_rad_s, high = out.high.motor_rad_s;
  out.low.filtered = sb_edge_filter(edges, from->low.filtered, sb_edge_least_reading(edges, low, high));
  out.high.filtered = sb_edge_filter(edges, from->high.filtered, sb_edge_greatest_reading(edges, low, high));
  return out;
}

/* Speeds that joined sides can have on a side's course. */
static void widen_joined(const struct sb_edges *edges, int side, int gear, const struct sb_state *state,
                         struct sb_edge_joined *joined)
{
  const double gears = state->output_speed_rad_s / sb_edge_per_motor(edges, gear), motor = state->motor_speed_rad_s;
  if (side == SB_EDGE_SLOW) {
    joined->from_rad_s = fmin(joined->from_rad_s, fmax(motor, gears));
  } else {
    joined->to_rad_s = fmax(joined->to_rad_s, fmin(motor, gears));
  }
}

struct sb_span sb_edge_start(struct sb_edges *edges, int gear, int sample, double *standing_s)
{
  const double speed_rad_s = edges->model->run.initial_output_speed_rad_s / sb_edge_per_motor(edges, gear);
  const struct sb_corner from = sb_edge_corner(edges, gear, speed_rad_s);
  struct sb_corner ends[SB_EDGE_SIDES];
  struct sb_edge_joined joined = {from.motor_rad_s, from.motor_rad_s};
  edges->now.has_slipped = false;
  sb_edge_watch_slips(edges);
  for (int side = 0; side < SB_EDGE_SIDES; side++) {
    sb_edge_begin(edges, (enum sb_edge_side)side, gear, &from, 0.0);
    double filtered = from.filtered;
    for (int k = 1; k <= sample; k++) {
      const struct sb_state *state = &edges->lanes[side].sim.state;
      sb_edge_advance(edges, (enum sb_edge_side)side, k * edges->steps_per_sample);
      filtered = sb_edge_filter(edges, filtered, sb_edge_reading(edges, state->motor_speed_rad_s));
      widen_joined(edges, side, gear, state, &joined);
    }
    sb_edge_note_slip(edges, (enum sb_edge_side)side);
    ends[side] = sb_edge_finish(edges, (enum sb_edge_side)side);
    ends[side].filtered = filtered;
  }
  struct sb_sim *slow = &edges->lanes[SB_EDGE_SLOW].sim;
  const double standing = sb_sim_sums(slow)->standstill_time_s;
  /* What turns back at once, or at first, might have been held by a lesser load. */
  const bool is_back = speed_rad_s < 0.0 || slow->state.motor_speed_rad_s < 0.0;
  *standing_s = is_back ? sample * edges->sample_s : standing;
  struct sb_span out = {ends[SB_EDGE_SLOW], ends[SB_EDGE_FAST], edges->slips.is_leading, edges->slips.is_lagging};
  if (edges->has_clutch) {
    sb_edge_joined_add_met(edges, &joined);
    sb_edge_mark_slips(edges, gear, &joined, &out);
    if (sb_span_is_boxed(&out)) (void)sb_edge_trim(edges, gear, &out);
  }
  return out;
}

enum { DRIFT_CONSTANTS = 200 };

/* One end's course, which leaves its least or its greatest speeds. */
static void drift_end(struct sb_edges *edges, enum sb_edge_side side, int gear, struct sb_corner *end)
{
  struct sb_sim *sim = &edges->lanes[side].sim;
  const struct sb_state *state = &sim->state;
  const bool is_low = side == SB_EDGE_SLOW;
  const double close = 1e-3 * edges->sizes.speed_rad_s;
  const long long chunk = (long long)fmax(1.0, fmin(ceil(sim->derived.time_constant_s[gear + 1] / sim->step_s), 1e6));
  const struct sb_sim_multiple usual = sim->samples;
  sb_edge_begin(edges, side, gear, end, 0.0);
  sim->samples = (struct sb_sim_multiple){chunk, 0};
  for (int i = 1; i <= DRIFT_CONSTANTS && edges->status == SB_OK; i++) {
    const double w = state->motor_speed_rad_s, v = state->output_speed_rad_s;
    sb_edge_advance(edges, side, i * chunk);
    end->motor_rad_s = (is_low ? fmin : fmax)(end->motor_rad_s, state->motor_speed_rad_s);
    end->output_rad_s = (is_low ? fmin : fmax)(end->output_rad_s, state->output_speed_rad_s);
    if (fabs(state->motor_speed_rad_s - w) <= close && fabs(state->output_speed_rad_s - v) <= close) break;
  }
  sim->samples = usual;
  (void)sb_edge_finish(edges, side);
}

struct sb_span sb_edge_drift(struct sb_edges *edges, int gear, const struct sb_span *from)
{
  struct sb_span out = *from;
  drift_end(edges, SB_EDGE_SLOW, gear, &out.low);
  drift_end(edges, SB_EDGE_FAST, gear, &out.high);
  return out;
}

bool sb_edge_closed_box(struct sb_edges *edges, int gear, const struct sb_span *from, struct sb_span *out)
{
  enum { ROUNDS = 40 };
  *out = *from;
  out->is_leading = out->is_lagging = true;
  for (int round = 0; round < ROUNDS; round++) {
    const double low = out->low.motor_rad_s, high = out->high.motor_rad_s;
    out->low.filtered = fmin(out->low.filtered, sb_edge_least_reading(edges, low, high));
    out->high.filtered = fmax(out->high.filtered, sb_edge_greatest_reading(edges, low, high));
    const struct sb_span next = sb_edge_sample(edges, gear, out);
    if (sb_span_contains(out, &next, &edges->sizes)) return true;
    const struct sb_span far = sb_edge_drift(edges, gear, &next);
    *out = sb_span_hull(out, &far);
  }
  return false;
}
