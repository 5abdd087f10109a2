// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * sensor.c - from which dwell and threshold step on a sensor of pulses is fit.
 *
 *   window W         one count 1 / (n W) turns a second; the mean over W, so W / 2 behind and whole only after W
 *   between pulses   whole after the pulse under way and one more, 2 / (n d) at a threshold of d turns a second
 *   a stop at once   seen after W at most, or once 1 / (n t) is below d: 1 / (n d)
 *
 * A count of x pulses is floor(x) or ceil(x): D acts on a reading of less than D counts, U on one of more than U.
 */
#include <math.h>

#include "base/constants.h"
#include "check/parts.h"
#include "theory/steady.h"

/* So near a whole count is that count. */
static const double same_count = 1e-9;

/* The time between two pulses at a speed. */
static double pulse_s(const struct sb_sensor *sensor, double speed_rad_s)
{
  return SB_TURN / (sensor->pulses.per_turn * speed_rad_s);
}

static void find_pair(const struct sb_check_machine *machine, const struct sb_check_pair *pair, int index,
                      struct sb_check_sensor_pair *out)
{
  const struct sb_control *control = &machine->model->control;
  const struct sb_sensor *sensor = &control->sensor;
  const double down_rad_s =
      sb_steady_point(machine->model, &machine->line, control->downshift_fraction[index]).speed_rad_s;
  const double window_s = sensor->pulses.window_s, one_s = pulse_s(sensor, down_rad_s);
  const double whole_s = window_s > 0.0 ? window_s : 2.0 * one_s;
  *out = (struct sb_check_sensor_pair){
      .dwell_s = pair->needed_dwell_s + whole_s,
      .start_delay_s = pair->is_start_delay_needed ? pair->figures.shortest_start_delay_s + whole_s : (double)NAN,
      .stall_seen_s = window_s > 0.0 ? window_s : one_s,
  };
  out->is_dwell_enough = !(sb_model_whole_samples_s(control, control->dwell_s) < out->dwell_s);
  out->is_start_delay_enough = !(sb_model_whole_samples_s(control, control->start_delay_s) < out->start_delay_s);
}

void sb_check_find_sensor(const struct sb_check_machine *machine, const struct sb_check_case *nominal,
                          struct sb_check_sensor *out)
{
  const struct sb_sensor *sensor = &machine->model->control.sensor;
  const bool has_window = sensor->pulses.window_s > 0.0;
  out->is_present = sensor->pulses.per_turn > 0.0;
  if (!out->is_present) return;
  out->pulses_per_turn = sensor->pulses.per_turn;
  out->window_s = has_window ? sensor->pulses.window_s : (double)NAN;
  out->count_fraction = has_window ? sb_sensor_pulse_fraction(sensor) : (double)NAN;
  out->count_rad_s = out->count_fraction * sensor->reference_rad_s;
  out->lag_s = 0.5 * (has_window ? sensor->pulses.window_s : pulse_s(sensor, sensor->reference_rad_s));
  for (int p = 0; p + 1 < nominal->gear_count; p++) find_pair(machine, &nominal->pairs[p], p, &out->pairs[p]);
}

