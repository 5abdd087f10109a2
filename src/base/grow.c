// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/arena.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { ROOM_FIRST = 4 };

bool sb_grow(void *items, size_t *room, size_t count, size_t size)
{
  if (count < *room) return true;
  if (count > SIZE_MAX / size / 2) return false;
  const size_t more = count > 0 ? 2 * count : ROOM_FIRST;
  void *array; /* copied byte by byte, because its type is the caller's */
  memcpy(&array, items, sizeof array);
  void *grown = realloc(array, more * size);
  if (grown == NULL) return false;
  memcpy(items, &grown, sizeof grown);
  *room = more;
  return true; /* cppcheck-suppress memleak ; the caller has it now */
}
