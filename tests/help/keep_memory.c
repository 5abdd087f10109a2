// SPDX-License-Identifier: GPL-3.0-or-later
/* keep_memory.c - every test program keeps its memory, as the program itself does. */
#include "cli/keep_memory.h"

__attribute__((constructor)) static void keep_memory(void)
{
  sb_keep_memory();
}
