// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * options.h - reads a command's arguments: long options `--set X` and `--set=X`, short ones `-o X` and `-oX`.
 *
 * Options and operands may mix; `--` ends the options; `-` alone is an operand. --help (-h) is known everywhere.
 * An unknown option is a fault, and the nearest known one is offered. Conventions: POSIX.1 Base Definitions, chapter 12,
 * and the GNU Coding Standards for long options.
 *
 *   enum { OPTION_SET = 1, OPTION_JSON };
 *   static const struct sb_option options[] = {
 *       {"set", 0, true, OPTION_SET}, {"json", 0, false, OPTION_JSON}, {NULL, 0, false, 0}};
 *   struct sb_option_reader reader;
 *   sb_options_init(&reader, options, argc, argv);
 *   for (int id; (id = sb_options_next(&reader)) != SB_OPTION_END;) { ... reader.value ... }
 */
#ifndef SHIFTBAND_CLI_OPTIONS_H
#define SHIFTBAND_CLI_OPTIONS_H

#include <stdbool.h>
#include <stddef.h>

struct sb_option {
  const char *name; /* long name without dashes; NULL ends a table */
  char letter;      /* short name, or 0 */
  bool takes_value;
  int id; /* > 0, given back by sb_options_next() */
};

enum {
  SB_OPTION_END = 0,
  SB_OPTION_OPERAND = -1, /* reader.value is the operand */
  SB_OPTION_FAULT = -2,   /* told on standard error: exit with SB_EXIT_USAGE */
  SB_OPTION_HELP = -3
};

struct sb_option_reader {
  const struct sb_option *options;
  const char *command; /* argv[0], for messages */
  int argc;
  char **argv;
  int next;            /* argument to read next */
  const char *letters; /* rest of a word of short options, or NULL */
  bool is_past_options;
  const char *value; /* of the last option, NULL when it has none; or the operand */
};

void sb_options_init(struct sb_option_reader *reader, const struct sb_option *options, int argc, char **argv);

/* The id of the next option, or one of the constants above. */
int sb_options_next(struct sb_option_reader *reader);

/*
 * Reads all arguments: each option and operand goes to take() with the request, until one is not SB_EXIT_DONE. Returns that
 * code, SB_EXIT_DONE at the end, or -1 when only help was asked for, which is then written. *reader serves complaints.
 */
int sb_options_read_all(struct sb_option_reader *reader, const struct sb_option *options, int argc, char **argv,
                        const char *help, int (*take)(void *request, const struct sb_option_reader *reader, int id),
                        void *request);

/* Place of a word among words (NULL at the end), or -1. */
int sb_options_find_word(const char *word, const char *const *words);

/* Writes "shiftband COMMAND: " and the text to standard error, and where help is found. Returns SB_EXIT_USAGE. */
int sb_options_complain(const struct sb_option_reader *reader, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/*
 * A list of words taken from the arguments (files, sets). Holds up to argc words, so adding never fails after init.
 * The words belong to argv. Release with sb_words_clear().
 */
struct sb_words {
  size_t count;
  const char **items; /* items[count] */
};

/* False when memory ran out. */
bool sb_words_init(struct sb_words *words, int argc);
void sb_words_add(struct sb_words *words, const char *word);
void sb_words_clear(struct sb_words *words);

#endif
