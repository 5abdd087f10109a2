// SPDX-License-Identifier: GPL-3.0-or-later
#include "design/record.h"

#include <stdlib.h>

enum { FIGURES = 11 };

/* The numbers of the figures, one after the other. */
static void list_figures(struct sb_design_figures *figures, double *places[FIGURES])
{
  double *const all[FIGURES] = {&figures->time_s,           &figures->speed_rad_s, &figures->charge_as,
                                &figures->energy_j,         &figures->current_a,   &figures->winding_c,
                                &figures->output_torque_nm, &figures->tooth_load,  &figures->margin_fraction,
                                &figures->swing_nm,         &figures->carried_nm};
  for (int k = 0; k < FIGURES; k++) places[k] = all[k];
}

void sb_design_record_write(struct sb_lines *out, const struct sb_design_record *record)
{
  struct sb_design_figures figures = record->figures;
  double *places[FIGURES];
  list_figures(&figures, places);
  sb_lines_add(out, "%d %d %u %d %d", (int)record->fate, figures.wheel_count, figures.verdicts, record->control.pairs,
               record->is_proved_class);
  for (int k = 0; k < SB_PROVE_STATEMENTS; k++) sb_lines_add(out, " %d", record->statements[k]);
  sb_lines_add(out, " %.17g", record->control.dwell_s);
  for (int p = 0; p < record->control.pairs; p++) {
    sb_lines_add(out, " %.17g %.17g", record->control.downshift_pct[p], record->control.upshift_pct[p]);
  }
  for (int k = 0; k < FIGURES; k++) sb_lines_add(out, " %.17g", *places[k]);
  sb_lines_add(out, " %d", record->value_count);
  for (int k = 0; k < record->value_count; k++) sb_lines_add(out, " %.17g", record->values[k]);
  sb_lines_add(out, "\n");
}

/* Numbers one after the other; is_sound until one is missing. */
struct numbers {
  const char *at;
  bool is_sound;
};

static double next(struct numbers *numbers)
{
  char *end = NULL;
  const double value = strtod(numbers->at, &end);
  numbers->is_sound = numbers->is_sound && end != numbers->at;
  numbers->at = end;
  return value;
}

bool sb_design_record_read(const char *line, struct sb_design_record *record)
{
  struct numbers numbers = {line, true};
  double *places[FIGURES];
  *record = (struct sb_design_record){.fate = SB_FATE_INVALID};
  record->fate = (enum sb_fate)next(&numbers);
  record->figures.wheel_count = (int)next(&numbers);
  record->figures.verdicts = (unsigned)next(&numbers);
  record->control.pairs = (int)next(&numbers);
  record->is_proved_class = next(&numbers) != 0.0;
  for (int k = 0; k < SB_PROVE_STATEMENTS; k++) record->statements[k] = (int)next(&numbers);
  record->control.dwell_s = next(&numbers);
  if (record->control.pairs < 0 || record->control.pairs >= SB_GEAR_MAX) return false;
  for (int p = 0; p < record->control.pairs; p++) {
    record->control.downshift_pct[p] = next(&numbers);
    record->control.upshift_pct[p] = next(&numbers);
  }
  list_figures(&record->figures, places);
  for (int k = 0; k < FIGURES; k++) *places[k] = next(&numbers);
  record->value_count = (int)next(&numbers);
  if (record->value_count < 0 || record->value_count > SB_NEED_MAX) return false;
  for (int k = 0; k < record->value_count; k++) record->values[k] = next(&numbers);
  return numbers.is_sound;
}
