// SPDX-License-Identifier: GPL-3.0-or-later
/* From the integrals of a segment to the lines of the energy. */
#include <math.h>

#include "sim/clutch.h"
#include "sim/contact.h"
#include "sim/feed.h"
#include "sim/segment.h"
#include "sim/spring.h"
#include "sim/stretch.h"

/* What the battery gave: the integrals of its current and of the current's square. */
struct drawn {
  double charge_as, square_a2s;
};

/* Where the current is held, the duty, and so the battery's current, follows the speed. */
static struct drawn drawn_of(const struct sb_segment *seg, double elapsed_s, double current, double current_square)
{
  const struct sb_motor_gain *gain = &seg->gain.motor;
  const double duty = seg->line.duty, battery_a = duty * seg->line.stall_a;
  if (seg->piece.held_a == 0.0) return (struct drawn){duty * current, duty * duty * current_square};
  return (struct drawn){battery_a * elapsed_s + gain->battery_as,
                        battery_a * battery_a * elapsed_s + gain->battery_square};
}

/* Battery, windings, conversion and friction from the integrals of x and x^2; returns the work at the shaft. */
static double book_motor(struct sb_sim *sim, double elapsed_s)
{
  const struct sb_segment *seg = sim->segment;
  const struct sb_motor *motor = &sim->model->motor;
  const struct sb_motor_line *line = &seg->line;
  const struct sb_motor_gain *gain = &seg->gain.motor;
  struct sb_energy *energy = &sim->sums.energy;
  struct sb_feed *feed = &sim->state.feed; /* what it holds changes between segments */
  if (!motor->has_currents) {
    const double given = line->stall_nm * gain->turn - line->slope_nms_rad * gain->square;
    energy->given += given;
    energy->throughput += fabs(given);
    return given;
  }
  const double i0 = line->stall_a, i1 = line->slope_as_rad;
  const double current = i0 * elapsed_s - i1 * gain->turn;
  const double current_square = i0 * i0 * elapsed_s - 2.0 * i0 * i1 * gain->turn + i1 * i1 * gain->square;
  const double current_speed = i0 * gain->turn - i1 * gain->square;
  const struct drawn drawn = drawn_of(seg, elapsed_s, current, current_square);
  const double given = feed->voltage_v * drawn.charge_as;
  const double winding_loss = feed->resistance_ohm * current_square;
  const double friction = line->friction_nm * fabs(gain->turn);
  energy->given += given;
  energy->throughput += fabs(given);
  energy->supply_loss += sim->model->supply.internal_resistance_ohm * drawn.square_a2s;
  energy->winding_loss += winding_loss;
  energy->conversion_loss += feed->magnet_ratio * (motor->ke_vs_rad - motor->kt_nm_a) * current_speed;
  energy->motor_friction += friction;
  if (seg->piece.held_a != 0.0) sim->sums.current_held_s += elapsed_s;
  /* They act on the future, and states that differ in nothing else are one: so only where something follows from them. */
  if (sim->model->battery.is_present) feed->drawn_as += drawn.charge_as;
  if (sim->model->winding.is_present) feed->loss_j += winding_loss;
  return feed->magnet_ratio * motor->kt_nm_a * current_speed - friction;
}

/* Of an inertia at the motor. */
static double motor_kinetic_j(const struct sb_sim *sim, double inertia)
{
  const struct sb_segment *seg = sim->segment;
  const double x = sim->state.motor_speed_rad_s;
  return 0.5 * inertia * (x - seg->start_motor_speed) * (x + seg->start_motor_speed);
}

static double output_kinetic_j(const struct sb_sim *sim)
{
  const struct sb_segment *seg = sim->segment;
  const double w = sim->state.output_speed_rad_s;
  return 0.5 * seg->output_inertia * (w - seg->start_output_speed) * (w + seg->start_output_speed);
}

