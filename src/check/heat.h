// SPDX-License-Identifier: GPL-3.0-or-later
/* heat.h - what `check` says of a winding that warms. All need a report whose model has one. */
#ifndef SHIFTBAND_CHECK_HEAT_H
#define SHIFTBAND_CHECK_HEAT_H

#include "check/check.h"

void sb_check_write_heat(const struct sb_check_report *report, FILE *out);

/* Member "heat" of an open object. */
void sb_check_put_heat(struct sb_json *json, const struct sb_check_report *report);

/* Adds to the report's cautions where the motor can burn. */
void sb_check_caution_heat(struct sb_check_report *report);

#endif
