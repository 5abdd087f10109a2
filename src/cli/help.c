// SPDX-License-Identifier: GPL-3.0-or-later
/* help.c - the help of a command, written from its table of options. */
#include <stdio.h>
#include <string.h>

#include "cli/help.h"
#include "cli/option_reader.h"
#include "text/words.h"

enum { INDENT = 2, COLUMN_MAX = 28, TEXT_SIZE = SB_HELP_TEXT_SIZE };

/* "  -o, --output FILE" */
static int label_of(const struct sb_option *option, char label[SB_OPTION_SHOWN_SIZE])
{
  char letter[8] = "    ";
  if (option->letter != 0) snprintf(letter, sizeof letter, "-%c, ", option->letter);
  return snprintf(label, SB_OPTION_SHOWN_SIZE, "%*s%s--%s%s%s", INDENT, "", letter, option->name,
                  option->value != NULL ? " " : "", option->value != NULL ? option->value : "");
}

static bool is_shown(const struct sb_option *option)
{
  return option->name != NULL;
}

/* Where the texts begin: behind the widest label that is not too wide. */
static int find_column(const struct sb_option *options)
{
  int column = 0;
  for (const struct sb_option *o = options; !sb_option_is_end(o); o++) {
    char label[SB_OPTION_SHOWN_SIZE];
    const int width = is_shown(o) ? label_of(o, label) + 2 : 0;
    if (width > column && width <= COLUMN_MAX) column = width;
  }
  return column;
}

/* Whether a rule's names hold this option by its bare name. */
static bool is_about(const struct sb_option_rule *rule, const struct sb_option *option)
{
  char word[SB_OPTION_SHOWN_SIZE];
  for (const char *words = rule->names; (words = sb_option_next_word(words, word)) != NULL;) {
    if (strcmp(word, option->name) == 0) return true;
  }
  return false;
}

static void add(char text[TEXT_SIZE], const char *more)
{
  snprintf(text + strlen(text), TEXT_SIZE - strlen(text), "%s", more);
}

/* The bare names of what a rule's words stand for, the first of them behind `lead`: "; needs -o or --join". */
static const char *add_names(const struct sb_command *command, const char *words, const char *lead, const char *joint,
                             char text[TEXT_SIZE])
{
  char word[SB_OPTION_SHOWN_SIZE], shown[SB_OPTION_SHOWN_SIZE];
  while ((words = sb_option_next_word(words, word)) != NULL) {
    const struct sb_option *option = sb_option_find(command->options, word, strlen(word));
    if (option == NULL && strcmp(word, "+") != 0) continue; /* an option with one certain value: the refusal says it */
    add(text, lead);
    add(text, option != NULL ? sb_option_show(option, shown) : "more than one file");
    lead = joint;
  }
  return lead;
}

static void add_rules(const struct sb_command *command, const struct sb_option *option, char text[TEXT_SIZE])
{
  const char *lead = "; not with ";
  for (const struct sb_option_rule *rule = command->rules; rule != NULL && rule->names != NULL; rule++) {
    if (rule->relation == SB_EXCLUDES && is_about(rule, option)) {
      lead = add_names(command, rule->others, lead, ", ", text);
    }
  }
  for (const struct sb_option_rule *rule = command->rules; rule != NULL && rule->names != NULL; rule++) {
    if (rule->relation == SB_NEEDS && is_about(rule, option)) {
      add_names(command, rule->others, "; needs ", " or ", text);
    }
  }
}

const char *sb_help_option_text(const struct sb_command *command, const struct sb_option *option, char text[TEXT_SIZE])
{
  text[0] = 0;
  add(text, option->help);
  if (option->kind == SB_OPTION_MARKS) {
    char words[TEXT_SIZE];
    sb_option_list_words(option, " or ", words, sizeof words);
    add(text, ": ");
    add(text, words);
    add(text, "; a list with commas");
  }
  add_rules(command, option, text);
  return text;
}

static void write_option(const struct sb_command *command, const struct sb_option *option, int column)
{
  char label[SB_OPTION_SHOWN_SIZE], text[TEXT_SIZE];
  sb_help_option_text(command, option, text);
  if (label_of(option, label) + 2 > column) {
    puts(label);
    sb_words_say(stdout, column, column, "%s", text);
  } else {
    sb_words_say(stdout, 0, column, "%-*s%s", column, label, text);
  }
}

void sb_help_write(const struct sb_command *command)
{
  const int column = find_column(command->options);
  const char *usage = command->usage;
  for (bool is_first = true; usage != NULL; is_first = false) {
    const size_t length = strcspn(usage, "\n");
    printf("%s shiftband %s%s%.*s\n", is_first ? "usage:" : "      ", command->name, length > 0 ? " " : "", (int)length,
           usage);
    usage = usage[length] != 0 ? usage + length + 1 : NULL;
  }
  putchar('\n');
  sb_words_say(stdout, 0, 0, "%s", command->about);
  if (!sb_option_is_end(command->options)) putchar('\n');
  for (const struct sb_option *o = command->options; !sb_option_is_end(o); o++) {
    if (o->name == NULL) {
      sb_words_say(stdout, 0, 0, "%s", o->help);
    } else if (is_shown(o)) {
      write_option(command, o, column);
    }
  }
  putchar('\n');
  sb_words_say(stdout, 0, 0, "Also --help (-h), --version (-V). Exit codes and all commands: shiftband help");
}
