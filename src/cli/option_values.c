// SPDX-License-Identifier: GPL-3.0-or-later
/* option_values.c - puts values of options into a request, by their kinds. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/nearest.h"
#include "cli/option_reader.h"
#include "shiftband/scenario.h"

bool sb_options_read_count(const char *text, long least, long greatest, long *count)
{
  const size_t digits = strspn(text, "0123456789");
  if (digits == 0 || digits > 15 || text[digits] != 0) return false;
  *count = atol(text);
  return *count >= least && *count <= greatest;
}

const char *sb_options_split(const char *word, char *name, size_t size)
{
  const char *equals = strchr(word, '=');
  const size_t length = equals != NULL ? (size_t)(equals - word) : 0;
  if (length == 0 || length >= size || equals[1] == 0) return NULL;
  memcpy(name, word, length);
  name[length] = 0;
  return equals + 1;
}

/* A space in one of the words is typed as a hyphen. */
static bool is_word(const char *typed, size_t length, const char *word)
{
  if (strlen(word) != length) return false;
  for (size_t k = 0; k < length; k++) {
    if (typed[k] != word[k] && !(typed[k] == '-' && word[k] == ' ')) return false;
  }
  return true;
}

static int find_word(const char *typed, size_t length, const char *const *words)
{
  for (int k = 0; words[k] != NULL; k++) {
    if (is_word(typed, length, words[k])) return k;
  }
  return -1;
}

void sb_option_list_words(const struct sb_option *option, const char *last_joint, char *list, size_t size)
{
  const char *const *words = option->words;
  const bool has_any = option->kind == SB_OPTION_MARKS;
  list[0] = 0;
  for (int k = 0; words[k] != NULL; k++) {
    const bool is_last = words[k + 1] == NULL && !has_any;
    const size_t length = strlen(list);
    snprintf(list + length, size - length, "%s", k == 0 ? "" : is_last ? last_joint : ", ");
    const size_t start = strlen(list);
    snprintf(list + start, size - start, "%s", words[k]);
    for (char *c = list + start; *c != 0; c++) {
      if (*c == ' ') *c = '-';
    }
  }
  if (has_any) snprintf(list + strlen(list), size - strlen(list), "%sany", last_joint);
}

/* "--as needs header, blocks, ladder or readings, found \"headr\"; did you mean header?" */
static int refuse_word(const struct sb_option *option, const char *found)
{
  char list[512];
  sb_option_list_words(option, " or ", list, sizeof list);
  const char *now = sb_option_find_old(sb_option_old_verdicts, found), *nearest = sb_nearest_word(found, option->words);
  if (now != NULL) return sb_command_usage("--%s: %s is now called %s", option->name, found, now);
  if (nearest == NULL) return sb_command_usage("--%s needs %s, found \"%s\"", option->name, list, found);
  return sb_command_usage("--%s needs %s, found \"%s\"; did you mean %s?", option->name, list, found, nearest);
}

static int take_marks(const struct sb_option *option, const char *value, bool *marks)
{
  for (const char *word = value;; word++) {
    char name[64];
    const size_t length = strcspn(word, ",");
    snprintf(name, sizeof name, "%.*s", length < sizeof name ? (int)length : (int)sizeof name - 1, word);
    const int found = find_word(word, length, option->words);
    const bool is_any = strcmp(name, "any") == 0;
    if (found < 0 && !is_any) return refuse_word(option, name);
    for (int k = 0; option->words[k] != NULL; k++) marks[k] |= is_any || k == found;
    word += length;
    if (*word == 0) return SB_EXIT_DONE;
  }
}

static int take_item(const struct sb_option *option, const char *value, struct sb_option_list *list)
{
  if (option->greatest > 0 && list->count == (size_t)option->greatest) {
    return sb_command_usage("--%s may be given at most %ld times", option->name, option->greatest);
  }
  sb_option_list_add(list, value);
  return SB_EXIT_DONE;
}

static int take_count(const struct sb_option *option, const char *value, long *count)
{
  if (sb_options_read_count(value, option->least, option->greatest, count)) return SB_EXIT_DONE;
  return sb_command_usage("--%s needs a whole number from %ld to %ld, found \"%s\"", option->name, option->least,
                          option->greatest, value);
}

static int take_choice(const struct sb_option *option, const char *value, int *choice)
{
  const int found = find_word(value, strlen(value), option->words);
  if (found < 0) return refuse_word(option, value);
  *choice = found;
  return SB_EXIT_DONE;
}

static int take_quantity(const struct sb_option *option, const char *value, double *quantity)
{
  struct sb_error err = {SB_OK, ""};
  if (sb_units_parse(value, option->quantity, quantity, &err) != SB_OK) {
    return sb_command_usage("--%s %s", option->name, err.text);
  }
  if (*quantity > option->above) return SB_EXIT_DONE;
  return sb_command_usage("--%s needs more than %g, found \"%s\"", option->name, option->above, value);
}

int sb_option_take(const struct sb_option_reader *reader, const struct sb_option *option, const char *value)
{
  void *field = reader->request + option->offset;
  switch (option->kind) {
    case SB_OPTION_FLAG: *(bool *)field = true; break;
    case SB_OPTION_TEXT:
    case SB_OPTION_INPUT:
    case SB_OPTION_OUTPUT: *(const char **)field = value; break;
    case SB_OPTION_LIST: return take_item(option, value, field);
    case SB_OPTION_COUNT: return take_count(option, value, field);
    case SB_OPTION_CHOICE: return take_choice(option, value, field);
    case SB_OPTION_QUANTITY: return take_quantity(option, value, field);
    case SB_OPTION_MARKS: return take_marks(option, value, field);
    case SB_OPTION_CALL: return option->take(reader->request, value);
  }
  return SB_EXIT_DONE;
}

int sb_option_allow_outside(void *request, const char *value)
{
  (void)request;
  (void)value;
  sb_scenario_allow_outside(true);
  return SB_EXIT_DONE;
}
