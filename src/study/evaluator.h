// SPDX-License-Identifier: GPL-3.0-or-later
/* evaluator.h - internal: what a task of a study is, and what its records add up to. */
#ifndef SHIFTBAND_STUDY_EVALUATOR_H
#define SHIFTBAND_STUDY_EVALUATOR_H

#include "study/study.h"

struct sb_evaluator {
  /* One sample at one point, loaded. Writes its record; those that are no valid scenario have one of refusal.h. */
  enum sb_status (*evaluate)(const struct sb_study_work *work, long point, const struct sb_scenario *scenario,
                             struct sb_lines *out, struct sb_error *err);
  /* Reads all records into report->points; clears them. */
  enum sb_status (*take)(const struct sb_tasks_result *result, struct sb_study_report *report, struct sb_error *err);
  void (*clear)(struct sb_study_report *report);
  int (*write_csv)(FILE *out, const struct sb_study_report *report);
  enum sb_status (*write_text)(FILE *out, const struct sb_study_report *report, struct sb_error *err);
  void (*put)(struct sb_json *json, const struct sb_study_report *report); /* members of the open object */
};

extern const struct sb_evaluator sb_runs_evaluator, sb_maps_evaluator;

#endif
