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

#ifdef __cplusplus
extern "C" {
#endif

enum sb_sensor_quantity { SB_SENSES_SPEED, SB_SENSES_DUTY, SB_SENSES_CURRENT };

/* Whole sample periods that a window may span. */
enum { SB_PULSE_SLOT_MAX = 64 };

/*
 * A sensor of the motor's speed as it is built: marks that pass it, evenly spread over a turn of the motor. It does not know in
 * which direction, so each passing is a pulse.
 *
 *   in a window      the pulses of the last window_s before the sample; one count is 1 / (per_turn window_s) turns a second
 *   between pulses   1 / (per_turn T), T the time between the last two pulses, or since the last one once that is longer
 *
 * At the start nothing has been counted and no pulse has come. A window does not know where the motor stood between two marks:
 * at a constant speed that makes x pulses in it the count is floor(x) or ceil(x), by the phase. The worst phase is the one that
 * shifts first, at every sample anew: floor of the motor's turn in pulses for a downshift, ceil for an upshift.
 */
struct sb_pulse_sensor {
  double per_turn; /* of the motor; 0: there is none, the reading is the speed at the sample */
  double window_s; /* 0: between pulses */
  double phase;    /* 0..1: what the motor has turned since the last mark at the start, in pulses, forward */
  bool is_worst;   /* of a window: every phase at every sample */
};

/*
 * A reference that follows the supply: what reads 100 % is the no-load speed at the voltage V that the controller measures,
 *
 *   reference (V - drop) / (nominal - drop)
 *
 * drop the voltage at which the motor's no-load speed would be zero: what its no-load current loses in the winding. Below
 * SB_SUPPLY_LEAST of the nominal range that much is taken. Order: filter -> rounding to its resolution, ties away from zero.
 */
#define SB_SUPPLY_LEAST 0.05

struct sb_supply_sensor {
  bool is_present;
  double nominal_v;    /* V, > drop: at which reference_rad_s reads 100 % */
  double drop_v;       /* V, >= 0 */
  double filter_s;     /* s, >= 0 */
  double resolution_v; /* V; 0: exact */
};

struct sb_sensor {
  enum sb_sensor_quantity quantity;
  double reference_rad_s;     /* rad/s, > 0: speed that counts as 100 %; default the motor's no-load speed */
  double reference_a;         /* A, > 0 with currents: current that leaves 0 %; default the motor's stall current */
  double filter_s;            /* s, >= 0: time constant; 0: none */
  double noise_fraction;      /* standard deviation as a fraction of the reference, >= 0 */
  unsigned long seed;         /* of the noise */
  double resolution_fraction; /* fraction of the reference; 0: exact; pulses in a window: that of one pulse */
  struct sb_pulse_sensor pulses;
  struct sb_supply_sensor supply; /* of a reading of the speed */
};

/* What the sensor is after, as a fraction of its reference; all of any sign. Pure. */
double sb_sensor_input(const struct sb_sensor *sensor, double motor_speed_rad_s, double duty, double current_a);

/* The reference at a voltage, as a fraction of that at the nominal one; 1 where it does not follow the supply. Pure. */
double sb_sensor_reference_share(const struct sb_sensor *sensor, double voltage_v);

/*
 * How a reading in counts is set against the measured voltage, where both have a resolution: the reading of the controller is
 * counts * factor / (voltage counts - offset), to the nearest whole number (sb_controller_scaled()). Else factor is 0 and
 * the same is calculated without rounding between. One count of the result is unit_fraction of the reference.
 */
struct sb_sensor_scale {
  double unit_fraction;
  uint32_t factor;
  int32_t offset, least, most; /* least voltage counts above the offset; most counts of the reading */
};

/* Pure. */
struct sb_sensor_scale sb_sensor_scale(const struct sb_sensor *sensor);

/* Fraction of the reference that one pulse in a window stands for. Pure. */
double sb_sensor_pulse_fraction(const struct sb_sensor *sensor);

/* Whole sample periods in a window, and what is left of it, s. Pure. */
int sb_sensor_window_slots(const struct sb_pulse_sensor *pulses, double sample_period_s, double *rest_s);

/* A phase of 0..1 that follows from a seed alone. Pure. */
double sb_sensor_phase_of(unsigned long seed);

/* Fraction of the reference that one count stands for, of what the controller compares. Pure. */
double sb_sensor_count_fraction(const struct sb_sensor *sensor);

/* Lowest count that is not below a threshold (a fraction of the reference): reading < down is count < this. Pure. */
int32_t sb_sensor_down_count(const struct sb_sensor *sensor, double threshold_fraction);

/* Highest count that is not above a threshold: reading > up is count > this. Pure. */
int32_t sb_sensor_up_count(const struct sb_sensor *sensor, double threshold_fraction);

/* The moving part of the sensor. */
struct sb_reading {
  double filter_gain;             /* 0..1 */
  double filtered;                /* fraction of the reference */
  double voltage_gain, voltage_v; /* of the supply's sensor: likewise, filtered */
  bool is_started, is_voltage_started;
  void *noise; /* gsl_rng, or NULL when there is no noise; owned */
  /* A window's: the pulses of its whole sample periods, that of sample k at k % slot_count. */
  int slot_count;
  double slots[SB_PULSE_SLOT_MAX];
};

/* Prepares a reading for samples sample_period_s apart. Release with sb_sensor_clear(). */
enum sb_status sb_sensor_init(struct sb_reading *reading, const struct sb_sensor *sensor, double sample_period_s,
                              struct sb_error *err);

void sb_sensor_clear(struct sb_reading *reading);

/* Takes one sample of an input (sb_sensor_input) and returns its count, limited to the int32_t range. */
int32_t sb_sensor_sample_input(struct sb_reading *reading, const struct sb_sensor *sensor, double input);

/* Takes one sample of the supply's voltage; returns it filtered and rounded, V. Pure but for the filter's state. */
double sb_sensor_take_voltage(struct sb_reading *reading, const struct sb_sensor *sensor, double voltage_v);

/* The two halves of a sample. Draws the next noise, in standard deviations; 0 when there is none. */
double sb_sensor_draw(struct sb_reading *reading);

/* Takes a sample with a noise drawn before, in standard deviations. Pure but for the filter's state. */
int32_t sb_sensor_take_input(struct sb_reading *reading, const struct sb_sensor *sensor, double input, double noise);

#ifdef __cplusplus
}
#endif

#endif
