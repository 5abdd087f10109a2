// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * sensor.h - what the controller reads, against a reference, filtered, noisy and rounded.
 *
 *   speed     |motor speed| / reference
 *   duty      1 - |duty|                   what is left of full duty
 *   current   1 - |current| / reference    what is left up to the reference; below 0 beyond it
 *
 * All three fall as the load grows, so one controller with down < up serves for each; but for the current, which grows as
 * well where the load drives the motor.
 *
 * The controller works in whole counts. With a resolution one count is that resolution, as in a real sensor; without
 * one a count is 1e-6 % of the reference, exact for every purpose here. Rounding goes to the nearest count, ties of a
 * speed away from zero. Duty and current are rounded as a register or a converter holds them: the reading is the full count
 * less their count, ties of which go away from zero. Order: input -> filter -> noise -> rounding.
 *
 * The filter is first order, y += (1 - exp(-Tc / filter_s)) (x - y) at each sample, starting at the first sample.
 * The noise is Gaussian, one draw a sample from GSL's mt19937 through the inverse normal distribution, so that sample n
 * sees the same noise whatever happened before it, and the same bits on every processor.
 */
#ifndef SHIFTBAND_SENSOR_H
#define SHIFTBAND_SENSOR_H

#include <stdbool.h>
#include <stdint.h>

#include "shiftband/status.h"

enum sb_sensor_quantity { SB_SENSES_SPEED, SB_SENSES_DUTY, SB_SENSES_CURRENT };

struct sb_sensor {
  enum sb_sensor_quantity quantity;
  double reference_rad_s;     /* rad/s, > 0: speed that counts as 100 %; default the motor's no-load speed */
  double reference_a;         /* A, > 0 with currents: current that leaves 0 %; default the motor's stall current */
  double filter_s;            /* s, >= 0: time constant; 0: none */
  double noise_fraction;      /* standard deviation as a fraction of the reference, >= 0 */
  unsigned long seed;         /* of the noise */
  double resolution_fraction; /* fraction of the reference; 0: exact */
};

/* What the sensor is after, as a fraction of its reference; all of any sign. Pure. */
double sb_sensor_input(const struct sb_sensor *sensor, double motor_speed_rad_s, double duty, double current_a);

/* Fraction of the reference that one count stands for. Pure. */
double sb_sensor_count_fraction(const struct sb_sensor *sensor);

/* Lowest count that is not below a threshold (a fraction of the reference): reading < down is count < this. Pure. */
int32_t sb_sensor_down_count(const struct sb_sensor *sensor, double threshold_fraction);

/* Highest count that is not above a threshold: reading > up is count > this. Pure. */
int32_t sb_sensor_up_count(const struct sb_sensor *sensor, double threshold_fraction);

/* The moving part of the sensor. */
struct sb_reading {
  double filter_gain; /* 0..1 */
  double filtered;    /* fraction of the reference */
  bool is_started;
  void *noise; /* gsl_rng, or NULL when there is no noise; owned */
};

/* Prepares a reading for samples sample_period_s apart. Release with sb_sensor_clear(). */
enum sb_status sb_sensor_init(struct sb_reading *reading, const struct sb_sensor *sensor, double sample_period_s,
                              struct sb_error *err);

void sb_sensor_clear(struct sb_reading *reading);

/* Takes one sample of an input (sb_sensor_input) and returns its count, limited to the int32_t range. */
int32_t sb_sensor_sample_input(struct sb_reading *reading, const struct sb_sensor *sensor, double input);

/* The two halves of a sample. Draws the next noise, in standard deviations; 0 when there is none. */
double sb_sensor_draw(struct sb_reading *reading);

/* Takes a sample with a noise drawn before, in standard deviations. Pure but for the filter's state. */
int32_t sb_sensor_take_input(struct sb_reading *reading, const struct sb_sensor *sensor, double input, double noise);

#endif
