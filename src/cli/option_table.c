// SPDX-License-Identifier: GPL-3.0-or-later
/* option_table.c - what stands in a command's table of options, and what was called otherwise before. */
#include <string.h>

#include "cli/option_reader.h"

bool sb_option_is_end(const struct sb_option *option)
{
  return option->name == NULL && option->help == NULL;
}

const struct sb_option *sb_option_find(const struct sb_option *options, const char *name, size_t length)
{
  for (const struct sb_option *o = options; !sb_option_is_end(o); o++) {
    if (o->name != NULL && strlen(o->name) == length && strncmp(o->name, name, length) == 0) return o;
  }
  return NULL;
}

struct sb_option_list *sb_option_operands(const struct sb_option_reader *reader)
{
  return (struct sb_option_list *)(void *)(reader->request + reader->command->files.offset);
}

void sb_option_list_add(struct sb_option_list *list, const char *word)
{
  list->items[list->count++] = word;
}

const struct sb_option_old sb_option_old_names[] = {{"down", "downshift"}, {"up", "upshift"}, {NULL, NULL}};

const struct sb_option_old sb_option_old_verdicts[] = {
    {"downshift-for-nothing", "needless-downshift"}, {"parting", "deviation"}, {NULL, NULL}};

const char *sb_option_find_old(const struct sb_option_old *words, const char *word)
{
  while (words->was != NULL && strcmp(words->was, word) != 0) words++;
  return words->now;
}
