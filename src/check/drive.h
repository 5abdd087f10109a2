// SPDX-License-Identifier: GPL-3.0-or-later
/* drive.h - what `check` says of the drive: what its inner loop hides from the reading, ramp and orders. */
#ifndef SHIFTBAND_CHECK_DRIVE_H
#define SHIFTBAND_CHECK_DRIVE_H

#include "check/check.h"

/* Nothing for a plain duty read by its speed. */
void sb_check_write_drive(const struct sb_check_case *at, FILE *out);

/* Member "drive" of an open object. */
void sb_check_put_drive(struct sb_json *json, const struct sb_check_case *at);

#endif
