// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * words.h - figures, sentences and cells of tables, as people read them.
 *
 * All text for people fits a width in columns, which the program sets once at its start: a terminal's, or 80. Columns are
 * characters of UTF-8, not bytes. No name is ever cut.
 */
#ifndef SHIFTBAND_TEXT_WORDS_H
#define SHIFTBAND_TEXT_WORDS_H

#include <stddef.h>
#include <stdio.h>

enum { SB_FIGURE_SIZE = 32, SB_TEXT_WIDTH_LEAST = 40, SB_TEXT_WIDTH_DEFAULT = 80, SB_TEXT_WIDTH_MOST = 200 };

/* Columns to use; SB_TEXT_WIDTH_DEFAULT until it is set. Set it before any other thread starts; it is kept within the limits. */
int sb_text_width(void);
void sb_text_set_width(int columns);

/* A number or a few words in running text. */
struct sb_figure {
  char text[SB_FIGURE_SIZE];
};

/* Four significant digits, without an exponent where that reads well; "-" for NAN. */
struct sb_figure sb_words_figure(double value);

/* A torque in N m, or words for one below (-INFINITY) and above (INFINITY) all others. */
struct sb_figure sb_words_torque(double torque_nm, const char *lowest, const char *highest);

/* A percentage rounded to tenths by the given function, so that what is advised as safe stays so: ceil, floor. */
struct sb_figure sb_words_percent_by(double (*rounded)(double), double fraction);
struct sb_figure sb_words_percent(double fraction);

/* The greatest percentage in whole tenths below a fraction. */
struct sb_figure sb_words_percent_below(double fraction);

/* Thresholds as they were given. */
struct sb_figure sb_words_threshold(double fraction);

/* The ending of a noun: "" for one, else "s". */
const char *sb_words_plural(size_t count);

/* Texts that live as long as the expression they stand in. */
#define NUM(value) sb_words_figure(value).text
#define PCT(value) sb_words_percent(value).text
#define SET(value) sb_words_threshold(value).text

/*
 * Writes a text as one or more whole lines: the first begins after `indent` spaces, each further one after `hang`. Lines
 * break between words where the width would be exceeded (not between a number and its unit), and at each line feed in the
 * text; several spaces between two
 * words of one line stay, so that a text may begin with a label as wide as `hang`.
 */
void sb_words_say(FILE *out, int indent, int hang, const char *format, ...) __attribute__((format(printf, 4, 5)));

/* A cell of a table, filled with spaces on its right up to a width in columns, with one space at least. */
void sb_words_cell(FILE *out, int width, const char *format, ...) __attribute__((format(printf, 3, 4)));

/* Columns that the first `length` bytes of a text take. */
int sb_words_columns(const char *text, size_t length);

enum { SB_SENTENCE_SIZE = 2048 };

/* A text that grows at its end; what does not fit any more is left out. Begin with sentence.length = 0, text[0] = 0. */
struct sb_sentence {
  size_t length;
  char text[SB_SENTENCE_SIZE];
};

void sb_words_add(struct sb_sentence *sentence, const char *format, ...) __attribute__((format(printf, 2, 3)));

#endif
