// SPDX-License-Identifier: GPL-3.0-or-later
/* cause.h - why a box in a log hunts, by the loads that the log shows at its shifts. */
#ifndef SHIFTBAND_INSPECT_CAUSE_H
#define SHIFTBAND_INSPECT_CAUSE_H

#include "shiftband/inspect.h"

/* Adds a stretch of at least three shifts, its period_s being the sum of its periods so far; false: out of memory. */
bool sb_inspect_add_hunt(struct sb_inspection *found, const struct sb_inspect_hunt *hunt);

/* With a model, and where the log has a load torque at all shifts: judges each three shifts as a run does, and puts the stretches
 * with their causes and loads in place of the chains of quick shifts. */
enum sb_status sb_inspect_find_causes(const struct sb_log *log, const struct sb_inspect_options *options,
                                      struct sb_inspection *found);

#endif
