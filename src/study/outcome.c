// SPDX-License-Identifier: GPL-3.0-or-later
/* What a run comes to: as a record and back, as a mark, in words. */
#include <stdio.h>
#include <string.h>

#include "shiftband/run.h"
#include "study/runs.h"

static const struct {
  char mark;
  const char *words, *name;
} ends[] = {
    [SB_RUN_ENDED] = {0, NULL, NULL},
    [SB_RUN_REFUSED] = {'x', "refused: no valid scenario", "refused"},
    [SB_RUN_GAVE_UP] = {'?', "the calculation failed", "gave up"},
};

enum sb_map_class sb_outcome_class(const struct sb_outcome *outcome)
{
  return outcome->never_shifts ? SB_MAP_NEVER_SHIFTS : sb_map_class_of(&outcome->verdict);
}

char sb_outcome_mark(const struct sb_outcome *outcome)
{
  if (outcome->end != SB_RUN_ENDED) return ends[outcome->end].mark;
  return sb_map_class_letter(sb_outcome_class(outcome));
}

const char *sb_outcome_words(const struct sb_outcome *outcome)
{
  if (outcome->end != SB_RUN_ENDED) return ends[outcome->end].words;
  return sb_map_class_words(sb_outcome_class(outcome));
}

const char *sb_outcome_name(const struct sb_outcome *outcome)
{
  if (outcome->end != SB_RUN_ENDED) return ends[outcome->end].name;
  return outcome->never_shifts ? sb_map_class_words(SB_MAP_NEVER_SHIFTS) : sb_map_worst_name(&outcome->verdict);
}

static bool passes_without_shift(const struct sb_outcome *outcome)
{
  return outcome->end == SB_RUN_ENDED &&
         sb_map_class_of_run(&outcome->verdict, &outcome->figures) == SB_MAP_NEVER_SHIFTS;
}

enum sb_status sb_outcome_of(const struct sb_model *model, const struct sb_decider *decider, struct sb_outcome *out,
                             struct sb_error *err)
{
  struct sb_run_options options = sb_run_options_default();
  options.decider = decider;
  struct sb_run_result result;
  const enum sb_status status = sb_run(model, &options, &result, err);
  *out = (struct sb_outcome){.end = SB_RUN_GAVE_UP};
  if (status == SB_ERR_NUMERICS) return SB_OK;
  if (status != SB_OK) return status;
  *out = (struct sb_outcome){.end = SB_RUN_ENDED,
                             .verdict = sb_map_verdict_of(&result.monitor),
                             .figures = sb_map_figures_of(&result),
                             .standstill_s = result.sums.standstill_time_s};
  out->never_shifts = model->gearbox.gear_count > 1 && passes_without_shift(out);
  sb_run_result_clear(&result);
  return SB_OK;
}

void sb_outcome_write(struct sb_lines *lines, const struct sb_outcome *outcome)
{
  const struct sb_map_figures *figures = &outcome->figures;
  sb_lines_add(lines, "%d %u %d %ld %.17g %.17g %.17g %.17g %d\n", (int)outcome->end, outcome->verdict.kinds,
               (int)outcome->verdict.cause, figures->shift_count, figures->output_turns, figures->given_j,
               figures->greatest_torque_nm, outcome->standstill_s, outcome->never_shifts);
}

bool sb_outcome_read(const char *text, struct sb_outcome *out)
{
  int end, cause, never_shifts;
  unsigned kinds;
  struct sb_outcome outcome = {.end = SB_RUN_ENDED};
  struct sb_map_figures *figures = &outcome.figures;
  const int count = sscanf(text, "%d %u %d %ld %lf %lf %lf %lf %d", &end, &kinds, &cause, &figures->shift_count,
                           &figures->output_turns, &figures->given_j, &figures->greatest_torque_nm,
                           &outcome.standstill_s, &never_shifts);
  if (count != 9 || end < 0 || end > SB_RUN_GAVE_UP || !sb_map_verdict_take(kinds, cause, &outcome.verdict))
    return false;
  outcome.end = (enum sb_run_end)end;
  outcome.never_shifts = never_shifts != 0;
  if (outcome.never_shifts && !passes_without_shift(&outcome)) return false;
  *out = outcome;
  return strchr(text, '\n') != NULL;
}

const char *sb_outcome_commonest(const struct sb_run_point *point)
{
  long most = point->refused > point->gave_up ? point->refused : point->gave_up;
  const char *words = most == 0 ? "" : ends[point->refused > 0 ? SB_RUN_REFUSED : SB_RUN_GAVE_UP].words;
  for (int class = 0; class < SB_MAP_CLASS_COUNT; class ++) {
    if (!sb_runs_fail_by((enum sb_map_class) class) || point->classes[class] <= most) continue;
    most = point->classes[class];
    words = sb_map_class_words((enum sb_map_class) class);
  }
  return words;
}
