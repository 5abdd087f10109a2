// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * report.h - what a run came to: as text for people, as one JSON object for machines, or as columns side by side.
 * Cautions belong to the text wherever people or things could be hurt.
 */
#ifndef SHIFTBAND_REPORT_H
#define SHIFTBAND_REPORT_H

#include <stdio.h>

#include "shiftband/run.h"

struct sb_json;

/* One finished run and what it was a run of. */
struct sb_report {
  const struct sb_model *model;
  const struct sb_run_result *result;
  int locked_gear;                /* from 1; 0: automatic */
  const struct sb_warmup *warmup; /* what led to this repeat; NULL: the scenario as it stands */
  const char *controller;         /* name of an external one; NULL: ours, or none */
  bool is_verbose;                /* also what only a developer wants */
};

/* The summary: verdicts first, then shifts, times, extremes, energy, cautions. */
void sb_report_write_text(FILE *out, const struct sb_report *report);

/* A verdict as all commands write it: one object. What is not known is null: a gear below 0, a count of 0, a
 * time of NAN, no gear_name. */
void sb_verdict_write_json(struct sb_json *json, const struct sb_verdict *verdict, const char *gear_name,
                           const struct sb_verdict_words *words);

/* The same facts as one whole object. */
void sb_report_write_json(struct sb_json *json, const struct sb_report *report);

/* Several runs of one scenario side by side, a column each; count >= 1. */
void sb_report_write_comparison(FILE *out, const struct sb_report *reports, int count);

/* Writes the cautions that a model and its verdicts call for (is_run false: the model alone). */
void sb_report_write_cautions(FILE *out, const struct sb_model *model, const struct sb_monitor *monitor);

#endif
