// SPDX-License-Identifier: GPL-3.0-or-later
/* spring_oracle.c - see spring_oracle.h. */
#include "oracle/spring_oracle.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_odeiv2.h>
#include <math.h>

enum { X, W, ANGLE, TWIST, SIZE };
enum { EVENT_PART, EVENT_TOUCH, EVENT_MOTOR, EVENT_OUTPUT, EVENT_TURN, EVENT_CREST, EVENT_START, EVENT_COUNT };

struct moment {
  const struct spring_machine *machine;
  const struct spring_gear *gear; /* NULL: open */
  int side, motor_direction, output_direction;
  bool is_driven;
  int slope; /* of the shaft's torque when the small step began */
};

static int sign(double value)
{
  return (value > 0.0) - (value < 0.0);
}

static double touching_nm(const struct moment *at, int side, const double y[])
{
  const struct spring_machine *m = at->machine;
  return m->stiffness * (y[TWIST] - 0.5 * side * m->backlash) + m->damping * (y[X] / at->gear->ratio - y[W]);
}

static double shaft_nm(const struct moment *at, const double y[])
{
  if (at->gear == NULL) return 0.0;
  return at->side == 0 && at->machine->backlash > 0.0 ? 0.0 : touching_nm(at, at->side, y);
}

static double reaction_nm(const struct moment *at, double torque_nm, bool is_driven)
{
  if (at->gear == NULL) return 0.0;
  return torque_nm / at->gear->ratio * (is_driven ? 1.0 / at->gear->efficiency : at->gear->back_efficiency);
}

static int rates(double t, const double y[], double rate[], void *context)
{
  (void)t;
  const struct moment *at = context;
  const struct spring_machine *m = at->machine;
  const double torque = shaft_nm(at, y), drag = at->gear != NULL ? at->gear->drag_nm : 0.0;
  const double motor_nm = m->stall_nm * (1.0 - y[X] / m->no_load_rad_s) - at->motor_direction * drag;
  const double load_nm = at->output_direction * m->resisting_nm + m->acting_nm + m->viscous * y[W];
  rate[X] = at->motor_direction == 0 ? 0.0 : (motor_nm - reaction_nm(at, torque, at->is_driven)) / m->motor_inertia;
  rate[W] = at->output_direction == 0 ? 0.0 : (torque - load_nm) / m->output_inertia;
  rate[ANGLE] = y[W];
  rate[TWIST] = at->gear == NULL ? 0.0 : y[X] / at->gear->ratio - y[W];
  return GSL_SUCCESS;
}

static double torque_slope(struct moment *at, const double y[])
{
  double rate[SIZE];
  if (at->gear == NULL || (at->side == 0 && at->machine->backlash > 0.0)) return 0.0;
  rates(0.0, y, rate, at);
  return at->machine->stiffness * rate[TWIST] + at->machine->damping * (rate[X] / at->gear->ratio - rate[W]);
}

/* The sense in which each end moves, or would start to. */
static void settle(struct moment *at, const double y[])
{
  const struct spring_machine *m = at->machine;
  const double torque = shaft_nm(at, y), drag = at->gear != NULL ? at->gear->drag_nm : 0.0;
  at->motor_direction = sign(y[X]);
  for (int s = 1; s >= -1 && at->motor_direction == 0 && y[X] == 0.0; s -= 2) {
    const double push = s * (m->stall_nm - reaction_nm(at, torque, torque * s > 0.0));
    if (push > drag + 1e-12 * m->stall_nm) at->motor_direction = s;
  }
  at->output_direction = sign(y[W]);
  for (int s = 1; s >= -1 && at->output_direction == 0 && y[W] == 0.0; s -= 2) {
    if (s * (torque - m->acting_nm) > m->resisting_nm + 1e-12 * (fabs(torque) + m->resisting_nm))
      at->output_direction = s;
  }
  at->is_driven = torque * at->motor_direction >= 0.0;
}

/* By how much what holds an end at rest exceeds what moves it; INFINITY for one that moves. */
static double motor_hold_nm(const struct moment *at, double torque)
{
  const struct spring_machine *m = at->machine;
  double least = INFINITY;
  for (int s = 1; s >= -1 && at->motor_direction == 0; s -= 2) {
    const double drag = at->gear != NULL ? at->gear->drag_nm : 0.0;
    least = fmin(least, drag - s * (m->stall_nm - reaction_nm(at, torque, torque * s > 0.0)));
  }
  return least + 2e-12 * m->stall_nm;
}

static double output_hold_nm(const struct moment *at, double torque)
{
  const struct spring_machine *m = at->machine;
  if (at->output_direction != 0) return INFINITY;
  return m->resisting_nm - fabs(torque - m->acting_nm) + 2e-12 * (fabs(torque) + m->resisting_nm);
}

