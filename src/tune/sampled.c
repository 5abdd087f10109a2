// SPDX-License-Identifier: GPL-3.0-or-later
#include "tune/survey.h"

#include "tune/answer.h"

enum sb_status sb_sampled_row(const struct sb_survey *survey, const struct sb_model *model, int downshift,
                              bool has_figures, struct sb_lines *out, struct sb_error *err)
{
  const struct sb_tune_options *options = survey->options;
  const struct sb_map_axis *axis = &options->axis;
  for (int upshift = downshift + 1; upshift < axis->count; upshift++) {
    struct sb_map_verdict verdict;
    struct sb_map_figures figures;
    if (options->stop != NULL && *options->stop != 0) return sb_fail(err, SB_ERR_STOPPED, "stopped");
    const enum sb_status status =
        sb_answer_try(model, options, sb_map_axis_at(axis, downshift), sb_map_axis_at(axis, upshift), survey->dwell_s,
                      &verdict, &figures, err);
    if (status != SB_OK) return status;
    const bool holds = verdict.kinds == 0;
    if (!holds && !has_figures) continue;
    sb_lines_add(out, "%d %d %d %d %d %.9g %.9g\n", holds, downshift, downshift, upshift, upshift,
                 has_figures ? figures.output_turns : 0.0, has_figures ? figures.given_j : 0.0);
  }
  return SB_OK;
}
