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

/* Calls take for each verdict: hunting and busy shifting, then stalls. */
typedef void sb_inspect_take_verdict(void *context, const struct sb_verdict *verdict,
                                     const struct sb_verdict_words *words);
void sb_inspect_each_verdict(const struct sb_inspect_report *report, sb_inspect_take_verdict *take, void *context);

void sb_inspect_write_text(FILE *out, const struct sb_inspect_report *report);

/* One object on one line. */
void sb_inspect_write_json(FILE *out, const struct sb_inspect_report *report);

#endif
