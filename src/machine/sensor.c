// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/sensor.h"

#include <float.h>
#include <gsl/gsl_rng.h>
#include <limits.h>
#include <math.h>
#include <stddef.h>

#include "base/constants.h"
#include "base/elementary.h"
#include "base/gsl_quiet.h"

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

double sb_sensor_pulse_fraction(const struct sb_sensor *sensor)
{
  const struct sb_pulse_sensor *pulses = &sensor->pulses;
  return SB_TURN / (pulses->per_turn * pulses->window_s * sensor->reference_rad_s);
}

int sb_sensor_window_slots(const struct sb_pulse_sensor *pulses, double sample_period_s, double *rest_s)
{
  static const double same = 1e-9; /* of a sample period */
  const double slots = floor(pulses->window_s / sample_period_s + same);
  const double rest = pulses->window_s - slots * sample_period_s;
  *rest_s = rest > same * sample_period_s ? rest : 0.0;
  return slots < INT_MAX ? (int)slots : INT_MAX;
}

/* The finalizer of the generator SplitMix64: G. L. Steele, D. Lea, C. H. Flood, Fast Splittable Pseudorandom Number Generators,
 * OOPSLA 2014. It leaves the noise's own draws alone. */
double sb_sensor_phase_of(unsigned long seed)
{
  uint64_t z = (uint64_t)seed + 0x9e3779b97f4a7c15U;
  z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9U;
  z = (z ^ (z >> 27)) * 0x94d049bb133111ebU;
  z ^= z >> 31;
  return ldexp((double)(z >> 11), -53);
}

static int32_t limit_to_count(double value)
{
  if (!(value < (double)INT32_MAX)) return INT32_MAX;
  if (!(value > (double)INT32_MIN)) return INT32_MIN;
  return (int32_t)value;
}

/* Of the speed itself, before it is set against the supply. */
static double own_count_fraction(const struct sb_sensor *sensor)
{
  return sensor->resolution_fraction > 0.0 ? sensor->resolution_fraction : exact_count_fraction;
}

double sb_sensor_count_fraction(const struct sb_sensor *sensor)
{
  return sensor->supply.is_present ? sb_sensor_scale(sensor).unit_fraction : own_count_fraction(sensor);
}

double sb_sensor_reference_share(const struct sb_sensor *sensor, double voltage_v)
{
  const struct sb_supply_sensor *supply = &sensor->supply;
  if (!supply->is_present) return 1.0;
  return fmax((voltage_v - supply->drop_v) / (supply->nominal_v - supply->drop_v), SB_SUPPLY_LEAST);
}

struct sb_sensor_scale sb_sensor_scale(const struct sb_sensor *sensor)
{
  static const double readings_max = 4.0; /* times the reference: any more read as much */
  const struct sb_supply_sensor *supply = &sensor->supply;
  const double count = sensor->resolution_fraction;
  if (!(count > 0.0 && supply->resolution_v > 0.0))
    return (struct sb_sensor_scale){.unit_fraction = exact_count_fraction};
  const double offset = round(supply->drop_v / supply->resolution_v);
  const double range = supply->nominal_v / supply->resolution_v - offset, most = ceil(readings_max / count);
  const double factor = fmax(floor((double)INT32_MAX / most), 1.0);
  return (struct sb_sensor_scale){.unit_fraction = count * range / factor,
                                  .factor = (uint32_t)factor,
                                  .offset = (int32_t)offset,
                                  .least = (int32_t)fmax(ceil(SB_SUPPLY_LEAST * range), 1.0),
                                  .most = limit_to_count(most)};
}

/* Within 1e-9 counts or, for large counts, a few units in the last place. */
static bool is_as_good_as(double counts, double other)
{
  return fabs(counts - other) <= 1e-9 + 4.0 * DBL_EPSILON * fabs(counts);
}

/*
 * Ties of a speed go away from zero. A register or a converter rounds ties of the duty or the current away from zero, so that
 * what is left of it goes down; and 1 - 0.65 in counts of 0.1, just beside 3.5 in doubles, is a tie.
 */
static double nearest_whole(const struct sb_sensor *sensor, double counts)
{
  if (sensor->quantity == SB_SENSES_SPEED) return round(counts);
  const double below = floor(counts);
  return is_as_good_as(counts, below + 0.5) ? below : round(counts);
}

/*
 * A threshold in counts. 60 % in counts of 1 % comes out as 60 give or take a rounding error, which must not become
 * 59 or 61: what is as good as a whole count is that count.
 */
static double threshold_in_counts(const struct sb_sensor *sensor, double threshold_fraction)
{
  const double counts = threshold_fraction / sb_sensor_count_fraction(sensor);
  const double whole = round(counts);
  return is_as_good_as(counts, whole) ? whole : counts;
}

int32_t sb_sensor_down_count(const struct sb_sensor *sensor, double threshold_fraction)
{
  return limit_to_count(ceil(threshold_in_counts(sensor, threshold_fraction)));
}

