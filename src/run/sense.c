// SPDX-License-Identifier: GPL-3.0-or-later
#include "run/sense.h"

#include <math.h>

#include "base/constants.h"
#include "shiftband/run.h"

/* A turn so near to whole pulses is whole: what is beyond it is rounding. */
static const double same_pulse = 1e-9;

/* The pulses in the window that ends at this sample; of the worst phase the motor's turn in pulses. */
static double count_pulses(struct sb_reading *reading, struct sb_sim *sim)
{
  sb_sim_open_window(sim);
  const struct sb_pulses *pulses = &sim->state.pulses;
  const long long sample = sim->state.step / sim->samples.of;
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
  return (struct sb_sensed){count, greatest > least ? count + 1 : count, count, 0}; /* the worst phase has no filter */
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

struct sb_controller_scale sb_run_controller_scale(const struct sb_model *model)
{
  const struct sb_sensor_scale scale = sb_sensor_scale(&model->control.sensor);
  return (struct sb_controller_scale){scale.factor, scale.offset, scale.least, scale.most};
}

/* A count against the reference at the measured voltage. */
static int32_t against_supply(const struct sb_model *model, int32_t count, double voltage_v)
{
  const struct sb_sensor *sensor = &model->control.sensor;
  const struct sb_controller_scale scale = sb_run_controller_scale(model);
  if (scale.factor > 0) {
    return sb_controller_scaled(&scale, count, (int32_t)lround(voltage_v / sensor->supply.resolution_v));
  }
  struct sb_sensor exact = *sensor;
  exact.supply.is_present = false;
  const double reading = count * sb_sensor_count_fraction(&exact) / sb_sensor_reference_share(sensor, voltage_v);
  return (int32_t)lround(fmin(reading / sb_sensor_count_fraction(sensor), (double)INT32_MAX));
}

/* A count that nothing else enters. */
static struct sb_sensed sensed_alone(int32_t count)
{
  return (struct sb_sensed){count, count, count, 0};
}

bool sb_sense_is_of_speed(const struct sb_sensor *sensor)
{
  return sensor->quantity == SB_SENSES_SPEED && !(sensor->pulses.per_turn > 0.0) && !sensor->supply.is_present;
}

struct sb_sensed sb_sense_take_speed(struct sb_reading *reading, const struct sb_sensor *sensor,
                                     double motor_speed_rad_s, double noise)
{
  const double input = sb_sensor_input(sensor, motor_speed_rad_s, 0.0, 0.0);
  return sensed_alone(sb_sensor_take_input(reading, sensor, input, noise));
}

static struct sb_sensed sense_speed(struct sb_reading *reading, struct sb_sim *sim, struct sb_row *row, double noise)
{
  const struct sb_sensor *sensor = &sim->model->control.sensor;
  const bool has_pulses = sensor->pulses.per_turn > 0.0;
  if (has_pulses && sensor->pulses.window_s > 0.0) return sense_window(reading, sim, row, noise);
  const double input = has_pulses
                           ? pulse_input(sim, row)
                           : sb_sensor_input(sensor, row->motor_speed_rad_s, row->duty_fraction, row->motor_current_a);
  return sensed_alone(sb_sensor_take_input(reading, sensor, input, noise));
}

struct sb_sensed sb_sense_take(struct sb_reading *reading, struct sb_sim *sim, struct sb_row *row, double noise)
{
  const struct sb_model *model = sim->model;
  struct sb_sensed sensed = sense_speed(reading, sim, row, noise);
  if (!model->control.sensor.supply.is_present) return sensed;
  /* Without currents the voltage does not sag. */
  const double terminal_v = model->motor.has_currents ? row->supply_voltage_v : model->supply.open_circuit_voltage_v;
  const double voltage_v = sb_sensor_take_voltage(reading, &model->control.sensor, terminal_v);
  row->measured_voltage_v = voltage_v;
  const double resolution_v = model->control.sensor.supply.resolution_v;
  if (resolution_v > 0.0) sensed.voltage_counts = (int32_t)lround(voltage_v / resolution_v);
  sensed.least = against_supply(model, sensed.least, voltage_v);
  sensed.greatest = against_supply(model, sensed.greatest, voltage_v);
  return sensed;
}
