// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * table.h - tables for people, never wider than sb_text_width() and with no cell cut.
 *
 *   struct sb_text_table table;
 *   sb_text_table_init(&table, 2);
 *   sb_text_table_put(&table, "gear\tstall torque");                     gear  stall torque
 *   sb_text_table_put(&table, "%s\t%s N.m", name, NUM(stall_nm));        slow  4.366 N.m
 *   sb_text_table_write(&table, 2, out);
 *
 * The first row is the heading. Columns are as wide as their cells; where that is too wide, headings break between words,
 * then long names of rows get lines of their own, and then the columns go on in a further block below, which repeats the
 * first column.
 */
#ifndef SHIFTBAND_TEXT_TABLE_H
#define SHIFTBAND_TEXT_TABLE_H

#include <stdbool.h>
#include <stdio.h>

enum { SB_TABLE_COLUMN_MAX = 12, SB_TABLE_ROW_MAX = 24, SB_TABLE_CELL_SIZE = 128 };

struct sb_text_table {
  int columns;         /* 1..SB_TABLE_COLUMN_MAX */
  int cell_count;      /* put so far, row by row */
  bool is_last_broken; /* cells of the last column break between words, too */
  char cells[SB_TABLE_ROW_MAX][SB_TABLE_COLUMN_MAX][SB_TABLE_CELL_SIZE];
};

void sb_text_table_init(struct sb_text_table *table, int columns);

/* The next cell, or the next ones, with tabs between; more than the table holds is our own mistake. */
void sb_text_table_put(struct sb_text_table *table, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* Writes all full rows, each line behind `indent` spaces. */
void sb_text_table_write(const struct sb_text_table *table, int indent, FILE *out);

#endif
