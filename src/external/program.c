// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/external_program.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/unseen.h"
#include "external/channel.h"
#include "external/protocol.h"
#include "shiftband/units.h"

/* The first answer waits for a program to start, an interpreter with its libraries maybe. */
static const double first_answer_factor = 10.0;

struct program_run {
  const struct sb_external_program *program;
  struct sb_channel channel;
  bool has_answered;
};

/* Names of the signals that a fault raises; strsignal() is not safe in threads. */
static const char *signal_words(int number)
{
  static const struct {
    int number;
    const char *words;
  } known[] = {{SIGSEGV, ", a memory fault"},     {SIGBUS, ", a memory fault"},
               {SIGFPE, ", an arithmetic fault"}, {SIGILL, ", an illegal instruction"},
               {SIGABRT, ", it aborted"},         {SIGKILL, ", by force"},
               {SIGTERM, ", asked to end"},       {SIGPIPE, ", its reader had gone"}};
  for (size_t k = 0; k < sizeof known / sizeof known[0]; k++) {
    if (known[k].number == number) return known[k].words;
  }
  return "";
}

static const char *code_words(int code)
{
  if (code == 127) return " (of a shell: there is no such command)";
  if (code == 126) return " (of a shell: that is no program)";
  return "";
}

/* It closed its output: why is told by how it ends. */
static enum sb_status tell_end(struct program_run *run, struct sb_error *err)
{
  struct sb_child_end end;
  char said[SB_CHANNEL_LINE_MAX + 1], partly[sizeof(struct sb_quote) + 64] = "";
  const size_t length = run->channel.length < SB_CHANNEL_LINE_MAX ? run->channel.length : SB_CHANNEL_LINE_MAX;
  memcpy(said, run->channel.heard, length);
  said[length] = 0;
  if (said[0] != 0) snprintf(partly, sizeof partly, " in the middle of the answer %s", sb_fail_quote(said).text);
  run->channel.length = 0;
  sb_channel_close(&run->channel, run->program->timeout_s, &end);
  const char *when = run->has_answered ? "" : " before its first answer";
  if (!end.has_ended) return sb_fail(err, SB_ERR_CONTROLLER, "closed its output%s%s", partly, when);
  if (end.signal != 0) {
    return sb_fail(err, SB_ERR_CONTROLLER, "died%s%s by signal %d%s", partly, when, end.signal,
                   signal_words(end.signal));
  }
  return sb_fail(err, SB_ERR_CONTROLLER, "ended%s%s with exit code %d%s", partly, when, end.code, code_words(end.code));
}

/* What became of asking, when it was no answer. */
static enum sb_status tell_fault(struct program_run *run, enum sb_heard heard, double limit_s, const char *line,
                                 struct sb_error *err)
{
  switch (heard) {
    case SB_HEARD_LATE:
      if (sb_channel_is_over(&run->channel)) return tell_end(run, err);
      return sb_fail(err, SB_ERR_CONTROLLER, "did not answer within %.6g s%s", limit_s,
                     run->has_answered ? "" : "; does its answer leave at once, flushed after each line?");
    case SB_HEARD_END: return tell_end(run, err);
    case SB_HEARD_TOO_LONG:
      return sb_fail(err, SB_ERR_CONTROLLER, "answered a line of more than %d bytes, %s", SB_CHANNEL_LINE_MAX,
                     sb_fail_quote(line).text);
    case SB_HEARD_TOO_MUCH:
      return sb_fail(err, SB_ERR_CONTROLLER, "wrote %s before it was asked; needs one line for each sample",
                     sb_fail_quote(line).text);
    case SB_HEARD_STOP: return sb_fail(err, SB_ERR_STOPPED, "stopped");
    case SB_HEARD_FAULT:
    case SB_HEARD_LINE: break;
  }
  return sb_fail(err, SB_ERR_CONTROLLER, "communication with it failed: %s", strerror(errno));
}

static enum sb_status begin(void *context, const struct sb_own_input *input, void **out, struct sb_error *err)
{
  const struct sb_external_program *program = context;
  char text[SB_PROTOCOL_HEADER_SIZE];
  struct program_run *run = calloc(1, sizeof *run);
  if (run == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for a controller");
  run->program = program;
  enum sb_status status = sb_channel_open(&run->channel, program->argv, program->stop, err);
  if (status != SB_OK) {
    free(run);
    return status;
  }
  const size_t length = sb_protocol_write_header(text, input);
  const double limit_s = first_answer_factor * program->timeout_s;
  const enum sb_heard heard = sb_channel_say(&run->channel, text, length, limit_s);
  if (heard != SB_HEARD_LINE) {
    struct sb_child_end end;
    status = tell_fault(run, heard, limit_s, "", err);
    sb_channel_close(&run->channel, 0.0, &end);
    free(run);
    return status;
  }
  *out = run;
  return SB_OK;
}

static enum sb_status decide(void *context, const struct sb_own_input *input, int *gear, struct sb_error *err)
{
  struct program_run *run = context;
  char text[SB_PROTOCOL_SAMPLE_SIZE], line[SB_CHANNEL_LINE_MAX + 1] = "";
  size_t line_length = 0;
  const size_t length = sb_protocol_write_sample(text, input);
  const double limit_s = (run->has_answered ? 1.0 : first_answer_factor) * run->program->timeout_s;
  const enum sb_heard heard = sb_channel_ask(&run->channel, text, length, limit_s, line, &line_length);
  if (heard != SB_HEARD_LINE) return tell_fault(run, heard, limit_s, line, err);
  if (line[0] == '!') {
    char shown[SB_UNSEEN_SHOWN_SIZE];
    return sb_fail(err, SB_ERR_CONTROLLER, "gave up: %s",
                   sb_unseen_show(line + 1 + strspn(line + 1, " "), shown, sizeof shown));
  }
  *gear = sb_protocol_read_answer(line, line_length);
  if (*gear < 0) {
    return sb_fail(err, SB_ERR_CONTROLLER, "answered %s; needs a gear from 1 to %d", sb_fail_quote(line).text,
                   (int)input->gear_count);
  }
  run->has_answered = true;
  return SB_OK;
}

static enum sb_status end_run(void *context, bool is_whole, struct sb_error *err)
{
  struct program_run *run = context;
  struct sb_child_end end;
  enum sb_status status = SB_OK;
  if (run->channel.pid > 0) {
    const bool has_spoken = sb_channel_close(&run->channel, is_whole ? run->program->timeout_s : 0.0, &end);
    if (is_whole && has_spoken) {
      status = sb_fail(err, SB_ERR_CONTROLLER, "wrote more than one line for each sample");
    }
  }
  free(run);
  return status;
}

struct sb_decider sb_external_program_decider(const struct sb_external_program *program)
{
  /* The context is only read. */
  return (struct sb_decider){
      .name = program->name, .context = (void *)(uintptr_t)program, .begin = begin, .decide = decide, .end = end_run};
}
