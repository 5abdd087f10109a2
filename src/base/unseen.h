// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * unseen.h - internal: characters that show nothing and act on what stands around them: controls, which move a terminal's cursor or
 * change its colors, and marks of direction, which turn the order of a line about (Unicode 15, categories Cc, Zl, Zp and the
 * bidirectional controls of UAX #9).
 */
#ifndef SHIFTBAND_BASE_UNSEEN_H
#define SHIFTBAND_BASE_UNSEEN_H

#include <stddef.h>

/* Bytes of such a character at the beginning of a text in UTF-8; 0: there is none. Pure. */
size_t sb_unseen_length(const char *text);

/*
 * Copies a text that somebody else wrote so that it can be shown: such characters, and bytes that are no UTF-8, as \xNN; line ends
 * stay. Cut to the size, at a whole character. Returns shown.
 */
enum { SB_UNSEEN_SHOWN_SIZE = 1024 };
const char *sb_unseen_show(const char *text, char *shown, size_t size);

#endif
