// SPDX-License-Identifier: GPL-3.0-or-later
#include "guard.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_roots.h>
#include <math.h>

static bool is_watched(const struct sb_sim *sim, enum sb_guard guard)
{
  const struct sb_state *state = &sim->state;
  const struct sb_segment *seg = sim->segment;
  const bool in_mesh = state->link == SB_LINK_MESH;
  const bool can_change = !(seg->is_resting_steady);
  switch (guard) {
    case SB_GUARD_STOP:
    case SB_GUARD_POWER: return in_mesh && state->motor_direction != 0;
    case SB_GUARD_ANGLE: return isfinite(seg->angle_limit_rad);
    case SB_GUARD_START_FORWARD:
    case SB_GUARD_START_BACK: return in_mesh && state->motor_direction == 0 && can_change;
    case SB_GUARD_MOTOR_ZERO: return !in_mesh && state->motor_direction != 0;
    case SB_GUARD_OUTPUT_ZERO: return !in_mesh && state->output_direction != 0;
    case SB_GUARD_OUTPUT_FORWARD:
    case SB_GUARD_OUTPUT_BACK: return !in_mesh && state->output_direction == 0;
    case SB_GUARD_TURNED: return !in_mesh && state->is_turned && isfinite(state->plan.engage_turn_rad);
    case SB_GUARD_MEET: return state->link == SB_LINK_SLIP;
    default: return false;
  }
}

/* Positive until the guard fires. */
static double value_at(const struct sb_sim *sim, enum sb_guard guard, const struct sb_point *at,
                       const struct sb_gain *gain)
{
  const struct sb_state *state = &sim->state;
  const struct sb_segment *seg = sim->segment;
  switch (guard) {
    case SB_GUARD_STOP:
    case SB_GUARD_MOTOR_ZERO: return at->x * state->motor_direction;
    case SB_GUARD_OUTPUT_ZERO: return at->w * state->output_direction;
    case SB_GUARD_POWER:
      return sb_stepper_power(seg, at) * (state->is_driving ? state->motor_direction : -state->motor_direction) +
             seg->power_tolerance;
    case SB_GUARD_ANGLE: return (seg->angle_limit_rad - at->angle) * state->output_direction;
    case SB_GUARD_START_FORWARD: return -sb_segment_start_margin(sim, at->time_s, +1, 2.0);
    case SB_GUARD_START_BACK: return -sb_segment_start_margin(sim, at->time_s, -1, 2.0);
    case SB_GUARD_OUTPUT_FORWARD: return -sb_segment_output_start_margin(sim, at->time_s, +1, 2.0);
    case SB_GUARD_OUTPUT_BACK: return -sb_segment_output_start_margin(sim, at->time_s, -1, 2.0);
    case SB_GUARD_TURNED: return state->plan.engage_turn_rad - (state->turned_rad + gain->motor_turn);
    case SB_GUARD_MEET: return state->slip_direction * (at->x - at->w / seg->per_motor);
    default: return 1.0;
  }
}

struct search {
  const struct sb_sim *sim;
  const struct sb_point *from;
  enum sb_guard guard;
};

static double value_after(double length, void *context)
{
  const struct search *search = context;
  struct sb_gain gain = {0};
  struct sb_point to = *search->from;
  if (length > 0.0) to = sb_stepper_step(search->sim, search->from, length, &gain);
  return value_at(search->sim, search->guard, &to, &gain);
}

/* A length after which the guard has surely not fired, or -1. Zero, as a rule; but a body that has just started is at
 * the guard's zero already, and one that stops again within the same step is on its way only for a bit of it. */
static double safe_length(struct search *search, double h)
{
  if (value_after(0.0, search) > 0.0) return 0.0;
  for (double length = 0.5 * h; length > 1e-15 * h; length *= 0.5) {
    if (value_after(length, search) > 0.0) return length;
  }
  return -1.0;
}

/* Length of the step that ends at the guard's zero, on its far side. */
static double locate(struct sb_sim *sim, const struct sb_point *from, double h, enum sb_guard guard)
{
  struct search search = {sim, from, guard};
  gsl_function value = {value_after, &search};
  const double safe = safe_length(&search, h);
  if (safe < 0.0) return 0.0;

  gsl_root_fsolver *solver = sim->root_solver;
  if (gsl_root_fsolver_set(solver, &value, safe, h) != GSL_SUCCESS) return h;
  for (int i = 0; i < 200; i++) {
    if (gsl_root_fsolver_iterate(solver) != GSL_SUCCESS) break;
    const double low = gsl_root_fsolver_x_lower(solver), high = gsl_root_fsolver_x_upper(solver);
    if (high - low <= 1e-15 * h || value_after(gsl_root_fsolver_root(solver), &search) == 0.0) break;
  }
  /* Brent may end with its best point on the near side; the far end of the bracket is as close as doubles allow. */
  const double root = gsl_root_fsolver_root(solver);
  return value_after(root, &search) <= 0.0 ? root : gsl_root_fsolver_x_upper(solver);
}

struct sb_guarded_step sb_guard_step(struct sb_sim *sim, const struct sb_point *from, double h)
{
  struct sb_guarded_step step = {.guard = SB_GUARD_NONE, .length = h};
  step.to = sb_stepper_step(sim, from, h, &step.gain);
  for (int i = 0; i < SB_GUARD_COUNT; i++) {
    const enum sb_guard guard = (enum sb_guard)i;
    if (!is_watched(sim, guard)) continue;
    if (!(value_at(sim, guard, &step.to, &step.gain) < 0.0)) continue;
    const double here = locate(sim, from, h, guard);
    if (step.guard == SB_GUARD_NONE || here < step.length) {
      step.guard = guard;
      step.length = here;
    }
  }
  if (step.guard == SB_GUARD_NONE) return step;
  step.gain = (struct sb_gain){0};
  step.to = step.length > 0.0 ? sb_stepper_step(sim, from, step.length, &step.gain) : *from;
  return step;
}
