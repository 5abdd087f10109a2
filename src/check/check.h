// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * check.h - what `check` found about one scenario, handed to the text and to the JSON writer.
 */
#ifndef SHIFTBAND_CHECK_CHECK_H
#define SHIFTBAND_CHECK_CHECK_H

#include <stdbool.h>
#include <stdio.h>

#include "shiftband/closed_form.h"
#include "shiftband/discharge.h"
#include "shiftband/scenario.h"
#include "text/json.h"

enum { SB_CHECK_NOTE_MAX = 48, SB_CHECK_NOTE_SIZE = 512 };

/* Sentences for the user, in order of finding. */
struct sb_check_notes {
  int count;
  char texts[SB_CHECK_NOTE_MAX][SB_CHECK_NOTE_SIZE];
};

/* The machine at one open-circuit voltage. */
struct sb_check_case {
  const char *label; /* "nominal", "least", "greatest" */
  struct sb_model model;
  struct sb_motor_line line;
  struct sb_closed_form form;
};

enum { SB_CHECK_NOMINAL, SB_CHECK_LEAST, SB_CHECK_GREATEST, SB_CHECK_CASE_MAX };

struct sb_check_report {
  int case_count; /* 1, or 3 when the scenario gives the supply's voltage a range */
  struct sb_check_case cases[SB_CHECK_CASE_MAX];
  struct sb_discharge discharge; /* with a battery */
  struct sb_check_notes notes;
  struct sb_check_notes cautions; /* where people or things could be hurt */
};

/* Fills notes and cautions from the nominal case. */
void sb_check_find_notes(struct sb_check_report *report);

void sb_check_write_text(const struct sb_check_report *report, FILE *out);

/* The figures of each pair of gears, a line a figure and a column a case. */
void sb_check_write_pairs(const struct sb_check_report *report, FILE *out);

/* One object on one line. */
void sb_check_write_json(const struct sb_check_report *report, FILE *out);

/* Motor, gears and pairs of one case, as a member of an open object by its label. */
void sb_check_put_case(struct sb_json *json, const struct sb_check_case *at);

/* What a holding brake needs to hold at rest what acts by itself, beside the friction of the drums, in N m. */
double sb_check_hung_nm(const struct sb_model *model);

/* What the controller in truth waits, in s: a duration in whole samples, rounded up. */
double sb_check_whole_samples_s(const struct sb_control *control, double duration_s);

#endif
