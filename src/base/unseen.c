// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/unseen.h"

#include <stdbool.h>
#include <stdio.h>
#include <string.h>

/* U+061C, U+200E, U+200F, U+2028 to U+202E, U+2066 to U+2069. */
static const char *const marks[] = {
    "\xd8\x9c",     "\xe2\x80\x8e", "\xe2\x80\x8f", "\xe2\x80\xa8", "\xe2\x80\xa9", "\xe2\x80\xaa", "\xe2\x80\xab",
    "\xe2\x80\xac", "\xe2\x80\xad", "\xe2\x80\xae", "\xe2\x81\xa6", "\xe2\x81\xa7", "\xe2\x81\xa8", "\xe2\x81\xa9",
};

size_t sb_unseen_length(const char *text)
{
  const unsigned char first = (unsigned char)text[0];
  if (first == 0) return 0;
  if (first < 0x20 || first == 0x7f) return 1;
  const unsigned char second = (unsigned char)text[1];
  if (first == 0xc2 && second >= 0x80 && second <= 0x9f) return 2; /* U+0080 to U+009F */
  if (first != 0xd8 && first != 0xe2) return 0;
  for (size_t k = 0; k < sizeof marks / sizeof *marks; k++) {
    if (strncmp(text, marks[k], strlen(marks[k])) == 0) return strlen(marks[k]);
  }
  return 0;
}

/* Bytes of the character in UTF-8 that begins here; 0: there is none (RFC 3629, without its rule of the shortest form). */
static size_t character_length(const char *text)
{
  const unsigned char first = (unsigned char)text[0];
  const size_t length = first < 0x80   ? 1
                        : first < 0xc2 ? 0
                        : first < 0xe0 ? 2
                        : first < 0xf0 ? 3
                        : first < 0xf5 ? 4
                                       : 0;
  for (size_t k = 1; k < length; k++) {
    if (((unsigned char)text[k] & 0xc0u) != 0x80u) return 0;
  }
  return length;
}

const char *sb_unseen_show(const char *text, char *shown, size_t size)
{
  size_t length = 0;
  while (*text != 0) {
    const size_t unseen = *text == '\n' ? 0 : sb_unseen_length(text), whole = character_length(text);
    const size_t used = unseen > 0 ? unseen : whole > 0 ? whole : 1;
    const bool is_hidden = unseen > 0 || whole == 0;
    if (length + (is_hidden ? 4 * used : used) >= size) break;
    for (size_t k = 0; k < used; k++) {
      if (is_hidden) snprintf(shown + length, size - length, "\\x%02x", (unsigned char)text[k]);
      if (!is_hidden) shown[length] = text[k];
      length += is_hidden ? 4 : 1;
    }
    text += used;
  }
  shown[length] = 0;
  return shown;
}
