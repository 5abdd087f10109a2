// SPDX-License-Identifier: GPL-3.0-or-later
#include "design/record.h"

#include <math.h>
#include <stddef.h>
#include <stdlib.h>

enum { FIGURES = 12 };

/* The numbers of the figures, one after the other, and which of them are the worse the less they are. */
static const struct place {
  size_t offset;
  bool is_least;
} places[FIGURES] = {
#define PLACE(field, is_least)                          \
  {                                                     \
    offsetof(struct sb_design_figures, field), is_least \
  }
    PLACE(time_s, false),         PLACE(speed_rad_s, true),     PLACE(charge_as, false), PLACE(energy_j, false),
    PLACE(current_a, false),      PLACE(winding_c, false),      PLACE(tooth_n, false),   PLACE(output_torque_nm, false),
    PLACE(tooth_fraction, false), PLACE(margin_fraction, true), PLACE(swing_nm, true),   PLACE(carried_nm, true),
#undef PLACE
};

static double *place_in(struct sb_design_figures *figures, int place)
{
  return (double *)(void *)((char *)figures + places[place].offset);
}

void sb_design_figures_add(struct sb_design_figures *worst, const struct sb_design_figures *one)
{
  struct sb_design_figures own = *one;
  for (int k = 0; k < FIGURES; k++) {
    double *all = place_in(worst, k);
    *all = places[k].is_least ? fmin(*all, *place_in(&own, k)) : fmax(*all, *place_in(&own, k));
  }
  worst->verdicts |= one->verdicts;
}

void sb_design_record_write(struct sb_lines *out, const struct sb_design_record *record)
{
  struct sb_design_figures figures = record->figures;
  sb_lines_add(out, "%d %d %u %d %d", (int)record->fate, figures.wheel_count, figures.verdicts, record->control.pairs,
               record->is_proved_class);
  for (int k = 0; k < SB_PROVE_STATEMENTS; k++) sb_lines_add(out, " %d", record->statements[k]);
  sb_lines_add(out, " %.17g", record->control.dwell_s);
  for (int p = 0; p < record->control.pairs; p++) {
    sb_lines_add(out, " %.17g %.17g", record->control.downshift_pct[p], record->control.upshift_pct[p]);
  }
  for (int k = 0; k < FIGURES; k++) sb_lines_add(out, " %.17g", *place_in(&figures, k));
  sb_lines_add(out, " %.17g %u %d", record->limit.load_nm, record->limit.verdicts, record->limit.scenario);
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
  for (int k = 0; k < FIGURES; k++) *place_in(&record->figures, k) = next(&numbers);
  record->limit.load_nm = next(&numbers);
  record->limit.verdicts = (unsigned)next(&numbers);
  record->limit.scenario = (int)next(&numbers);
  record->value_count = (int)next(&numbers);
  if (record->value_count < 0 || record->value_count > SB_NEED_MAX) return false;
  for (int k = 0; k < record->value_count; k++) record->values[k] = next(&numbers);
  return numbers.is_sound;
}
