// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * log.h - a trace as it was logged, simulated (trace.h) or measured: columns over time, with holes.
 *
 * CSV as in RFC 4180 (LF or CRLF; a byte order mark is skipped), one header line. Columns are found by name, in any
 * order, others are ignored: time_s is needed, the rest of SB_LOG_COLUMN_LIST is taken where it is there. Values keep the
 * units that the names end in. An empty field, or nan, is a value that is missing. Times may stand still (a jump), and
 * may not go back.
 */
#ifndef SHIFTBAND_LOG_H
#define SHIFTBAND_LOG_H

#include <stddef.h>

#include "shiftband/scenario.h"
#include "shiftband/sim.h"

/* X(code, name, words, unit) */
#define SB_LOG_COLUMN_LIST(X)                                          \
  X(SB_LOG_GEAR, "gear", "gear", "")                                   \
  X(SB_LOG_DUTY, "duty_fraction", "duty", "")                          \
  X(SB_LOG_MOTOR_SPEED, "motor_speed_rpm", "motor speed", "rpm")       \
  X(SB_LOG_READING, "reading_pct", "reading", "%")                     \
  X(SB_LOG_OUTPUT_SPEED, "output_speed_rpm", "output speed", "rpm")    \
  X(SB_LOG_OUTPUT_TORQUE, "output_torque_nm", "output torque", "N.m")  \
  X(SB_LOG_LOAD_TORQUE, "load_torque_nm", "load torque", "N.m")        \
  X(SB_LOG_MOTOR_CURRENT, "motor_current_a", "motor current", "A")     \
  X(SB_LOG_SUPPLY_VOLTAGE, "supply_voltage_v", "supply voltage", "V")  \
  X(SB_LOG_VEHICLE_SPEED, "vehicle_speed_m_s", "vehicle speed", "m/s") \
  X(SB_LOG_CHARGE, "charge_pct", "charge", "%")                        \
  X(SB_LOG_WINDING, "winding_c", "winding", "deg C")

enum sb_log_column {
#define SB_LOG_CODE(code, ...) code,
  SB_LOG_COLUMN_LIST(SB_LOG_CODE)
#undef SB_LOG_CODE
      SB_LOG_COLUMN_COUNT
};

struct sb_log {
  size_t count, room;
  double *time_s;                       /* time_s[count], owned, never descending */
  double *columns[SB_LOG_COLUMN_COUNT]; /* each [count], owned, NAN where missing; NULL: not in the log */
};

/* "motor_speed_rpm"; "motor speed"; "rpm". Constant strings. */
const char *sb_log_column_name(enum sb_log_column column);
const char *sb_log_column_words(enum sb_log_column column);
const char *sb_log_column_unit(enum sb_log_column column);

/* A column of the file under another name: "motor_speed_rpm" is called "n1" there. */
struct sb_log_alias {
  const char *name; /* one of ours, or time_s */
  const char *found;
};

/*
 * Reads a log. SB_ERR_SCENARIO: faults in it, each text whole ("file:line:column: name: needs ..., found ..."), SB_ERR_IO
 * (errno says why), SB_ERR_MEMORY. Release with sb_log_clear(); always release faults.
 */
enum sb_status sb_log_read(const char *path, const struct sb_log_alias *aliases, size_t alias_count, struct sb_log *out,
                           struct sb_faults *faults);

/* An empty log with the columns that a simulation has; rows are added one by one, NAN for what its model does not have.
 * SB_ERR_MEMORY. */
enum sb_status sb_log_add_row(struct sb_log *log, const struct sb_row *row, const struct sb_model *model);

/* The same as a run hands out its rows (on_row of run.h, with this as context): 0, or -1 when memory runs out. */
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

#endif
