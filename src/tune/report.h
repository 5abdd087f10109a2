// SPDX-License-Identifier: GPL-3.0-or-later
/* report.h - what tune found, as text (text.c) and as JSON (json.c). */
#ifndef SHIFTBAND_TUNE_REPORT_H
#define SHIFTBAND_TUNE_REPORT_H

#include <stdio.h>

#include "tune/rounds.h"

void sb_tune_write_text(FILE *out, const struct sb_rounds *tuning);

/* One object on one line. */
void sb_tune_write_json(FILE *out, const struct sb_rounds *tuning);

/* ---- what both forms share ---- */

/* The first scenario's model, whose gears and sensor all share. */
const struct sb_model *sb_tune_first_model(const struct sb_rounds *tuning);

/* Somebody else's controller, or NULL. */
const struct sb_decider *sb_tune_decider(const struct sb_rounds *tuning);

/* A fraction in percent, and a time, without the dust of binary fractions. */
double sb_tune_percent(double fraction);
double sb_tune_seconds(double time_s);

/* The dwell in whole samples. */
long sb_tune_dwell_samples(const struct sb_rounds *tuning);

/* Which machine, and which sample of it: "Tray cart, supply.open_circuit_voltage 10.4 V". Returns text. */
enum { SB_TUNE_WORDS_SIZE = 512 };
const char *sb_tune_machine_words(const struct sb_rounds *tuning, int machine, char text[SB_TUNE_WORDS_SIZE]);

/* The worst verdict: "hunting", "passes". A constant string. */
const char *sb_tune_verdict_name(const struct sb_map_verdict *verdict);

/* "threshold-driven" or "dwell-driven"; NULL where the name says it all. */
const char *sb_tune_verdict_cause(const struct sb_map_verdict *verdict);

/* The remedy as a change that people make, and as key and value of a scenario. Return text; NULL: no such key. */
const char *sb_tune_remedy_words(const struct sb_rounds *tuning, int pair, char text[SB_TUNE_WORDS_SIZE]);
const char *sb_tune_remedy_key(const struct sb_rounds *tuning, int pair, char text[SB_TUNE_WORDS_SIZE]);
const char *sb_tune_remedy_value(const struct sb_rounds *tuning, int pair, char text[SB_TUNE_WORDS_SIZE]);

#endif
