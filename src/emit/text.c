// SPDX-License-Identifier: GPL-3.0-or-later
/* The emission for controllers programmed by hand; see emit.h. Blocks and rungs as in IEC 61131-3. */
#include "base/text_file.h"
#include "emit/words.h"

enum { LABEL_WIDTH = 12 };

static void write_page_top(FILE *out, const struct sb_emission *emission, const char *source)
{
  char name[SB_EMIT_PLAIN_SIZE], file[SB_EMIT_PLAIN_SIZE];
  sb_emit_say(out, "", 2, "%s (%s)", sb_emit_plain(emission->model.name, name), sb_emit_plain(source, file));
  fputs("\n", out);
  sb_emit_write_sensor(out, emission, "  ");
  fputs("\n", out);
  sb_emit_write_thresholds(out, emission, "  ");
  fputs("\n", out);
  sb_emit_write_notes(out, emission, "  ");
  fputs("\n", out);
  for (int g = 1; g <= emission->setup.gear_count; g++) {
    sb_emit_say(out, "  ", LABEL_WIDTH, "%-*s%d is %s", LABEL_WIDTH, g == 1 ? "GEAR" : "", g,
                sb_emit_plain(sb_emit_gear(emission, g), name));
  }
  sb_emit_say(out, "  ", LABEL_WIDTH, "%-*sit starts as %d", LABEL_WIDTH, "", emission->model.control.start_gear);
  sb_emit_write_engaged(out, emission, "  ", LABEL_WIDTH,
                        emission->can_stop ? "ENGAGED     " : "ENGAGED     true while a gear is engaged; ");
}

/* PT of the timer and PV of the counters are the same in both forms. */
static unsigned confirm(const struct sb_emission *emission)
{
  return emission->setup.debounce_samples > 0 ? emission->setup.debounce_samples : 1U;
}

static void write_step(FILE *out, const struct sb_emission *emission, int pair, bool is_downshift)
{
  const struct sb_emit_shift shift = sb_emit_shift(emission, pair, is_downshift);
  fprintf(out, "    %s <- GEAR = %d and READING %s %ld and ALLOWED\n", is_downshift ? "LOW " : "HIGH", shift.from,
          shift.sign, shift.counts);
}

int sb_emit_write_blocks(FILE *out, const struct sb_emission *emission, const char *source)
{
  const struct sb_controller_setup *setup = &emission->setup;
  write_page_top(out, emission, source);
  fprintf(out,
          "\nBlocks, run once a sample, in this order\n\n"
          "  WAIT   counts down to 0, one a sample; at the start it is loaded with %lu\n"
          "    ALLOWED <- WAIT = 0 and ENGAGED; then, unless 0, WAIT <- WAIT - 1\n\n"
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
          "    after either: both counts <- 0, WAIT <- %lu (the sample of the shift is the\n"
          "      first of the %lu)\n",
          confirm(emission), confirm(emission),
          (unsigned long)(setup->dwell_samples > 0 ? setup->dwell_samples - 1 : 0),
          (unsigned long)setup->dwell_samples);
  return sb_text_file_result(out);
}

/* A threshold's rung; where readings are counted, it has a branch that counts and one that starts the count again. */
static void write_rung(FILE *out, const struct sb_emission *emission, int number, int pair, bool is_downshift)
{
  const struct sb_emit_shift shift = sb_emit_shift(emission, pair, is_downshift);
  const char *side = is_downshift ? "LOW" : "HIGH";
  fprintf(out, "\n  %2d |--[ GEAR = %d ]--[ READING %s %ld ]--[ ALLOWED ]--", number, shift.from, shift.sign,
          shift.counts);
  if (confirm(emission) > 1) {
    fprintf(out, "( %s ) |\n     |--[ %s ]--[ COUNTER %d  PV = %u ]--[ Q ]--( SHIFT )  GEAR <- %d |\n", side, side,
            number, confirm(emission), shift.to);
    fprintf(out, "     |--[ NOT %s ]--( reset COUNTER %d ) |\n", side, number);
  } else {
    fprintf(out, "( SHIFT )  GEAR <- %d |\n", shift.to);
  }
}

int sb_emit_write_ladder(FILE *out, const struct sb_emission *emission, const char *source)
{
  const struct sb_controller_setup *setup = &emission->setup;
  int number = 1;
  write_page_top(out, emission, source);
  fputs("\n", out);
  sb_emit_say(
      out, "", 0,
      "Rungs, in a task of %g ms, from top to bottom; WAIT is a whole number, loaded with %lu at the start; after a "
      "SHIFT the rungs between it and the last are skipped%s",
      emission->model.control.sample_period_s * 1e3, (unsigned long)setup->start_delay_samples,
      confirm(emission) > 1 ? "; a COUNTER counts each pass in which its input is on" : "");
  fprintf(out, "\n  %2d |--[ WAIT = 0 ]--[ ENGAGED ]--( ALLOWED ) |\n", number++);
  fprintf(out, "\n  %2d |--[ WAIT > 0 ]--( WAIT <- WAIT - 1 ) |\n", number++);
  for (int p = 0; p + 1 < setup->gear_count; p++) {
    write_rung(out, emission, number++, p, 1);
    write_rung(out, emission, number++, p, 0);
  }
  fprintf(out, "\n  %2d |--[ SHIFT ]--( WAIT <- %lu )--( reset all counters )--( SHIFT off ) |\n", number,
          (unsigned long)(setup->dwell_samples > 0 ? setup->dwell_samples - 1 : 0));
  return sb_text_file_result(out);
}
