// SPDX-License-Identifier: GPL-3.0-or-later
/* command.c - what the commands share; see command.h. */
#include "cli/command.h"

#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "cli/log_facts.h"
#include "cli/output.h"

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

void sb_command_complain(const char *format, ...)
{
  va_list arguments;
  va_start(arguments, format);
  fputs("shiftband: ", stderr);
  vfprintf(stderr, format, arguments);
  fputc('\n', stderr);
  va_end(arguments);
}

int sb_command_load(const char *path, const char *const *sets, size_t set_count, struct sb_scenario *out)
{
  struct sb_faults faults = {0};
  const enum sb_status status = sb_scenario_load(path, sets, set_count, out, &faults);
  for (size_t k = 0; status != SB_OK && k < faults.count; k++) {
    fprintf(stderr, "%s\n", faults.texts[k]);
  }
  if (status != SB_OK && faults.count == 0) sb_command_complain("%s: %s", path, sb_status_text(status));
  sb_faults_clear(&faults);
  for (size_t k = 0; status == SB_OK && k < out->comma_count; k++) sb_log_facts_note_commas(out->comma_tables[k]);
  return sb_command_exit(status);
}

int sb_command_check_output(const char *command, const char *option, const char *output, const char *const *inputs,
                            size_t input_count)
{
  for (size_t k = 0; output != NULL && k < input_count; k++) {
    if (!sb_output_is_same_file(output, inputs[k])) continue;
    sb_command_complain("%s: %s %s would replace the input %s", command, option, output, inputs[k]);
    return SB_EXIT_USAGE;
  }
  return SB_EXIT_DONE;
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
      sb_output_drop(&output);
    }
  }
  if (failed == 0) return SB_EXIT_DONE;
  sb_command_complain("%s: %s", strcmp(path, "-") == 0 ? "standard output" : path,
                      errno != 0 ? strerror(errno) : "writing failed");
  return SB_EXIT_IO;
}
