// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * keep_memory.h - memory that is freed stays with the program: tuning takes and gives back the same arrays for each machine, and
 * getting each page from the system anew cost a third of the time of `design`.
 */
#ifndef SHIFTBAND_CLI_KEEP_MEMORY_H
#define SHIFTBAND_CLI_KEEP_MEMORY_H

#include <stdlib.h>
#ifdef __GLIBC__
#include <malloc.h>
#endif

/* Before the first thread starts. Arrays above 4 MiB still go back at once. Does nothing with another C library than glibc. */
static inline void sb_keep_memory(void)
{
#ifdef __GLIBC__
  mallopt(M_MMAP_THRESHOLD, 4 << 20);
  mallopt(M_TRIM_THRESHOLD, 512 << 20);
#endif
}

#endif
