// SPDX-License-Identifier: GPL-3.0-or-later
/* options.c - reads the arguments of a command; see options.h. */
#include "cli/options.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/nearest.h"
#include "cli/option_reader.h"

enum { NAME_LENGTH_MAX = 32 };

/* What reading one argument came to. */
enum step { STEP_ON, STEP_END, STEP_SAID, STEP_REFUSED };

static enum step refuse_unknown(const struct sb_option_reader *reader, const char *word, const char *name)
{
  const char *names[SB_OPTION_MAX + 3] = {"help", "version"};
  size_t count = 2;
  for (const struct sb_option *o = reader->command->options; !sb_option_is_end(o); o++) {
    if (o->name != NULL) names[count++] = o->name;
  }
  const char *now = sb_option_find_old(sb_option_old_names, name), *nearest = sb_nearest_word(name, names);
  if (now != NULL && sb_option_find(reader->command->options, now, strlen(now)) != NULL) {
    sb_command_usage("%s is now called --%s", word, now);
  } else if (nearest != NULL) {
    sb_command_usage("no option %s; did you mean --%s?", word, nearest);
  } else {
    sb_command_usage("no option %s", word);
  }
  return STEP_REFUSED;
}

/* The option's value is what stands after it in its own word, or the next argument. */
static enum step take(struct sb_option_reader *reader, const struct sb_option *option, const char *attached)
{
  const char *value = attached;
  if (option->value != NULL && value == NULL) {
    if (reader->next >= reader->argc) {
      sb_command_usage("--%s needs a value: %s", option->name, option->value);
      return STEP_REFUSED;
    }
    value = reader->argv[reader->next++];
  }
  reader->values[option - reader->command->options] = value != NULL ? value : "";
  return sb_option_take(reader, option, value) == SB_EXIT_DONE ? STEP_ON : STEP_REFUSED;
}

static enum step say_help(const struct sb_option_reader *reader)
{
  sb_help_write(reader->command);
  return STEP_SAID;
}

static enum step say_version(void)
{
  puts(sb_command_version());
  return STEP_SAID;
}

static enum step read_long(struct sb_option_reader *reader, const char *word)
{
  const char *name = word + 2, *equals = strchr(name, '=');
  const size_t length = equals != NULL ? (size_t)(equals - name) : strlen(name);
  if (strcmp(name, "help") == 0) return say_help(reader);
  if (strcmp(name, "version") == 0) return say_version();
  const struct sb_option *option = sb_option_find(reader->command->options, name, length);
  if (option == NULL) {
    char asked[NAME_LENGTH_MAX + 1];
    snprintf(asked, sizeof asked, "%.*s", length < NAME_LENGTH_MAX ? (int)length : NAME_LENGTH_MAX, name);
    return refuse_unknown(reader, word, asked);
  }
  if (equals != NULL && option->value == NULL) {
    sb_command_usage("--%s takes no value", option->name);
    return STEP_REFUSED;
  }
  return take(reader, option, equals != NULL ? equals + 1 : NULL);
}

static enum step read_letter(struct sb_option_reader *reader)
{
  const char letter = *reader->letters;
  const char *rest = reader->letters[1] != 0 ? reader->letters + 1 : NULL;
  reader->letters = rest;
  if (letter == 'h') return say_help(reader);
  if (letter == 'V') return say_version();
  for (const struct sb_option *o = reader->command->options; !sb_option_is_end(o); o++) {
    if (o->letter != letter) continue;
    if (o->value != NULL) reader->letters = NULL;
    return take(reader, o, o->value != NULL ? rest : NULL);
  }
  const char word[3] = {'-', letter, 0};
  return refuse_unknown(reader, word, "");
}

static enum step read_next(struct sb_option_reader *reader)
{
  if (reader->letters != NULL) return read_letter(reader);
  if (reader->next >= reader->argc) return STEP_END;
  const char *word = reader->argv[reader->next++];
  if (!reader->is_past_options && strcmp(word, "--") == 0) {
    reader->is_past_options = true;
    return STEP_ON;
  }
  if (!reader->is_past_options && strncmp(word, "--", 2) == 0) return read_long(reader, word);
  if (!reader->is_past_options && word[0] == '-' && word[1] != 0) {
    reader->letters = word + 1;
    return read_letter(reader);
  }
  if (reader->command->files.most == 0) {
    sb_command_usage("takes no file, found %s", word);
    return STEP_REFUSED;
  }
  sb_option_list_add(sb_option_operands(reader), word);
  return STEP_ON;
}

/* Does something with each list of a request; false when it fails for one. */
static bool each_list(const struct sb_command *command, void *request, bool (*act)(struct sb_option_list *, int),
                      int argc)
{
  char *at = request;
  bool is_done = command->files.most == 0 || act((struct sb_option_list *)(void *)(at + command->files.offset), argc);
  for (const struct sb_option *o = command->options; is_done && !sb_option_is_end(o); o++) {
    if (o->kind == SB_OPTION_LIST) is_done = act((struct sb_option_list *)(void *)(at + o->offset), argc);
  }
  return is_done;
}

/* Room for all arguments: adding never fails. */
static bool make_room(struct sb_option_list *list, int argc)
{
  list->items = calloc((size_t)argc + 1, sizeof *list->items);
  return list->items != NULL;
}

static bool release(struct sb_option_list *list, int argc)
{
  (void)argc;
  free(list->items);
  *list = (struct sb_option_list){0};
  return true;
}

void sb_options_clear(const struct sb_command *command, void *request)
{
  each_list(command, request, release, 0);
}

enum sb_parsed sb_options_read(const struct sb_command *command, int argc, char **argv, void *request)
{
  struct sb_option_reader reader = {.command = command, .request = request, .argc = argc, .argv = argv, .next = 1};
  if (!each_list(command, request, make_room, argc)) return SB_PARSED_NO_MEMORY;
  enum step step = STEP_ON;
  while (step == STEP_ON) step = read_next(&reader);
  if (step == STEP_SAID) return SB_PARSED_SAID;
  if (step == STEP_REFUSED) return SB_PARSED_REFUSED;
  return sb_option_check(&reader) == SB_EXIT_DONE ? SB_PARSED : SB_PARSED_REFUSED;
}
