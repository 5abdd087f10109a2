// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_check.c - validates scenarios and prints what follows from them without simulating. */
#include <stdlib.h>
#include <string.h>

#include "check.h"
#include "command.h"
#include "options.h"

enum { OPTION_SET = 1, OPTION_JSON };

static const struct sb_option options[] = {
    {"set", 0, true, OPTION_SET},
    {"json", 0, false, OPTION_JSON},
    {NULL, 0, false, 0},
};

static const char help[] =
    "usage: shiftband check [OPTION]... FILE...\n\n"
    "Validates scenarios and prints what follows from them without simulating: the motor at its supply,\n"
    "ratios, settled speeds, stall torques, downshift and upshift torques, the hunting band, the shortest\n"
    "dwell, and the supply voltages at which each stops holding.\n\n"
    "  --set PATH=VALUE   replaces or adds one key first; may be given more than once\n"
    "  --json             one JSON object a file, on a line of its own\n"
    "  --help             this text\n";

struct arguments {
  struct sb_words files;
  struct sb_words sets;
  bool is_json;
};

static void fill_case(struct sb_check_case *at, const struct sb_model *model, const char *label, double voltage_v)
{
  at->label = label;
  at->model = *model;
  at->model.supply.open_circuit_voltage_v = voltage_v;
  at->line = sb_closed_form_line(&at->model);
  at->form = sb_closed_form_solve(&at->model);
}

static void fill_report(struct sb_check_report *report, const struct sb_scenario *scenario)
{
  const struct sb_model *model = &scenario->model;
  fill_case(&report->cases[SB_CHECK_NOMINAL], model, "nominal", model->supply.open_circuit_voltage_v);
  report->case_count = 1;
  for (int k = 0; k < scenario->tolerance_count; k++) {
    const struct sb_tolerance *tolerance = &scenario->tolerances[k];
    if (strcmp(tolerance->path, "supply.open_circuit_voltage") != 0) continue;
    fill_case(&report->cases[SB_CHECK_LEAST], model, "least", tolerance->least);
    fill_case(&report->cases[SB_CHECK_GREATEST], model, "greatest", tolerance->greatest);
    report->case_count = SB_CHECK_CASE_MAX;
  }
  sb_check_find_notes(report);
}

/* Checks one file; `*written` counts those already on standard output. */
static int check_file(const char *path, const struct arguments *arguments, int *written)
{
  struct sb_scenario scenario;
  const int code = sb_command_load(path, arguments->sets.items, arguments->sets.count, &scenario);
  if (code != SB_EXIT_DONE) return code;
  struct sb_check_report *report = calloc(1, sizeof *report);
  if (report == NULL) {
    sb_scenario_clear(&scenario);
    sb_command_complain("%s: %s", path, sb_status_text(SB_ERR_MEMORY));
    return SB_EXIT_GAVE_UP;
  }
  fill_report(report, &scenario);
  if (arguments->is_json) {
    sb_check_write_json(report, stdout);
  } else {
    if (*written > 0) fputc('\n', stdout);
    sb_check_write_text(report, stdout);
  }
  (*written)++;
  free(report);
  sb_scenario_clear(&scenario);
  return SB_EXIT_DONE;
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
      case SB_OPTION_OPERAND: sb_words_add(&arguments->files, reader.value); break;
      case SB_OPTION_HELP:
        fputs(help, stdout);
        arguments->files.count = 0;
        return SB_EXIT_DONE;
      default: return SB_EXIT_USAGE;
    }
  }
  if (arguments->files.count == 0) return sb_options_complain(&reader, "needs a scenario file");
  return SB_EXIT_DONE;
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
