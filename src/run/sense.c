// SPDX-License-Identifier: GPL-3.0-or-later
#include "run/sense.h"

#include <math.h>

#include "base/constants.h"

/* A turn so near to whole pulses is whole: what is beyond it is rounding. */
static const double same_pulse = 1e-9;

/* The pulses in the window that ends at this sample; of the worst phase the motor's turn in pulses. */
static double count_pulses(struct sb_reading *reading, struct sb_sim *sim)
{
  sb_sim_open_window(sim);
  const struct sb_pulses *pulses = &sim->state.pulses;
  const long long sample = sim->state.step / sim->steps_per_sample;
  double sum = pulses->count;
  if (reading->slot_count > 0) reading->slots[sample % reading->slot_count] = pulses->closed;
  for (int k = 0; k < reading->slot_count; k++) sum += reading->slots[k];
  return sum;
}

static struct sb_sensed sense_window(struct sb_reading *reading, struct sb_sim *sim, struct sb_row *row, double noise)
{
  const struct sb_sensor *sensor = &sim->model->control.sensor;
  const double pulses = count_pulses(reading, sim), fraction = sb_sensor_pulse_fraction(sensor);
  const double least = floor(pulses + same_pulse), greatest = ceil(pulses - same_pulse);
  row->pulse_count = least;
  const int32_t count = sb_sensor_take_input(reading, sensor, least * fraction, noise);
  return (struct sb_sensed){count, greatest > least ? count + 1 : count}; /* the worst phase has no filter */
}

static double pulse_input(const struct sb_sim *sim, struct sb_row *row)
{
  const struct sb_sensor *sensor = &sim->model->control.sensor;
  const struct sb_pulses *pulses = &sim->state.pulses;
  row->pulse_time_s = fmax(pulses->period_s, row->time_s - pulses->last_s);
  const double speed_rad_s = SB_TURN / (sensor->pulses.per_turn * row->pulse_time_s);
  if (isinf(row->pulse_time_s)) row->pulse_time_s = NAN;
  return sb_sensor_input(sensor, speed_rad_s, 0.0, 0.0);
}

struct sb_sensed sb_sense_take(struct sb_reading *reading, struct sb_sim *sim, struct sb_row *row, double noise)
{
  const struct sb_sensor *sensor = &sim->model->control.sensor;
  const bool has_pulses = sensor->pulses.per_turn > 0.0;
  if (has_pulses && sensor->pulses.window_s > 0.0) return sense_window(reading, sim, row, noise);
  const double input = has_pulses
                           ? pulse_input(sim, row)
                           : sb_sensor_input(sensor, row->motor_speed_rad_s, row->duty_fraction, row->motor_current_a);
  const int32_t count = sb_sensor_take_input(reading, sensor, input, noise);
  return (struct sb_sensed){count, count};
}
