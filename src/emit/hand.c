// SPDX-License-Identifier: GPL-3.0-or-later
/* The emission for controllers programmed by hand; see emit.h. Blocks and rungs as in IEC 61131-3. */
#include <errno.h>

#include "emit/words.h"

static void write_page_top(FILE *out, const struct sb_emission *emission, const char *source)
{
  sb_emit_write_plain(out, emission->model.name);
  fputs(" (", out);
  sb_emit_write_plain(out, source);
  fputs(")\n\n", out);
  sb_emit_write_sensor(out, emission, "  ");
  fputs("\n", out);
  sb_emit_write_thresholds(out, emission, "  ");
  fputs("\n", out);
  sb_emit_write_notes(out, emission, "  ");
  fputs("\n  GEAR        ", out);
  for (int g = 1; g <= emission->setup.gear_count; g++) {
    fprintf(out, "%s%d is ", g > 1 ? ", " : "", g);
    sb_emit_write_plain(out, sb_emit_gear(emission, g));
  }
  fprintf(out, "; it starts as %d\n", emission->model.control.start_gear);
  fprintf(out, "  IN_MESH     %s", emission->can_stop ? "" : "true while a gear is engaged; ");
  sb_emit_write_mesh(out, emission, "              ");
}

/* PT of the timer and PV of the counters are the same in both forms. */
static unsigned confirm(const struct sb_emission *emission)
{
  return emission->setup.debounce_samples > 0 ? emission->setup.debounce_samples : 1U;
}

static void write_step(FILE *out, const struct sb_emission *emission, int pair, int is_down)
{
  const int from = is_down ? pair + 2 : pair + 1;
  fprintf(out, "    %s <- GEAR = %d and READING %s %ld and ALLOWED\n", is_down ? "LOW " : "HIGH", from,
          is_down ? "<" : ">",
          (long)(is_down ? emission->setup.downshift_below[pair] : emission->setup.upshift_above[pair]));
}

int sb_emit_write_blocks(FILE *out, const struct sb_emission *emission, const char *source)
{
  const struct sb_controller_setup *setup = &emission->setup;
  errno = 0;
  write_page_top(out, emission, source);
  fprintf(out,
          "\nBlocks, run once a sample, in this order\n\n"
          "  WAIT   counts down to 0, one a sample; at the start it is loaded with %lu\n"
          "    ALLOWED <- WAIT = 0 and IN_MESH; then, unless 0, WAIT <- WAIT - 1\n\n"
          "  COMPARE (where several lines stand, the true one counts)\n",
          (unsigned long)setup->start_delay_samples);
  for (int p = 0; p + 1 < setup->gear_count; p++) {
    write_step(out, emission, p, 1);
    write_step(out, emission, p, 0);
  }
  fprintf(out,
          "\n  COUNT_LOW    counts samples with LOW,  back to 0 at the first one without it\n"
          "  COUNT_HIGH   counts samples with HIGH, back to 0 at the first one without it\n\n"
          "  SHIFT\n"
          "    COUNT_LOW  = %u: GEAR <- GEAR - 1\n"
          "    COUNT_HIGH = %u: GEAR <- GEAR + 1\n"
          "    after either: both counts <- 0, WAIT <- %lu (the sample of the shift is the first of the %lu)\n",
          confirm(emission), confirm(emission),
          (unsigned long)(setup->dwell_samples > 0 ? setup->dwell_samples - 1 : 0),
          (unsigned long)setup->dwell_samples);
  return sb_emit_result(out);
}

static void write_rung(FILE *out, const struct sb_emission *emission, int number, int pair, int is_down)
{
  const int from = is_down ? pair + 2 : pair + 1, to = is_down ? pair + 1 : pair + 2;
  const long threshold = is_down ? emission->setup.downshift_below[pair] : emission->setup.upshift_above[pair];
  char condition[48];
  const int length = snprintf(condition, sizeof condition, "READING %s %ld", is_down ? "<" : ">", threshold);
  fprintf(out, "\n  %2d |--[ GEAR = %d ]--[ %s ]--[ ALLOWED ]", number, from, condition);
  if (confirm(emission) > 1) {
    fprintf(out, "--+--[ CTU %s  PV = %u ]--[ Q ]--( SHIFT )  GEAR <- %d |\n", is_down ? "LOW " : "HIGH",
            confirm(emission), to);
    fprintf(out, "     |%*s+--| NOT |--( reset CTU )\n", 34 + length, "");
  } else {
    fprintf(out, "--( SHIFT )  GEAR <- %d |\n", to);
  }
}

int sb_emit_write_ladder(FILE *out, const struct sb_emission *emission, const char *source)
{
  const struct sb_controller_setup *setup = &emission->setup;
  int number = 1;
  errno = 0;
  write_page_top(out, emission, source);
  fprintf(
      out,
      "\nRungs, in a task of %g ms, from top to bottom; WAIT is a whole number, loaded with %lu at the start; after a\n"
      "SHIFT the rungs between it and the last are skipped\n",
      emission->model.control.sample_period_s * 1e3, (unsigned long)setup->start_delay_samples);
  fprintf(out, "\n  %2d |--[ WAIT = 0 ]--[ IN_MESH ]--( ALLOWED ) |\n", number++);
  fprintf(out, "\n  %2d |--[ WAIT > 0 ]--( WAIT <- WAIT - 1 ) |\n", number++);
  for (int p = 0; p + 1 < setup->gear_count; p++) {
    write_rung(out, emission, number++, p, 1);
    write_rung(out, emission, number++, p, 0);
  }
  fprintf(out, "\n  %2d |--[ SHIFT ]--( WAIT <- %lu )--( reset all counters )--( SHIFT off ) |\n", number,
          (unsigned long)(setup->dwell_samples > 0 ? setup->dwell_samples - 1 : 0));
  return sb_emit_result(out);
}

int sb_emit_write_readings(FILE *out, const struct sb_emission *emission)
{
  errno = 0;
  fputs("sample,reading,in_mesh,gear\n", out);
  for (size_t i = 0; i < emission->sample_count; i++) {
    const struct sb_emit_sample *sample = &emission->samples[i];
    fprintf(out, "%lu,%ld,%d,%d\n", (unsigned long)i, (long)sample->reading, sample->is_deciding, sample->gear);
  }
  return sb_emit_result(out);
}
