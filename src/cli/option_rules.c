// SPDX-License-Identifier: GPL-3.0-or-later
/* option_rules.c - whether what was given fits together. */
#include <stdio.h>
#include <string.h>

#include "base/text_file.h"
#include "cli/option_reader.h"
#include "cli/output.h"

const char *sb_option_next_word(const char *text, char word[SB_OPTION_SHOWN_SIZE])
{
  text += strspn(text, " ");
  const size_t length = strcspn(text, " ");
  if (length == 0) return NULL;
  snprintf(word, SB_OPTION_SHOWN_SIZE, "%.*s", (int)length, text);
  return text + length;
}

const char *sb_option_show(const struct sb_option *option, char text[SB_OPTION_SHOWN_SIZE])
{
  if (option->letter != 0) {
    snprintf(text, SB_OPTION_SHOWN_SIZE, "-%c", option->letter);
  } else {
    snprintf(text, SB_OPTION_SHOWN_SIZE, "--%s", option->name);
  }
  return text;
}

const char *sb_option_show_with_value(const struct sb_option *option, char text[SB_OPTION_SHOWN_SIZE])
{
  char name[SB_OPTION_SHOWN_SIZE];
  snprintf(text, SB_OPTION_SHOWN_SIZE, "%.60s%s%.60s", sb_option_show(option, name), option->value != NULL ? " " : "",
           option->value != NULL ? option->value : "");
  return text;
}

/* A word of a rule: "+", "+~NAME", an option's name, a name with its value behind "=", or two names with "&" between them. */
struct term {
  const struct sb_option *option; /* NULL: more than one file */
  const struct sb_option *also;   /* NULL: this alone */
  const struct sb_option *unless; /* NULL: whatever else is given */
  const char *value;              /* NULL: any */
};

static struct term term_of(const struct sb_command *command, const char *word)
{
  const size_t length = strcspn(word, "=&~");
  struct term term = {.option = sb_option_find(command->options, word, length)};
  if (word[length] == 0) return term;
  const char *rest = word + length + 1;
  if (word[length] == '=') {
    term.value = rest;
  } else if (word[length] == '~') {
    term.unless = sb_option_find(command->options, rest, strlen(rest));
  } else {
    term.also = sb_option_find(command->options, rest, strlen(rest));
  }
  return term;
}

static bool is_given(const struct sb_option_reader *reader, const struct term *term)
{
  const char *const *values = reader->values;
  const struct sb_option *options = reader->command->options;
  if (term->unless != NULL && values[term->unless - options] != NULL) return false;
  if (term->option == NULL) return sb_option_operands(reader)->count > 1;
  const char *value = values[term->option - options];
  if (term->also != NULL) return value != NULL && values[term->also - options] != NULL;
  if (value == NULL || term->value == NULL) return value != NULL;
  return strcmp(term->value, "-") == 0 ? sb_output_is_standard(value) : strcmp(value, term->value) == 0;
}

static const char *show_term(const struct term *term, char text[SB_OPTION_SHOWN_SIZE])
{
  char name[SB_OPTION_SHOWN_SIZE], other[SB_OPTION_SHOWN_SIZE];
  if (term->option == NULL) return "more than one file";
  if (term->also != NULL) {
    snprintf(text, SB_OPTION_SHOWN_SIZE, "%.60s with %.60s", sb_option_show(term->option, name),
             sb_option_show(term->also, other));
    return text;
  }
  if (term->value == NULL) return sb_option_show(term->option, text);
  snprintf(text, SB_OPTION_SHOWN_SIZE, "%.60s %.60s", sb_option_show(term->option, name), term->value);
  return text;
}

/* The first of a rule's words other than `but` that was given; the word's text stays in `word`. */
static bool find_given(const struct sb_option_reader *reader, const char *words, const struct sb_option *but,
                       struct term *found, char word[SB_OPTION_SHOWN_SIZE])
{
  while ((words = sb_option_next_word(words, word)) != NULL) {
    *found = term_of(reader->command, word);
    if (found->option != but && is_given(reader, found)) return true;
  }
  return false;
}

/* "-o FILE or --against FILE" */
void sb_option_list_terms(const struct sb_command *command, const char *words, char *list, size_t size)
{
  char word[SB_OPTION_SHOWN_SIZE], shown[SB_OPTION_SHOWN_SIZE];
  list[0] = 0;
  while ((words = sb_option_next_word(words, word)) != NULL) {
    const struct term term = term_of(command, word);
    const char *text = term.value == NULL && term.option != NULL ? sb_option_show_with_value(term.option, shown)
                                                                 : show_term(&term, shown);
    snprintf(list + strlen(list), size - strlen(list), "%s%s", list[0] != 0 ? " or " : "", text);
  }
}

