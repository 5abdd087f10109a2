// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_check.c - validates scenarios and prints what follows from them without simulating. */
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include "cli/command.h"
#include "cli/output.h"
#include "shiftband/check.h"

struct request {
  struct sb_option_list files, sets;
  bool is_json, is_quiet;
  const char *discharge; /* NULL: not asked for */
};

static int write_discharge(FILE *out, const void *context)
{
  return sb_check_write_discharge_csv(context, out);
}

/* The report, and the CSV where it was asked for. */
static int write_report(const char *path, const struct request *request, const struct sb_check *check, int *written)
{
  int code = SB_EXIT_DONE;
  if (request->discharge != NULL) {
    if (!check->battery.is_present) {
      sb_command_complain("%s: --discharge needs a battery, found no supply.battery", path);
      return SB_EXIT_SCENARIO;
    }
    code = sb_command_write_file(request->discharge, (struct sb_command_writer){write_discharge, check});
    if (sb_output_is_standard(request->discharge) || code != SB_EXIT_DONE) return code;
  }
  if (request->is_quiet) return code;
  if (request->is_json) {
    (void)sb_check_write_json(check, stdout);
  } else {
    if (*written > 0) fputc('\n', stdout);
    (void)sb_check_write_text(check, stdout);
  }
  (*written)++;
  return code;
}

/* Checks one file; `*written` counts those already on standard output. */
static int check_file(const char *path, const struct request *request, int *written)
{
  struct sb_scenario scenario;
  int code = sb_command_load(path, &request->sets, &scenario);
  if (code != SB_EXIT_DONE) return code;
  struct sb_check *check = calloc(1, sizeof *check);
  if (check == NULL) {
    sb_scenario_clear(&scenario);
    return sb_command_fail(path, SB_ERR_MEMORY, NULL);
  }
  struct sb_error err = {SB_OK, ""};
  const enum sb_status status = sb_check_solve(&scenario, check, &err);
  code = status == SB_OK ? write_report(path, request, check, written) : sb_command_fail(path, status, &err);
  free(check);
  sb_scenario_clear(&scenario);
  return code;
}

/* All files are checked, whatever happens to one; the gravest code counts. */
static int run(void *context)
{
  const struct request *request = context;
  int written = 0, worst = SB_EXIT_DONE;
  for (size_t k = 0; k < request->files.count; k++) {
    const int code = check_file(request->files.items[k], request, &written);
    if (code > worst) worst = code;
  }
  return worst;
}

static const struct sb_option option_table[] = {
    SB_OPTION_SET_OF(struct request),
    {"json", 0, NULL, "one JSON object a file, on a line of its own", SB_INTO_FLAG(struct request, is_json)},
    {"discharge", 0, "FILE.csv",
     "also write the safe thresholds over the battery's charge there; - is standard output, and the report is then left out",
     SB_INTO_OUTPUT(struct request, discharge)},
    SB_OPTION_QUIET_OF(struct request),
    {0},
};

static const struct sb_option_rule rules[] = {
    {"discharge", SB_EXCLUDES, "+", "the file is about one battery"},
    {"discharge=-", SB_EXCLUDES, "json", "both use standard output"},
    {"quiet", SB_EXCLUDES, "json", "JSON is the report"},
    {0},
};

const struct sb_command sb_command_check = {
    .name = "check",
    .summary = "validate scenarios and print what follows from them without simulating",
    .usage = "[OPTION]... FILE...",
    .about =
        "Validates scenarios and prints what follows from them without simulating: the motor at its supply, ratios, steady "
        "states, stall torques, downshift and upshift torques, the hunting band, the shortest dwell, and the supply voltages below which each of these fails; with a battery the same over its charge, and the charges at which the box is stuck low, shifts down needlessly, hunts or stalls.",
    .options = option_table,
    .rules = rules,
    .files = {1, SIZE_MAX, "scenario file", offsetof(struct request, files)},
    .request_size = sizeof(struct request),
    .run = run,
};
