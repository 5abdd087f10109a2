// SPDX-License-Identifier: GPL-3.0-or-later
/* report.h - what inspect found, as text (text.c) and as JSON (json.c). */
#ifndef SHIFTBAND_INSPECT_REPORT_H
#define SHIFTBAND_INSPECT_REPORT_H

#include <stdio.h>

#include "shiftband/overlay.h"

struct sb_inspect_report {
  const char *trace; /* the log's path */
  const struct sb_log *log;
  const struct sb_inspection *found;
  /* With a scenario to compare, else NULL. */
  const struct sb_scenario *scenario;
  const struct sb_inspect_beside *beside;
};

/* Name of a gear from 1, "gear 2" without a scenario, "an unknown gear" for 0. Returns text. */
const char *sb_inspect_gear_words(const struct sb_inspect_report *report, int gear, char text[SB_NAME_SIZE]);

/* The verdicts in words. Return text. */
enum { SB_INSPECT_VERDICT_SIZE = 2 * SB_NAME_SIZE + 192 };
const char *sb_inspect_hunt_text(const struct sb_inspect_report *report, const struct sb_inspect_hunt *hunt,
                                 char text[SB_INSPECT_VERDICT_SIZE]);
const char *sb_inspect_rest_text(const struct sb_inspect_report *report, const struct sb_inspect_rest *rest,
                                 char text[SB_INSPECT_VERDICT_SIZE]);

void sb_inspect_write_text(FILE *out, const struct sb_inspect_report *report);

/* One object on one line. */
void sb_inspect_write_json(FILE *out, const struct sb_inspect_report *report);

#endif
