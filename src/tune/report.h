// SPDX-License-Identifier: GPL-3.0-or-later
/* report.h - what tune found, in words and as JSON. */
#ifndef SHIFTBAND_TUNE_REPORT_H
#define SHIFTBAND_TUNE_REPORT_H

#include <stdio.h>

#include "tune/rounds.h"

enum sb_status sb_tune_write_text(FILE *out, const struct sb_tuning *tuning, struct sb_error *err);
enum sb_status sb_tune_write_json(FILE *out, const struct sb_tuning *tuning, struct sb_error *err);

#endif
