// SPDX-License-Identifier: GPL-3.0-or-later
/* arena.h - memory that is taken piece by piece and given back all at once. */
#ifndef SHIFTBAND_BASE_ARENA_H
#define SHIFTBAND_BASE_ARENA_H

#include <stdbool.h>
#include <stddef.h>

struct sb_arena_block;

struct sb_arena {
  struct sb_arena_block *blocks; /* newest first; NULL when empty */
};

/* size bytes set to zero, aligned for any type; NULL when memory runs out. */
void *sb_arena_take(struct sb_arena *arena, size_t size);

/* A copy of length bytes with a zero byte behind it; NULL when memory runs out. */
char *sb_arena_copy(struct sb_arena *arena, const char *text, size_t length);

void sb_arena_clear(struct sb_arena *arena);

/* ---- grow.c: arrays that grow as items come ---- */

/*
 * Makes room for one more item behind `count` of them: doubles the array when it is full. items is the address of the
 * pointer to the array (NULL with *room 0 at first), to be given to free() in the end; size is that of an item, bytes.
 * False when memory runs out or the size overflows; array and room are then as they were.
 */
bool sb_grow(void *items, size_t *room, size_t count, size_t size);

#endif
