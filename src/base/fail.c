// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/status.h"

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include "base/unseen.h"

static const char *const status_texts[] = {
#define SB_STATUS_TEXT(code, text) [code] = text,
    SB_STATUS_LIST(SB_STATUS_TEXT)
#undef SB_STATUS_TEXT
};

const char *sb_status_text(enum sb_status status)
{
  const size_t index = (size_t)status;
  return index < sizeof status_texts / sizeof status_texts[0] ? status_texts[index] : "unknown status";
}

enum sb_status sb_fail(struct sb_error *err, enum sb_status status, const char *format, ...)
{
  if (err == NULL) return status;
  err->status = status;
  va_list args;
  va_start(args, format);
  const int length = vsnprintf(err->text, sizeof err->text, format, args);
  va_end(args);
  /* A text that can't be formatted still leaves the caller with words. */
  if (length < 0) snprintf(err->text, sizeof err->text, "%s", sb_status_text(status));
  return status;
}

struct sb_quote sb_fail_quote(const char *text)
{
  struct sb_quote quote;
  char *out = quote.text;
  size_t length = 0;
  out[length++] = '"';
  for (const char *p = text; *p != 0; p++) {
    const unsigned char byte = (unsigned char)*p;
    const bool starts_character = (byte & 0xc0u) != 0x80u;
    if (starts_character && length > 60) {
      memcpy(out + length, "...", 3);
      length += 3;
      break;
    }
    if (length > sizeof quote.text - 18) break;
    const size_t unseen = sb_unseen_length(p);
    for (size_t k = 0; k < unseen; k++) {
      length += (size_t)snprintf(out + length, sizeof quote.text - length, "\\x%02x", (unsigned char)p[k]);
    }
    if (unseen == 0) out[length++] = *p;
    if (unseen > 1) p += unseen - 1;
  }
  out[length++] = '"';
  out[length] = 0;
  return quote;
}

void sb_fail_add(char *text, size_t size, const char *format, ...)
{
  const size_t length = strlen(text);
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(text + length, size - length, format, arguments);
  va_end(arguments);
}
