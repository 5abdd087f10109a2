// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * csv_columns.h - which column of a table holds which quantity, and in which unit.
 *
 * A heading is a quantity's name with its unit (`speed_rpm`, `speed [rpm]`, `speed (rpm)`), or the name alone where the
 * unit is given by option or none is needed. Options give a quantity a column of another name, and a column its unit.
 * A quantity that was said to be in another column is in that one only; a heading without a unit steps back where another
 * one of the same quantity has one.
 */
#ifndef SHIFTBAND_TEXT_CSV_COLUMNS_H
#define SHIFTBAND_TEXT_CSV_COLUMNS_H

#include "shiftband/columns.h"
#include "shiftband/units.h"
#include "text/csv_reader.h"

/* A quantity that a table may have a column of. */
struct sb_csv_quantity {
  const char *name;       /* "speed": headings are this with a unit */
  const char *other_name; /* the same by another name, or NULL */
  const char *sample;     /* a whole heading, for messages: "speed_rpm"; it is always known */
  const char *unit;       /* of the values that are kept: "rpm", "%"; "" for plain numbers */
  enum sb_quantity kind;  /* what its unit must measure */
  bool needs_no_unit;     /* a heading without unit is in the kept one */
};

/* Where a quantity is: kept value = number * factor + offset. */
struct sb_csv_column {
  const char *heading; /* as in the table */
  double factor, offset;
  int field; /* in each row, from 0; -1: not there */
  int place; /* column of the text where the heading starts */
};

struct sb_csv_wanted {
  int count;
  const struct sb_csv_quantity *quantities; /* quantities[count] */
  const struct sb_column_facts *facts;      /* NULL: no options */
  bool is_si;                               /* keep SI instead of the quantities' own units */
  bool may_lack_renamed;                    /* a renamed column that is not there is no fault */
};

/*
 * Finds the columns of all quantities; columns[count]. Faults: a quantity twice, a unit that is none or is missing, a
 * renamed column that is not there.
 */
void sb_csv_columns_find(struct sb_csv_reader *csv, const struct sb_csv_wanted *wanted, struct sb_csv_column *columns);

/* Adds the fault that a quantity has no column; the header is what was found. */
void sb_csv_columns_miss(struct sb_csv_reader *csv, const struct sb_csv_quantity *quantity);

/* A value in SI as it is kept in the quantity's own unit. */
double sb_csv_quantity_keep(const struct sb_csv_quantity *quantity, double si);

/* The quantity that a heading or a name on the command line stands for, or -1. */
int sb_csv_quantity_find(const struct sb_csv_quantity *quantities, int count, const char *heading);

#endif
