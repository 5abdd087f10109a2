// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * standard_input.h - the path "-": standard input, which can be read only once, kept for all who read that path again
 * (samples and grids load their scenario once a sample).
 */
#ifndef SHIFTBAND_BASE_STANDARD_INPUT_H
#define SHIFTBAND_BASE_STANDARD_INPUT_H

#include <stdbool.h>
#include <stddef.h>

bool sb_standard_input_is(const char *path);

/* What messages call a file: its path, or "standard input". */
const char *sb_standard_input_name(const char *path);

/*
 * The bytes of standard input up to `most`, with a zero byte behind them; they stay with this function and live as long as
 * the program. NULL with errno set. The first call reads them: make it before other threads start.
 */
const char *sb_standard_input_read(size_t most, size_t *length);

#endif
