// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/sensor.h"

#include <float.h>
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stddef.h>

#include "base/elementary.h"

/* One count of a sensor without a resolution: 1e-6 %. */
static const double exact_count_fraction = 1e-8;

double sb_sensor_input(const struct sb_sensor *sensor, double motor_speed_rad_s, double duty, double current_a)
{
  switch (sensor->quantity) {
    case SB_SENSES_DUTY: return 1.0 - fabs(duty);
    case SB_SENSES_CURRENT: return 1.0 - fabs(current_a) / sensor->reference_a;
    case SB_SENSES_SPEED: break;
  }
  return fabs(motor_speed_rad_s) / sensor->reference_rad_s;
}

double sb_sensor_count_fraction(const struct sb_sensor *sensor)
{
  return sensor->resolution_fraction > 0.0 ? sensor->resolution_fraction : exact_count_fraction;
}

static int32_t limit_to_count(double value)
{
  if (!(value < (double)INT32_MAX)) return INT32_MAX;
  if (!(value > (double)INT32_MIN)) return INT32_MIN;
  return (int32_t)value;
}

/*
 * A threshold in counts. 60 % in counts of 1 % comes out as 60 give or take a rounding error, which must not become
 * 59 or 61: what lies within 1e-9 counts (or, for large counts, a few units in the last place) of a whole count is
 * that count.
 */
static double threshold_in_counts(const struct sb_sensor *sensor, double threshold_fraction)
{
  const double counts = threshold_fraction / sb_sensor_count_fraction(sensor);
  const double whole = round(counts);
  return fabs(counts - whole) <= 1e-9 + 4.0 * DBL_EPSILON * fabs(counts) ? whole : counts;
}

int32_t sb_sensor_down_count(const struct sb_sensor *sensor, double threshold_fraction)
{
  return limit_to_count(ceil(threshold_in_counts(sensor, threshold_fraction)));
}

int32_t sb_sensor_up_count(const struct sb_sensor *sensor, double threshold_fraction)
{
  return limit_to_count(floor(threshold_in_counts(sensor, threshold_fraction)));
}

enum sb_status sb_sensor_init(struct sb_reading *reading, const struct sb_sensor *sensor, double sample_period_s,
                              struct sb_error *err)
{
  gsl_rng *noise = NULL;
  if (sensor->noise_fraction > 0.0) {
    noise = gsl_rng_alloc(gsl_rng_mt19937);
    if (noise == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for the noise of a reading");
    gsl_rng_set(noise, sensor->seed);
  }
  *reading = (struct sb_reading){
      .filter_gain = sensor->filter_s > 0.0 ? -sb_elementary_exp_less_1(-sample_period_s / sensor->filter_s) : 1.0,
      .noise = noise,
  };
  return SB_OK;
}

void sb_sensor_clear(struct sb_reading *reading)
{
  if (reading->noise != NULL) gsl_rng_free(reading->noise);
  *reading = (struct sb_reading){0};
}

double sb_sensor_draw(struct sb_reading *reading)
{
  return reading->noise != NULL ? gsl_cdf_ugaussian_Pinv(gsl_rng_uniform_pos(reading->noise)) : 0.0;
}

int32_t sb_sensor_take_input(struct sb_reading *reading, const struct sb_sensor *sensor, double input, double noise)
{
  if (!reading->is_started) {
    reading->filtered = input;
    reading->is_started = true;
  } else {
    reading->filtered += reading->filter_gain * (input - reading->filtered);
  }
  const double seen = reading->filtered + sensor->noise_fraction * noise;
  return limit_to_count(round(seen / sb_sensor_count_fraction(sensor)));
}

int32_t sb_sensor_sample_input(struct sb_reading *reading, const struct sb_sensor *sensor, double input)
{
  return sb_sensor_take_input(reading, sensor, input, sb_sensor_draw(reading));
}
