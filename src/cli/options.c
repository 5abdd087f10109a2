// SPDX-License-Identifier: GPL-3.0-or-later
/* options.c - see options.h. */
#include "cli/options.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/nearest.h"
#include "cli/command.h"
#include "cli/old_words.h"

enum { NAME_LENGTH_MAX = 32, KNOWN_MAX = 32 };

void sb_options_init(struct sb_option_reader *reader, const struct sb_option *options, int argc, char **argv)
{
  *reader = (struct sb_option_reader){.options = options, .command = argv[0], .argc = argc, .argv = argv, .next = 1};
}

int sb_options_complain(const struct sb_option_reader *reader, const char *format, ...)
{
  va_list arguments;
  va_start(arguments, format);
  fprintf(stderr, "shiftband %s: ", reader->command);
  vfprintf(stderr, format, arguments);
  fprintf(stderr, "\nSee `shiftband %s --help`.\n", reader->command);
  va_end(arguments);
  return SB_EXIT_USAGE;
}

static int fault_unknown(const struct sb_option_reader *reader, const char *word, const char *name)
{
  const char *names[KNOWN_MAX + 2] = {"help"};
  size_t count = 1;
  for (const struct sb_option *o = reader->options; o->name != NULL && count <= KNOWN_MAX; o++)
    names[count++] = o->name;
  const char *now = sb_old_words_find(sb_old_options, name);
  if (now != NULL && sb_options_find_word(now, names) >= 0) {
    sb_options_complain(reader, "%s is now called --%s", word, now);
    return SB_OPTION_FAULT;
  }
  const char *nearest = sb_nearest_word(name, names);
  if (nearest != NULL) {
    sb_options_complain(reader, "no option %s; did you mean --%s?", word, nearest);
  } else {
    sb_options_complain(reader, "no option %s", word);
  }
  return SB_OPTION_FAULT;
}

/* The option's value: what stands after it in its own word, or the next argument. */
static int take_value(struct sb_option_reader *reader, const struct sb_option *option, const char *attached)
{
  reader->value = NULL;
  if (!option->takes_value) return option->id;
  if (attached != NULL) {
    reader->value = attached;
  } else if (reader->next < reader->argc) {
    reader->value = reader->argv[reader->next++];
  } else {
    sb_options_complain(reader, "--%s needs a value", option->name);
    return SB_OPTION_FAULT;
  }
  return option->id;
}

static int read_long(struct sb_option_reader *reader, const char *word)
{
  const char *name = word + 2;
  const char *equals = strchr(name, '=');
  const size_t length = equals != NULL ? (size_t)(equals - name) : strlen(name);
  if (length == 4 && strncmp(name, "help", 4) == 0 && equals == NULL) return SB_OPTION_HELP;
  for (const struct sb_option *o = reader->options; o->name != NULL; o++) {
    if (strlen(o->name) != length || strncmp(o->name, name, length) != 0) continue;
    if (equals != NULL && !o->takes_value) {
      sb_options_complain(reader, "--%s takes no value", o->name);
      return SB_OPTION_FAULT;
    }
    return take_value(reader, o, equals != NULL ? equals + 1 : NULL);
  }
  char asked[NAME_LENGTH_MAX + 1];
  snprintf(asked, sizeof asked, "%.*s", length < NAME_LENGTH_MAX ? (int)length : NAME_LENGTH_MAX, name);
  return fault_unknown(reader, word, asked);
}

static int read_letter(struct sb_option_reader *reader)
{
  const char letter = *reader->letters;
  const char *rest = reader->letters[1] != 0 ? reader->letters + 1 : NULL;
  reader->letters = rest;
  if (letter == 'h') return SB_OPTION_HELP;
  for (const struct sb_option *o = reader->options; o->name != NULL; o++) {
    if (o->letter != letter) continue;
    if (o->takes_value) reader->letters = NULL;
    return take_value(reader, o, rest);
  }
  const char word[3] = {'-', letter, 0};
  return fault_unknown(reader, word, "");
}

int sb_options_next(struct sb_option_reader *reader)
{
  if (reader->letters != NULL) return read_letter(reader);
  if (reader->next >= reader->argc) return SB_OPTION_END;
  const char *word = reader->argv[reader->next++];
  if (!reader->is_past_options && strcmp(word, "--") == 0) {
    reader->is_past_options = true;
    return sb_options_next(reader);
  }
  if (!reader->is_past_options && strncmp(word, "--", 2) == 0) return read_long(reader, word);
  if (!reader->is_past_options && word[0] == '-' && word[1] != 0) {
    reader->letters = word + 1;
    return read_letter(reader);
  }
  reader->value = word;
  return SB_OPTION_OPERAND;
}

int sb_options_read_all(struct sb_option_reader *reader, const struct sb_option *options, int argc, char **argv,
                        const char *help, int (*take)(void *request, const struct sb_option_reader *reader, int id),
                        void *request)
{
  sb_options_init(reader, options, argc, argv);
  int code = SB_EXIT_DONE;
  for (int id; code == SB_EXIT_DONE && (id = sb_options_next(reader)) != SB_OPTION_END;) {
    if (id == SB_OPTION_HELP) {
      fputs(help, stdout);
      return -1;
    }
    code = take(request, reader, id);
  }
  return code;
}

int sb_options_find_word(const char *word, const char *const *words)
{
  for (int k = 0; words[k] != NULL; k++) {
    if (strcmp(word, words[k]) == 0) return k;
  }
  return -1;
}

bool sb_words_init(struct sb_words *words, int argc)
{
  words->count = 0;
  words->items = calloc((size_t)argc + 1, sizeof *words->items);
  return words->items != NULL;
}

void sb_words_add(struct sb_words *words, const char *word)
{
  words->items[words->count++] = word;
}

void sb_words_clear(struct sb_words *words)
{
  free(words->items);
  *words = (struct sb_words){0};
}
