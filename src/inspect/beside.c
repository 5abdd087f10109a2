// SPDX-License-Identifier: GPL-3.0-or-later
/* A log beside a simulation of a scenario; see overlay.h. */
#include <math.h>

#include "shiftband/overlay.h"

enum sb_status sb_inspect_beside(const struct sb_log *log, const struct sb_model *model,
                                 const struct sb_inspect_options *inspect, const struct sb_overlay_options *options,
                                 struct sb_inspect_beside *out, struct sb_error *err)
{
  struct sb_inspect_options by_gear = *inspect;
  by_gear.source = SB_INSPECT_GEAR;
  *out = (struct sb_inspect_beside){.ends_s = (double)NAN};
  enum sb_status status = sb_overlay_run(model, log, options, &out->simulated, err);
  if (status == SB_OK) {
    out->ends_s = options->offset_s + out->simulated.time_s[out->simulated.count - 1];
    status = sb_inspect(&out->simulated, &by_gear, &out->found, err);
  }
  if (status == SB_OK) status = sb_overlay_compare(log, &out->simulated, options, &out->overlay, err);
  if (status != SB_OK) sb_inspect_beside_clear(out);
  return status;
}

enum sb_status sb_inspect_beside_explain(const struct sb_log *log, const struct sb_scenario *scenario,
                                         const struct sb_overlay_options *options,
                                         const struct sb_hint_request *request, struct sb_inspect_beside *beside,
                                         struct sb_error *err)
{
  const bool is_deviating = !isnan(beside->overlay.first_deviation_s);
  if (!is_deviating && request->try_count == 0) return SB_OK;
  return sb_overlay_explain(log, scenario, options, request, &beside->explanation, err);
}

void sb_inspect_beside_clear(struct sb_inspect_beside *beside)
{
  sb_log_clear(&beside->simulated);
  sb_inspect_clear(&beside->found);
  sb_overlay_clear(&beside->overlay);
}
