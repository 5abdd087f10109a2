// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * runs.h - internal: what runs at the points of a study come to.
 *
 * A point that is no valid scenario is "refused", one at which the numerics give up says so; among samples both fail.
 */
#ifndef SHIFTBAND_STUDY_RUNS_H
#define SHIFTBAND_STUDY_RUNS_H

#include "map/class.h"
#include "study/evaluator.h"

enum sb_run_end { SB_RUN_ENDED, SB_RUN_REFUSED, SB_RUN_GAVE_UP };

/* What one run comes to; figures mean something only when it ended. */
struct sb_outcome {
  enum sb_run_end end;
  struct sb_map_verdict verdict;
  struct sb_map_figures figures;
  double standstill_s; /* at rest in gear */
  bool never_shifts;   /* passes without a shift, in a box that has gears to choose from */
};

/* What a point comes to: of a single run the run itself, of samples how many ended how. */
struct sb_run_point {
  struct sb_outcome outcome; /* of the first sample */
  long passed, refused, gave_up;
  long classes[SB_MAP_CLASS_COUNT]; /* by the verdict that matters most; what never shifts is among those that passed */
  const char *limits;               /* closed forms as text of the record, "": none */
};

/* Runs a model. SB_ERR_MEMORY, SB_ERR_IO, SB_ERR_CONTROLLER. */
enum sb_status sb_outcome_of(const struct sb_model *model, const struct sb_decider *decider, struct sb_outcome *out,
                             struct sb_error *err);

/* A record's first line, and back. False when it is none. */
void sb_outcome_write(struct sb_lines *lines, const struct sb_outcome *outcome);
bool sb_outcome_read(const char *text, struct sb_outcome *out);

/* Class of one that ended. Letter in pictures, words, name in tables: constant strings. */
enum sb_map_class sb_outcome_class(const struct sb_outcome *outcome);
char sb_outcome_mark(const struct sb_outcome *outcome);
const char *sb_outcome_words(const struct sb_outcome *outcome);
const char *sb_outcome_name(const struct sb_outcome *outcome);

/* Whether what is of a class fails. */
static inline bool sb_runs_fail_by(enum sb_map_class class)
{
  return class != SB_MAP_PASSES && class != SB_MAP_NEVER_SHIFTS;
}

/* What most samples of a point fail by: words, "" when all pass. */
const char *sb_outcome_commonest(const struct sb_run_point *point);

enum sb_status sb_runs_write_text(FILE *out, const struct sb_study_report *report, struct sb_error *err);

static inline const struct sb_run_point *sb_run_points(const struct sb_study_report *report)
{
  return report->points;
}

#endif
