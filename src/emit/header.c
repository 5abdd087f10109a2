// SPDX-License-Identifier: GPL-3.0-or-later
/* The emission as a C header; see emit.h. */
#include <ctype.h>
#include <math.h>
#include <stddef.h>

#include "base/text_file.h"
#include "emit/words.h"

/* Numbers of so many digits in lines of 80 columns. */
enum { READINGS_A_LINE = 9, LONG_READINGS_A_LINE = 5, MARKS_A_LINE = 15, DECIDING_BIT = 0x80 };

/* Zero-clause BSD licence, as the Open Source Initiative publishes it. */
static const char licence[] =
    "Permission to use, copy, modify, and/or distribute this file for any purpose with or without fee is hereby granted. "
    "THE SOFTWARE IS PROVIDED \"AS IS\" AND THE AUTHORS DISCLAIM ALL WARRANTIES WITH REGARD TO THIS SOFTWARE INCLUDING ALL "
    "IMPLIED WARRANTIES OF MERCHANTABILITY AND FITNESS. IN NO EVENT SHALL THE AUTHORS BE LIABLE FOR ANY SPECIAL, DIRECT, "
    "INDIRECT, OR CONSEQUENTIAL DAMAGES OR ANY DAMAGES WHATSOEVER RESULTING FROM LOSS OF USE, DATA OR PROFITS, WHETHER IN "
    "AN ACTION OF CONTRACT, NEGLIGENCE OR OTHER TORTIOUS ACTION, ARISING OUT OF OR IN CONNECTION WITH THE USE OR "
    "PERFORMANCE OF THIS SOFTWARE.";

/* The name as C names begin with it: small, and in capitals. */
struct names {
  char small[SB_EMIT_NAME_SIZE];
  char capital[SB_EMIT_NAME_SIZE];
};

static struct names names_of(const char *name)
{
  struct names names = {"", ""};
  for (int i = 0; name[i] != 0 && i + 1 < SB_EMIT_NAME_SIZE; i++) {
    names.small[i] = name[i];
    names.capital[i] = (char)toupper((unsigned char)name[i]);
  }
  return names;
}

static void write_opening(FILE *out, const struct sb_emission *emission, const struct names *names, const char *source,
                          const char *program)
{
  char model[SB_EMIT_PLAIN_SIZE], file[SB_EMIT_PLAIN_SIZE];
  fputs("// SPDX-License-Identifier: 0BSD\n/*\n", out);
  sb_emit_say(out, " * ", 0, "Gear selection for \"%s\": %s by %s.", sb_emit_plain(emission->model.name, model),
              sb_emit_plain(source, file), program);
  fputs(" *\n", out);
  sb_emit_write_sensor(out, emission, " * ");
  fputs(" *\n", out);
  sb_emit_write_thresholds(out, emission, " *   ");
  fputs(" *\n", out);
  sb_emit_write_notes(out, emission, " * ");
  fputs(" *\n", out);
  sb_emit_say(out, " *   ", 2, "sb_controller_start(&%s_setup, &state, %s_START_GEAR);", names->small, names->capital);
  if (emission->scale.factor > 0) {
    sb_emit_say(out, " *   ", 2,
                "every sample: reading = sb_controller_scaled(&%s_scale, counts of speed, counts of voltage); (link "
                "scale.c)",
                names->small);
  }
  sb_emit_say(out, " *   ", 2, "every sample: gear = sb_controller_update(&%s_setup, &state, reading, is_engaged);",
              names->small);
  sb_emit_write_engaged(out, emission, " *   ", 2, "is_engaged: ");
  fputs(" *\n", out);
  sb_emit_say(out, " * ", 0,
              "Self-test on the target: define %s_SELF_TEST before including this file once; %s_self_test() replays "
              "recorded readings through the controller and returns 0 when all its decisions are the expected ones.",
              names->capital, names->small);
  fputs(" *\n", out);
  sb_emit_say(out, " * ", 0, "%s", licence);
  fputs(" */\n", out);
}

static void write_list(FILE *out, const int32_t *values, int count)
{
  for (int i = 0; i < count; i++) fprintf(out, "%s%ld", i > 0 ? ", " : "", (long)values[i]);
}