/* Positive until the event; INFINITY where it cannot happen. */
static double event_value(struct moment *at, int event, const double y[])
{
  const struct spring_machine *m = at->machine;
  const bool has_gap = at->gear != NULL && m->backlash > 0.0;
  const double torque = shaft_nm(at, y), small = 1e-11 * m->stall_nm;
  switch (event) {
    case EVENT_PART: return has_gap && at->side != 0 ? at->side * torque + small : INFINITY;
    case EVENT_TOUCH: {
      if (!has_gap || at->side != 0) return INFINITY;
      double value = INFINITY;
      for (int s = -1; s <= 1; s += 2) {
        const double open = m->stiffness * (0.5 * m->backlash - s * y[TWIST]);
        value = fmin(value, fmax(open, -s * touching_nm(at, s, y)));
      }
      return value;
    }
    case EVENT_MOTOR: return at->motor_direction != 0 ? at->motor_direction * y[X] : INFINITY;
    case EVENT_OUTPUT: return at->output_direction != 0 ? at->output_direction * y[W] : INFINITY;
    case EVENT_START: return fmin(motor_hold_nm(at, torque), output_hold_nm(at, torque));
    case EVENT_CREST: return at->slope != 0 ? at->slope * torque_slope(at, y) : INFINITY;
    default:
      if (at->gear == NULL || at->motor_direction == 0) return INFINITY;
      return (at->is_driven ? 1 : -1) * at->motor_direction * torque + 2.0 * small;
  }
}

static bool move(struct moment *at, double from_s, double to_s, double y[])
{
  gsl_odeiv2_system system = {rates, NULL, SIZE, at};
  gsl_odeiv2_driver *driver =
      gsl_odeiv2_driver_alloc_y_new(&system, gsl_odeiv2_step_rk8pd, (to_s - from_s), 1e-15, 1e-13);
  double t = from_s;
  const bool is_done = gsl_odeiv2_driver_apply(driver, &t, to_s, y) == GSL_SUCCESS;
  gsl_odeiv2_driver_free(driver);
  return is_done;
}

static void copy(double to[], const double from[])
{
  for (int i = 0; i < SIZE; i++) to[i] = from[i];
}

static void take_event(struct moment *at, int event, double y[], struct spring_motion *out)
{
  switch (event) {
    case EVENT_PART:
      at->side = 0;
      out->part_count++;
      break;
    case EVENT_TOUCH:
      at->side = touching_nm(at, +1, y) > 0.0 && y[TWIST] > 0.0 ? +1 : -1;
      out->touch_count++;
      break;
    case EVENT_MOTOR:
      y[X] = 0.0;
      out->stop_count++;
      break;
    case EVENT_OUTPUT:
      y[W] = 0.0;
      out->stop_count++;
      break;
    case EVENT_TURN: out->turn_count++; break;
    default: break; /* a crest: its torque was noted */
  }
}

/* One small step, ended by the first event within it; returns its end. NAN when GSL gives up. */
static double small_step(struct moment *at, double t, double to_s, double y[], struct spring_motion *out)
{
  double end[SIZE], trial[SIZE];
  settle(at, y);
  at->slope = sign(torque_slope(at, y));
  copy(end, y);
  if (!move(at, t, to_s, end)) return NAN;
  int first = EVENT_COUNT;
  double first_s = to_s;
  for (int event = 0; event < EVENT_COUNT; event++) {
    if (!(event_value(at, event, end) < 0.0)) continue;
    double low = t, high = to_s;
    for (int i = 0; i < 60 && high - low > 1e-15; i++) {
      const double middle = 0.5 * (low + high);
      copy(trial, y);
      if (middle > t && !move(at, t, middle, trial)) return NAN;
      if (event_value(at, event, trial) < 0.0) {
        high = middle;
      } else {
        low = middle;
      }
    }
    if (first == EVENT_COUNT || high < first_s) {
      first = event;
      first_s = high;
    }
  }
  if (first_s > t && !move(at, t, first_s, y)) return NAN;
  const double torque = shaft_nm(at, y);
  if (fabs(torque) > fabs(out->peak_nm)) out->peak_nm = torque;
  if (first < EVENT_COUNT) take_event(at, first, y, out);
  return first_s;
}

static bool move_until(struct moment *at, double *t, double end_s, double y[], struct spring_motion *out)
{
  const struct spring_machine *m = at->machine;
  while (*t < end_s) {
    double radian = 0.01;
    if (at->gear != NULL) {
      const double motor = at->gear->ratio * at->gear->ratio * m->motor_inertia * at->gear->efficiency;
      radian = sqrt(motor * m->output_inertia / ((motor + m->output_inertia) * m->stiffness));
    }
    *t = small_step(at, *t, fmin(end_s, *t + radian / 40.0), y, out);
    if (isnan(*t)) return false;
  }
  return true;
}

bool spring_oracle_run(const struct spring_machine *machine, double end_s, struct spring_motion *out)
{
  struct moment at = {.machine = machine, .gear = &machine->gears[0], .side = machine->backlash > 0.0 ? 0 : 1};
  double y[SIZE] = {0}, t = 0.0;
  int gear = 0;
  bool is_done = true;
  *out = (struct spring_motion){0};
  for (int i = 0; i < machine->shift_count && is_done; i++) {
    is_done = move_until(&at, &t, machine->shift_s[i], y, out);
    at.gear = NULL;
    at.side = 0;
    y[TWIST] = 0.0;
    is_done = is_done && move_until(&at, &t, machine->shift_s[i] + machine->travel_s, y, out);
    gear = 1 - gear;
    at.gear = &machine->gears[gear];
    at.side = machine->backlash > 0.0 ? 0 : 1;
  }
  is_done = is_done && move_until(&at, &t, end_s, y, out);
  out->x = y[X];
  out->w = y[W];
  out->angle = y[ANGLE];
  out->twist = y[TWIST];
  out->side = at.side;
  return is_done;
}
