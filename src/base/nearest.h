// SPDX-License-Identifier: GPL-3.0-or-later
/* nearest.h - the word that was meant, where another one was written. */
#ifndef SHIFTBAND_BASE_NEAREST_H
#define SHIFTBAND_BASE_NEAREST_H

#include <stdbool.h>

/* Whether two words have the same letters, whatever their capitals, hyphens, points and spaces: "Ni-MH" and "NiMH". */
bool sb_nearest_is_same(const char *a, const char *b);

/*
 * The word most like the text: a third of it may differ, or it may be the start of the word (two letters at least) or a
 * part of it (four at least); NULL when none is near. The list ends with NULL.
 */
const char *sb_nearest_word(const char *text, const char *const *words);

/* `, nearest is "word"`, or nothing. */
struct sb_nearest {
  char text[128];
};
struct sb_nearest sb_nearest_hint(const char *text, const char *const *words);

#endif
