// SPDX-License-Identifier: GPL-3.0-or-later
/* tables.h - copies of tables beside a scenario that a command writes. */
#ifndef SHIFTBAND_CLI_TABLES_H
#define SHIFTBAND_CLI_TABLES_H

/* For struct sb_table_taker: its context is this. */
struct sb_tables {
  const char *folder; /* where the scenario is written; NULL: standard output, which has nothing beside it */
  int code;           /* exit code: that of the first copy that failed, which was told */
};

/* Copies one table into the folder under a name. */
void sb_tables_take(void *context, const char *table, const char *name);

#endif