static int check_rule(const struct sb_option_reader *reader, const struct sb_option_rule *rule)
{
  char word[SB_OPTION_SHOWN_SIZE], other_word[SB_OPTION_SHOWN_SIZE], list[512];
  char first[SB_OPTION_SHOWN_SIZE], second[SB_OPTION_SHOWN_SIZE];
  struct term other;
  for (const char *words = rule->names; (words = sb_option_next_word(words, word)) != NULL;) {
    const struct term term = term_of(reader->command, word);
    if (!is_given(reader, &term)) continue;
    const bool is_other = find_given(reader, rule->others, term.option, &other, other_word);
    if (rule->relation == SB_EXCLUDES && is_other) {
      return sb_command_usage("%s and %s exclude each other: %s", show_term(&term, first), show_term(&other, second),
                              rule->reason);
    }
    if (rule->relation == SB_NEEDS && !is_other) {
      sb_option_list_terms(reader->command, rule->others, list, sizeof list);
      return sb_command_usage("%s needs %s: %s", show_term(&term, first), list, rule->reason);
    }
  }
  return SB_EXIT_DONE;
}

/* Standard input can be read only once. */
static int check_standard_input(const struct sb_option_reader *reader)
{
  const struct sb_option_list *files = reader->command->files.most > 0 ? sb_option_operands(reader) : NULL;
  int count = 0;
  for (size_t k = 0; files != NULL && k < files->count; k++) count += sb_text_file_is_stdin(files->items[k]);
  for (const struct sb_option *o = reader->command->options; !sb_option_is_end(o); o++) {
    const char *value = reader->values[o - reader->command->options];
    count += o->kind == SB_OPTION_INPUT && value != NULL && sb_text_file_is_stdin(value);
  }
  return count <= 1 ? SB_EXIT_DONE : sb_command_usage("standard input (-) can be only one of the files");
}

static int check_files(const struct sb_option_reader *reader)
{
  const struct sb_command_files *files = &reader->command->files;
  const size_t count = files->most > 0 ? sb_option_operands(reader)->count : 0;
  if (count < files->least) return sb_command_usage("needs a %s", files->what);
  if (count > files->most && files->most == 1) return sb_command_usage("takes one %s", files->what);
  if (count > files->most) return sb_command_usage("takes at most %zu files", files->most);
  return SB_EXIT_DONE;
}

static int refuse_replacing(const struct sb_option *option, const char *output, const char *input)
{
  char shown[SB_OPTION_SHOWN_SIZE];
  if (!sb_output_is_same_file(output, input)) return SB_EXIT_DONE;
  return sb_command_usage("%s %s would replace the input %s", sb_option_show(option, shown), output, input);
}

/* An output beside one other option: an input that it would replace, or another output. */
static int check_beside(const struct sb_option *option, const char *output, const struct sb_option *other,
                        const char *value)
{
  char first[SB_OPTION_SHOWN_SIZE], second[SB_OPTION_SHOWN_SIZE];
  if (other->kind == SB_OPTION_INPUT) return refuse_replacing(option, output, value);
  const bool is_output = other->kind == SB_OPTION_OUTPUT && other > option &&
                         (strcmp(value, output) == 0 || sb_output_is_same_file(output, value));
  if (!is_output) return SB_EXIT_DONE;
  return sb_command_usage("%s and %s exclude each other: both want %s", sb_option_show(option, first),
                          sb_option_show(other, second), sb_output_is_standard(output) ? "standard output" : output);
}

static int check_output(const struct sb_option_reader *reader, const struct sb_option *option, const char *output)
{
  const struct sb_option_list *files = sb_option_operands(reader);
  const struct sb_option *options = reader->command->options;
  int code = SB_EXIT_DONE;
  for (size_t k = 0; code == SB_EXIT_DONE && k < files->count; k++) {
    code = refuse_replacing(option, output, files->items[k]);
  }
  for (const struct sb_option *o = options; code == SB_EXIT_DONE && !sb_option_is_end(o); o++) {
    const char *value = reader->values[o - options];
    if (o != option && value != NULL) code = check_beside(option, output, o, value);
  }
  return code;
}

int sb_option_check(const struct sb_option_reader *reader)
{
  const struct sb_command *command = reader->command;
  int code = check_files(reader);
  if (code == SB_EXIT_DONE) code = check_standard_input(reader);
  for (const struct sb_option_rule *rule = command->rules; rule != NULL && rule->names != NULL; rule++) {
    if (code == SB_EXIT_DONE) code = check_rule(reader, rule);
  }
  for (const struct sb_option *o = command->options; !sb_option_is_end(o); o++) {
    const char *value = reader->values[o - command->options];
    if (code == SB_EXIT_DONE && o->kind == SB_OPTION_OUTPUT && value != NULL) code = check_output(reader, o, value);
  }
  return code;
}
