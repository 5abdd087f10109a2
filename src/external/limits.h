// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * limits.h - internal: what a controller may take of this computer: X(resource, letter of a shell's ulimit, its unit in bytes or 1, most).
 * Both limits are set, so only a program of the superuser could raise them again. Processes have none: RLIMIT_NPROC counts all
 * of the user's, whoever started them, and what a controller leaves behind is ended in another way (orphans.h).
 */
#ifndef SHIFTBAND_EXTERNAL_LIMITS_H
#define SHIFTBAND_EXTERNAL_LIMITS_H

#include <stddef.h>

#define SB_CONTROLLER_LIMIT_LIST(X)                                                   \
  X(RLIMIT_CORE, 'c', 512, 0)                                                         \
  X(RLIMIT_CPU, 't', 1, 600)                 /* s of its own, since it was started */ \
  X(RLIMIT_FSIZE, 'f', 512, 64 * 1048576L)   /* bytes of each file that it writes */  \
  X(RLIMIT_NOFILE, 'n', 1, 256)              /* open at a time */                     \
  X(RLIMIT_DATA, 'd', 1024, 2048 * 1048576L) /* bytes of memory that it can write */

/* Sets them for this process and all that it starts; where a limit is narrower already, it stays. */
void sb_limits_set(void);

/* The same as commands of a shell, for what follows them. */
void sb_limits_write(char *text, size_t size);

#endif
