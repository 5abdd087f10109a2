// SPDX-License-Identifier: GPL-3.0-or-later
/* report.h - what inspect found, in words and as JSON. */
#ifndef SHIFTBAND_INSPECT_REPORT_H
#define SHIFTBAND_INSPECT_REPORT_H

#include <stdio.h>

#include "shiftband/overlay.h"

struct sb_inspect_report {
  const char *trace; /* the log's path */
  const struct sb_log *log;
  const struct sb_inspection *found;
  const struct sb_inspect_options *options;
  /* With a scenario beside it, else NULL. */
  const struct sb_scenario *scenario;
  const struct sb_inspection *simulated; /* the same questions to the simulation */
  double compared_to_s;                  /* end of the simulation, in the log's time */
  const struct sb_overlay *overlay;
  const struct sb_hint *hints; /* hints[hint_count] */
  size_t hint_count;
};

void sb_inspect_write_text(FILE *out, const struct sb_inspect_report *report);

/* One object on one line. */
void sb_inspect_write_json(FILE *out, const struct sb_inspect_report *report);

#endif
