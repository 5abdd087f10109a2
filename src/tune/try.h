// SPDX-License-Identifier: GPL-3.0-or-later
/* try.h - internal: one machine run with thresholds and a dwell. */
#ifndef SHIFTBAND_TUNE_TRY_H
#define SHIFTBAND_TUNE_TRY_H

#include "shiftband/tune.h"

/* Runs a machine with these thresholds and dwell, under the controller of the options. */
enum sb_status sb_try_run(const struct sb_model *model, const struct sb_tune_options *options,
                          double downshift_fraction, double upshift_fraction, double dwell_s,
                          struct sb_map_verdict *verdict, struct sb_map_figures *figures, struct sb_error *err);

#endif
