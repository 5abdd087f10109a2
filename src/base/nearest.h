// SPDX-License-Identifier: GPL-3.0-or-later
/* nearest.h - internal: how far two words are apart, to offer the one that was meant. */
#ifndef SHIFTBAND_BASE_NEAREST_H
#define SHIFTBAND_BASE_NEAREST_H

enum { SB_EDIT_WORD_MAX = 63 };

/* Single characters put in, left out or changed to make b of a (Levenshtein). b is at most SB_EDIT_WORD_MAX long. */
int sb_edit_distance(const char *a, const char *b);

#endif
