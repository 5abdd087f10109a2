// SPDX-License-Identifier: GPL-3.0-or-later
#include "emit/words.h"

#include <errno.h>
#include <math.h>
#include <string.h>

#include "base/constants.h"

int sb_emit_result(FILE *out)
{
  if (!ferror(out)) return 0;
  if (errno == 0) errno = EIO;
  return -1;
}

void sb_emit_write_plain(FILE *out, const char *text)
{
  for (char last = 0; *text != 0; last = *text++) {
    const unsigned char byte = (unsigned char)*text;
    if ((last == '*' && byte == '/') || (last == '/' && byte == '*')) fputc(' ', out);
    fputc(byte < 32 || byte == 127 || byte == '\\' ? ' ' : byte, out);
  }
}

const char *sb_emit_gear(const struct sb_emission *emission, int gear)
{
  return emission->model.gearbox.gears[gear - 1].name;
}

struct sb_emit_unit sb_emit_unit(const struct sb_emission *emission)
{
  switch (emission->model.control.sensor.quantity) {
    case SB_SENSES_DUTY: return (struct sb_emit_unit){"%", " left", 100.0};
    case SB_SENSES_CURRENT: return (struct sb_emit_unit){"A", " left", 1.0};
    case SB_SENSES_SPEED: break;
  }
  return (struct sb_emit_unit){"rpm", "", 1.0 / SB_RPM};
}

void sb_emit_write_mesh(FILE *out, const struct sb_emission *emission, const char *lead)
{
  const struct sb_control *control = &emission->model.control;
  if (emission->can_stop) {
    fprintf(out, "has to be told, for this drive can stop: false while it is off, and for %g s (%.0f samples)\n",
            control->start_delay_s, ceil(control->start_delay_s / control->sample_period_s - 1e-9));
    fprintf(out, "%safter each restart or reversal; %s\n", lead,
            emission->is_mesh_needed ? "false in neutral, too, for a shift outlasts the wait after its command"
                                     : "neutral need not be told: the wait outlasted each shift of the recorded run");
    return;
  }
  fprintf(out, "%s\n",
          emission->is_mesh_needed
              ? "has to be told, for a shift outlasts the wait after its command"
              : "true always where nothing tells it: the wait outlasted each shift of the recorded run");
}

static const char *word_of(const struct sb_emission *emission)
{
  return emission->model.control.sensor.quantity == SB_SENSES_DUTY ? "duty" : "current";
}

/* The sensor of what is left of the duty, or up to the current of reference. */
static void write_left(FILE *out, const struct sb_emission *emission, const char *lead)
{
  const struct sb_emit_unit unit = sb_emit_unit(emission);
  const struct sb_sensor *sensor = &emission->model.control.sensor;
  const bool is_duty = sensor->quantity == SB_SENSES_DUTY;
  const double count = emission->count * unit.scale, full = is_duty ? 100.0 : sensor->reference_a;
  const char *word = word_of(emission);
  if (is_duty) {
    fprintf(out, "%sReading   what is left of full duty, without the sign of the duty; falls as the load grows\n",
            lead);
  } else {
    fprintf(out, "%sReading   what the motor's current leaves of %g A, without its sign; falls as the load grows\n",
            lead, full);
  }
  fprintf(out, "%s          one count is %.6g %s of %s%s\n", lead, count, unit.name, word,
          emission->is_resolution_given ? "" : " (taken so: nobody said what the sensor counts)");
  if (emission->full_count > 0.0) {
    fprintf(out, "%s          reading = %.0f - counts of %s; %s%.6g %s is %.0f counts\n", lead, emission->full_count,
            word, is_duty ? "full duty, " : "", full, unit.name, emission->full_count);
  } else {
    fprintf(out, "%s          reading = (%.6g %s - %s) / %.6g %s, to the nearest whole number\n", lead, full, unit.name,
            word, count, unit.name);
  }
}

/* Pulses, or counts of a speed. */
static void write_speed(FILE *out, const struct sb_emission *emission, const char *lead)
{
  const double count_rpm = emission->count / SB_RPM;
  const double reference_rpm = emission->model.control.sensor.reference_rad_s / SB_RPM;
  if (emission->pulses_per_turn > 0.0) {
    fprintf(out, "%sReading   pulses of the motor's sensor (%g a turn) counted in %g ms, whatever its sense\n", lead,
            emission->pulses_per_turn, emission->window_s * 1e3);
    fprintf(out, "%s          one count is %.6g rpm of the motor; 100 %% is %.6g rpm\n", lead, count_rpm,
            reference_rpm);
  } else {
    fprintf(out, "%sReading   speed of the motor without its sign, to the nearest count\n", lead);
    fprintf(out, "%s          one count is %.6g rpm, %.4g %% of %.6g rpm%s\n", lead, count_rpm,
            100.0 * count_rpm / reference_rpm, reference_rpm,
            emission->is_resolution_given ? "" : " (taken as 1 rpm: nobody said what the sensor counts)");
  }
}

