// SPDX-License-Identifier: GPL-3.0-or-later
/* Every reading of a fit beside its computed value, as CSV. */
#include <math.h>

#include "fit/show.h"
#include "text/csv_writer.h"

enum { DIGITS = 9 };

int sb_fit_write_residuals(const struct sb_fit_result *result, const struct sb_fit_log *logs, FILE *out)
{
  struct sb_csv csv;
  sb_csv_init(&csv, out);
  sb_csv_line(&csv, "log,line,time_s,column,unit,measured,computed,residual,is_aside");
  for (size_t i = 0; i < result->reading_count; i++) {
    const struct sb_fit_reading *reading = &result->readings[i];
    const struct sb_fit_log *log = &logs[reading->log];
    const struct sb_shown_unit unit = sb_show_column_unit(reading->column);
    const double *times = log->columns[SB_FIT_TIME];
    sb_csv_quoted(&csv, log->path);
    sb_csv_integer(&csv, log->lines[reading->row]);
    sb_csv_rounded(&csv, times != NULL ? times[reading->row] : (double)NAN, DIGITS);
    sb_csv_text(&csv, sb_fit_column_name(reading->column));
    sb_csv_text(&csv, unit.name);
    sb_csv_rounded(&csv, reading->measured * unit.per_si, DIGITS);
    sb_csv_rounded(&csv, reading->computed * unit.per_si, DIGITS);
    sb_csv_rounded(&csv, (reading->measured - reading->computed) * unit.per_si, DIGITS);
    sb_csv_integer(&csv, reading->is_aside);
    sb_csv_end_row(&csv);
  }
  return sb_csv_result(&csv);
}
