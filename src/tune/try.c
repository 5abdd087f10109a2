// SPDX-License-Identifier: GPL-3.0-or-later
#include "tune/try.h"

enum sb_status sb_try_run(const struct sb_model *model, const struct sb_tune_options *options,
                          double downshift_fraction, double upshift_fraction, double dwell_s,
                          struct sb_map_verdict *verdict, struct sb_map_figures *figures, struct sb_error *err)
{
  struct sb_model own = *model;
  own.control.downshift_fraction[options->pair] = downshift_fraction;
  own.control.upshift_fraction[options->pair] = upshift_fraction;
  own.control.dwell_s = dwell_s;
  struct sb_run_options run_options = sb_run_options_default();
  run_options.decider = options->decider;
  struct sb_run_result result;
  const enum sb_status status = sb_run(&own, &run_options, &result, err);
  if (status != SB_OK) return status;
  *verdict = sb_map_verdict_of(&result.monitor);
  *figures = sb_map_figures_of(&result);
  sb_run_result_clear(&result);
  return SB_OK;
}

enum sb_status sb_tune_try(const struct sb_model *model, int pair, double downshift_fraction, double upshift_fraction,
                           double dwell_s, struct sb_map_verdict *verdict, struct sb_map_figures *figures,
                           struct sb_error *err)
{
  const struct sb_tune_options options = {.pair = pair};
  return sb_try_run(model, &options, downshift_fraction, upshift_fraction, dwell_s, verdict, figures, err);
}
