// SPDX-License-Identifier: GPL-3.0-or-later
/* stage.h - the stages after the closed forms: runs and tuning of many machines as tasks. */
#ifndef SHIFTBAND_DESIGN_STAGE_H
#define SHIFTBAND_DESIGN_STAGE_H

#include "design/machine.h"
#include "design/record.h"
#include "shiftband/tune.h"

/* Machines of one stage, and what became of each. */
struct sb_stage {
  const struct sb_design_request *request;
  const struct sb_design_answer *answer;
  enum sb_design_stage stage;
  const struct sb_candidate *candidates; /* candidates[count] */
  long count;
  const struct sb_design_record
      *before; /* before[count]: records of these machines that the work goes on with; NULL: none */
  enum sb_status (*work)(const struct sb_stage *stage, const struct sb_candidate *candidate,
                         struct sb_design_record *record, struct sb_error *err);
};

/* "runs", "tunes": in journals' names and in shards. Pure. */
const char *sb_stage_word(enum sb_design_stage stage);

/* records[count]; or, of a shard, *is_shard. SB_ERR_STOPPED when the stop flag was raised. */
enum sb_status sb_stage_run(const struct sb_stage *stage, struct sb_design_record *records, bool *is_shard,
                            struct sb_error *err);

/* Runs with thresholds by closed forms. */
enum sb_status sb_stage_try(const struct sb_stage *stage, const struct sb_candidate *candidate,
                            struct sb_design_record *record, struct sb_error *err);

/* Tunes, and runs what is written. */
enum sb_status sb_stage_tune(const struct sb_stage *stage, const struct sb_candidate *candidate,
                             struct sb_design_record *record, struct sb_error *err);

/* Runs a machine under all loads: the worst figures and values. */
enum sb_status sb_stage_run_loads(const struct sb_stage *stage, const struct sb_candidate *candidate,
                                  const struct sb_loaded *loaded, struct sb_design_record *record,
                                  struct sb_error *err);

/* More load on a pair's thresholds, of the heaviest load there is: up to where they pass (NAN: not tried), and what fails beyond. */
double sb_stage_carried_nm(double heaviest_nm, const struct sb_tune_result *result, struct sb_design_limit *limit);

/* Proves what there is to prove of a tuned design. */
enum sb_status sb_stage_prove(const struct sb_stage *stage, const struct sb_candidate *candidate,
                              struct sb_design_record *record, struct sb_error *err);

/* What is proved of a model, taken to what is proved of it under other loads: the worse of each. is_first: nothing was before. */
enum sb_status sb_stage_prove_model(const struct sb_model *model, bool is_first, struct sb_design_record *record,
                                    struct sb_error *err);

/* Removes the journals once the output is safe. */
void sb_stage_forget(const struct sb_design_request *request);

#endif
