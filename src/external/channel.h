// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * channel.h - internal: a child process that is asked and answers in lines, each within a time limit.
 *
 * It leads a process group of its own. Nothing of it outlives sb_channel_close(): the group is killed, the child reaped,
 * the pipes closed. Channels may be opened from several threads; a child never inherits another one's pipes.
 */
#ifndef SHIFTBAND_EXTERNAL_CHANNEL_H
#define SHIFTBAND_EXTERNAL_CHANNEL_H

#include <signal.h>
#include <stdbool.h>
#include <stddef.h>
#include <sys/types.h>

#include "shiftband/status.h"

enum { SB_CHANNEL_LINE_MAX = 255 }; /* bytes of a line that is heard, without its end */

struct sb_channel {
  pid_t pid;
  int to, from;                      /* not blocking */
  const volatile sig_atomic_t *stop; /* NULL: never */
  size_t length;                     /* bytes heard and not yet taken */
  char heard[SB_CHANNEL_LINE_MAX + 2];
  struct sb_channel *next; /* of those that are open */
};

/* What came of asking. */
enum sb_heard {
  SB_HEARD_LINE,
  SB_HEARD_LATE,     /* nothing whole within the time limit */
  SB_HEARD_END,      /* it closed its output */
  SB_HEARD_TOO_LONG, /* a line without an end */
  SB_HEARD_TOO_MUCH, /* something before it was asked */
  SB_HEARD_STOP,     /* the stop flag is raised */
  SB_HEARD_FAULT     /* of the system: errno */
};

/* How a child ended. */
struct sb_child_end {
  bool has_ended; /* by itself, in time */
  int code;       /* exit code, or -1 */
  int signal;     /* that killed it, or 0 */
};

/* Starts a program. SB_ERR_CONTROLLER: it can't be; the text says why. */
enum sb_status sb_channel_open(struct sb_channel *channel, const char *const *argv, const volatile sig_atomic_t *stop,
                               struct sb_error *err);

/* Says something, which gets no answer, or waits for one in `line` (without its line feed, with a 0 behind it). */
enum sb_heard sb_channel_say(struct sb_channel *channel, const char *text, size_t length, double limit_s);
enum sb_heard sb_channel_ask(struct sb_channel *channel, const char *text, size_t length, double limit_s,
                             char line[SB_CHANNEL_LINE_MAX + 1], size_t *line_length);

/* Whether the child has ended; a grandchild may still hold its output. */
bool sb_channel_is_over(const struct sb_channel *channel);

/* Closes the child's input and waits for it to end by itself as long as the limit allows, then for nothing any more.
 * Returns true when it said something in that time. */
bool sb_channel_close(struct sb_channel *channel, double limit_s, struct sb_child_end *end);

#endif
