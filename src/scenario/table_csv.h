// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * table_csv.h - reads a table from CSV (text/csv_reader.h has the dialect, text/csv_columns.h the headings).
 *
 * The header names the columns; the two that are wanted may stand anywhere, other columns are ignored. No value may be
 * missing. Places ascend; two equal ones make a jump.
 */
#ifndef SHIFTBAND_SCENARIO_TABLE_CSV_H
#define SHIFTBAND_SCENARIO_TABLE_CSV_H

#include <stdbool.h>

#include "base/arena.h"
#include "base/faults.h"
#include "shiftband/load.h"
#include "text/csv_columns.h"

#define SB_TABLE_PLACE_MAX 1e8 /* s, rad or m: more is a wrong unit */

/* What the places and values of a table are. */
struct sb_table_format {
  struct sb_csv_quantity place, value; /* where they stand in a CSV, and their kinds in a scenario, with units */
  double value_max;                    /* SI, either sign */
  const char *value_max_words;
  const char *pair, *list; /* a point and a list of them, for error texts */
  bool is_from_zero;       /* places below 0 are refused */
};

extern const struct sb_table_format sb_table_torque_over_time;  /* time_s, torque_nm */
extern const struct sb_table_format sb_table_torque_over_turns; /* turns, torque_nm */
extern const struct sb_table_format sb_table_grade;             /* distance_m, grade_pct */

struct sb_table_request {
  const struct sb_table_format *format;
  bool is_resisting;            /* negative values are refused */
  struct sb_fault_list *faults; /* gets what is wrong in the table */
  struct sb_place place;        /* of the key that names the table */
  struct sb_arena *arena;       /* owns the table */
};

/*
 * Reads the table at path into SI (turns become rad; a value that is no torque goes where torques do). Returns SB_OK,
 * SB_ERR_IO (errno says why), SB_ERR_SCENARIO (faults were added) or SB_ERR_MEMORY. *has_decimal_commas: they were read as
 * points.
 */
enum sb_status sb_table_csv_read(const char *path, const struct sb_table_request *request, struct sb_table *out,
                                 bool *has_decimal_commas);

/*
 * Whether a point may follow the ones before it; else *needs says what it should be. previous and before_previous are
 * NAN where there is none. Shared with points written in the scenario.
 */
bool sb_table_point_is_fit(const struct sb_table_request *request, double before_previous, double previous, double x,
                           const char **needs);

#endif
