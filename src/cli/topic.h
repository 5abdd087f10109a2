// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * topic.h - the texts of src/manual/, which the program holds: for a terminal, and as manual pages.
 *
 * Tables of the library stand where a text has `<!-- table: NAME -->`. Of Markdown they use headings, paragraphs, lists, tables, fenced code, `code`, **strong**, *emphasis* and [text](link); a comment
 * on a line of its own is left out.
 */
#ifndef SHIFTBAND_CLI_TOPIC_H
#define SHIFTBAND_CLI_TOPIC_H

#include <stdbool.h>
#include <stdio.h>

struct sb_topic {
  const char *name;         /* NULL: the end */
  const char *title;        /* what stands behind the name in the first line */
  const char *const *lines; /* NULL at the end */
};

extern const struct sb_topic sb_topics[];
extern const struct sb_topic sb_starts[]; /* scenarios to start from, src/manual/new/: all lines of them count */

/* NULL when there is none of that name. */
const struct sb_topic *sb_topic_find(const char *name);

/* What writes a text, block by block; the texts of blocks still have their marks inside. */
struct sb_topic_writer {
  void (*heading)(FILE *out, int level, const char *text);
  void (*gap)(FILE *out); /* before a table */
  void (*paragraph)(FILE *out, const char *text);
  void (*item)(FILE *out, const char *text);
  /* A line of code, in a block whose widest has so many columns; NULL before the first, and behind the last. */
  void (*code)(FILE *out, const char *line, int widest);
  void (*row)(FILE *out, char *const cells[], int count,
              int *widths); /* widths: of all columns of the table, as they stand */
};

/* Walks through a text behind its first line. */
void sb_topic_walk(FILE *out, const struct sb_topic *topic, const struct sb_topic_writer *writer);

/*
 * A table of the library, where a topic has a line `<!-- table: NAME -->`: `verdicts`, `csv` (columns of what is written), `json`
 * (members), `log` (columns of what is read).
 */
void sb_topic_put_table(FILE *out, const char *name, const struct sb_topic_writer *writer);

/* The members of JSON and the columns of CSV that a command writes. */
void sb_topic_put_members(FILE *out, const char *command, const struct sb_topic_writer *writer);

/* For a terminal, wrapped to its width. */
extern const struct sb_topic_writer sb_topic_terminal;
void sb_topic_write(FILE *out, const struct sb_topic *topic);

#endif
