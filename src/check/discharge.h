// SPDX-License-Identifier: GPL-3.0-or-later
/* discharge.h - what `check` says of a battery over its charge. All need a report with a battery. */
#ifndef SHIFTBAND_CHECK_DISCHARGE_H
#define SHIFTBAND_CHECK_DISCHARGE_H

#include "check/check.h"

void sb_check_write_discharge(const struct sb_check_report *report, FILE *out);

/* Members "battery" and "discharge" of an open object. */
void sb_check_put_discharge(struct sb_json *json, const struct sb_check_report *report);

#endif
