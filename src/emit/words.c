// SPDX-License-Identifier: GPL-3.0-or-later
#include "emit/words.h"

#include <math.h>
#include <stdarg.h>
#include <string.h>

#include "base/constants.h"
#include "base/unseen.h"
#include "text/words.h"

/* Lines of the emitted text. */
enum { WIDTH = 80, TEXT_SIZE = 2048 };

struct sb_emit_shift sb_emit_shift(const struct sb_emission *emission, int pair, bool is_downshift)
{
  const struct sb_controller_setup *setup = &emission->setup;
  if (is_downshift) return (struct sb_emit_shift){pair + 2, pair + 1, "<", (long)setup->downshift_below[pair]};
  return (struct sb_emit_shift){pair + 1, pair + 2, ">", (long)setup->upshift_above[pair]};
}

const char *sb_emit_plain(const char *text, char plain[SB_EMIT_PLAIN_SIZE])
{
  size_t length = 0;
  for (char last = 0; *text != 0 && length + 2 < SB_EMIT_PLAIN_SIZE; last = *text++) {
    const unsigned char byte = (unsigned char)*text;
    if ((last == '*' && byte == '/') || (last == '/' && byte == '*')) plain[length++] = ' ';
    const size_t unseen = sb_unseen_length(text);
    plain[length++] = unseen > 0 || byte == '\\' ? ' ' : *text;
    if (unseen > 1) text += unseen - 1;
  }
  plain[length] = 0;
  return plain;
}

