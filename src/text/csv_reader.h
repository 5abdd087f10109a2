// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * csv_reader.h - reads tables as text: the one dialect for load profiles, traces and logs.
 *
 * RFC 4180, and what loggers and spreadsheets make of it:
 *
 *   - Fields are separated by the comma, semicolon or tab that the header line has most often outside quotes (where two
 *     are as frequent: the tab, then the semicolon).
 *   - A line ends with LF, CRLF or CR. Lines without any character but blanks are skipped, except the header.
 *   - Blanks around a field do not count, in quotes or not. A field in double quotes may hold separators, line ends and doubled quotes;
 *     a quote anywhere else is a fault.
 *   - A byte order mark (UTF-8) is skipped.
 *   - A missing value is an empty field, nan or na, in capital letters or not.
 *   - Numbers are plain decimals. Where the separator is not the comma, a decimal comma is read as a point
 *     (has_decimal_commas tells); one table has one decimal mark.
 *   - Every row has as many fields as the header.
 *
 * Limits: 256 MiB, 1024 columns, 4095 bytes a field. After 20 faults no more is read.
 *
 *   sb_csv_reader_open(&csv, path, ...);               reads the header: csv.names[csv.name_count]
 *   while (sb_csv_next_row(&csv)) {
 *     while (sb_csv_next_field(&csv)) {                csv.index, csv.field
 *       value = sb_csv_field_number(&csv, "time_s");
 *     }
 *   }
 *   sb_csv_reader_close(&csv);
 *
 * Faults name the line and the column (in characters, from 1) where the field starts.
 */
#ifndef SHIFTBAND_TEXT_CSV_READER_H
#define SHIFTBAND_TEXT_CSV_READER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#include "base/arena.h"
#include "base/faults.h"
#include "shiftband/status.h"

enum { SB_CSV_FIELD_SIZE = 4096, SB_CSV_COLUMN_MAX = 1024, SB_CSV_FAULT_MAX = 20 };

/* A heading. */
struct sb_csv_name {
  const char *text;
  int place; /* column of the text where it starts */
};

struct sb_csv_reader {
  const char *path;             /* as messages name the table; not owned */
  FILE *stream;                 /* read instead of the file at path; or NULL */
  struct sb_fault_list *faults; /* gets what is wrong; not owned */
  struct sb_place place;        /* of what names the table: where its faults are listed */
  int fault_count;
  bool is_given_up; /* the rest makes no sense */

  size_t name_count;
  struct sb_csv_name *names; /* names[name_count] */
  char separator;
  bool has_decimal_commas;

  /* The last field. */
  char field[SB_CSV_FIELD_SIZE];
  size_t index;  /* in its row, from 0 */
  long row_line; /* where the row started */
  long field_line;
  int field_column;

  /* Internal. */
  const char *at, *end;
  long line;
  int column;
  bool is_last_in_line, is_field_waiting;
  char decimal_mark; /* 0: none seen yet */
  long mark_line;
  char *text; /* owned, or NULL */
  struct sb_arena arena;
};

/*
 * Reads the file and its header. Set the first four members before, the rest to zero. SB_ERR_IO (errno says why),
 * SB_ERR_MEMORY; faults are counted in fault_count. Always close.
 */
enum sb_status sb_csv_reader_open(struct sb_csv_reader *csv);

/* The same from text in memory, which must stay. */
enum sb_status sb_csv_reader_start(struct sb_csv_reader *csv, const char *text, size_t length);

void sb_csv_reader_close(struct sb_csv_reader *csv);

/* Goes to the next row, past what is left of this one. False at the end, and where reading on makes no sense. */
bool sb_csv_next_row(struct sb_csv_reader *csv);

/* Reads the next field of the row; false behind its last one. */
bool sb_csv_next_field(struct sb_csv_reader *csv);

/* The field as a number; NAN where it is missing, and (with a fault under this name) where it is none. */
double sb_csv_field_number(struct sb_csv_reader *csv, const char *name);

/* A fault at a place, `PATH:LINE:COLUMN: NAME: needs NEEDS, found FOUND`; the name may be empty. */
void sb_csv_fault_at(struct sb_csv_reader *csv, long line, int column, const char *name, const char *needs,
                     const char *found);

/* The same where the last field started, which is quoted as what was found. */
void sb_csv_fault_here(struct sb_csv_reader *csv, const char *name, const char *needs);

/* The header for messages: its names with commas, cut to size; "none" where it has none. Returns out. */
const char *sb_csv_header_words(const struct sb_csv_reader *csv, char *out, size_t size);

#endif
