// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * segment.h - internal: everything that stays fixed between two events, worked out once so that a step is arithmetic.
 *
 * In mesh there is one speed, the motor's x in the sense in which its gear drives it; the output turns with W = r x,
 * r = output sense / N. In neutral x and W move apart, joined at most by a slipping clutch; so they do in mesh with a
 * shaft that gives (spring.h). A vehicle whose wheels slip moves beside them (contact.h).
 */
#ifndef SHIFTBAND_SIM_SEGMENT_H
#define SHIFTBAND_SIM_SEGMENT_H

#include <math.h>

#include "base/sign.h"
#include "shiftband/limiter.h"
#include "shiftband/sim.h"
#include "sim/poly.h"
#include "sim/series.h"

/* What a body at rest has against it: what acts and what holds; [0] with the load behind, [1] with the load ahead. */
struct sb_resting {
  struct sb_load_curve acting[2];
  struct sb_load_curve holding[2];
  struct sb_load_curve sliding[2]; /* what would hold once it moves, without breakaway values */
  double least_hold_nm[2];         /* that holds at least */
  double brake_nm;                 /* that holds besides */
};

/* What the motor's line is booked by: integrals of the speed x and of x^2. */
struct sb_motor_gain {
  double turn, square;
  /* Of a held current: what the battery gave and its square, above those at standstill. */
  double battery_as, battery_square;
};

/* What comes together over a stretch of motion, or since a segment began: integrals of the speeds x, W and v, of x^2, and
 * of powers. */
struct sb_gain {
  struct sb_motor_gain motor; /* since what feeds the motor was booked */
  double output_turn, load_work_j;
  double far_turn, far_work_j; /* of a vehicle whose wheels slip */
  /* There, where the grade changes: of its traction on the wheels, and of slipping. */
  double traction_work_j, slip_lost_j;
  double shaft_in_j, shaft_lost_j; /* of a shaft that gives: work at the gear's end, damping */
};

/* The vehicle and its contact, where there is a road. */
struct sb_far_segment {
  struct sb_load_curve curve; /* beyond the contact, over the vehicle's angle */
  struct sb_poly load;        /* its value: in x or W while gripping, in v while slipping */
  struct sb_poly rate;        /* slipping: dv/dt */
  struct sb_resting resting;
  double inertia;     /* of the vehicle and what it pushes */
  double grip_nm;     /* most that the contact carries while gripping; INFINITY: any */
  double traction_nm; /* slipping: torque on the vehicle, with sign */
  bool is_bent;       /* it moves where the grade changes along the way: the two are those where the segment began */
  double limit_rad;   /* next corner of the road, as the vehicle's angle */
};

/* A shaft that gives, in mesh. */
struct sb_spring_segment {
  double stiffness, damping, offset_rad; /* torque = k (twist - offset) + c (r x - W) while teeth touch */
  double per_motor, per_output;          /* dx/dt and dW/dt a unit of torque */
  double start_j;                        /* energy when the segment began */
};

struct sb_segment {
  struct sb_motor_line line;
  struct sb_limiter_piece piece; /* of the line under a driver that limits the current */
  struct sb_load_curve curve;    /* of the moving load; tau = t - curve.time_s */
  double per_motor;              /* r */
  double output_inertia;         /* of all that turns with the output; engaged: without the wheels of the box */
  double motor_inertia;          /* of all that turns with the motor; engaged: with the wheels of the box */
  double wheels_excess[2];       /* engaged: what the meshes before wheels add, in overrun and driving */
  double end_s;                  /* next load corner or timed engagement; INFINITY: none */
  double corner_s;               /* next load corner alone */
  double angle_limit_rad;        /* next load corner over the angle, in the direction of motion */
  double drag_nm;
  bool has_straight_load; /* linear in time and speed */
  bool is_resting_steady; /* at rest, and the load does not change in time */
  bool has_spring;        /* in mesh through a shaft that gives */
  bool is_road_limit;     /* the angle limit is the road's */
  int broken_away;        /* while settling: sense in which the output at rest has started already, or 0 */

  struct sb_poly motor_rate;  /* dx/dt in x */
  struct sb_poly output_rate; /* neutral or spring: dW/dt in W */
  struct sb_poly load;        /* TL, in x when in mesh, in W in neutral; with the traction of wheels that slip */
  /* In mesh: constant + per_speed x + per_load TL, > 0 driving, < 0 overrun, times the direction. */
  struct sb_power {
    double constant, per_speed, per_load;
  } power;
  double load_size_nm; /* in mesh: the load's terms without their signs */
  /* In mesh: dx/dt a unit of the motor's torque, and of the load's. */
  double per_motor_nm, per_load_nm;
  int fed_direction;         /* of the output, in which the drive turns it through the gear; 0: it does not */
  double power_tolerance;    /* below it, a sign is rounding */
  struct sb_resting resting; /* the output at rest; without what lies beyond a contact */
  struct sb_far_segment far;
  struct sb_spring_segment spring;

  /* From here on, and spring.start_j: what booking changes. */
  struct sb_gain gain; /* since start_s */
  double start_s;      /* when the segment began */
  /* What feeds the motor was booked last at fed_s; until then, since start_s: the work at its shaft, its turn. */
  double fed_s, shaft_j, motor_turn;
  double start_motor_speed;
  double start_output_speed;
};

