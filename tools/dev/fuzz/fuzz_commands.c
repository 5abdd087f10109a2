// SPDX-License-Identifier: GPL-3.0-or-later
/* fuzz_commands.c - a whole command on a scenario that is taken; which one hangs on the scenario's bytes. Output goes nowhere. */
#include "common.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "cli/command.h"

enum { WORDS_MAX = 12, STEPS_MAX = 200 };

#define COARSE "--set", "controller.threshold_step=10 %"

static const char *const lines[][WORDS_MAX] = {{"check"},
                                               {"check", "--json"},
                                               {"run"},
                                               {"run", "--json", "--compare"},
                                               {"run", "-o", "-"},
                                               {"run", "--until-warm"},
                                               {"map", COARSE},
                                               {"map", "--json", COARSE},
                                               {"map", "--jobs", "1", "--samples", "2", COARSE},
                                               {"map", "--any-load", COARSE},
                                               {"emit"},
                                               {"emit", "--as", "ladder"},
                                               {"emit", "--as", "blocks"},
                                               {"tune", "--jobs", "1", "--samples", "0", COARSE}};

static const struct sb_command *command_of(const char *name)
{
  int k = 0;
  while (strcmp(sb_commands[k]->name, name) != 0) k++;
  return sb_commands[k];
}

static bool is_known(int code)
{
#define IS_CODE(name, number, text) || code == number
  return false SB_EXIT_LIST(IS_CODE);
#undef IS_CODE
}

static void run_line(const char *const *line, const char *path, const char *set)
{
  const struct sb_command *command = command_of(line[0]);
  char words[WORDS_MAX + 4][128], *argv[WORDS_MAX + 4];
  int argc = 0;
  for (; line[argc] != NULL; argc++) snprintf(words[argc], sizeof words[argc], "%s", line[argc]);
  snprintf(words[argc++], sizeof words[argc], "--set");
  snprintf(words[argc++], sizeof words[argc], "%s", set);
  snprintf(words[argc++], sizeof words[argc], "%s", path);
  for (int k = 0; k < argc; k++) argv[k] = words[k];
  argv[argc] = NULL;
  void *request = calloc(1, command->request_size + 1);
  if (request == NULL) abort();
  sb_command_begin(command->name);
  if (command->defaults != NULL) memcpy(request, command->defaults, command->request_size);
  const enum sb_parsed parsed = sb_options_read(command, argc, argv, request);
  fuzz_demand(parsed == SB_PARSED, "the options of %s are not read", line[0]);
  const int code = command->run(request);
  fuzz_demand(is_known(code) && code != SB_EXIT_USAGE, "%s ends with %d", line[0], code);
  sb_options_clear(command, request);
  free(request);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
  static struct sb_scenario scenario;
  char set[64];
  uint32_t sum = 0;
  if (!fuzz_scenario((const char *)data, size, &scenario)) return 0;
  for (size_t k = 0; k < size; k++) sum = sum * 31 + data[k];
  const struct sb_run_setup run = scenario.model.run;
  const double most_s = STEPS_MAX * run.step_s;
  snprintf(set, sizeof set, "run.duration=%.17g s", run.duration_s < most_s ? run.duration_s : most_s);
  sb_scenario_clear(&scenario);
  run_line(lines[(sum >> 8) % (sizeof lines / sizeof lines[0])], fuzz_file("fuzz.yaml", data, size), set);
  return 0;
}
