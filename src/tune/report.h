// SPDX-License-Identifier: GPL-3.0-or-later
/* report.h - what tune found, in words and as JSON. */
#ifndef SHIFTBAND_TUNE_REPORT_H
#define SHIFTBAND_TUNE_REPORT_H

#include <stdio.h>

#include "shiftband/spread.h"
#include "shiftband/tune.h"

/* All scenarios, their samples, and the answers pair by pair. */
struct sb_tuning {
  int nominal_count;
  struct sb_scenario *nominals; /* as written, by scenario */
  double **values;              /* of all samples of a scenario, one behind the other; owned */
  int machine_count;
  struct sb_scenario *samples; /* behind the machines; own their tables */
  struct sb_tune_machine *machines;
  unsigned long seed;
  int first_pair, last_pair;
  double dwell_s; /* one for all pairs */
  struct sb_tune_options options[SB_GEAR_MAX - 1];
  struct sb_tune_result results[SB_GEAR_MAX - 1];
};

enum sb_status sb_tune_write_text(FILE *out, const struct sb_tuning *tuning, struct sb_error *err);
enum sb_status sb_tune_write_json(FILE *out, const struct sb_tuning *tuning, struct sb_error *err);

#endif
