// SPDX-License-Identifier: GPL-3.0-or-later
/* fuzz_options.c - lines as the words of a command line, the first one the command: read or refused, and nothing is run. */
#include "common.h"

#include <stdlib.h>
#include <string.h>

#include "cli/command.h"

enum { WORDS_MAX = 60 };

static void read_words(const struct sb_command *command, int argc, char **argv)
{
  void *request = calloc(1, command->request_size + 1);
  if (request == NULL) abort();
  sb_command_begin(command->name);
  if (command->defaults != NULL) memcpy(request, command->defaults, command->request_size);
  const enum sb_parsed parsed = sb_options_read(command, argc, argv, request);
  fuzz_demand(parsed != SB_PARSED_NO_MEMORY, "out of memory for a few words");
  sb_options_clear(command, request);
  free(request);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
  char *argv[WORDS_MAX + 1], *rest = NULL;
  int argc = 0;
  char *text = strndup((const char *)data, size);
  fuzz_demand(text != NULL, "out of memory");
  for (char *word = strtok_r(text, "\n", &rest); word != NULL && argc < WORDS_MAX; word = strtok_r(NULL, "\n", &rest)) {
    argv[argc++] = word;
  }
  argv[argc] = NULL;
  for (int k = 0; argc > 0 && sb_commands[k] != NULL; k++) {
    if (strcmp(argv[0], sb_commands[k]->name) == 0) read_words(sb_commands[k], argc, argv);
  }
  free(text);
  return 0;
}
