// SPDX-License-Identifier: GPL-3.0-or-later
/* option_reader.h - what the files that read options share: what was given so far. */
#ifndef SHIFTBAND_CLI_OPTION_READER_H
#define SHIFTBAND_CLI_OPTION_READER_H

#include "cli/command.h"
#include "cli/options.h"

enum { SB_OPTION_MAX = 48 };

struct sb_option_reader {
  const struct sb_command *command;
  char *request;
  int argc;
  char **argv;
  int next;            /* argument to read next */
  const char *letters; /* rest of a word of short options, or NULL */
  bool is_past_options;
  const char *values[SB_OPTION_MAX]; /* by option: the last value given, "" for a flag; NULL: not given */
};

/* Puts an option's value (NULL: it has none) into the request. Returns an exit code; what is wrong is told. */
int sb_option_take(const struct sb_option_reader *reader, const struct sb_option *option, const char *value);

/* "header, blocks or ladder"; of marks with "any" behind them. */
void sb_option_list_words(const struct sb_option *option, const char *last_joint, char *list, size_t size);

/* Adds a word to a list of the request, which has room for all arguments. */
void sb_option_list_add(struct sb_option_list *list, const char *word);

/* The files of the request. */
struct sb_option_list *sb_option_operands(const struct sb_option_reader *reader);

/* Whether what was given fits together: files, rules, outputs. Returns an exit code; what is wrong is told. */
int sb_option_check(const struct sb_option_reader *reader);

/* "-o" or "--json"; with its value's name "-o FILE". */
enum { SB_OPTION_SHOWN_SIZE = 128 };
const char *sb_option_show(const struct sb_option *option, char text[SB_OPTION_SHOWN_SIZE]);
const char *sb_option_show_with_value(const struct sb_option *option, char text[SB_OPTION_SHOWN_SIZE]);

/* The option of a name; NULL when there is none. `length` bytes of name. */
const struct sb_option *sb_option_find(const struct sb_option *options, const char *name, size_t length);

/* Whether a table goes on, and whether a line of it is an option (and no heading). */
bool sb_option_is_end(const struct sb_option *option);

/*
 * Words of a rule's text, one after the other: copies the next one and returns what is behind it; NULL at the end.
 */
const char *sb_option_next_word(const char *text, char word[SB_OPTION_SHOWN_SIZE]);

/* A rule's words as a list: "-o FILE or --against FILE". */
void sb_option_list_terms(const struct sb_command *command, const char *words, char *list, size_t size);

/* An option, without its dashes, or a word of one that was called otherwise before: refused with the name that it has now. */
struct sb_option_old {
  const char *was, *now;
};

/* All of them; was NULL at the end. */
extern const struct sb_option_old sb_option_old_names[], sb_option_old_verdicts[];

/* The new name, or NULL. */
const char *sb_option_find_old(const struct sb_option_old *words, const char *word);

#endif
