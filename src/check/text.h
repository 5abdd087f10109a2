// SPDX-License-Identifier: GPL-3.0-or-later
/* text.h - sections of the text of a check; each is nothing where there is nothing to say. */
#ifndef SHIFTBAND_CHECK_TEXT_H
#define SHIFTBAND_CHECK_TEXT_H

#include "shiftband/check.h"
#include "text/table.h"
#include "text/words.h"

/* A sentence, or more than one, as an item of a section. */
#define SAY(...) sb_words_say(out, 2, 4, __VA_ARGS__)

void sb_check_text_locking(const struct sb_check *check, FILE *out);
void sb_check_text_drive(const struct sb_check *check, FILE *out);
void sb_check_text_sensor(const struct sb_check *check, FILE *out);
void sb_check_text_limit(const struct sb_check *check, FILE *out);
void sb_check_text_shaft(const struct sb_check *check, FILE *out);
void sb_check_text_vehicle(const struct sb_check *check, FILE *out);
void sb_check_text_pairs(const struct sb_check *check, FILE *out);
void sb_check_text_range(const struct sb_check *check, FILE *out);
void sb_check_text_battery(const struct sb_check *check, FILE *out);
void sb_check_text_heat(const struct sb_check *check, FILE *out);

/* The figures of each pair of gears, a line a figure and a column a case. */
void sb_check_text_cases(const struct sb_check_case *cases, int count, FILE *out);

/* The head of a case's column: its voltage, or its temperature. */
struct sb_figure sb_check_text_label(const struct sb_check_case *at);

/* A labelled line of a section, wrapped behind its label. */
void sb_check_text_line(FILE *out, const char *label, const char *format, ...) __attribute__((format(printf, 3, 4)));

#endif