void sb_emit_say(FILE *out, const char *lead, int hang, const char *format, ...)
{
  char buffer[TEXT_SIZE];
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(buffer, sizeof buffer, format, arguments);
  va_end(arguments);
  int column = fprintf(out, "%s", lead);
  bool is_first = true;
  for (const char *text = buffer; *text != 0; is_first = false) {
    const size_t gap = strspn(text, " "), length = strcspn(text + gap, " ");
    const int columns = sb_words_columns(text + gap, length);
    if (is_first || column + (int)gap + columns <= WIDTH) {
      fprintf(out, "%.*s", (int)(gap + length), text);
      column += (int)gap + columns;
    } else {
      column = fprintf(out, "\n%s%*s", lead, hang, "") - 1 + columns;
      fprintf(out, "%.*s", (int)length, text + gap);
    }
    text += gap + length;
  }
  fputc('\n', out);
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

void sb_emit_write_engaged(FILE *out, const struct sb_emission *emission, const char *lead, int hang,
                           const char *heading)
{
  const struct sb_control *control = &emission->model.control;
  if (emission->can_stop) {
    sb_emit_say(
        out, lead, hang,
        "%smust be given, for this drive can stop: false while it is off, and for %g s (%.0f samples) after each "
        "restart or reversal; %s",
        heading, control->start_delay_s, ceil(control->start_delay_s / control->sample_period_s - 1e-9),
        emission->is_engaged_needed ? "false in neutral, too, for a shift lasts longer than the wait after its "
                                      "command"
                                    : "true in neutral does no harm: in the recorded run the wait lasted longer "
                                      "than each shift");
    return;
  }
  sb_emit_say(out, lead, hang, "%s%s", heading,
              emission->is_engaged_needed ? "must be given, for a shift lasts longer than the wait after its command"
                                          : "may always be true: in the recorded run the wait lasted longer than each "
                                            "shift");
}

static const char *word_of(const struct sb_emission *emission)
{
  return emission->model.control.sensor.quantity == SB_SENSES_DUTY ? "duty" : "current";
}

enum { SENSOR_HANG = 10 };

/* The sensor of what is left of the duty, or up to the current of reference. */
static void write_left(FILE *out, const struct sb_emission *emission, const char *lead)
{
  const struct sb_emit_unit unit = sb_emit_unit(emission);
  const struct sb_sensor *sensor = &emission->model.control.sensor;
  const bool is_duty = sensor->quantity == SB_SENSES_DUTY;
  const double count = emission->count * unit.scale, full = is_duty ? 100.0 : sensor->reference_a;
  const char *word = word_of(emission);
  if (is_duty) {
    sb_emit_say(out, lead, SENSOR_HANG,
                "Reading   full duty less the duty, without the sign of the duty; it falls as the load grows");
  } else {
    sb_emit_say(out, lead, SENSOR_HANG,
                "Reading   %g A less the motor's current, without the sign of the current; it falls as the load grows",
                full);
  }
  sb_emit_say(out, lead, SENSOR_HANG, "          one count is %.6g %s of %s%s", count, unit.name, word,
              emission->is_resolution_given ? "" : " (assumed: no resolution is given)");
  if (emission->full_count > 0.0) {
    sb_emit_say(out, lead, SENSOR_HANG, "          reading = %.0f - counts of %s; %s%.6g %s is %.0f counts",
                emission->full_count, word, is_duty ? "full duty, " : "", full, unit.name, emission->full_count);
  } else {
    sb_emit_say(out, lead, SENSOR_HANG, "          reading = (%.6g %s - %s) / %.6g %s, to the nearest whole number",
                full, unit.name, word, count, unit.name);
  }
}

/* Pulses, or counts of a speed. */
static void write_speed(FILE *out, const struct sb_emission *emission, const char *lead)
{
  const double count_rpm = emission->count / SB_RPM;
  const double reference_rpm = emission->model.control.sensor.reference_rad_s / SB_RPM;
  if (emission->pulses_per_turn > 0.0) {
    sb_emit_say(out, lead, SENSOR_HANG,
                "Reading   pulses of the motor's sensor (%g a turn) counted in the %g ms that end at the sample, in "
                "either direction",
                emission->pulses_per_turn, emission->window_s * 1e3);
    sb_emit_say(out, lead, SENSOR_HANG, "          one count is %.6g rpm of the motor; 100 %% is %.6g rpm", count_rpm,
                reference_rpm);
  } else {
    const double between = emission->model.control.sensor.pulses.per_turn;
    if (between > 0.0) {
      sb_emit_say(out, lead, SENSOR_HANG,
                  "Reading   speed of the motor, 60 / (%g t) rpm to the nearest count: t in s is the time between the "
                  "last two pulses of its sensor (%g a turn), or since the last one where that is longer; 0 before the "
                  "second pulse",
                  between, between);
    } else {
      sb_emit_say(out, lead, SENSOR_HANG, "Reading   speed of the motor without its sign, to the nearest count");
    }
    sb_emit_say(out, lead, SENSOR_HANG, "          one count is %.6g rpm, %.4g %% of %.6g rpm%s", count_rpm,
                100.0 * count_rpm / reference_rpm, reference_rpm,
                emission->is_resolution_given ? "" : " (assumed: no resolution is given)");
  }
}

/* How the counts of speed and voltage make a reading. */
static void write_scale(FILE *out, const struct sb_emission *emission, const char *lead)
{
  const struct sb_supply_sensor *supply = &emission->model.control.sensor.supply;
  const struct sb_controller_scale *scale = &emission->scale;
  if (scale->factor == 0) return;
  sb_emit_say(out, lead, SENSOR_HANG, "Voltage   of the supply, to the nearest count; one count is %.6g V%s",
              supply->resolution_v, emission->is_voltage_given ? "" : " (assumed: no resolution is given)");
  if (supply->filter_s > 0.0) {
    sb_emit_say(out, lead, SENSOR_HANG, "          filtered before it is rounded: y = y + %.6g (x - y) at every sample",
                -expm1(-emission->model.control.sample_period_s / supply->filter_s));
  }
  sb_emit_say(out, lead, SENSOR_HANG,
              "Compared  counts of speed * %lu / (counts of voltage - %ld), to the nearest whole number: a speed in "
              "percent of the no-load speed at that voltage; %.0f is 100 %%",
              (unsigned long)scale->factor, (long)scale->offset,
              round(1.0 / sb_sensor_count_fraction(&emission->model.control.sensor)));
  sb_emit_say(out, lead, SENSOR_HANG,
              "          counts of speed are at most %ld, counts of voltage less %ld at least %ld", (long)scale->most,
              (long)scale->offset, (long)scale->least);
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
    sb_emit_say(out, lead, SENSOR_HANG, "          filtered before it is rounded: y = y + %.6g (x - y) at every sample",
                -expm1(-control->sample_period_s / sensor->filter_s));
  }
  write_scale(out, emission, lead);
  fprintf(out, "%sSample    every %g ms\n", lead, control->sample_period_s * 1e3);
}

/* One threshold, in the terms of what is measured. */
struct threshold {
  bool is_downshift;
  long counts;
  double acts, asked; /* readings, in their unit */
};

/* Where a threshold acts, and where it was tuned to. */
struct place {
  char acts[128], asked[64];
};

