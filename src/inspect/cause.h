// SPDX-License-Identifier: GPL-3.0-or-later
/* cause.h - why a box in a log hunts, by the loads that the log shows at its shifts. */
#ifndef SHIFTBAND_INSPECT_CAUSE_H
#define SHIFTBAND_INSPECT_CAUSE_H

#include "shiftband/inspect.h"

/* Fills loads and cause of each hunt, as a run finds them, where the log has a load torque at all of its shifts. */
void sb_inspect_find_causes(const struct sb_log *log, const struct sb_model *model, struct sb_inspection *found);

#endif
