// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/pulses.h"

#include <math.h>

#include "base/constants.h"
#include "sim/stretch.h"

void sb_pulses_start(struct sb_sim *sim)
{
  const struct sb_control *control = &sim->model->control;
  const struct sb_pulse_sensor *sensor = &control->sensor.pulses;
  if (!(sensor->per_turn > 0.0)) return;
  sim->pulses_per_rad = sensor->per_turn / SB_TURN;
  if (sensor->window_s > 0.0) sb_sensor_window_slots(sensor, control->sample_period_s, &sim->window_rest_s);
  sim->state.pulses = (struct sb_pulses){.angle = sensor->phase, .last_s = -INFINITY, .period_s = INFINITY};
}

static void open_window(struct sb_pulses *pulses, long long sample)
{
  pulses->closed = pulses->count;
  pulses->count = 0.0;
  pulses->opened_sample = sample;
}

void sb_sim_open_window(struct sb_sim *sim)
{
  const long long sample = sim->state.step / sim->samples.of;
  if (sim->pulses_per_rad > 0.0 && sim->state.pulses.opened_sample < sample) open_window(&sim->state.pulses, sample);
}

/* Moves the angle on by a turn in pulses; returns the number of marks that passed. */
static double pass_marks(struct sb_pulses *pulses, double turn)
{
  static const double just_below_a_mark = 1.0 - 0x1p-53;
  const double angle = pulses->angle + turn, mark = floor(angle);
  pulses->angle = fmin(angle - mark, just_below_a_mark);
  return fabs(mark);
}

/* The part of the motor's turn up to a share of the stretch, in pulses, forward. */
static double turn_at(const struct sb_sim *sim, double share)
{
  const int direction = sim->model->gearbox.gears[sim->state.gear].motor_direction;
  return direction * sim->pulses_per_rad * sb_stretch_turn(sim, share);
}

/* Counts what comes between two turns of the stretch. */
static void count(struct sb_sim *sim, double from, double to)
{
  struct sb_pulses *pulses = &sim->state.pulses;
  const double passed = pass_marks(pulses, to - from);
  pulses->count += sim->model->control.sensor.pulses.is_worst ? fabs(to - from) : passed;
}

static void take_window(struct sb_sim *sim, long long sample, double sample_s)
{
  const struct sb_stretch *stretch = sim->stretch;
  const double open_s = sample_s - sim->window_rest_s;
  const bool is_due = sim->window_rest_s > 0.0 && sim->state.pulses.opened_sample < sample && stretch->end_s >= open_s;
  double from = 0.0;
  if (is_due) {
    const double share = fmin(fmax((open_s - stretch->start_s) / stretch->length_s, 0.0), stretch->end_share);
    from = turn_at(sim, share);
    count(sim, 0.0, from);
    open_window(&sim->state.pulses, sample);
  }
  count(sim, from, turn_at(sim, stretch->end_share));
}

/* When a mark passed, counted in pulses from the stretch's beginning. */
static double passed_s(const struct sb_sim *sim, double mark)
{
  const int direction = sim->model->gearbox.gears[sim->state.gear].motor_direction;
  return sb_stretch_turned_s(sim, direction * (mark / sim->pulses_per_rad));
}

static void take_times(struct sb_sim *sim)
{
  struct sb_pulses *pulses = &sim->state.pulses;
  const double begin = pulses->angle, turn = turn_at(sim, sim->stretch->end_share);
  const double passed = pass_marks(pulses, turn);
  if (!(passed > 0.0)) return;
  const double last = turn > 0.0 ? passed : 1.0 - passed,
               step = turn > 0.0 ? 1.0 : -1.0; /* marks 1, 2, ... or 0, -1, ... */
  const double last_s = passed_s(sim, last - begin);
  const double before_s = passed > 1.0 ? passed_s(sim, last - step - begin) : pulses->last_s;
  pulses->last_s = last_s;
  pulses->period_s = last_s - before_s;
}

void sb_pulses_take(struct sb_sim *sim, long long sample, double sample_s)
{
  if (sim->model->control.sensor.pulses.window_s > 0.0) {
    take_window(sim, sample, sample_s);
  } else {
    take_times(sim);
  }
}
