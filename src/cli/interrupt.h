// SPDX-License-Identifier: GPL-3.0-or-later
/* interrupt.h - long work stops at a signal between two tasks, keeps what it has, and says how to go on. */
#ifndef SHIFTBAND_CLI_INTERRUPT_H
#define SHIFTBAND_CLI_INTERRUPT_H

#include <signal.h>

/* From here on the first SIGINT, SIGTERM or SIGHUP only raises the flag; one that was ignored stays ignored. */
void sb_interrupt_catch(void);

/* Undoes it: signals end the program again, where they did before. */
void sb_interrupt_release(void);

/* The signal that came, 0: none yet. */
const volatile sig_atomic_t *sb_interrupt_flag(void);

/* Says that the work was interrupted and, unless NULL, how to go on; returns the exit code, 128 plus the signal. */
int sb_interrupt_exit(const char *how_to_go_on);

#endif
