// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_check.c - validates scenarios and prints what follows from them without simulating. */
#include <stdlib.h>
#include <string.h>

#include "cli/command.h"
#include "cli/options.h"
#include "shiftband/check.h"

enum { OPTION_SET = 1, OPTION_JSON, OPTION_DISCHARGE };

static const struct sb_option options[] = {
    {"set", 0, true, OPTION_SET},
    {"json", 0, false, OPTION_JSON},
    {"discharge", 0, true, OPTION_DISCHARGE},
    {NULL, 0, false, 0},
};

static const char help[] =
    "usage: shiftband check [OPTION]... FILE...\n\n"
    "Validates scenarios and prints what follows from them without simulating: the motor at its supply,\n"
    "ratios, steady states, stall torques, downshift and upshift torques, the hunting band, the shortest\n"
    "dwell, and the supply voltages below which each ends; with a battery the same over its charge,\n"
    "and at which charge the box begins to be stuck low, to shift down needlessly, to hunt, to stall.\n\n"
    "  --set PATH=VALUE      replaces or adds one key first; may be given more than once\n"
    "  --json                one JSON object a file, on a line of its own\n"
    "  --discharge FILE.csv  also writes the safe thresholds over the battery's charge there, for one\n"
    "                        scenario; - is standard output, and the words are then left out\n"
    "  --help                this text\n";

struct arguments {
  struct sb_words files;
  struct sb_words sets;
  bool is_json;
  const char *discharge; /* NULL: not asked for */
};

static int write_discharge(FILE *out, const void *context)
{
  return sb_check_write_discharge_csv(context, out);
}

/* The report, and the CSV where it was asked for. */
static int write_report(const char *path, const struct arguments *arguments, const struct sb_check *check, int *written)
{
  int code = SB_EXIT_DONE;
  if (arguments->discharge != NULL) {
    if (!check->battery.is_present) {
      sb_command_complain("%s: --discharge needs a battery, found no supply.battery", path);
      return SB_EXIT_SCENARIO;
    }
    code = sb_command_write_file(arguments->discharge, (struct sb_command_writer){write_discharge, check});
    if (strcmp(arguments->discharge, "-") == 0 || code != SB_EXIT_DONE) return code;
  }
  if (arguments->is_json) {
    (void)sb_check_write_json(check, stdout);
  } else {
    if (*written > 0) fputc('\n', stdout);
    (void)sb_check_write_text(check, stdout);
  }
  (*written)++;
  return code;
}

/* Checks one file; `*written` counts those already on standard output. */
static int check_file(const char *path, const struct arguments *arguments, int *written)
{
  struct sb_scenario scenario;
  int code = sb_command_load(path, arguments->sets.items, arguments->sets.count, &scenario);
  if (code != SB_EXIT_DONE) return code;
  struct sb_check *check = calloc(1, sizeof *check);
  if (check == NULL) {
    sb_scenario_clear(&scenario);
    sb_command_complain("%s: %s", path, sb_status_text(SB_ERR_MEMORY));
    return SB_EXIT_GAVE_UP;
  }
  struct sb_error err = {SB_OK, ""};
  const enum sb_status status = sb_check_solve(&scenario, check, &err);
  if (status == SB_OK) {
    code = write_report(path, arguments, check, written);
  } else {
    sb_command_complain("%s: %s", path, err.text);
    code = sb_command_exit(status);
  }
  free(check);
  sb_scenario_clear(&scenario);
  return code;
}

/* All files are checked, whatever happens to one; the gravest code counts. */
static int check_files(const struct arguments *arguments)
{
  int written = 0;
  int worst = SB_EXIT_DONE;
  for (size_t k = 0; k < arguments->files.count; k++) {
    const int code = check_file(arguments->files.items[k], arguments, &written);
    if (code > worst) worst = code;
  }
  return worst;
}

/* Reads the command line; SB_EXIT_DONE with no files means that the help was asked for and given. */
static int read_arguments(struct arguments *arguments, int argc, char **argv)
{
  struct sb_option_reader reader;
  sb_options_init(&reader, options, argc, argv);
  for (int id; (id = sb_options_next(&reader)) != SB_OPTION_END;) {
    switch (id) {
      case OPTION_SET: sb_words_add(&arguments->sets, reader.value); break;
      case OPTION_JSON: arguments->is_json = true; break;
      case OPTION_DISCHARGE: arguments->discharge = reader.value; break;
      case SB_OPTION_OPERAND: sb_words_add(&arguments->files, reader.value); break;
      case SB_OPTION_HELP:
        fputs(help, stdout);
        arguments->files.count = 0;
        return SB_EXIT_DONE;
      default: return SB_EXIT_USAGE;
    }
  }
  const struct sb_words *files = &arguments->files;
  if (files->count == 0) return sb_options_complain(&reader, "needs a scenario file");
  if (arguments->discharge == NULL) return SB_EXIT_DONE;
  if (files->count > 1) return sb_options_complain(&reader, "--discharge takes one scenario file");
  if (strcmp(arguments->discharge, "-") == 0 && arguments->is_json) {
    return sb_options_complain(&reader, "--discharge - and --json both want standard output");
  }
  return sb_command_check_output("check", "--discharge", arguments->discharge, files->items, files->count);
}

int sb_cmd_check(int argc, char **argv)
{
  struct arguments arguments = {0};
  int code = SB_EXIT_GAVE_UP;
  if (sb_words_init(&arguments.files, argc) && sb_words_init(&arguments.sets, argc)) {
    code = read_arguments(&arguments, argc, argv);
    if (code == SB_EXIT_DONE) code = check_files(&arguments);
  }
  sb_words_clear(&arguments.files);
  sb_words_clear(&arguments.sets);
  return code;
}
