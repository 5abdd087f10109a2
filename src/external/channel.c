// SPDX-License-Identifier: GPL-3.0-or-later
#include "external/channel.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <pthread.h>
#include <spawn.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "external/orphans.h"

extern char **environ;

/* Between a pipe's birth and its mark for closing in other children no other child may start; nor while orphans are ended. */
static pthread_mutex_t starting = PTHREAD_MUTEX_INITIALIZER;
static struct sb_channel *open_channels; /* a list */

/* How often a raised stop flag is noticed while nothing is heard; a child that is waited for is looked at this often. */
enum { STOP_SLICE_MS = 100 };
static const long look_ns = 100000;
static const double listen_slice_s = 0.01;

static double now_s(void)
{
  struct timespec now;
  clock_gettime(CLOCK_MONOTONIC, &now);
  return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static void close_both(int ends[2])
{
  if (ends[0] >= 0) close(ends[0]);
  if (ends[1] >= 0) close(ends[1]);
}

/* A pipe whose ends are closed in children and lie clear of the three standard streams, which may be closed here. */
static int open_pipe(int ends[2])
{
  int raw[2];
  ends[0] = ends[1] = -1;
  if (pipe(raw) != 0) return -1;
  for (int k = 0; k < 2; k++) ends[k] = fcntl(raw[k], F_DUPFD_CLOEXEC, 3);
  const int reason = errno;
  close_both(raw);
  errno = reason;
  if (ends[0] >= 0 && ends[1] >= 0) return 0;
  close_both(ends);
  return -1;
}

/* Of POSIX.1-2024, which older headers show to GNU programs alone. */
#ifndef POSIX_SPAWN_SETSID
#define POSIX_SPAWN_SETSID 0x80
#endif

/* A session of its own, with no terminal, and the default for the signals that this program may ignore. */
static int set_attributes(posix_spawnattr_t *attributes)
{
  sigset_t defaults;
  sigemptyset(&defaults);
  sigaddset(&defaults, SIGPIPE);
  sigaddset(&defaults, SIGXFSZ);
  int failed = posix_spawnattr_setflags(attributes, POSIX_SPAWN_SETSID | POSIX_SPAWN_SETSIGDEF);
  if (failed == 0) failed = posix_spawnattr_setsigdefault(attributes, &defaults);
  return failed;
}

/* Returns 0 or an errno. */
static int spawn(pid_t *pid, const char *const *argv, int input, int output)
{
  posix_spawn_file_actions_t actions;
  posix_spawnattr_t attributes;
  int failed = posix_spawn_file_actions_init(&actions);
  if (failed != 0) return failed;
  failed = posix_spawnattr_init(&attributes);
  if (failed == 0) {
    failed = set_attributes(&attributes);
    if (failed == 0) failed = posix_spawn_file_actions_adddup2(&actions, input, STDIN_FILENO);
    if (failed == 0) failed = posix_spawn_file_actions_adddup2(&actions, output, STDOUT_FILENO);
    if (failed == 0) failed = posix_spawn(pid, argv[0], &actions, &attributes, (char *const *)argv, environ);
    posix_spawnattr_destroy(&attributes);
  }
  posix_spawn_file_actions_destroy(&actions);
  return failed;
}

static int start(struct sb_channel *channel, const char *const *argv)
{
  int input[2], output[2];
  if (open_pipe(input) != 0) return errno;
  if (open_pipe(output) != 0) {
    const int reason = errno;
    close_both(input);
    return reason;
  }
  const int failed = spawn(&channel->pid, argv, input[0], output[1]);
  close(input[0]);
  close(output[1]);
  channel->to = input[1];
  channel->from = output[0];
  if (failed != 0) {
    close(channel->to);
    close(channel->from);
  }
  return failed;
}

enum sb_status sb_channel_open(struct sb_channel *channel, const char *const *argv, const volatile sig_atomic_t *stop,
                               struct sb_error *err)
{
  *channel = (struct sb_channel){.pid = -1, .to = -1, .from = -1, .stop = stop};
  pthread_mutex_lock(&starting);
  const int failed = start(channel, argv);
  if (failed == 0) {
    channel->next = open_channels;
    open_channels = channel;
  }
  pthread_mutex_unlock(&starting);
  if (failed != 0) return sb_fail(err, SB_ERR_CONTROLLER, "can't be started: %s: %s", argv[0], strerror(failed));
  fcntl(channel->to, F_SETFL, O_NONBLOCK);
  fcntl(channel->from, F_SETFL, O_NONBLOCK);
  return SB_OK;
}

/* Waits until a pipe is ready, or not before the end of time: SB_HEARD_LINE, _LATE, _STOP or _FAULT. */
static enum sb_heard await(const struct sb_channel *channel, int descriptor, short events, double end_s)
{
  struct pollfd watched = {.fd = descriptor, .events = events};
  for (;;) {
    if (channel->stop != NULL && *channel->stop != 0) return SB_HEARD_STOP;
    const double left_ms = 1e3 * (end_s - now_s());
    if (!(left_ms > 0.0)) return SB_HEARD_LATE;
    const int count = poll(&watched, 1, left_ms < STOP_SLICE_MS ? (int)left_ms + 1 : STOP_SLICE_MS);
    if (count > 0) return SB_HEARD_LINE;
    if (count < 0 && errno != EINTR) return SB_HEARD_FAULT;
  }
}

/* A child that no longer listens shows when it is heard: it has ended, or said why. */
static enum sb_heard write_all(struct sb_channel *channel, const char *text, size_t length, double end_s)
{
  while (length > 0) {
    const ssize_t count = write(channel->to, text, length);
    if (count > 0) {
      text += count;
      length -= (size_t)count;
    } else if (count < 0 && errno == EPIPE) {
      return SB_HEARD_LINE;
    } else if (count < 0 && errno == EAGAIN) {
      const enum sb_heard heard = await(channel, channel->to, POLLOUT, end_s);
      if (heard != SB_HEARD_LINE) return heard;
    } else if (count < 0 && errno != EINTR) {
      return SB_HEARD_FAULT;
    }
  }
  return SB_HEARD_LINE;
}

/* Takes what is there without waiting; *count 0: nothing yet. */
static enum sb_heard read_some(struct sb_channel *channel, size_t *count)
{
  *count = 0;
  for (;;) {
    const ssize_t got = read(channel->from, channel->heard + channel->length, sizeof channel->heard - channel->length);
    if (got > 0) {
      channel->length += (size_t)got;
      *count = (size_t)got;
      return SB_HEARD_LINE;
    }
    if (got == 0) return SB_HEARD_END;
    if (errno == EAGAIN) return SB_HEARD_LINE;
    if (errno != EINTR) return SB_HEARD_FAULT;
  }
}

/* Copies what was heard up to `length`, and forgets it with its line end, if it has one. */
static void take(struct sb_channel *channel, size_t length, char *line, size_t *line_length)
{
  const size_t kept = length < SB_CHANNEL_LINE_MAX ? length : SB_CHANNEL_LINE_MAX;
  const size_t used = length < channel->length ? length + 1 : length;
  memcpy(line, channel->heard, kept);
  line[kept] = 0;
  *line_length = kept;
  memmove(channel->heard, channel->heard + used, channel->length - used);
  channel->length -= used;
}

static enum sb_heard read_line(struct sb_channel *channel, double end_s, char *line, size_t *line_length)
{
  for (;;) {
    const char *end = memchr(channel->heard, '\n', channel->length);
    const size_t length = end != NULL ? (size_t)(end - channel->heard) : channel->length;
    if (length > SB_CHANNEL_LINE_MAX) {
      take(channel, length, line, line_length);
      return SB_HEARD_TOO_LONG;
    }
    if (end != NULL) {
      take(channel, length, line, line_length);
      return SB_HEARD_LINE;
    }
    enum sb_heard heard = await(channel, channel->from, POLLIN, end_s);
    size_t count;
    if (heard == SB_HEARD_LINE) heard = read_some(channel, &count);
    if (heard != SB_HEARD_LINE) return heard;
  }
}

enum sb_heard sb_channel_say(struct sb_channel *channel, const char *text, size_t length, double limit_s)
{
  return write_all(channel, text, length, now_s() + limit_s);
}

enum sb_heard sb_channel_ask(struct sb_channel *channel, const char *text, size_t length, double limit_s,
                             char line[SB_CHANNEL_LINE_MAX + 1], size_t *line_length)
{
  const double end_s = now_s() + limit_s;
  size_t count;
  /* Whoever speaks before being asked would have all later answers taken for those of the next samples. */
  enum sb_heard heard = channel->length > 0 ? SB_HEARD_TOO_MUCH : read_some(channel, &count);
  if (heard == SB_HEARD_TOO_MUCH || (heard == SB_HEARD_LINE && channel->length > 0)) {
    if (channel->heard[0] == '!') return read_line(channel, end_s, line, line_length);
    const char *end = memchr(channel->heard, '\n', channel->length);
    take(channel, end != NULL ? (size_t)(end - channel->heard) : channel->length, line, line_length);
    return SB_HEARD_TOO_MUCH;
  }
  if (heard != SB_HEARD_LINE) return heard;
  heard = write_all(channel, text, length, end_s);
  return heard == SB_HEARD_LINE ? read_line(channel, end_s, line, line_length) : heard;
}

/* Whether the child has ended; it stays to be reaped, so that its group's number can't become another's. */
bool sb_channel_is_over(const struct sb_channel *channel)
{
  siginfo_t info = {.si_pid = 0};
  return waitid(P_PID, (id_t)channel->pid, &info, WEXITED | WNOHANG | WNOWAIT) == 0 && info.si_pid == channel->pid;
}

/* Waits for the end of the child's output, or for words. A grandchild that holds the output open is not waited for. */
static bool listen_to_end(struct sb_channel *channel, double end_s)
{
  for (bool is_last = false;; is_last = sb_channel_is_over(channel)) {
    size_t count;
    const enum sb_heard heard = read_some(channel, &count);
    if (count > 0) return true;
    if (heard != SB_HEARD_LINE || is_last) return false;
    const double slice_end_s = now_s() + listen_slice_s;
    const enum sb_heard awaited = await(channel, channel->from, POLLIN, slice_end_s < end_s ? slice_end_s : end_s);
    if (awaited == SB_HEARD_STOP || awaited == SB_HEARD_FAULT || now_s() >= end_s) return false;
  }
}

/* Whether a session is that of a child that still runs; a session's number is that of its first process. */
static bool is_running(pid_t session)
{
  for (const struct sb_channel *channel = open_channels; channel != NULL; channel = channel->next) {
    if (channel->pid == session) return true;
  }
  return false;
}

/* Ends the child with its group, and what it left behind elsewhere. Returns what waitpid() says of it. */
static int end_child(struct sb_channel *channel)
{
  int status = 0;
  kill(-channel->pid, SIGKILL);
  kill(channel->pid, SIGKILL);
  pid_t reaped;
  do {
    reaped = waitpid(channel->pid, &status, 0);
  } while (reaped < 0 && errno == EINTR);
  pthread_mutex_lock(&starting);
  struct sb_channel **link = &open_channels;
  while (*link != NULL && *link != channel) link = &(*link)->next;
  if (*link != NULL) *link = channel->next;
  sb_orphans_end(is_running);
  pthread_mutex_unlock(&starting);
  return status;
}

bool sb_channel_close(struct sb_channel *channel, double limit_s, struct sb_child_end *end)
{
  const double end_s = now_s() + limit_s;
  close(channel->to);
  const bool has_spoken = channel->length > 0 || (limit_s > 0.0 && listen_to_end(channel, end_s));
  bool has_ended = sb_channel_is_over(channel);
  while (!has_ended && !has_spoken && now_s() < end_s && (channel->stop == NULL || *channel->stop == 0)) {
    nanosleep(&(struct timespec){.tv_nsec = look_ns}, NULL);
    has_ended = sb_channel_is_over(channel);
  }
  const int status = end_child(channel);
  close(channel->from);
  *end = (struct sb_child_end){has_ended, WIFEXITED(status) ? WEXITSTATUS(status) : -1,
                               WIFSIGNALED(status) ? WTERMSIG(status) : 0};
  channel->pid = -1;
  return has_spoken;
}
