// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * fit_data.h - logs of a motor whose figures are known, by the closed form, with seeded noise.
 *
 *   driven    w = w0 (1 - exp(-(t - t0) / tau)),  tau = J w0 / Ts
 *   coasting  w = (w1 + Tf / b) exp(-b (t - t1) / J) - Tf / b, then at rest
 *   points    w = w0 (1 - T / Ts),  I = (T + Tf + b w) / kt
 *
 * The first-order response of the straight motor line, as in any text on drives.
 */
#ifndef SHIFTBAND_TESTS_FIT_DATA_H
#define SHIFTBAND_TESTS_FIT_DATA_H

#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <stdlib.h>

#include "help/dice.h"
#include "help/near.h"
#include "shiftband/fit.h"

#define FIT_RPM (3.14159265358979323846 / 30.0)

static const double fit_w0 = 300.0 * FIT_RPM, fit_ts = 0.42, fit_is = 1.25, fit_j = 2.5e-4, fit_tf = 0.02, fit_b = 1e-4;

static inline double fit_kt(void)
{
  return (fit_ts + fit_tf) / fit_is;
}

static inline double fit_tau(void)
{
  return fit_j * fit_w0 / fit_ts;
}

/* A log over time: driven from start_s to off_s (INFINITY: to the end), then open. */
struct fit_motion {
  int count;
  double from_s, length_s, start_s, off_s;
  double noise_rpm;     /* standard deviation */
  double step_rpm;      /* rounding; 0: none */
  int outlier_every;    /* this many readings apart one is 150 rpm too high; 0: none */
  int gap_from, gap_to; /* these rows are missing */
};

static inline double fit_speed(const struct fit_motion *motion, double t)
{
  const double on_s = fmin(t, motion->off_s) - motion->start_s;
  const double driven = on_s > 0.0 ? fit_w0 * (1.0 - exp(-on_s / fit_tau())) : 0.0;
  if (t <= motion->off_s) return driven;
  const double k = fit_tf / fit_b;
  return fmax(0.0, (driven + k) * exp(-(t - motion->off_s) * fit_b / fit_j) - k);
}

enum { FIT_TEXT_SIZE = 1 << 16 };

static inline size_t fit_motion_text(const struct fit_motion *motion, gsl_rng *rng, char *text)
{
  size_t length = (size_t)snprintf(text, FIT_TEXT_SIZE, "time_s,speed_rpm\n");
  for (int i = 0; i < motion->count; i++) {
    const double t = motion->from_s + motion->length_s * i / (motion->count - 1);
    double rpm = fit_speed(motion, t) / FIT_RPM + (rng != NULL ? gsl_ran_gaussian(rng, motion->noise_rpm) : 0.0);
    if (motion->outlier_every > 0 && i % motion->outlier_every == 3) rpm += 150.0;
    if (motion->step_rpm > 0.0) rpm = motion->step_rpm * nearbyint(rpm / motion->step_rpm);
    if (i >= motion->gap_from && i < motion->gap_to) continue;
    length += (size_t)snprintf(text + length, FIT_TEXT_SIZE - length, "%.7f,%.9g\n", t, rpm);
  }
  return length;
}

static inline size_t fit_points_text(int count, double noise_rpm, double noise_a, gsl_rng *rng, char *text)
{
  size_t length = (size_t)snprintf(text, FIT_TEXT_SIZE, "torque_nm,speed_rpm,current_a\n");
  for (int i = 0; i < count; i++) {
    const double torque = 0.6 * fit_ts * i / (count - 1), w = fit_w0 * (1.0 - torque / fit_ts);
    double rpm = w / FIT_RPM, amp = (torque + fit_tf + fit_b * w) / fit_kt();
    if (rng != NULL) rpm += gsl_ran_gaussian(rng, noise_rpm);
    if (rng != NULL) amp += gsl_ran_gaussian(rng, noise_a);
    length += (size_t)snprintf(text + length, FIT_TEXT_SIZE - length, "%.6f,%.9g,%.9g\n", torque, rpm, amp);
  }
  return length;
}

/* Reads a log that must be sound. */
static inline struct sb_log fit_read(const char *name, const char *text, size_t length)
{
  struct sb_log log;
  struct sb_faults faults = {0};
  const struct sb_log_options options = {.text = text, .length = length};
  const enum sb_status status = sb_fit_log_read(name, &options, &log, &faults);
  if (status != SB_OK) fail_msg("%s: %s", name, faults.count > 0 ? faults.texts[0] : sb_status_text(status));
  return log;
}

static inline struct sb_log fit_motion_log(const struct fit_motion *motion, gsl_rng *rng)
{
  char *text = malloc(FIT_TEXT_SIZE);
  assert_non_null(text);
  const size_t length = fit_motion_text(motion, rng, text);
  const struct sb_log log = fit_read("motion.csv", text, length);
  free(text);
  return log;
}

static inline struct sb_log fit_points_log(int count, double noise_rpm, double noise_a, gsl_rng *rng)
{
  char *text = malloc(FIT_TEXT_SIZE);
  assert_non_null(text);
  const size_t length = fit_points_text(count, noise_rpm, noise_a, rng, text);
  const struct sb_log log = fit_read("points.csv", text, length);
  free(text);
  return log;
}

/* What a figure truly is; NAN for those not needed. */
static inline double fit_truth(enum sb_fit_figure_kind kind)
{
  switch (kind) {
    case SB_FIT_NO_LOAD_SPEED: return fit_w0;
    case SB_FIT_STALL_TORQUE: return fit_ts;
    case SB_FIT_STALL_CURRENT: return fit_is;
    case SB_FIT_NO_LOAD_CURRENT: return (fit_tf + fit_b * fit_w0) / fit_kt();
    case SB_FIT_ROTOR_INERTIA: return fit_j;
    case SB_FIT_MOTOR_FRICTION: return fit_tf;
    case SB_FIT_MOTOR_VISCOUS: return fit_b;
    case SB_FIT_KT: return fit_kt();
    case SB_FIT_RESISTANCE: return 12.0 / fit_is;
    case SB_FIT_TIME_CONSTANT: return fit_tau();
    case SB_FIT_TORQUE_OVER_INERTIA: return fit_ts / fit_j;
    case SB_FIT_FRICTION_OVER_INERTIA: return fit_tf / fit_j;
    case SB_FIT_VISCOUS_OVER_INERTIA: return fit_b / fit_j;
    default: return NAN;
  }
}

/* Gauges that never err: what is left is noise. */
static inline struct sb_fit_setup fit_exact(struct sb_fit_setup setup)
{
  for (int g = 0; g < SB_FIT_GAUGE_COUNT; g++) setup.gauges[g] = (struct sb_fit_gauge){0};
  return setup;
}

static inline struct sb_fit_setup fit_setup(void)
{
  struct sb_fit_setup setup = fit_exact(sb_fit_setup_default(NULL));
  setup.nominal_voltage_v = 12.0;
  return setup;
}

static inline struct sb_fit_result fit_solved(const struct sb_fit_setup *setup, const struct sb_log *logs, size_t count)
{
  struct sb_fit_result result;
  struct sb_error err = {0};
  const enum sb_status status = sb_fit_solve(setup, logs, count, &result, &err);
  if (status != SB_OK) fail_msg("%s: %s", sb_status_text(status), err.text);
  return result;
}

static inline gsl_rng *fit_rng(unsigned long seed)
{
  gsl_rng *rng = dice_of(seed);
  return rng;
}

#endif