int32_t sb_sensor_up_count(const struct sb_sensor *sensor, double threshold_fraction)
{
  return limit_to_count(floor(threshold_in_counts(sensor, threshold_fraction)));
}

/* Of a first-order filter, from sample to sample. */
static double gain_of(double filter_s, double sample_period_s)
{
  return filter_s > 0.0 ? -sb_elementary_exp_less_1(-sample_period_s / filter_s) : 1.0;
}

enum sb_status sb_sensor_init(struct sb_reading *reading, const struct sb_sensor *sensor, double sample_period_s,
                              struct sb_error *err)
{
  SB_GSL_QUIET;
  gsl_rng *noise = NULL;
  if (sensor->noise_fraction > 0.0) {
    noise = gsl_rng_alloc(gsl_rng_mt19937);
    if (noise == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for the noise of a reading");
    gsl_rng_set(noise, sensor->seed);
  }
  *reading = (struct sb_reading){
      .filter_gain = gain_of(sensor->filter_s, sample_period_s),
      .voltage_gain = gain_of(sensor->supply.filter_s, sample_period_s),
      .noise = noise,
  };
  double rest_s;
  const bool has_window = sensor->pulses.per_turn > 0.0 && sensor->pulses.window_s > 0.0;
  if (has_window) reading->slot_count = sb_sensor_window_slots(&sensor->pulses, sample_period_s, &rest_s);
  return SB_OK;
}

void sb_sensor_clear(struct sb_reading *reading)
{
  if (reading->noise != NULL) gsl_rng_free(reading->noise);
  *reading = (struct sb_reading){0};
}

/* Of polynomials of seventh order, the constant first. */
static double ratio_of(const double over[8], const double under[8], double x)
{
  double above = over[7], below = under[7];
  for (int k = 6; k >= 0; k--) {
    above = above * x + over[k];
    below = below * x + under[k];
  }
  return above / below;
}

/*
 * The normal distribution's quantile for a share from 2^-32 to 1 - 2^-32, relative error 1e-16: M. J. Wichura, The Percentage
 * Points of the Normal Distribution, Applied Statistics 37 (1988), algorithm AS 241, PPND16. It is spelt out here so that a
 * seed means the same bits on every processor.
 */
static double normal_quantile(double share)
{
  static const double middle_over[] = {3.3871328727963666080e0,  1.3314166789178437745e+2, 1.9715909503065514427e+3,
                                       1.3731693765509461125e+4, 4.5921953931549871457e+4, 6.7265770927008700853e+4,
                                       3.3430575583588128105e+4, 2.5090809287301226727e+3};
  static const double middle_under[] = {1.0,
                                        4.2313330701600911252e+1,
                                        6.8718700749205790830e+2,
                                        5.3941960214247511077e+3,
                                        2.1213794301586595867e+4,
                                        3.9307895800092710610e+4,
                                        2.8729085735721942674e+4,
                                        5.2264952788528545610e+3};
  static const double outer_over[] = {1.42343711074968357734e0,  4.63033784615654529590e0, 5.76949722146069140550e0,
                                      3.64784832476320460504e0,  1.27045825245236838258e0, 2.41780725177450611770e-1,
                                      2.27238449892691845833e-2, 7.74545014278341407640e-4};
  static const double outer_under[] = {1.0,
                                       2.05319162663775882187e0,
                                       1.67638483018380384940e0,
                                       6.89767334985100004550e-1,
                                       1.48103976427480074590e-1,
                                       1.51986665636164571966e-2,
                                       5.47593808499534494600e-4,
                                       1.05075007164441684324e-9};
  const double q = share - 0.5;
  if (fabs(q) <= 0.425) return q * ratio_of(middle_over, middle_under, 0.180625 - q * q);
  const double tail = q < 0.0 ? share : 1.0 - share;
  return copysign(ratio_of(outer_over, outer_under, sqrt(-sb_elementary_log(tail)) - 1.6), q);
}

double sb_sensor_draw(struct sb_reading *reading)
{
  return reading->noise != NULL ? normal_quantile(gsl_rng_uniform_pos(reading->noise)) : 0.0;
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
  return limit_to_count(nearest_whole(sensor, seen / own_count_fraction(sensor)));
}

int32_t sb_sensor_sample_input(struct sb_reading *reading, const struct sb_sensor *sensor, double input)
{
  return sb_sensor_take_input(reading, sensor, input, sb_sensor_draw(reading));
}

double sb_sensor_take_voltage(struct sb_reading *reading, const struct sb_sensor *sensor, double voltage_v)
{
  const double resolution_v = sensor->supply.resolution_v;
  if (!reading->is_voltage_started || !(sensor->supply.filter_s > 0.0)) {
    reading->voltage_v = voltage_v; /* to the bit, whatever came before */
    reading->is_voltage_started = true;
  } else {
    reading->voltage_v += reading->voltage_gain * (voltage_v - reading->voltage_v);
  }
  return resolution_v > 0.0 ? round(reading->voltage_v / resolution_v) * resolution_v : reading->voltage_v;
}
