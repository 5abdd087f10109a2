// SPDX-License-Identifier: GPL-3.0-or-later
/* fields.h - the fields of a log's text, one after the other (RFC 4180; commas, semicolons or tabs; LF or CRLF). */
#ifndef SHIFTBAND_LOG_FIELDS_H
#define SHIFTBAND_LOG_FIELDS_H

#include <stdbool.h>
#include <stddef.h>

enum { SB_FIELD_SIZE = 256 };

struct sb_fields {
  const char *at, *end;
  char separator;
  long line; /* of what comes next, from 1 */
  int column;
  char text[SB_FIELD_SIZE]; /* the last field, spaces around it taken off */
  long text_line;           /* where it started */
  int text_column;
  bool is_last_in_line;
  const char *fault_needs, *fault_found; /* set where the text is no table: read no further */
};

/* Starts on a text; the separator is the first of comma, semicolon and tab that its first line has. */
void sb_fields_init(struct sb_fields *fields, const char *text, size_t length);

/* Reads the next field; false at the end of the text or at a fault. */
bool sb_fields_next(struct sb_fields *fields);

#endif