/* What the gear's far end passes on, by the load's work, is reckoned from there in overrun. */
static void book_mesh(struct sb_sim *sim)
{
  const struct sb_segment *seg = sim->segment;
  const struct sb_gear *gear = sb_segment_gear(sim);
  struct sb_energy *energy = &sim->sums.energy;
  const double drag_j = seg->drag_nm * fabs(seg->motor_turn);
  energy->drag += drag_j;
  if (sim->state.is_driving) {
    energy->mesh_loss += (1.0 - gear->efficiency) * (seg->shaft_j - drag_j - motor_kinetic_j(sim, seg->motor_inertia)) +
                         gear->efficiency * motor_kinetic_j(sim, seg->wheels_excess[1]);
  } else {
    energy->mesh_loss += motor_kinetic_j(sim, seg->wheels_excess[0]);
    const double passed_j = seg->has_spring ? seg->gain.shaft_in_j : seg->gain.load_work_j + output_kinetic_j(sim);
    energy->mesh_loss -= (1.0 - gear->back_efficiency) * passed_j;
  }
}

static void book_time(struct sb_sim *sim, double elapsed_s)
{
  const struct sb_state *state = &sim->state;
  struct sb_sums *sums = &sim->sums;
  if (sb_segment_is_engaged(sim)) {
    sums->gear_time_s[state->gear] += elapsed_s;
  } else {
    sums->neutral_time_s += elapsed_s;
  }
  if (sb_segment_is_standing(sim)) sums->standstill_time_s += elapsed_s;
  if (state->link == SB_LINK_MESH && state->motor_direction != 0) book_mesh(sim);
  if (state->link == SB_LINK_SLIP) sb_clutch_book(sim);
}

/* The direction in which the drive turns the output; where it does not drive, that in which it last did. */
static void take_drive_direction(struct sb_sim *sim)
{
  struct sb_state *state = &sim->state;
  const int direction = sim->segment->fed_direction;
  if (direction == 0 || direction == state->drive_direction) return;
  state->drive_direction = direction;
  state->back_rad = 0.0;
  state->is_back_counted = 0;
}

/* The way that the output came, and how much of it was back. A segment goes one way throughout. */
static void book_way(struct sb_sim *sim, double since_s)
{
  if (!(sim->state.time_s > since_s)) return;
  struct sb_state *state = &sim->state;
  struct sb_sums *sums = &sim->sums;
  const double turn_rad = state->far.is_slipping ? sim->segment->gain.far_turn : sim->segment->gain.output_turn;
  sums->way_rad += fabs(turn_rad);
  take_drive_direction(sim);
  const double forward_rad = turn_rad * state->drive_direction;
  if (!state->is_back_counted) {
    state->is_back_counted = forward_rad >= 0.0;
    return;
  }
  if (forward_rad < 0.0 && state->back_rad == 0.0) state->back_since_s = since_s;
  state->back_rad = fmax(state->back_rad - forward_rad, 0.0);
  if (!(state->back_rad > sums->back.value)) return;
  sums->back = (struct sb_peak){state->back_rad, state->time_s};
  sums->back_since_s = state->back_since_s;
}

/* A stretch goes on whose integrals will be put in place of the segment's. */
static bool has_base(const struct sb_sim *sim)
{
  return sim->stretch->is_under_way && sim->stretch->has_base;
}

void sb_segment_book_feed(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  sb_stretch_take_gain(sim);
  seg->shaft_j += book_motor(sim, sim->state.time_s - seg->fed_s);
  seg->motor_turn += seg->gain.motor.turn;
  seg->fed_s = sim->state.time_s;
  /* The integrals start anew; a stretch may go on. */
  if (has_base(sim)) sb_stretch_add_motor_gain(&sim->stretch->base.motor, -1.0, &seg->gain.motor);
  seg->gain.motor = (struct sb_motor_gain){0};
}

void sb_segment_book(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  const struct sb_state *state = &sim->state;
  if (state->far.is_finished) return;
  const double elapsed_s = state->time_s - seg->start_s;
  sb_segment_book_feed(sim);
  sim->sums.energy.load_work += seg->gain.load_work_j;
  book_time(sim, elapsed_s);
  if (state->far.is_slipping) sb_contact_book(sim, elapsed_s);
  if (seg->has_spring) sb_spring_book(sim);
  book_way(sim, seg->start_s);
  if (has_base(sim)) sb_stretch_add_gain(&sim->stretch->base, -1.0, &seg->gain);
  sb_segment_start_gain(sim); /* the segment itself may go on */
}
