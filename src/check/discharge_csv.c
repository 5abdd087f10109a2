// SPDX-License-Identifier: GPL-3.0-or-later
/* Thresholds over the charge of a battery, as CSV. */
#include <math.h>
#include <stdlib.h>

#include "shiftband/closed_form.h"
#include "shiftband/discharge.h"
#include "text/fields.h"

enum { HUNDREDTHS = 100, ROW_MAX = HUNDREDTHS + 1 + 2 * SB_DISCHARGE_SPAN_MAX };

/* A number, or nothing where there is none. */
static void write_number(FILE *out, double value)
{
  char text[SB_JSON_NUMBER_SIZE];
  fputc(',', out);
  if (isfinite(value)) fputs(sb_json_format_number(value + 0.0, text), out);
}

/* A field of text, quoted as RFC 4180 wants it. */
static void write_text(FILE *out, const char *text)
{
  fputs(",\"", out);
  for (const char *p = text; *p != 0; p++) {
    if (*p == '"') fputc('"', out);
    fputc(*p, out);
  }
  fputc('"', out);
}

/* Whether a trouble is there just below a charge: a row at the end of a span shows what begins there. */
static int has(const struct sb_discharge *discharge, enum sb_discharge_kind kind, int index, double charge)
{
  for (int k = 0; k < discharge->span_count; k++) {
    const struct sb_discharge_span *span = &discharge->spans[k];
    if (span->kind != kind || span->index != index) continue;
    const bool is_last = charge == 0.0 && span->to_fraction == 0.0;
    if (charge <= span->from_fraction && (charge > span->to_fraction || is_last)) return 1;
  }
  return 0;
}

static void write_row(FILE *out, const struct sb_discharge_table *table, const struct sb_model *model,
                      const struct sb_closed_form *form, int pair, double charge)
{
  char text[SB_JSON_NUMBER_SIZE];
  const struct sb_pair_figures *figures = &form->pairs[pair];
  const struct sb_gear_figures *slow = &form->gears[pair], *fast = &form->gears[pair + 1];
  fputs(sb_json_format_number(sb_percent_rounded(charge), text), out);
  write_number(out, model->supply.open_circuit_voltage_v);
  write_text(out, model->gearbox.gears[pair].name);
  write_text(out, model->gearbox.gears[pair + 1].name);
  write_number(out, sb_percent_rounded(model->control.downshift_fraction[pair]));
  write_number(out, sb_percent_rounded(model->control.upshift_fraction[pair]));
  write_number(out, sb_percent_rounded(figures->least_safe_upshift));
  write_number(out, sb_percent_rounded(slow->lightest_reading));
  write_number(out, sb_percent_rounded(figures->greatest_safe_downshift));
  write_number(out, sb_percent_rounded(fast->lightest_reading));
  write_number(out, figures->downshift_torque_nm);
  write_number(out, figures->upshift_torque_nm);
  write_number(out, slow->stall_torque_nm);
  write_number(out, fast->stall_torque_nm);
  write_number(out, form->lightest_load_nm);
  write_number(out, form->heaviest_load_nm);
  fprintf(out, ",%d,%d,%d,%d,%d,%d\n", has(table->discharge, SB_DISCHARGE_HUNTING, pair, charge),
          has(table->discharge, SB_DISCHARGE_STUCK_LOW, pair, charge),
          has(table->discharge, SB_DISCHARGE_NEEDLESS_DOWNSHIFT, pair, charge),
          has(table->discharge, SB_DISCHARGE_STALL, pair, charge),
          has(table->discharge, SB_DISCHARGE_STALL, pair + 1, charge),
          has(table->discharge, SB_DISCHARGE_CUT_LIGHTEST, pair + 1, charge) |
              has(table->discharge, SB_DISCHARGE_CUT_STARTING, 0, charge));
}

static int compare_falling(const void *a, const void *b)
{
  const double x = *(const double *)a, y = *(const double *)b;
  return (x < y) - (x > y);
}

/* The charges of the rows, falling, each once. Returns their number. */
static int list_charges(const struct sb_discharge *discharge, double charges[ROW_MAX])
{
  int count = 0;
  for (int k = 0; k <= HUNDREDTHS; k++) charges[count++] = (double)k / HUNDREDTHS;
  for (int k = 0; k < discharge->span_count; k++) {
    charges[count++] = discharge->spans[k].from_fraction;
    charges[count++] = discharge->spans[k].to_fraction;
  }
  qsort(charges, (size_t)count, sizeof *charges, compare_falling);
  int kept = 1;
  for (int k = 1; k < count; k++) {
    if (charges[k] != charges[kept - 1]) charges[kept++] = charges[k];
  }
  return kept;
}

int sb_discharge_write_csv(FILE *out, const struct sb_discharge_table *table)
{
  double charges[ROW_MAX];
  const int count = list_charges(table->discharge, charges);
  struct sb_model model = *table->model;
  fputs(
      "charge_pct,voltage_v,slower,faster,downshift_below_pct,upshift_above_pct,least_safe_upshift_pct,stuck_low_from_upshift_pct,"
      "greatest_safe_downshift_pct,needless_from_downshift_pct,downshift_torque_nm,upshift_torque_nm,slower_stalls_at_nm,"
      "faster_stalls_at_nm,lightest_load_nm,heaviest_load_nm,hunting,stuck_low,needless_downshift,slower_stalls,"
      "faster_stalls,below_cutoff\n",
      out);
  for (int k = 0; k < count; k++) {
    sb_discharge_set(&model, charges[k]);
    const struct sb_closed_form form = sb_closed_form_solve(&model);
    for (int pair = 0; pair + 1 < model.gearbox.gear_count; pair++) {
      write_row(out, table, &model, &form, pair, charges[k]);
    }
  }
  return ferror(out) ? -1 : 0;
}