static void write_constants(FILE *out, const struct sb_emission *emission, const struct names *names)
{
  const struct sb_controller_setup *setup = &emission->setup;
  const struct sb_control *control = &emission->model.control;
  fprintf(out, "#ifndef SHIFTBAND_%s_H\n#define SHIFTBAND_%s_H\n\n#include \"shiftband/controller.h\"\n\n",
          names->capital, names->capital);
  fprintf(out, "#define %s_SAMPLE_PERIOD_US %.0fUL\n#define %s_START_GEAR %d\n", names->capital,
          round(control->sample_period_s * 1e6), names->capital, control->start_gear);
  if (emission->full_count > 0.0) {
    fprintf(out, "#define %s_FULL_COUNT %.0fL /* reading = this - counts of %s */\n", names->capital,
            emission->full_count, control->sensor.quantity == SB_SENSES_DUTY ? "duty" : "current");
  }
  fputs("\n", out);
  for (int g = 1; g <= setup->gear_count; g++) {
    char gear[SB_EMIT_PLAIN_SIZE];
    fprintf(out, "/* gear %d: %s */\n", g, sb_emit_plain(sb_emit_gear(emission, g), gear));
  }
  fprintf(out, "static const struct sb_controller_setup %s_setup = {\n    {", names->small);
  const int pair_count = setup->gear_count > 1 ? setup->gear_count - 1 : 1;
  write_list(out, setup->downshift_below, pair_count);
  fputs("}, /* downshift_below: counts, by pair from the lowest gears up */\n    {", out);
  write_list(out, setup->upshift_above, pair_count);
  fprintf(out,
          "}, /* upshift_above */\n    %luu, /* dwell_samples */\n    %luu, /* start_delay_samples */\n"
          "    %uu, /* debounce_samples */\n    %uu  /* gear_count */\n};\n",
          (unsigned long)setup->dwell_samples, (unsigned long)setup->start_delay_samples,
          (unsigned)setup->debounce_samples, (unsigned)setup->gear_count);
  if (emission->scale.factor == 0) return;
  const struct sb_controller_scale *scale = &emission->scale;
  fprintf(out,
          "static const struct sb_controller_scale %s_scale = {\n    %luu, /* factor */\n    %ld, /* offset */\n"
          "    %ld, /* least */\n    %ld  /* most */\n};\n",
          names->small, (unsigned long)scale->factor, (long)scale->offset, (long)scale->least, (long)scale->most);
}

/* Bits that the recorded counts need: 16 or 32. */
static int recorded_bits(const struct sb_emission *emission)
{
  for (size_t i = 0; i < emission->sample_count; i++) {
    const struct sb_emit_sample *sample = &emission->samples[i];
    const bool is_short = sample->counts >= INT16_MIN && sample->counts <= INT16_MAX && sample->voltage <= INT16_MAX;
    if (!is_short) return 32;
  }
  return 16;
}

/* offset: of the member of a sample. */
static void write_recording(FILE *out, const struct sb_emission *emission, const struct names *names, int bits,
                            const char *what, size_t offset)
{
  const size_t a_line = bits == 16 ? READINGS_A_LINE : LONG_READINGS_A_LINE;
  fprintf(out, "static const int%d_t %s_%s[] %s_IN_FLASH = {", bits, names->small, what, names->capital);
  for (size_t i = 0; i < emission->sample_count; i++) {
    const void *value = (const char *)&emission->samples[i] + offset;
    fprintf(out, "%s%ld,", i % a_line == 0 ? "\n    " : " ", (long)*(const int32_t *)value);
  }
  fputs("\n};\n\n", out);
}

static void write_recordings(FILE *out, const struct sb_emission *emission, const struct names *names, int bits)
{
  const size_t count = emission->sample_count;
  write_recording(out, emission, names, bits, "readings", offsetof(struct sb_emit_sample, counts));
  if (emission->scale.factor > 0) {
    write_recording(out, emission, names, bits, "voltages", offsetof(struct sb_emit_sample, voltage));
  }
  fprintf(
      out,
      "/* The expected gear, plus 0x80 where is_engaged is true. */\nstatic const uint8_t %s_marks[] %s_IN_FLASH = {",
      names->small, names->capital);
  for (size_t i = 0; i < count; i++) {
    fprintf(out, "%s%u,", i % MARKS_A_LINE == 0 ? "\n    " : " ",
            (unsigned)(emission->samples[i].gear | (emission->samples[i].is_deciding ? DECIDING_BIT : 0)));
  }
  fputs("\n};\n\n", out);
}