/* Settles directions, grip, driving or overrun at the present state and prepares the segment. */
void sb_segment_begin(struct sb_sim *sim);

/* After a tick of the feed: takes the motor's new line into a segment that moves on otherwise as it did. False: it does
 * not, and a new segment must follow. */
bool sb_segment_feed_anew(struct sb_sim *sim);

/* Prepares the segment of a state whose directions are settled: bit for bit the one that the state was in. */
void sb_segment_resume(struct sb_sim *sim);

/* Books the segment's integrals into the energies and the sums; the state must be at its end (booking.c). */
void sb_segment_book(struct sb_sim *sim);

/* All integrals start anew at the present state. */
void sb_segment_start_gain(struct sb_sim *sim);

/* Books those of the motor's line alone: all that a tick of the feed changes. */
void sb_segment_book_feed(struct sb_sim *sim);

/* Whether nobody asks for integrals of powers, nor does anything follow from them: heat, what a held current draws, the work
 * of a motor without currents. */
static inline bool sb_segment_has_few_sums(const struct sb_sim *sim)
{
  return sim->has_few_sums && sim->model->motor.has_currents && !sim->model->winding.is_present &&
         sim->segment->piece.held_a == 0.0;
}

/* Motor and output turn as one: in mesh, and not through a shaft that gives. */
static inline bool sb_segment_is_rigid(const struct sb_sim *sim)
{
  return sim->state.link == SB_LINK_MESH && !sim->segment->has_spring;
}

static inline bool sb_segment_is_moving_rigid(const struct sb_sim *sim)
{
  return sb_segment_is_rigid(sim) && sim->state.motor_direction != 0;
}

/* In mesh: the power's sign times something positive, > 0 driving, < 0 overrun, times the direction. */
static inline double sb_segment_power(const struct sb_segment *seg, double x, double load_nm)
{
  return seg->power.constant + seg->power.per_speed * x + seg->power.per_load * load_nm;
}

/* A body that is pushed back to a corner of the load from both sides crosses it ever more slowly, without end. Once it
 * is as slow as this, in the output's terms, and either side would hold it, it rests there. */
static inline bool sb_segment_is_slow(const struct sb_sim *sim, double output_rad_s)
{
  static const double crossing_rest = 1e-9;
  return fabs(output_rad_s) <= crossing_rest * sim->model->motor.no_load_speed_rad_s * fabs(sim->segment->per_motor);
}

static inline const struct sb_gear *sb_segment_gear(const struct sb_sim *sim)
{
  return &sim->model->gearbox.gears[sim->state.gear];
}

static inline double sb_segment_inverse_e(const struct sb_gear *gear, bool is_driving)
{
  return is_driving ? 1.0 / gear->efficiency : gear->back_efficiency;
}

/* A path that a load which helps does not drive, but holds. */
static inline bool sb_segment_is_locking(const struct sb_sim *sim)
{
  return sb_segment_gear(sim)->back_efficiency < 0.0;
}

/* What the motor brings into the mesh at x = 0+ or 0-. */
static inline double sb_segment_driven_nm(const struct sb_segment *seg, int direction)
{
  return seg->line.stall_nm - direction * (seg->line.friction_nm + seg->drag_nm);
}

/* By how much the motor is ahead of the gears. */
static inline double sb_segment_lead_rad_s(const struct sb_sim *sim)
{
  return sim->state.motor_speed_rad_s - sim->state.output_speed_rad_s / sim->segment->per_motor;
}

/* A gear is engaged, though its clutch may slip. */
static inline bool sb_segment_is_engaged(const struct sb_sim *sim)
{
  const struct sb_state *state = &sim->state;
  return state->link == SB_LINK_MESH || (state->link == SB_LINK_SLIP && !state->is_shifting);
}

/* Engaged with the output at rest; the motor may turn on in a slipping clutch. */
static inline bool sb_segment_is_standing(const struct sb_sim *sim)
{
  const struct sb_state *state = &sim->state;
  if (!sb_segment_is_engaged(sim)) return false;
  if (state->link == SB_LINK_SLIP) return state->output_direction == 0;
  return state->motor_direction == 0 && (!sim->segment->has_spring || state->output_direction == 0);
}

/* Inertia at the motor of all that turns with it in mesh, without loss. */
static inline double sb_segment_joined_inertia(const struct sb_sim *sim)
{
  const double r = sim->segment->per_motor;
  return sim->segment->motor_inertia + sim->segment->output_inertia * r * r;
}

/* Inertia at the motor in mesh, driving or in overrun. */
static inline double sb_segment_mesh_inertia(const struct sb_sim *sim, bool is_driving)
{
  const double r = sim->segment->per_motor, inv = sb_segment_inverse_e(sb_segment_gear(sim), is_driving);
  return sim->segment->motor_inertia + sim->segment->output_inertia * r * r * inv +
         sim->segment->wheels_excess[is_driving];
}

/* What is weighed with the load in the sign of the power: the motor's side in overrun, so that the output drives wherever
 * that sign is below zero. Wheels behind meshes that lock themselves may count more against it than the rotor weighs. */
static inline double sb_segment_power_inertia(const struct sb_segment *seg)
{
  return fmax(seg->motor_inertia + seg->wheels_excess[0], 0.0);
}

#endif
