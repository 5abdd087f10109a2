// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * csv_writer.h - writes CSV (RFC 4180, line feeds alone) to a stream, field by field, and minds the commas itself.
 *
 *   struct sb_csv csv;
 *   sb_csv_begin(&csv, out, &sb_records_trace);
 *   sb_csv_line(&csv, "gear,time_s");                 gear,time_s
 *   sb_csv_text(&csv, "slow, with idler");            "slow, with idler",0.1
 *   sb_csv_number(&csv, 0.1);
 *   sb_csv_end_row(&csv);
 *   return sb_csv_result(&csv);
 *
 * Numbers are written as in JSON, with the fewest digits that read back exactly; a number that is not known (NaN, an
 * infinity) is an empty field, and a zero never carries a sign. What begins with a record (records.h) may name only columns that
 * are described there: another one is our own mistake.
 */
#ifndef SHIFTBAND_TEXT_CSV_WRITER_H
#define SHIFTBAND_TEXT_CSV_WRITER_H

#include <stdbool.h>
#include <stdio.h>

#include "text/records.h"

struct sb_csv {
  FILE *out;                      /* not owned */
  const struct sb_record *record; /* of the rows; NULL: any columns */
  bool has_fields;                /* the open row has one already */
};

void sb_csv_init(struct sb_csv *csv, FILE *out);
void sb_csv_begin(struct sb_csv *csv, FILE *out, const struct sb_record *record); /* the same, for rows of a record */

/* One field. */
void sb_csv_text(struct sb_csv *csv, const char *text);   /* quoted where it must be; NULL: an empty field */
void sb_csv_quoted(struct sb_csv *csv, const char *text); /* in quotes, whatever it is */
void sb_csv_number(struct sb_csv *csv, double value);
void sb_csv_rounded(struct sb_csv *csv, double value, int digits); /* significant ones, as %.*g */
void sb_csv_integer(struct sb_csv *csv, long long value);

/* Ends the row. */
void sb_csv_end_row(struct sb_csv *csv);

/* Fields of the open row of a header: one name, or several with commas between them; and these with the end of the row. */
void sb_csv_name(struct sb_csv *csv, const char *name);
void sb_csv_names(struct sb_csv *csv, const char *names);
void sb_csv_line(struct sb_csv *csv, const char *names);

/* What has been written so far: 0, or -1 with errno set. */
int sb_csv_result(const struct sb_csv *csv);

#endif
