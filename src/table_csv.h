// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * table_csv.h - reads a load table from CSV (RFC 4180; LF or CRLF; a byte order mark is skipped).
 *
 * The header names the columns; `time_s` or `turns`, and `torque_nm`, may stand anywhere, other columns are ignored.
 * Places ascend; two equal ones make a jump.
 */
#ifndef SHIFTBAND_TABLE_CSV_H
#define SHIFTBAND_TABLE_CSV_H

#include <stdbool.h>

#include "arena.h"
#include "faults.h"
#include "shiftband/load.h"

#define SB_TABLE_TORQUE_MAX 1e6 /* N m: more is a wrong unit */
#define SB_TABLE_PLACE_MAX 1e8  /* s or turns */

struct sb_table_request {
  enum sb_load_axis axis;       /* which column is wanted: time_s or turns */
  bool is_resisting;            /* negative torques are refused */
  struct sb_fault_list *faults; /* gets what is wrong in the table */
  struct sb_place place;        /* of the key that names the table */
  struct sb_arena *arena;       /* owns the table */
};

/*
 * Reads the table at path; turns become rad. Returns SB_OK, SB_ERR_IO (errno says why), SB_ERR_SCENARIO (faults were
 * added) or SB_ERR_MEMORY.
 */
enum sb_status sb_table_csv_read(const char *path, const struct sb_table_request *request, struct sb_load_table *out);

/*
 * Whether a point may follow the ones before it; else *needs says what it should be. previous and before_previous are
 * NAN where there is none. Shared with points written in the scenario.
 */
bool sb_table_point_is_fit(const struct sb_table_request *request, double before_previous, double previous, double x,
                           const char **needs);

#endif
