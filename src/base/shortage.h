// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * shortage.h - internal: memory that ran out where a function has no status to say so, or where a lesser result will do but for that.
 * It is noted for the thread, and whoever gives out the result asks before that: an answer that lacked memory is none.
 */
#ifndef SHIFTBAND_BASE_SHORTAGE_H
#define SHIFTBAND_BASE_SHORTAGE_H

#include <stdbool.h>
#include <stddef.h>

void sb_shortage_note(void);

/* Whether any was noted in this thread since the last call. */
bool sb_shortage_take(void);

/*
 * Before calls of a library that crashes, leaks or gives wrong results where memory runs out in the middle of them: whether it can have
 * so many bytes, which is all that it takes until sb_shortage_relax(). They are tried and given back. False: it was noted.
 */
bool sb_shortage_brace(size_t bytes);

/* Those calls are over; tools/dev/refuse.c refuses memory again from here on. */
void sb_shortage_relax(void);

#endif
