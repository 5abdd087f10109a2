// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_keys.c - all keys of a scenario, and all members of what commands write for machines: as a manual, as JSON Schemas. */
#include <string.h>

#include "base/nearest.h"
#include "cli/command.h"
#include "cli/topic.h"
#include "shiftband/outputs.h"
#include "text/records.h"

struct request {
  struct sb_option_list commands;
  bool is_json;
};

static int refuse(const char *command)
{
  const char *names[16] = {NULL};
  int count = 0;
  for (const struct sb_record *const *output = sb_records_outputs; *output != NULL && count < 15; output++) {
    if (strchr((*output)->name, ' ') == NULL) names[count++] = (*output)->name;
  }
  char list[128] = "";
  for (int k = 0; k < count; k++)
    snprintf(list + strlen(list), sizeof list - strlen(list), "%s%s", k > 0 ? ", " : "", names[k]);
  return sb_command_usage("%s writes no JSON%s; these do: %s", command, sb_nearest_hint(command, names).text, list);
}

static int run(void *context)
{
  const struct request *request = context;
  const char *command = request->commands.count > 0 ? request->commands.items[0] : NULL;
  int written = 0;
  if (command != NULL && sb_records_find(sb_records_outputs, command) == NULL) return refuse(command);
  if (command == NULL) {
    written = (request->is_json ? sb_scenario_write_schema : sb_scenario_write_keys)(stdout);
  } else if (request->is_json) {
    written = sb_outputs_write_schema(stdout, command);
  } else {
    sb_topic_put_members(stdout, command, &sb_topic_terminal);
  }
  return written == 0 ? SB_EXIT_DONE : sb_command_fail_writing("-");
}

static const struct sb_option option_table[] = {
    {"json", 0, NULL,
     "print a JSON Schema: of scenario files, by which editors complete and check them while you type; behind a COMMAND that of what "
     "its --json writes",
     SB_INTO_FLAG(struct request, is_json)},
    {0}};

const struct sb_command sb_command_keys = {
    .name = "keys",
    .summary = "every scenario key with unit, range, default and meaning; every member of JSON",
    .usage = "[--json] [COMMAND]",
    .about =
        "Prints every scenario key with its unit, range, default and meaning; behind the name of a command (run, check, map, ...) "
        "every member of the JSON and every column of the CSV that it writes.",
    .options = option_table,
    .files = {0, 1, "command", offsetof(struct request, commands)},
    .request_size = sizeof(struct request),
    .run = run,
};
