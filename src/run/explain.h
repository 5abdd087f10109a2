// SPDX-License-Identifier: GPL-3.0-or-later
/* explain.h - one function for each kind of verdict: what happened, why, and what cures it, in whole sentences. */
#ifndef SHIFTBAND_RUN_EXPLAIN_H
#define SHIFTBAND_RUN_EXPLAIN_H

#include "shiftband/verdict.h"

/* A verdict and what is known of its machine; explanation grows. */
struct sb_explaining {
  const struct sb_verdict *verdict;
  const struct sb_model *model;
  const struct sb_closed_form *closed;
  struct sb_verdict_words *out;
};

void sb_explain_hunting(struct sb_explaining *to);
void sb_explain_busy_shifting(struct sb_explaining *to);
void sb_explain_stuck_low(struct sb_explaining *to);
void sb_explain_needless_downshift(struct sb_explaining *to);
void sb_explain_not_engaged(struct sb_explaining *to);
void sb_explain_stall(struct sb_explaining *to);
void sb_explain_overload(struct sb_explaining *to);
void sb_explain_slipping(struct sb_explaining *to);
void sb_explain_overheated(struct sb_explaining *to);
void sb_explain_drive_cut(struct sb_explaining *to);
void sb_explain_reversed(struct sb_explaining *to);
void sb_explain_runs_back(struct sb_explaining *to);
void sb_explain_overspeed(struct sb_explaining *to);
void sb_explain_clutch_slips(struct sb_explaining *to);
void sb_explain_out_of_reach(struct sb_explaining *to);

/* Adds to the text. */
#define sb_explain_say(to, ...) sb_fail_add((to)->out->text, sizeof(to)->out->text, __VA_ARGS__)

/* "the load of 0.62 N.m", or "the load of 0.51..0.74 N.m", and when it lasted: ", for 2 s in 3 spells". */
void sb_explain_load(struct sb_explaining *to);
void sb_explain_duration(struct sb_explaining *to);

/* The name of a gear, from 1. */
const char *sb_explain_gear(const struct sb_explaining *to, int gear);

/* Adds a cure, and to the text where it has a value: "; set controller.dwell to at least 2 s". bound ("at least", "at
 * most") is NULL for the very value; value is NULL where none follows from the run or the closed forms. */
void sb_explain_cure(struct sb_explaining *to, const char *key, const char *bound, const char *value);

#endif
