// SPDX-License-Identifier: GPL-3.0-or-later
#include "words.h"

#include <errno.h>
#include <math.h>
#include <string.h>

#include "constants.h"

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

const char *sb_emit_mesh_words(const struct sb_emission *emission)
{
  return emission->is_mesh_needed
             ? "has to be told, for a shift outlasts the wait after its command"
             : "true always where nothing tells it: the wait outlasted each shift of the recorded run";
}

void sb_emit_write_sensor(FILE *out, const struct sb_emission *emission, const char *lead)
{
  const struct sb_control *control = &emission->model.control;
  const struct sb_sensor *sensor = &control->sensor;
  const double count_rpm = emission->count_rad_s / SB_RPM, reference_rpm = sensor->reference_rad_s / SB_RPM;
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
  if (sensor->filter_s > 0.0) {
    fprintf(out, "%s          filtered before it is rounded: y = y + %.6g (x - y) at every sample\n", lead,
            -expm1(-control->sample_period_s / sensor->filter_s));
  }
  fprintf(out, "%sSample    every %g ms\n", lead, control->sample_period_s * 1e3);
}

static void write_threshold(FILE *out, const struct sb_emission *emission, const char *lead, int pair, int is_down)
{
  const int from = is_down ? pair + 2 : pair + 1, to = is_down ? pair + 1 : pair + 2;
  const double acts = is_down ? emission->acts_below_rad_s[pair] : emission->acts_above_rad_s[pair];
  const double asked = is_down ? emission->asked_down_rad_s[pair] : emission->asked_up_rad_s[pair];
  fputs(lead, out);
  sb_emit_write_plain(out, sb_emit_gear(emission, from));
  fputs(" -> ", out);
  sb_emit_write_plain(out, sb_emit_gear(emission, to));
  fprintf(out, ": reading %s %ld, %s %.6g rpm (as tuned %.6g rpm, %.6g %%)\n", is_down ? "<" : ">",
          (long)(is_down ? emission->setup.down[pair] : emission->setup.up[pair]),
          is_down ? "a speed below" : "a speed above", acts / SB_RPM, asked / SB_RPM,
          100.0 * asked / emission->model.control.sensor.reference_rad_s);
}

void sb_emit_write_thresholds(FILE *out, const struct sb_emission *emission, const char *lead)
{
  const struct sb_control *control = &emission->model.control;
  const struct sb_controller_setup *setup = &emission->setup;
  for (int p = 0; p + 1 < setup->gear_count; p++) {
    write_threshold(out, emission, lead, p, 1);
    write_threshold(out, emission, lead, p, 0);
  }
  fprintf(out, "%safter a shift command: no decision for %lu samples (%g s)\n", lead,
          (unsigned long)setup->dwell_samples, (double)setup->dwell_samples * control->sample_period_s);
  fprintf(out, "%safter the start:       no decision for %lu samples (%g s)\n", lead,
          (unsigned long)setup->start_delay_samples, (double)setup->start_delay_samples * control->sample_period_s);
  fprintf(out, "%sreadings in a row beyond a threshold before a shift: %u\n", lead, (unsigned)setup->confirm_samples);
}

void sb_emit_write_notes(FILE *out, const struct sb_emission *emission, const char *lead)
{
  if (emission->is_own_count) {
    fprintf(out, "%sThe scenario's own counts: these decide exactly as the simulated controller does.\n", lead);
  } else if (emission->is_moved) {
    fprintf(out, "%sRounding moved thresholds apart only, never towards each other, by less than a count.\n", lead);
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
