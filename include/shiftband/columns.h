// SPDX-License-Identifier: GPL-3.0-or-later
/* columns.h - what a user says about the columns of a table: their names, their units, and values for those that lack. */
#ifndef SHIFTBAND_COLUMNS_H
#define SHIFTBAND_COLUMNS_H

#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

/* NAME=TEXT. Of several about one name the last one counts. */
struct sb_column_fact {
  const char *name, *text;
};

/* A quantity is named by its name or heading (speed, motor_speed, motor_speed_rpm), a column as in the table. */
struct sb_column_facts {
  size_t rename_count, unit_count, fill_count;
  const struct sb_column_fact *renames; /* quantity = column that holds it */
  const struct sb_column_fact *units;   /* column or quantity = unit of its values */
  const struct sb_column_fact *fills;   /* quantity = value with unit, for a table without that column */
};

#ifdef __cplusplus
}
#endif

#endif
