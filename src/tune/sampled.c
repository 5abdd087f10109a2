// SPDX-License-Identifier: GPL-3.0-or-later
#include "tune/survey.h"

#include "tune/answer.h"
#include "tune/record.h"
#include "tune/try.h"

enum sb_status sb_sampled_row(const struct sb_survey *survey, const struct sb_model *model, int downshift,
                              struct sb_lines *out, struct sb_error *err)
{
  const struct sb_tune_options *options = survey->options;
  const struct sb_map_axis *axis = &options->axis;
  for (int upshift = downshift + 1; upshift < axis->count; upshift++) {
    struct sb_map_cell cell = {downshift, downshift, upshift, upshift, {0, SB_CAUSE_NONE}, {0}, NULL};
    if (options->stop != NULL && *options->stop != 0) return sb_fail(err, SB_ERR_STOPPED, "stopped");
    const enum sb_status status =
        sb_try_run(model, options, sb_map_axis_at(axis, downshift), sb_map_axis_at(axis, upshift), survey->dwell_s,
                   &cell.verdict, &cell.figures, err);
    if (status != SB_OK) return status;
    if (cell.verdict.kinds == 0) sb_record_write(out, &cell);
  }
  return SB_OK;
}
