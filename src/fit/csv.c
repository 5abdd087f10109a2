// SPDX-License-Identifier: GPL-3.0-or-later
/* csv.c - the readings of a fit beside what the machine would have given. */
#include "fit/show.h"
#include "text/csv_writer.h"

enum { DIGITS = 9 };

static void write_reading(struct sb_csv *csv, const struct sb_fit_reading *reading, const struct sb_log *log)
{
  const struct sb_shown_unit unit = sb_show_column_unit(reading->column);
  const double *times = log->time_s;
  sb_csv_quoted(csv, log->path);
  sb_csv_integer(csv, log->lines[reading->row]);
  if (times != NULL) {
    sb_csv_rounded(csv, times[reading->row], DIGITS);
  } else {
    sb_csv_text(csv, NULL);
  }
  sb_csv_text(csv, sb_log_column_short_name(reading->column));
  sb_csv_text(csv, unit.name);
  sb_csv_rounded(csv, reading->measured * unit.per_si, DIGITS);
  sb_csv_rounded(csv, reading->computed * unit.per_si, DIGITS);
  sb_csv_rounded(csv, (reading->measured - reading->computed) * unit.per_si, DIGITS);
  sb_csv_integer(csv, reading->is_outlier);
  sb_csv_end_row(csv);
}

int sb_fit_write_residuals(const struct sb_fit_result *result, const struct sb_log *logs, FILE *out)
{
  struct sb_csv csv;
  sb_csv_begin(&csv, out, &sb_records_residual_rows);
  sb_csv_line(&csv, "log,line,time_s,column,unit,measured,computed,residual,outlier");
  for (size_t i = 0; i < result->reading_count; i++) {
    write_reading(&csv, &result->readings[i], &logs[result->readings[i].log]);
  }
  return sb_csv_result(&csv);
}
