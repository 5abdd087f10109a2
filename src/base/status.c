// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/status.h"

#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>

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
