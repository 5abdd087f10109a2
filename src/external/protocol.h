// SPDX-License-Identifier: GPL-3.0-or-later
/* protocol.h - internal: the lines of own_program.h, written and read by both sides. */
#ifndef SHIFTBAND_EXTERNAL_PROTOCOL_H
#define SHIFTBAND_EXTERNAL_PROTOCOL_H

#include <stdbool.h>
#include <stddef.h>

#include "shiftband/external_controller.h"

/* Version of the lines; it grows with every change that an older program would not understand. */
enum { SB_PROTOCOL_VERSION = 2 };

enum { SB_PROTOCOL_HEADER_SIZE = 2048, SB_PROTOCOL_SAMPLE_SIZE = 160, SB_PROTOCOL_ANSWER_MAX = 999 };

/* Write a line with its line feed; return its length. */
size_t sb_protocol_write_header(char text[SB_PROTOCOL_HEADER_SIZE], const struct sb_own_input *input);
size_t sb_protocol_write_sample(char text[SB_PROTOCOL_SAMPLE_SIZE], const struct sb_own_input *input);

/* Read a line, with or without its line feed, into the fields that it tells of. False when it is none. Of a header only
 * the version is read when that is another: *version. */
bool sb_protocol_read_header(const char *text, struct sb_own_input *input, long *version);
bool sb_protocol_read_sample(const char *text, struct sb_own_input *input);

/* An answer: a whole number of 0..SB_PROTOCOL_ANSWER_MAX, blanks around it allowed; else -1. */
int sb_protocol_read_answer(const char *text, size_t length);

#endif
