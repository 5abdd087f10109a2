// SPDX-License-Identifier: GPL-3.0-or-later
/* parts.h - what the files of the closed forms share; internal to closed_form*.c. */
#ifndef SHIFTBAND_THEORY_PARTS_H
#define SHIFTBAND_THEORY_PARTS_H

#include "shiftband/closed_form.h"

/* The motor at the point where the reading just has a value. */
struct sb_reading_point {
  struct sb_motor_line line; /* at the duty there */
  double speed_rad_s;        /* motor speed */
  double motor_nm;           /* what it gives; -INFINITY: no load is light enough for it, INFINITY: none heavy enough */
};

/* Where a settled motor, its line at the limit given, reads a value. Pure. */
struct sb_reading_point sb_closed_form_point(const struct sb_model *model, const struct sb_motor_line *line,
                                             double reading);

/* Outside torque that a gear carries at a motor speed >= 0 with this torque of the motor. Pure. */
double sb_closed_form_passed_nm(const struct sb_model *model, int gear, double motor_nm, double speed_rad_s);

/* The other way round: what the motor must give. Pure. */
double sb_closed_form_needed_nm(const struct sb_model *model, int gear, double outside_nm, double speed_rad_s);

/* Settled motor speed on one line, rad/s; 0 when it stalls. Pure. */
double sb_closed_form_line_speed_rad_s(const struct sb_model *model, const struct sb_motor_line *line, int gear,
                                       double outside_nm);

#endif
