// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/arena.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { BLOCK_SIZE = 16384 };

struct sb_arena_block {
  struct sb_arena_block *next;
  size_t used, size;
  max_align_t data[];
};

static struct sb_arena_block *add_block(struct sb_arena *arena, size_t size)
{
  if (size > SIZE_MAX - sizeof(struct sb_arena_block)) return NULL;
  struct sb_arena_block *block = malloc(sizeof *block + size);
  if (block == NULL) return NULL;
  *block = (struct sb_arena_block){.next = arena->blocks, .size = size};
  arena->blocks = block;
  return block;
}

void *sb_arena_take(struct sb_arena *arena, size_t size)
{
  const size_t unit = sizeof(max_align_t);
  if (size > SIZE_MAX - unit) return NULL;
  size = (size + unit - 1) / unit * unit;
  struct sb_arena_block *block = arena->blocks;
  if (block == NULL || block->size - block->used < size)
    block = add_block(arena, size > BLOCK_SIZE ? size : BLOCK_SIZE);
  if (block == NULL) return NULL;
  void *piece = (char *)block->data + block->used;
  block->used += size;
  return memset(piece, 0, size);
}

char *sb_arena_copy(struct sb_arena *arena, const char *text, size_t length)
{
  if (length == SIZE_MAX) return NULL;
  char *copy = sb_arena_take(arena, length + 1);
  if (copy != NULL && length > 0) memcpy(copy, text, length);
  return copy;
}

void sb_arena_clear(struct sb_arena *arena)
{
  while (arena->blocks != NULL) {
    struct sb_arena_block *next = arena->blocks->next;
    free(arena->blocks);
    arena->blocks = next;
  }
}
