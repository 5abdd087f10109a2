// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * log.h - what was logged over time or point by point, simulated (trace.h) or measured: columns of numbers, with holes.
 *
 * The dialect of the CSV is that of all tables (src/manual/csv.md). Columns are found by their headings, a quantity's name
 * with its unit (motor_speed_rpm, "speed [rpm]", time_ms), in any order; others are ignored. A missing value is NAN. Times
 * may stand still (a jump). A row whose time goes back by less than the interval before it is set aside and counted; times that
 * go back further are a fault.
 */
#ifndef SHIFTBAND_LOG_H
#define SHIFTBAND_LOG_H

#include <stdbool.h>
#include <stddef.h>

#include "shiftband/columns.h"
#include "shiftband/gearbox.h"
#include "shiftband/scenario.h"
#include "shiftband/sim.h"

#ifdef __cplusplus
extern "C" {
#endif

/* X(code, heading, words, unit, quantity's name, its other name, kind). Those from SB_LOG_TORQUE on are only measured. */
#define SB_LOG_COLUMN_LIST(X)                                                                                  \
  X(SB_LOG_GEAR, "gear", "gear", "", "gear", NULL, SB_RATIO)                                                   \
  X(SB_LOG_DUTY, "duty_fraction", "duty", "", "duty", NULL, SB_PERCENT)                                        \
  X(SB_LOG_MOTOR_SPEED, "motor_speed_rpm", "motor speed", "rpm", "motor_speed", "speed", SB_SPEED)             \
  X(SB_LOG_READING, "reading_pct", "reading", "%", "reading", NULL, SB_PERCENT)                                \
  X(SB_LOG_OUTPUT_SPEED, "output_speed_rpm", "output speed", "rpm", "output_speed", NULL, SB_SPEED)            \
  X(SB_LOG_OUTPUT_TORQUE, "output_torque_nm", "output torque", "N.m", "output_torque", NULL, SB_TORQUE)        \
  X(SB_LOG_LOAD_TORQUE, "load_torque_nm", "load torque", "N.m", "load_torque", NULL, SB_TORQUE)                \
  X(SB_LOG_MOTOR_CURRENT, "motor_current_a", "motor current", "A", "motor_current", "current", SB_CURRENT)     \
  X(SB_LOG_SUPPLY_VOLTAGE, "supply_voltage_v", "supply voltage", "V", "supply_voltage", "voltage", SB_VOLTAGE) \
  X(SB_LOG_VEHICLE_SPEED, "vehicle_speed_m_s", "vehicle speed", "m/s", "vehicle_speed", NULL, SB_VELOCITY)     \
  X(SB_LOG_CHARGE, "charge_pct", "charge", "%", "charge", NULL, SB_PERCENT)                                    \
  X(SB_LOG_WINDING, "winding_c", "winding", "deg C", "winding", NULL, SB_TEMPERATURE)                          \
  X(SB_LOG_TORQUE, "torque_nm", "torque", "N.m", "torque", NULL, SB_TORQUE)                                    \
  X(SB_LOG_FORCE, "force_n", "force", "N", "force", NULL, SB_FORCE)                                            \
  X(SB_LOG_MASS, "mass_kg", "mass", "kg", "mass", NULL, SB_MASS)                                               \
  X(SB_LOG_ADDED_INERTIA, "added_inertia_kg_m2", "added inertia", "kg.m2", "added_inertia", NULL, SB_INERTIA)

enum sb_log_column {
#define SB_LOG_CODE(code, ...) code,
  SB_LOG_COLUMN_LIST(SB_LOG_CODE)
#undef SB_LOG_CODE
      SB_LOG_COLUMN_COUNT
};

enum { SB_LOG_TRACE_COUNT = SB_LOG_TORQUE }; /* columns that a trace can have */

struct sb_log {
  size_t count, room;
  double *time_s;                       /* time_s[count], owned, never descending; NULL: a log without times */
  double *columns[SB_LOG_COLUMN_COUNT]; /* each [count], owned, NAN where missing; NULL: not in the log */
  long *lines;                          /* lines[count], owned: where each row stands in the file; NULL: in none */
  size_t late_count;                    /* rows set aside because their time goes back by less than a row */
  long late_line;                       /* where the first of them stands */
  bool has_decimal_commas;              /* they were read as points */
  char header[200];                     /* all headings of the file, with commas, cut to size */
  char ignored[160];                    /* those that were not used */
  char *path;                           /* what messages call it, owned; NULL: of a run */
  /* Filled by sb_fit_log_read() only. */
  double quantum[SB_LOG_COLUMN_COUNT]; /* step that the readings are rounded to; 0: none seen */
  size_t gap_count;                    /* pauses of more than five usual intervals */
  double longest_gap_s;
};

extern const struct sb_log_column_facts {
  const char *name, *words, *unit; /* "motor_speed_rpm", "motor speed", "rpm" */
} sb_log_columns[SB_LOG_COLUMN_COUNT];
const char *sb_log_column_short_name(enum sb_log_column column); /* "speed" */

/* The kind of a quantity, by its name or heading (speed, motor_speed_rpm, time); false when no log has it. */
bool sb_log_knows(const char *name, enum sb_quantity *kind);

/* The name of a quantity that a log can have, from 0 on; NULL behind the last one. */
const char *sb_log_quantity_name(int index);

struct sb_log_options {
  const char *text; /* text[length]: read instead of the file; or NULL */
  size_t length;
  struct sb_column_facts facts;
  const struct sb_gearbox *gearbox; /* a gear column may have the names of its gears, too; NULL: only numbers */
  bool is_si;                       /* keep SI instead of the units of the list */
  bool may_lack_time, may_lack_renamed;
  size_t least_rows;
  double arm_m;      /* that makes torques of forces and weights, for sb_fit_log_read(); 0: not given */
  const bool *takes; /* takes[SB_LOG_COLUMN_COUNT]: which columns; NULL: all that a trace can have */
};

/* For a trace: at least two rows, with times. */
struct sb_log_options sb_log_options_default(void);

/*
 * Reads a log ("-": standard input), or the text of the options, whose name in messages is path. SB_ERR_SCENARIO: faults in
 * it, each text whole ("file:line:column: name: needs ..., found ..."), SB_ERR_IO (errno says why), SB_ERR_MEMORY. Release
 * with sb_log_clear(); always release faults.
 */
enum sb_status sb_log_read(const char *path, const struct sb_log_options *options, struct sb_log *out,
                           struct sb_faults *faults);

/* Adds a run's row to an empty log, or one so begun, as a run hands it out (on_row of run.h, with this as context): NAN
 * for what its model does not have. 0, or -1 when memory runs out. */
struct sb_log_taker {
  struct sb_log *log;
  const struct sb_model *model;
};
int sb_log_take_row(void *taker, const struct sb_row *row);

void sb_log_clear(struct sb_log *log);

/* Standard deviation of a column's noise from its second differences, robust; 0 for fewer than 8 values. Pure. */
double sb_log_noise(const struct sb_log *log, enum sb_log_column column);

/* The median time between rows that differ in time, s; 0 for fewer than two. */
double sb_log_interval_s(const struct sb_log *log);

#ifdef __cplusplus
}
#endif

#endif