void sb_emit_write_sensor(FILE *out, const struct sb_emission *emission, const char *lead)
{
  const struct sb_control *control = &emission->model.control;
  const struct sb_sensor *sensor = &control->sensor;
  if (sensor->quantity == SB_SENSES_SPEED) {
    write_speed(out, emission, lead);
  } else {
    write_left(out, emission, lead);
  }
  if (sensor->filter_s > 0.0) {
    fprintf(out, "%s          filtered before it is rounded: y = y + %.6g (x - y) at every sample\n", lead,
            -expm1(-control->sample_period_s / sensor->filter_s));
  }
  fprintf(out, "%sSample    every %g ms\n", lead, control->sample_period_s * 1e3);
}

/* One threshold, in the terms of what is measured. */
struct threshold {
  bool is_down;
  long counts;
  double acts, asked; /* readings, in their unit */
};

static void write_speed_threshold(FILE *out, const struct sb_emission *emission, const struct threshold *threshold)
{
  fprintf(out, ", a speed %s %.6g rpm (as tuned %.6g rpm, %.6g %%)\n", threshold->is_down ? "below" : "above",
          threshold->acts / SB_RPM, threshold->asked / SB_RPM,
          100.0 * threshold->asked / emission->model.control.sensor.reference_rad_s);
}

/* Less left is more duty or current. */
static void write_left_threshold(FILE *out, const struct sb_emission *emission, const struct threshold *threshold)
{
  const struct sb_emit_unit unit = sb_emit_unit(emission);
  const bool is_duty = emission->model.control.sensor.quantity == SB_SENSES_DUTY;
  const double full = is_duty ? 1.0 : emission->model.control.sensor.reference_a;
  const char *word = word_of(emission);
  if (emission->full_count > 0.0) {
    fprintf(out, ", counts of %s %s %.0f", word, threshold->is_down ? ">" : "<",
            emission->full_count - (double)threshold->counts);
  }
  fprintf(out, ", a %s %s %.6g %s (as tuned %.6g %s, %.6g %% left)\n", word, threshold->is_down ? "above" : "below",
          (full - threshold->acts) * unit.scale, unit.name, (full - threshold->asked) * unit.scale, unit.name,
          100.0 * threshold->asked / full);
}

static void write_threshold(FILE *out, const struct sb_emission *emission, const char *lead, int pair, bool is_down)
{
  const int from = is_down ? pair + 2 : pair + 1, to = is_down ? pair + 1 : pair + 2;
  const struct threshold threshold = {
      .is_down = is_down,
      .counts = (long)(is_down ? emission->setup.downshift_below[pair] : emission->setup.upshift_above[pair]),
      .acts = is_down ? emission->acts_below[pair] : emission->acts_above[pair],
      .asked = is_down ? emission->asked_down[pair] : emission->asked_up[pair],
  };
  fputs(lead, out);
  sb_emit_write_plain(out, sb_emit_gear(emission, from));
  fputs(" -> ", out);
  sb_emit_write_plain(out, sb_emit_gear(emission, to));
  fprintf(out, ": reading %s %ld", is_down ? "<" : ">", threshold.counts);
  if (emission->model.control.sensor.quantity == SB_SENSES_SPEED) {
    write_speed_threshold(out, emission, &threshold);
  } else {
    write_left_threshold(out, emission, &threshold);
  }
}

void sb_emit_write_thresholds(FILE *out, const struct sb_emission *emission, const char *lead)
{
  const struct sb_control *control = &emission->model.control;
  const struct sb_controller_setup *setup = &emission->setup;
  for (int p = 0; p + 1 < setup->gear_count; p++) {
    write_threshold(out, emission, lead, p, true);
    write_threshold(out, emission, lead, p, false);
  }
  fprintf(out, "%safter a shift command: no decision for %lu samples (%g s)\n", lead,
          (unsigned long)setup->dwell_samples, (double)setup->dwell_samples * control->sample_period_s);
  fprintf(out, "%safter the start:       no decision for %lu samples (%g s)\n", lead,
          (unsigned long)setup->start_delay_samples, (double)setup->start_delay_samples * control->sample_period_s);
  fprintf(out, "%sreadings in a row beyond a threshold before a shift: %u\n", lead, (unsigned)setup->debounce_samples);
}

void sb_emit_write_notes(FILE *out, const struct sb_emission *emission, const char *lead)
{
  if (emission->is_own_count) {
    fprintf(out, "%sThe scenario's own counts: these decide exactly as the simulated controller does.\n", lead);
  } else if (emission->is_moved) {
    fprintf(out, "%sRounding moved thresholds apart only, never towards each other, by less than a count%s.\n", lead,
            emission->model.control.sensor.quantity == SB_SENSES_SPEED ? "" : ": down to more, up to less");
  }
  if (emission->pulses_per_turn > 0.0) {
    fprintf(out, "%sA count of pulses may be one below or above the speed's own: that much lies between the\n", lead);
    fprintf(out, "%sfirst count that can act and the last that must. The simulated readings are speeds in counts:\n",
            lead);
    fprintf(out, "%sthe lag of a window of %g ms is not in them (controller.filter can stand for it).\n", lead,
            emission->window_s * 1e3);
  }
  if (emission->verdicts[0] != 0) {
    fprintf(out, "%sWARNING: with these constants the simulated machine does not hold: %s.\n", lead,
            emission->verdicts);
  }
}
