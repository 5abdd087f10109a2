// SPDX-License-Identifier: GPL-3.0-or-later
/* text_file.h - internal: a whole file at once. */
#ifndef SHIFTBAND_BASE_TEXT_FILE_H
#define SHIFTBAND_BASE_TEXT_FILE_H

#include <stddef.h>
#include <stdio.h>

/* The file's bytes with a zero byte behind them, to be freed; NULL with errno set, EFBIG when there are as many as most. */
char *sb_text_file_read(const char *path, size_t most, size_t *length);

/* The same from an open stream, as standard input. */
char *sb_text_file_read_stream(FILE *stream, size_t most, size_t *length);

#endif
