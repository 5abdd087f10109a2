// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/standard_input.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

bool sb_standard_input_is(const char *path)
{
  return strcmp(path, "-") == 0;
}

const char *sb_standard_input_name(const char *path)
{
  return sb_standard_input_is(path) ? "standard input" : path;
}

const char *sb_standard_input_read(size_t most, size_t *length)
{
  static char *kept;
  static size_t count;
  if (kept == NULL) {
    char *text = malloc(most + 1);
    if (text == NULL) return NULL;
    errno = 0;
    count = fread(text, 1, most, stdin);
    if (ferror(stdin)) {
      const int reason = errno;
      free(text);
      errno = reason != 0 ? reason : EIO;
      return NULL;
    }
    text[count] = 0;
    kept = text;
  }
  *length = count;
  return kept;
}
