// SPDX-License-Identifier: GPL-3.0-or-later
/* text_file.h - internal: a whole file, or standard input, at once. */
#ifndef SHIFTBAND_BASE_TEXT_FILE_H
#define SHIFTBAND_BASE_TEXT_FILE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

/* Whether something is there that is no file and may have no end: a device, a pipe. */
bool sb_text_file_is_endless(const char *path);

/* Opens a file to read what it holds; what may have no end is not opened. NULL with errno set, ESPIPE for that. */
FILE *sb_text_file_open(const char *path);

/* What errno means of a file that was to be read. */
const char *sb_text_file_reason(int error);

/* The file's bytes with a zero byte behind them, to be freed; NULL with errno set, EFBIG when there are as many as most. */
char *sb_text_file_read(const char *path, size_t most, size_t *length);

/* The first bytes of a stream, `most` of them at most, with a zero byte behind them, to be freed; NULL with errno set. */
char *sb_text_file_read_start(FILE *stream, size_t most, size_t *length);

/* The whole of an open stream, as standard input. */
char *sb_text_file_read_stream(FILE *stream, size_t most, size_t *length);

/* What was written to a stream so far: 0, or -1 with errno set. */
int sb_text_file_result(FILE *out);

/*
 * The path "-": standard input, which can be read only once, kept for all who read that path again (samples and grids load
 * their scenario once a sample).
 */
bool sb_text_file_is_stdin(const char *path);

/* What messages call a file: its path, or "standard input". */
const char *sb_text_file_name(const char *path);

/*
 * The bytes of standard input up to `most`, with a zero byte behind them; they stay with this function and live as long as
 * the program. NULL with errno set. The first call reads them: make it before other threads start.
 */
const char *sb_text_file_read_stdin(size_t most, size_t *length);

#endif
