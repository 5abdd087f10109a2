// SPDX-License-Identifier: GPL-3.0-or-later
/* runs.h - a run of a model, and whether it comes to a verdict. */
#ifndef SHIFTBAND_TESTS_RUNS_H
#define SHIFTBAND_TESTS_RUNS_H

#include "help/near.h"
#include "shiftband/run.h"

static inline struct sb_run_result run(const struct sb_model *model)
{
  const struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  struct sb_error err = {0};
  if (sb_run(model, &options, &result, &err) != SB_OK) fail_msg("%s", err.text);
  return result;
}

static inline const struct sb_verdict *find(const struct sb_run_result *result, enum sb_verdict_kind kind)
{
  for (size_t i = 0; i < result->monitor.verdict_count; i++) {
    if (result->monitor.verdicts[i].kind == kind) return &result->monitor.verdicts[i];
  }
  return NULL;
}

static inline bool has_verdict(const struct sb_model *model, enum sb_verdict_kind kind)
{
  struct sb_run_result result = run(model);
  const bool has = find(&result, kind) != NULL;
  sb_run_result_clear(&result);
  return has;
}

#endif
