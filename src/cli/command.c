// SPDX-License-Identifier: GPL-3.0-or-later
/* command.c - what the commands share; see command.h. */
#include "cli/command.h"

#include <errno.h>
#include <poll.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "base/unseen.h"
#include "cli/output.h"
#include "shiftband/status.h"

static const char *command; /* NULL: none yet */
static const char *program = "shiftband";

const char *sb_command_version(void)
{
  return "shiftband " SB_VERSION;
}

const char *sb_command_program(void)
{
  return program;
}

void sb_command_set_program(const char *path)
{
  program = path;
}

int sb_command_exit(enum sb_status status)
{
  switch (status) {
    case SB_OK: return SB_EXIT_DONE;
    case SB_ERR_USAGE: return SB_EXIT_USAGE;
    case SB_ERR_SCENARIO: return SB_EXIT_SCENARIO;
    case SB_ERR_IO: return SB_EXIT_IO;
    case SB_ERR_CONTROLLER: return SB_EXIT_CONTROLLER;
    case SB_ERR_MEMORY:
    case SB_ERR_STOPPED: /* told by whoever asked for it */
    case SB_ERR_NUMERICS: return SB_EXIT_GAVE_UP;
  }
  return SB_EXIT_GAVE_UP;
}

void sb_command_begin(const char *name)
{
  command = name;
}

/* All messages but those with a place of their own are written here. */
static void put(const char *kind, const char *format, va_list arguments)
{
  char raw[8192], text[2 * sizeof raw];
  vsnprintf(raw, sizeof raw, format, arguments);
  sb_unseen_show(raw, text, sizeof text);                   /* names of files and of others' things stand in it */
  const bool is_about_input = strncmp(text, "-: ", 3) == 0; /* a file's name, which many messages begin with */
  fprintf(stderr, "shiftband%s%s: %s%s%s\n", command != NULL ? " " : "", command != NULL ? command : "", kind,
          is_about_input ? "standard input" : "", is_about_input ? text + 1 : text);
}

void sb_command_complain(const char *format, ...)
{
  va_list arguments;
  va_start(arguments, format);
  put("", format, arguments);
  va_end(arguments);
}

void sb_command_warn(const char *format, ...)
{
  va_list arguments;
  va_start(arguments, format);
  put("warning: ", format, arguments);
  va_end(arguments);
}

static void note(const char *format, ...) __attribute__((format(printf, 1, 2)));
static void note(const char *format, ...)
{
  va_list arguments;
  va_start(arguments, format);
  put("note: ", format, arguments);
  va_end(arguments);
}

void sb_command_note_commas(const char *path)
{
  sb_command_warn("%s: decimal commas are read as points", path);
}

void sb_command_note_log(const char *path, const struct sb_log *log)
{
  if (log->has_decimal_commas) sb_command_note_commas(path);
  if (log->late_count == 0) return;
  sb_command_warn("%s: %zu row%s set aside, the first in line %ld: the time goes back by less than a row", path,
                  log->late_count, log->late_count == 1 ? " is" : "s are", log->late_line);
}

int sb_command_usage(const char *format, ...)
{
  va_list arguments;
  va_start(arguments, format);
  put("", format, arguments);
  va_end(arguments);
  fprintf(stderr, "See `shiftband%s%s --help`.\n", command != NULL ? " " : "", command != NULL ? command : "");
  return SB_EXIT_USAGE;
}

int sb_command_fail(const char *path, enum sb_status status, const struct sb_error *err)
{
  const char *meaning = status == SB_ERR_IO && errno != 0 ? strerror(errno) : sb_status_text(status);
  const char *text = err != NULL && err->text[0] != 0 ? err->text : meaning;
  if (status == SB_ERR_USAGE) return sb_command_usage("%s", text);
  sb_command_complain("%s%s%s", path != NULL ? path : "", path != NULL ? ": " : "", text);
  return sb_command_exit(status);
}

/* A message that has its place already. */
static void say_line(const char *raw)
{
  char text[8192];
  fprintf(stderr, "%s\n", sb_unseen_show(raw, text, sizeof text));
}

int sb_command_fail_faults(const char *path, enum sb_status status, struct sb_faults *faults)
{
  if (status != SB_OK && faults->count == 0) sb_command_fail(path, status, NULL);
  for (size_t k = 0; status != SB_OK && k < faults->count; k++) say_line(faults->texts[k]);
  sb_faults_clear(faults);
  return sb_command_exit(status);
}

bool sb_command_is_pipe_closed(void)
{
  struct pollfd standard = {.fd = STDOUT_FILENO, .events = POLLOUT};
  return poll(&standard, 1, 0) == 1 && (standard.revents & POLLERR) != 0;
}

int sb_command_fail_writing(const char *path)
{
  const int reason = errno;
  const bool is_standard = sb_output_is_standard(path);
  if (is_standard && sb_command_is_pipe_closed()) return SB_EXIT_PIPE;
  sb_command_complain("%s: %s", is_standard ? "standard output" : path,
                      reason != 0 ? strerror(reason) : "writing failed");
  return reason == ENOMEM ? sb_command_exit(SB_ERR_MEMORY) : SB_EXIT_IO;
}

void sb_command_note_unit(const char *option, const char *text)
{
  struct sb_unit_text unit;
  const char *value = strchr(text, '=');
  if (value == NULL || !sb_units_taken_as(value + 1, SB_TORQUE, &unit)) return;
  note("--%s %.*s: %s is taken as %s", option, (int)(value - text), text, sb_fail_quote(value + 1).text, unit.text);
}

void sb_command_say_notes(const struct sb_scenario *scenario)
{
  if (scenario->comma_count + scenario->notes.count > 0)
    fflush(stdout); /* whole lines first where both go to one place */
  for (size_t k = 0; k < scenario->comma_count; k++) sb_command_note_commas(scenario->comma_tables[k]);
  for (size_t k = 0; k < scenario->notes.count; k++) say_line(scenario->notes.texts[k]);
}

int sb_command_load(const char *path, const struct sb_option_list *sets, struct sb_scenario *out)
{
  struct sb_faults faults = {0};
  const enum sb_status status = sb_scenario_load(path, sets->items, sets->count, out, &faults);
  if (status == SB_OK) sb_command_say_notes(out);
  return sb_command_fail_faults(path, status, &faults);
}

int sb_command_write_file(const char *path, struct sb_command_writer writer)
{
  struct sb_output output;
  errno = 0;
  int failed = sb_output_open(&output, path);
  if (failed == 0) {
    failed = writer.write(output.stream, writer.context);
    if (failed == 0) {
      failed = sb_output_commit(&output);
    } else {
      const int reason = errno;
      sb_output_drop(&output);
      errno = reason;
    }
  }
  return failed == 0 ? SB_EXIT_DONE : sb_command_fail_writing(path);
}