/* How a counter of the supply is read, from flash memory too. */
static void write_voltage_flash(FILE *out, const struct names *names, int bits)
{
  fprintf(out,
          "#if defined(__AVR__)\n#define %s_VOLTAGE(i) ((int%d_t)pgm_read_%s(&%s_voltages[i]))\n#else\n"
          "#define %s_VOLTAGE(i) (%s_voltages[i])\n#endif\n\n",
          names->capital, bits, bits == 16 ? "word" : "dword", names->small, names->capital, names->small);
}

static void write_flash(FILE *out, const struct names *names, int bits)
{
  fprintf(out,
          "#if defined(__AVR__) /* constants would fill the RAM */\n#include <avr/pgmspace.h>\n"
          "#define %s_IN_FLASH PROGMEM\n"
          "#define %s_READING(i) ((int%d_t)pgm_read_%s(&%s_readings[i]))\n"
          "#define %s_MARK(i) ((uint8_t)pgm_read_byte(&%s_marks[i]))\n#else\n"
          "#define %s_IN_FLASH\n#define %s_READING(i) (%s_readings[i])\n#define %s_MARK(i) (%s_marks[i])\n#endif\n\n",
          names->capital, names->capital, bits, bits == 16 ? "word" : "dword", names->small, names->capital,
          names->small, names->capital, names->capital, names->small, names->capital, names->small);
}

static void write_self_test(FILE *out, const struct sb_emission *emission, const struct names *names)
{
  const int bits = recorded_bits(emission);
  fprintf(out, "\n#ifdef %s_SELF_TEST\n", names->capital);
  fprintf(out, "/* The first %lu of %lu samples of a simulated run. */\n#define %s_SAMPLE_COUNT %luU\n\n",
          (unsigned long)emission->sample_count, (unsigned long)emission->sample_total, names->capital,
          (unsigned long)emission->sample_count);
  write_flash(out, names, bits);
  if (emission->scale.factor > 0) write_voltage_flash(out, names, bits);
  write_recordings(out, emission, names, bits);
  char reading[4 * SB_EMIT_NAME_SIZE + 64];
  if (emission->scale.factor > 0) {
    snprintf(reading, sizeof reading, "sb_controller_scaled(\n        &%s_scale, %s_READING(i), %s_VOLTAGE(i))",
             names->small, names->capital, names->capital);
  } else {
    snprintf(reading, sizeof reading, "%s_READING(i)", names->capital);
  }
  fprintf(out,
          "/* 0: every decision is the expected one; else the number, from 1, of the first\n"
          " * sample where it is not. */\n"
          "static inline uint16_t %s_self_test(void)\n{\n"
          "  struct sb_controller_state state;\n  uint16_t i;\n"
          "  sb_controller_start(&%s_setup, &state, %s_START_GEAR);\n"
          "  for (i = 0; i < %s_SAMPLE_COUNT; i++) {\n"
          "    const uint8_t mark = %s_MARK(i);\n"
          "    const uint8_t is_engaged = (uint8_t)(mark >> 7);\n"
          "    const int32_t reading = %s;\n"
          "    const uint8_t gear = sb_controller_update(\n        &%s_setup, &state, reading, is_engaged);\n"
          "    if (gear != (uint8_t)(mark & 0x7F)) return (uint16_t)(i + 1U);\n"
          "  }\n  return 0;\n}\n#endif\n",
          names->small, names->small, names->capital, names->capital, names->capital, reading, names->small);
}

int sb_emit_write_header(FILE *out, const struct sb_emission *emission, const char *name, const char *source,
                         const char *program)
{
  const struct names names = names_of(name);
  write_opening(out, emission, &names, source, program);
  write_constants(out, emission, &names);
  if (emission->sample_count > 0) write_self_test(out, emission, &names);
  fputs("\n#endif\n", out);
  return sb_text_file_result(out);
}
