// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * trace.h - the trace as CSV (RFC 4180, line feeds alone): one header line, one row a line, numbers that read back to
 * the same double, empty fields where a quantity is not known.
 *
 * Rows stand at every trace interval, before and after each command and engagement (two rows at one time are a jump),
 * at stops and starts, and at the end.
 *
 * Columns that only some machines have news in come last: vehicle_speed_m_s, distance_m and wheels_slip (0, 1) with a
 * vehicle that can slip, meet bodies or arrive; twist_deg with a shaft that gives; clutch_heat_w with a
 * clutch; current_held (0, 1) with a driver that limits the current; charge_pct with a battery; winding_c and housing_c with a
 * winding that warms; magnet_c with magnets that weaken.
 */
#ifndef SHIFTBAND_TRACE_H
#define SHIFTBAND_TRACE_H

#include <stdio.h>

#include "shiftband/sim.h"

#ifdef __cplusplus
extern "C" {
#endif

/* The header line. Returns 0, or -1 with errno set. */
int sb_trace_write_header(FILE *out, const struct sb_model *model);

/* One row. Returns 0, or -1 with errno set. */
int sb_trace_write_row(FILE *out, const struct sb_row *row, const struct sb_model *model);

/* "engaged", "shift" or "standstill". */
const char *sb_trace_phase_name(enum sb_phase phase);

#ifdef __cplusplus
}
#endif

#endif
