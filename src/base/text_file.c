// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/text_file.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

enum { READ_FIRST = 1 << 16 };

bool sb_text_file_is_endless(const char *path)
{
  struct stat info;
  return stat(path, &info) == 0 && !S_ISREG(info.st_mode) && !S_ISDIR(info.st_mode);
}

FILE *sb_text_file_open(const char *path)
{
  if (!sb_text_file_is_endless(path)) return fopen(path, "rbe"); /* e: a controller must not inherit it */
  errno = ESPIPE;
  return NULL;
}

const char *sb_text_file_reason(int error)
{
  return error == ESPIPE ? "it is no file but a device or a pipe" : strerror(error);
}

char *sb_text_file_read_stream(FILE *stream, size_t most, size_t *length)
{
  size_t room = READ_FIRST, count = 0;
  char *text = malloc(room + 1);
  while (text != NULL) {
    count += fread(text + count, 1, room - count, stream);
    if (count < room || room >= most) break;
    char *grown = realloc(text, (room *= 2) + 1);
    if (grown == NULL) free(text);
    text = grown;
  }
  const int reason = text == NULL ? ENOMEM : ferror(stream) ? errno : count >= most ? EFBIG : 0;
  if (reason != 0) {
    free(text);
    errno = reason;
    return NULL;
  }
  text[count] = 0;
  *length = count;
  return text;
}

char *sb_text_file_read(const char *path, size_t most, size_t *length)
{
  FILE *file = fopen(path, "rbe"); /* e: a controller started in another thread must not inherit it */
  if (file == NULL) return NULL;
  char *text = sb_text_file_read_stream(file, most, length);
  const int saved = errno;
  fclose(file);
  errno = saved;
  return text;
}

char *sb_text_file_read_start(FILE *stream, size_t most, size_t *length)
{
  char *text = malloc(most + 1);
  if (text == NULL) return NULL;
  errno = 0;
  *length = fread(text, 1, most, stream);
  text[*length] = 0;
  if (!ferror(stream)) return text;
  const int reason = errno;
  free(text);
  errno = reason != 0 ? reason : EIO;
  return NULL;
}

int sb_text_file_result(FILE *out)
{
  if (!ferror(out)) return 0;
  if (errno == 0) errno = EIO;
  return -1;
}

bool sb_text_file_is_stdin(const char *path)
{
  return strcmp(path, "-") == 0;
}

const char *sb_text_file_name(const char *path)
{
  return sb_text_file_is_stdin(path) ? "standard input" : path;
}

const char *sb_text_file_read_stdin(size_t most, size_t *length)
{
  static char *kept;
  static size_t count;
  if (kept == NULL) kept = sb_text_file_read_start(stdin, most, &count);
  *length = count;
  return kept;
}