/* Times that are long enough for the speed, but not for the sensor. */
static void find_short_times(const struct sb_check_machine *machine, struct sb_check *check, int p)
{
  const struct sb_control *control = &machine->model->control;
  const struct sb_check_pair *pair = &check->cases[SB_CHECK_NOMINAL].pairs[p];
  const struct sb_check_sensor_pair *sensor = &check->sensor.pairs[p];
  const char *what = check->sensor.window_s > 0.0 ? "the window still counts" : "the time between pulses still shows";
  if (pair->is_dwell_enough && !sensor->is_dwell_enough) {
    struct sb_check_remark *remark = sb_check_remark(
        &check->findings, "dwell too short", p,
        "Dwell too short for the sensor: when %s s have passed %s the slow speed just after the shift, and the box may shift down "
        "again although the load is light.",
        NUM(pair->dwell_s), what);
    sb_check_cure(remark, "controller.dwell", "at least", "%.10g s",
                  sb_model_whole_samples_s(control, sensor->dwell_s));
  }
  if (pair->is_start_delay_needed && pair->is_start_delay_enough && !sensor->is_start_delay_enough) {
    struct sb_check_remark *remark = sb_check_remark(
        &check->findings, "start delay too short", p,
        "Start delay too short for the sensor: when %s s have passed %s the slow speed of the start, and the box "
        "may shift down.",
        NUM(pair->start_delay_s), what);
    sb_check_cure(remark, "controller.start_delay", "at least", "%.10g s",
                  sb_model_whole_samples_s(control, sensor->start_delay_s));
  }
}

/* A downshift threshold that the speed stays above, but at some phases not its count. The greatest count of a speed above an upshift
 * threshold is always above it, too. */
static void find_coarse(const struct sb_check_machine *machine, struct sb_check *check, int p)
{
  const struct sb_control *control = &machine->model->control;
  const struct sb_check_pair *pair = &check->cases[SB_CHECK_NOMINAL].pairs[p];
  const double count = check->sensor.count_fraction;
  const double down = sb_sensor_down_count(&control->sensor, control->downshift_fraction[p]);
  const double least = floor(pair->faster_lightest_reading / count + same_count);
  if (!pair->figures.is_needless_downshift && least < down) {
    sb_check_remark(
        &check->findings, "sensor too coarse", p,
        "Sensor too coarse: under the lightest load %s reads %s, which is %.0f pulses at some phases, and below %.0f the "
        "box shifts down. Lower the downshift threshold, lengthen the window or take more pulses.",
        pair->faster, PCT(pair->faster_lightest_reading), least, down);
  }
}

void sb_check_find_sensor_findings(const struct sb_check_machine *machine, struct sb_check *check)
{
  if (!check->sensor.is_present) return;
  const bool has_counts = check->sensor.window_s > 0.0 && !machine->model->control.sensor.supply.is_present;
  for (int p = 0; p + 1 < check->cases[SB_CHECK_NOMINAL].gear_count; p++) {
    find_short_times(machine, check, p);
    if (has_counts) find_coarse(machine, check, p);
  }
}

void sb_check_text_sensor(const struct sb_check *check, FILE *out)
{
  const struct sb_check_sensor *sensor = &check->sensor;
  const struct sb_check_case *at = &check->cases[SB_CHECK_NOMINAL];
  if (!sensor->is_present) return;
  fputs("\nSensor\n", out);
  if (sensor->window_s > 0.0) {
    SAY("It counts %s pulses a turn of the motor for %s s: one is %s rpm, %s of the reading, and thresholds closer together than "
        "that act alike. Below %s rpm it reads 0 or 1. It is %s s behind a steady change.",
        NUM(sensor->pulses_per_turn), NUM(sensor->window_s), NUM(sensor->count_rad_s / SB_RPM),
        PCT(sensor->count_fraction), NUM(sensor->count_rad_s / SB_RPM), NUM(sensor->lag_s));
  } else {
    SAY("It measures the time between two pulses, %s a turn of the motor. At the speed that reads 100 %% it is %s s behind a steady "
        "change, at others in inverse proportion.",
        NUM(sensor->pulses_per_turn), NUM(sensor->lag_s));
  }
  for (int p = 0; p + 1 < at->gear_count; p++) {
    const struct sb_check_sensor_pair *pair = &sensor->pairs[p];
    if (isnan(pair->dwell_s)) continue;
    SAY("Between %s and %s it is fit for a dwell from %s s on. A motor that stops at once is seen below the downshift threshold "
        "after %s s at most.",
        at->pairs[p].slower, at->pairs[p].faster, NUM(pair->dwell_s), NUM(pair->stall_seen_s));
  }
}
