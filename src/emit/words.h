// SPDX-License-Identifier: GPL-3.0-or-later
/* words.h - what the forms of an emission share in words. */
#ifndef SHIFTBAND_EMIT_WORDS_H
#define SHIFTBAND_EMIT_WORDS_H

#include "shiftband/emit.h"

/* 0, or -1 with errno set when writing failed. */
int sb_emit_result(FILE *out);

/* Text for a comment or a page: control characters become spaces, and no comment ends in it. */
void sb_emit_write_plain(FILE *out, const char *text);

/* Name of a gear, from 1. */
const char *sb_emit_gear(const struct sb_emission *emission, int gear);

/* How people say a reading: value * scale is in `name`. `left`: " left" for what is left of something, else "". */
struct sb_emit_unit {
  const char *name, *left;
  double scale;
};

struct sb_emit_unit sb_emit_unit(const struct sb_emission *emission);

/* What "in mesh" is to tell, and what to do where nothing tells it; goes on behind a heading. Lines end in a new line, and
 * all but the first begin with `lead`. */
void sb_emit_write_mesh(FILE *out, const struct sb_emission *emission, const char *lead);

/* What the reading is, what one count is, when to call: each line begins with `lead`. */
void sb_emit_write_sensor(FILE *out, const struct sb_emission *emission, const char *lead);

/* One line a threshold: counts, the speed, duty or current at which it acts, and as tuned. */
void sb_emit_write_thresholds(FILE *out, const struct sb_emission *emission, const char *lead);

/* What is wrong with this machine as it is tuned, if anything, and how the thresholds were rounded. */
void sb_emit_write_notes(FILE *out, const struct sb_emission *emission, const char *lead);

#endif