static struct place place_of_speed(const struct sb_emission *emission, const struct threshold *threshold)
{
  struct place place;
  char at[32] = "";
  if (emission->scale.factor > 0) {
    snprintf(at, sizeof at, " at %.6g V", emission->model.control.sensor.supply.nominal_v);
  }
  snprintf(place.acts, sizeof place.acts, "a speed %s %.6g rpm%s", threshold->is_downshift ? "below" : "above",
           threshold->acts / SB_RPM, at);
  snprintf(place.asked, sizeof place.asked, "(as tuned %.6g rpm, %.6g %%)", threshold->asked / SB_RPM,
           100.0 * threshold->asked / emission->model.control.sensor.reference_rad_s);
  return place;
}

/* Less left is more duty or current. */
static struct place place_of_left(const struct sb_emission *emission, const struct threshold *threshold)
{
  const struct sb_emit_unit unit = sb_emit_unit(emission);
  const bool is_duty = emission->model.control.sensor.quantity == SB_SENSES_DUTY;
  const double full = is_duty ? 1.0 : emission->model.control.sensor.reference_a;
  const char *word = word_of(emission);
  struct place place;
  char counts[64] = "";
  if (emission->full_count > 0.0) {
    snprintf(counts, sizeof counts, "counts of %s %s %.0f, ", word, threshold->is_downshift ? ">" : "<",
             emission->full_count - (double)threshold->counts);
  }
  snprintf(place.acts, sizeof place.acts, "%sa %s %s %.6g %s", counts, word,
           threshold->is_downshift ? "above" : "below", (full - threshold->acts) * unit.scale, unit.name);
  snprintf(place.asked, sizeof place.asked, "(as tuned %.6g %s, %.6g %% left)", (full - threshold->asked) * unit.scale,
           unit.name, 100.0 * threshold->asked / full);
  return place;
}

static void write_threshold(FILE *out, const struct sb_emission *emission, const char *lead, int pair,
                            bool is_downshift)
{
  const struct sb_emit_shift shift = sb_emit_shift(emission, pair, is_downshift);
  const struct threshold threshold = {
      .is_downshift = is_downshift,
      .counts = shift.counts,
      .acts = is_downshift ? emission->acts_below[pair] : emission->acts_above[pair],
      .asked = is_downshift ? emission->asked_below[pair] : emission->asked_above[pair],
  };
  const bool is_speed = emission->model.control.sensor.quantity == SB_SENSES_SPEED;
  const struct place place = is_speed ? place_of_speed(emission, &threshold) : place_of_left(emission, &threshold);
  char line[TEXT_SIZE], left[SB_EMIT_PLAIN_SIZE], entered[SB_EMIT_PLAIN_SIZE];
  snprintf(line, sizeof line, "%s -> %s: reading %s %ld, %s", sb_emit_plain(sb_emit_gear(emission, shift.from), left),
           sb_emit_plain(sb_emit_gear(emission, shift.to), entered), shift.sign, shift.counts, place.acts);
  const size_t all = strlen(lead) + (size_t)sb_words_columns(line, strlen(line)) + 1 + strlen(place.asked);
  if (all <= WIDTH) {
    sb_emit_say(out, lead, 2, "%s %s", line, place.asked);
  } else {
    sb_emit_say(out, lead, 2, "%s", line);
    sb_emit_say(out, lead, 2, "  %s", place.asked);
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
    sb_emit_say(out, lead, 0, "The scenario's own counts: these decide exactly as the simulated controller does.");
  } else if (emission->scale.factor > 0) {
    sb_emit_say(
        out, lead, 0,
        "Thresholds were moved apart, never towards each other, by at most a count of the speed as it is at %g V.",
        emission->model.control.sensor.supply.nominal_v);
  } else if (emission->is_moved) {
    sb_emit_say(out, lead, 0, "Rounding moved thresholds apart only, never towards each other, by less than a count%s.",
                emission->model.control.sensor.quantity == SB_SENSES_SPEED
                    ? ""
                    : ": the downshift threshold to more, the upshift threshold to less");
  }
  if (emission->pulses_per_turn > 0.0) {
    sb_emit_say(
        out, lead, 0,
        "A count of pulses may be one below or above the speed's own: so much lies between the first count that "
        "can act and the last that must. The simulated readings are counts of pulses, at one of all phases.");
  }
  if (emission->verdicts[0] != 0) {
    sb_emit_say(out, lead, 0, "WARNING: with these constants the simulated machine does not pass: %s.",
                emission->verdicts);
  }
}
