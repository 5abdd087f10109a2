// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * orphans.h - internal: ends what controllers leave behind, also what has left their session and group.
 *
 * Once this program adopts orphans (Linux, PR_SET_CHILD_SUBREAPER), each process whose parents have ended becomes its child, and a
 * controller cannot start one that does not. Of its children those are ended that belong neither to this program's session nor to that
 * of a controller that still runs.
 */
#ifndef SHIFTBAND_EXTERNAL_ORPHANS_H
#define SHIFTBAND_EXTERNAL_ORPHANS_H

#include <stdbool.h>
#include <stddef.h>
#include <sys/types.h>

/* For a program without children of its own making but controllers; call it before other threads start. */
void sb_orphans_adopt(void);

/* Whether a session is that of a controller that still runs. */
typedef bool (*sb_orphans_runs)(pid_t session);

/* Ends them, and what they leave behind in turn; gives up after a second. Does nothing without sb_orphans_adopt(). */
void sb_orphans_end(sb_orphans_runs runs);

#endif
