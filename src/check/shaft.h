// SPDX-License-Identifier: GPL-3.0-or-later
/* shaft.h - what `check` says of the blows of engagements and contacts on a rigid or a compliant output shaft. */
#ifndef SHIFTBAND_CHECK_SHAFT_H
#define SHIFTBAND_CHECK_SHAFT_H

#include "check/check.h"

/* Nothing for a rigid shaft without blows. */
void sb_check_write_shaft(const struct sb_check_case *at, FILE *out);

/* Member "output_shaft" of an open object. */
void sb_check_put_shaft(struct sb_json *json, const struct sb_check_case *at);

/* The greatest torque that a blow alone brings, damped, N m, and its gear; 0 for a rigid shaft. */
double sb_check_greatest_blow_nm(const struct sb_check_case *at, int *gear);

#endif
