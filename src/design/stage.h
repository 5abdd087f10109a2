// SPDX-License-Identifier: GPL-3.0-or-later
/* stage.h - the stages after the closed forms: runs and tuning of many machines as tasks. */
#ifndef SHIFTBAND_DESIGN_STAGE_H
#define SHIFTBAND_DESIGN_STAGE_H

#include "design/record.h"
#include "shiftband/tune.h"

/* Machines of one stage, and what became of each. */
struct sb_stage {
  const struct sb_design_request *request;
  const struct sb_design_answer *answer;
  const char *name;                      /* "runs", "tunes": in the journal's name */
  const struct sb_candidate *candidates; /* candidates[count] */
  long count;
  enum sb_status (*work)(const struct sb_stage *stage, const struct sb_candidate *candidate,
                         struct sb_design_record *record, struct sb_error *err);
};

/* records[count]. SB_ERR_STOPPED when the stop flag was raised. */
enum sb_status sb_stage_run(const struct sb_stage *stage, struct sb_design_record *records, struct sb_error *err);

/* Runs with thresholds by closed forms. */
enum sb_status sb_stage_try(const struct sb_stage *stage, const struct sb_candidate *candidate,
                            struct sb_design_record *record, struct sb_error *err);

/* Tunes, runs what is written, and proves what there is to prove. */
enum sb_status sb_stage_tune(const struct sb_stage *stage, const struct sb_candidate *candidate,
                             struct sb_design_record *record, struct sb_error *err);

/* The heaviest load up to which a pair's thresholds pass: the scenario's own heaviest, and what may come on top. NAN: not tried. */
double sb_stage_carried_nm(const struct sb_model *model, const struct sb_tune_result *result);

/* Removes the journals once the output is safe. */
void sb_stage_forget(const struct sb_design_request *request);

#endif
