// SPDX-License-Identifier: GPL-3.0-or-later
/* words.h - what the forms of an emission share in words. */
#ifndef SHIFTBAND_EMIT_WORDS_H
#define SHIFTBAND_EMIT_WORDS_H

#include "shiftband/emit.h"

/* What a threshold of a pair of gears does: from which gear (from 1) to which, below or above which reading. */
struct sb_emit_shift {
  int from, to;
  const char *sign; /* "<", ">" */
  long counts;
};
struct sb_emit_shift sb_emit_shift(const struct sb_emission *emission, int pair, bool is_downshift);

/* Text for a comment or a page: control characters become spaces, and no comment ends in it. Returns plain. */
enum { SB_EMIT_PLAIN_SIZE = 512 };
const char *sb_emit_plain(const char *text, char plain[SB_EMIT_PLAIN_SIZE]);

/*
 * Writes a text as whole lines of at most 80 columns, whatever the terminal: each begins with `lead`, and those after the
 * first have `hang` more spaces. Several spaces between two words of one line stay.
 */
void sb_emit_say(FILE *out, const char *lead, int hang, const char *format, ...) __attribute__((format(printf, 4, 5)));

/* Name of a gear, from 1. */
const char *sb_emit_gear(const struct sb_emission *emission, int gear);

/* How a reading is shown: value * scale is in `name`. `left`: " left" for what is left of something, else "". */
struct sb_emit_unit {
  const char *name, *left;
  double scale;
};

struct sb_emit_unit sb_emit_unit(const struct sb_emission *emission);

/* What "engaged" must say, and what to do where nothing says it; behind a heading of `hang` columns. */
void sb_emit_write_engaged(FILE *out, const struct sb_emission *emission, const char *lead, int hang,
                           const char *heading);

/* What the reading is, what one count is, when to call: each line begins with `lead`. */
void sb_emit_write_sensor(FILE *out, const struct sb_emission *emission, const char *lead);

/* One line a threshold: counts, the speed, duty or current at which it acts, and as tuned. */
void sb_emit_write_thresholds(FILE *out, const struct sb_emission *emission, const char *lead);

/* What is wrong with this machine as it is tuned, if anything, and how the thresholds were rounded. */
void sb_emit_write_notes(FILE *out, const struct sb_emission *emission, const char *lead);

#endif
