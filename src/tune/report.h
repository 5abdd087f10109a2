// SPDX-License-Identifier: GPL-3.0-or-later
/* report.h - what tune found, as text (text.c) and as JSON (json.c). */
#ifndef SHIFTBAND_TUNE_REPORT_H
#define SHIFTBAND_TUNE_REPORT_H

#include <stdio.h>

#include "text/json.h"
#include "tune/rounds.h"

enum { SB_TUNE_WORDS_SIZE = 512 };

void sb_tune_write_text(FILE *out, const struct sb_rounds *tuning);

/* One object on one line. */
void sb_tune_write_json(FILE *out, const struct sb_rounds *tuning);

/* The choices of a pair as a table, and by which rule one of them is recommended (choice_report.c). */
void sb_tune_write_choices(FILE *out, const struct sb_rounds *tuning, int pair);

/* The member `alternatives` of an open object, and what goes with it. */
void sb_tune_put_choices(struct sb_json *json, const struct sb_rounds *tuning, int pair);

/* ---- what both forms share ---- */

/* The rule by which a pair's answer is recommended, and whether one gear would do, in whole sentences. Return text; "": nothing to say. */
const char *sb_tune_rule_words(const struct sb_rounds *tuning, int pair, char text[SB_TUNE_WORDS_SIZE]);
const char *sb_tune_needed_words(const struct sb_rounds *tuning, int pair, char text[SB_TUNE_WORDS_SIZE]);

/* Which choice it is: "recommended", "slow locked". Returns text. */
const char *sb_tune_choice_words(const struct sb_rounds *tuning, const struct sb_tune_choice *choice,
                                 char text[SB_TUNE_WORDS_SIZE]);

/* The first scenario's model, whose gears and sensor all share. */
const struct sb_model *sb_tune_first_model(const struct sb_rounds *tuning);

/* Somebody else's controller, or NULL. */
const struct sb_decider *sb_tune_decider(const struct sb_rounds *tuning);

/* Points along a threshold at the controller's own step. */
int sb_tune_finest_count(const struct sb_rounds *tuning);

/* A fraction in percent, and a time, without the dust of binary fractions. */
double sb_tune_percent(double fraction);
double sb_tune_seconds(double time_s);

/* The dwell in whole samples. */
long sb_tune_dwell_samples(const struct sb_rounds *tuning);

/* Which machine, and which sample of it: "Tray cart, supply.open_circuit_voltage 10.4 V". Returns text. */
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
