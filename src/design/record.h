// SPDX-License-Identifier: GPL-3.0-or-later
/* record.h - what a task found about one machine, as a line of text that reads back to the bit. */
#ifndef SHIFTBAND_DESIGN_RECORD_H
#define SHIFTBAND_DESIGN_RECORD_H

#include "design/design.h"

/* Of each figure the worse one, but for NAN. */
void sb_design_figures_add(struct sb_design_figures *worst, const struct sb_design_figures *one);

/* What became of it. */
enum sb_fate {
  SB_FATE_INVALID, /* it is no valid scenario */
  SB_FATE_RUN,     /* it was run */
  SB_FATE_FAILED,  /* no thresholds pass */
  SB_FATE_TUNED
};

struct sb_design_record {
  enum sb_fate fate;
  struct sb_design_control control;
  struct sb_design_figures figures;
  struct sb_design_limit limit;
  double values[SB_NEED_MAX]; /* of the needs; value_count of them */
  int value_count;
  bool is_proved_class;
  int statements[SB_PROVE_STATEMENTS];
};

void sb_design_record_write(struct sb_lines *out, const struct sb_design_record *record);

/* False when the line is damaged. */
bool sb_design_record_read(const char *line, struct sb_design_record *record);

#endif
