// SPDX-License-Identifier: GPL-3.0-or-later
/* refusal.h - internal: samples of a study that are no valid scenario, by the reasons for which they were refused. */
#ifndef SHIFTBAND_STUDY_REFUSAL_H
#define SHIFTBAND_STUDY_REFUSAL_H

#include <stdio.h>

#include "study/study.h"

/* A record that says so, of a fault's text; and back: the reason, up to the end of its line, or NULL when it is no such record. */
void sb_refusal_write(struct sb_lines *lines, const char *fault);
const char *sb_refusal_reason(const char *record, int *length);

/* Counts the refused ones of all records, by reasons that differ in more than their numbers. */
void sb_refusal_count(const struct sb_tasks_result *result, struct sb_refusals *out);

/* How many, why, and where first: for people, on one line as a warning ("" when there are none), and as JSON members. */
void sb_refusal_write_text(FILE *out, const struct sb_study_report *report);
const char *sb_refusal_line(const struct sb_study_report *report, char *text, size_t size);
void sb_refusal_put(struct sb_json *json, const struct sb_study_report *report);

#endif
