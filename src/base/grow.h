// SPDX-License-Identifier: GPL-3.0-or-later
/* grow.h - arrays that grow as items come. */
#ifndef SHIFTBAND_BASE_GROW_H
#define SHIFTBAND_BASE_GROW_H

#include <stdbool.h>
#include <stddef.h>

/*
 * Makes room for one more item behind `count` of them: doubles the array when it is full. items is the address of the
 * pointer to the array (NULL with *room 0 at first), to be given to free() in the end; size is that of an item, bytes.
 * False when memory runs out or the size overflows; array and room are then as they were.
 */
bool sb_grow(void *items, size_t *room, size_t count, size_t size);

#endif
