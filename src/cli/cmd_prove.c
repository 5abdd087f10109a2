// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_prove.c - what holds for every load within bounds. */
#include <stddef.h>

#include "cli/command.h"
#include "shiftband/prove.h"

struct request {
  struct sb_option_list files, sets;
  bool is_json, is_quiet;
};

static int run(void *context)
{
  const struct request *request = context;
  struct sb_scenario scenario;
  const int code = sb_command_load(request->files.items[0], &request->sets, &scenario);
  if (code != SB_EXIT_DONE) return code;
  struct sb_prove prove;
  struct sb_error err = {SB_OK, ""};
  const enum sb_status status = sb_prove_solve(&scenario.model, &prove, &err);
  if (status == SB_OK && !request->is_quiet) {
    (void)(request->is_json ? sb_prove_write_json : sb_prove_write_text)(&prove, stdout);
  }
  sb_scenario_clear(&scenario);
  return status == SB_OK ? SB_EXIT_DONE : sb_command_fail(request->files.items[0], status, &err);
}

static const struct sb_option option_table[] = {
    SB_OPTION_SET_OF(struct request),
    {"json", 0, NULL, "one JSON object on one line", SB_INTO_FLAG(struct request, is_json)},
    SB_OPTION_QUIET_OF(struct request),
    {0},
};

static const struct sb_option_rule rules[] = {
    {"quiet", SB_EXCLUDES, "json", "JSON is the report"},
    {0},
};

const struct sb_command sb_command_prove = {
    .name = "prove",
    .summary = "say what holds for every load within bounds, whatever its profile",
    .usage = "[OPTION]... FILE",
    .about =
        "A run speaks of one load profile. This says what holds for every one within load.bounds of the scenario, or "
        "within the least and greatest of its own load: whether the output can stall, how soon the box is back in its "
        "fastest gear, whether a constant load makes it hunt and what swing of the load makes it shift for ever, how "
        "fast shifts can follow each other, and the worst that shifts, speeds, torques and currents come to. Each "
        "statement is proved, disproved or undecided. Topic: prove.",
    .options = option_table,
    .rules = rules,
    .files = {1, 1, "scenario file", offsetof(struct request, files)},
    .request_size = sizeof(struct request),
    .run = run,
};
