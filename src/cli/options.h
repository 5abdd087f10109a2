// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * options.h - one table of options a command: its arguments are read by it, and its --help is written from it.
 *
 * Long options `--set X` and `--set=X`, short ones `-o X` and `-oX`. Options and files may mix; `--` ends the options; `-`
 * alone stands among the files. --help (-h) and --version (-V) are known everywhere. An unknown option is refused, and the
 * nearest known one is offered. Conventions: POSIX.1 Base Definitions, chapter 12, and the GNU Coding Standards for long
 * options.
 *
 *   static const struct sb_option options[] = {
 *       SB_OPTION_SET_OF(struct request),
 *       {"points", 0, "N", "points along each axis (default 41)", SB_INTO_COUNT(struct request, points, 1, 1000)},
 *       {.help = "A line between options, a heading."},
 *       {0}};
 *
 * What an option excludes or needs is a table, too, with the reason; both the refusal and the help say it.
 *
 *   static const struct sb_option_rule rules[] = {
 *       {"resume", SB_NEEDS, "output", "the work that is kept lies beside that file"},
 *       {0}};
 */
#ifndef SHIFTBAND_CLI_OPTIONS_H
#define SHIFTBAND_CLI_OPTIONS_H

#include <stdbool.h>
#include <stddef.h>

#include "shiftband/units.h"

/* Words taken from the arguments (files, sets), in their order. The words belong to argv. */
struct sb_option_list {
  size_t count;
  const char **items; /* items[count], owned */
};

/* What is done with an option's value; each kind has a macro below, which checks the field's type where it can. */
enum sb_option_kind {
  SB_OPTION_FLAG,     /* bool: true */
  SB_OPTION_TEXT,     /* const char * */
  SB_OPTION_INPUT,    /* const char *, a file that is read */
  SB_OPTION_OUTPUT,   /* const char *, a file that is written; "-" is standard output */
  SB_OPTION_LIST,     /* struct sb_option_list: may be given again, `greatest` times where that is not 0 */
  SB_OPTION_COUNT,    /* long, a whole number of least..greatest */
  SB_OPTION_CHOICE,   /* an enum: the place of the value among words */
  SB_OPTION_QUANTITY, /* double in SI units, above `above` */
  SB_OPTION_MARKS,    /* bool[]: a list with commas of words, or any for all */
  SB_OPTION_CALL      /* whatever take() does with it */
};

struct sb_option {
  const char *name;  /* long name without dashes; NULL: a heading of the help, or without help the table's end */
  char letter;       /* short name, or 0 */
  const char *value; /* what the help calls its value; NULL: it takes none */
  const char *help;  /* what it does, and its default */
  enum sb_option_kind kind;
  enum sb_quantity quantity;
  size_t offset; /* of the field in the request */
  long least, greatest;
  const char *const *words; /* NULL at the end; a space in a word is typed as a hyphen */
  double above;
  int (*take)(void *request, const char *value); /* an exit code, told */
};

#define SB_FIELD(type, field, field_type) offsetof(type, field) + 0 * sizeof(&((type *)0)->field == (field_type *)0)
#define SB_INTO_FLAG(type, field) .kind = SB_OPTION_FLAG, .offset = SB_FIELD(type, field, bool)
#define SB_INTO_TEXT(type, field) .kind = SB_OPTION_TEXT, .offset = SB_FIELD(type, field, const char *)
#define SB_INTO_INPUT(type, field) .kind = SB_OPTION_INPUT, .offset = SB_FIELD(type, field, const char *)
#define SB_INTO_OUTPUT(type, field) .kind = SB_OPTION_OUTPUT, .offset = SB_FIELD(type, field, const char *)
#define SB_INTO_LIST(type, field) .kind = SB_OPTION_LIST, .offset = SB_FIELD(type, field, struct sb_option_list)
#define SB_INTO_LIST_OF(type, field, most) SB_INTO_LIST(type, field), .greatest = most
#define SB_INTO_COUNT(type, field, low, high) \
  .kind = SB_OPTION_COUNT, .offset = SB_FIELD(type, field, long), .least = low, .greatest = high
#define SB_INTO_CHOICE(type, field, list) .kind = SB_OPTION_CHOICE, .offset = offsetof(type, field), .words = list
#define SB_INTO_MARKS(type, field, list) \
  .kind = SB_OPTION_MARKS, .offset = SB_FIELD(type, field[0], bool), .words = list
#define SB_INTO_QUANTITY(type, field, what, limit) \
  .kind = SB_OPTION_QUANTITY, .offset = SB_FIELD(type, field, double), .quantity = what, .above = limit
#define SB_BY_CALL(function) .kind = SB_OPTION_CALL, .take = function

/* Options that several commands have: one text each. */
#define SB_OPTION_SET_OF(type)                                                                                        \
  {                                                                                                                   \
    "set", 0, "PATH=VALUE",                                                                                           \
        "replace or add one key of the scenario first, as --set controller.dwell='2 s'; may be given more than once", \
        SB_INTO_LIST(type, sets)                                                                                      \
  }
#define SB_OPTION_QUIET_OF(type)                                                             \
  {                                                                                          \
    "quiet", 'q', NULL, "no report and no progress: only files, messages and the exit code", \
        SB_INTO_FLAG(type, is_quiet)                                                         \
  }

/*
 * What an option excludes or needs. A name is a long name, "NAME=VALUE" for an option with that very value, "NAME&NAME"
 * for two together, "+" for more than one file, or "+~NAME" for more than one file without that option; several stand in one text with spaces between: each of the first ones excludes each of the others, or needs
 * one of the others. Without a rule an output is never an input, nor another output.
 */
enum sb_option_relation { SB_EXCLUDES, SB_NEEDS };

struct sb_option_rule {
  const char *names;
  enum sb_option_relation relation;
  const char *others;
  const char *reason; /* the end of the sentence "--resume needs -o: ..." */
};

struct sb_command;

enum sb_parsed {
  SB_PARSED,         /* the request is filled */
  SB_PARSED_SAID,    /* help or version was asked for and written */
  SB_PARSED_REFUSED, /* the command line is wrong: told */
  SB_PARSED_NO_MEMORY
};

/*
 * Reads a command's arguments (argv[0] is its name) into its request. Whatever it returns, the request's lists are to be
 * released with sb_options_clear().
 */
enum sb_parsed sb_options_read(const struct sb_command *command, int argc, char **argv, void *request);
void sb_options_clear(const struct sb_command *command, void *request);

/* A whole number of least..greatest; false when it is none. */
bool sb_options_read_count(const char *text, long least, long greatest, long *count);

/*
 * Splits "NAME=TEXT": copies the name, cut to the size, and returns the text; NULL when either is missing or the name is too
 * long.
 */
const char *sb_options_split(const char *word, char *name, size_t size);

/* Writes the help of a command to standard output. */
void sb_help_write(const struct sb_command *command);

#endif
