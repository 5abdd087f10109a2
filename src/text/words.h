// SPDX-License-Identifier: GPL-3.0-or-later
/* words.h - numbers, sentences and cells of tables as `check` writes them for people. */
#ifndef SHIFTBAND_TEXT_WORDS_H
#define SHIFTBAND_TEXT_WORDS_H

#include <stdio.h>

enum { SB_FIGURE_SIZE = 32 };

/* A number or a few words in running text. */
struct sb_figure {
  char text[SB_FIGURE_SIZE];
};

/* Four significant digits, without an exponent where that reads well; "-" for NAN. */
struct sb_figure sb_figure_of(double value);

/* A torque in N m, or words for one below (-INFINITY) and above (INFINITY) all others. */
struct sb_figure sb_figure_torque(double torque_nm, const char *lowest, const char *highest);

/* A percentage rounded to tenths by the given function, so that what is advised as safe stays so: ceil, floor. */
struct sb_figure sb_figure_percent_by(double (*rounded)(double), double fraction);
struct sb_figure sb_figure_percent(double fraction);

/* Thresholds as they were given. */
struct sb_figure sb_figure_threshold(double fraction);

/* Texts that live as long as the expression they stand in. */
#define NUM(value) sb_figure_of(value).text
#define PCT(value) sb_figure_percent(value).text
#define SET(value) sb_figure_threshold(value).text

/* A sentence behind two spaces, broken between words; the lines after the first are set in further. */
void sb_check_say(FILE *out, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* A cell of a table, filled with spaces on its right up to a width in columns. */
void sb_check_cell(FILE *out, int width, const char *format, ...) __attribute__((format(printf, 3, 4)));

/* Columns that a word takes: UTF-8 continuation bytes take none. */
int sb_check_columns(const char *word, size_t length);

/* Short names for texts that are made of little else. */
#define say sb_check_say
#define cell sb_check_cell

#endif
