// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/shortage.h"

#include <stdlib.h>

static _Thread_local bool is_short;

void sb_shortage_note(void)
{
  is_short = true;
}

bool sb_shortage_take(void)
{
  const bool was_short = is_short;
  is_short = false;
  return was_short;
}

bool sb_shortage_brace(size_t bytes)
{
  void *room = malloc(bytes);
  if (room == NULL) sb_shortage_note();
  free(room);
  return room != NULL;
}

void sb_shortage_relax(void)
{
}
