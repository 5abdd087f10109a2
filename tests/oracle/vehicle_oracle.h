// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * vehicle_oracle.h - a vehicle that slips, pushes and arrives, moved by other means: three speeds (motor, wheels, vehicle) and
 * the way, written out afresh from the given figures, integrated by GSL's rk8pd (Prince-Dormand, order 8) under
 * tolerances of 1e-13; events bracketed on a grid of 0.2 ms and closed by bisection.
 *
 * It knows a motor's line, gears with losses and drag, a selector, one vehicle on a grade, constant or linear between points
 * without jumps, with rolling resistance and drag, bodies in its way and an end. Nothing else acts on the output.
 */
#ifndef SHIFTBAND_TESTS_VEHICLE_ORACLE_H
#define SHIFTBAND_TESTS_VEHICLE_ORACLE_H

#include "oracle/oracle.h"

enum { WAY_EVENT_MAX = 128 };

struct way_result {
  size_t event_count;
  struct way_event {
    enum sb_event event; /* slipped, gripped, met, finished, engaged */
    double time_s;
  } events[WAY_EVENT_MAX];
  double time_s;
  double motor_rad_s, wheel_rad_s, vehicle_rad_s, way_rad; /* the motor's in the sense in which its gear drives it */
  double impact_j, joining_j, slip_j;
  int met_count;
};

/* Moves the model's first body, a vehicle, from rest in a gear (index from 0) to end_s or the end of the road; 0, or -1
 * when GSL gives up. */
int way_run(const struct sb_model *model, int gear, const struct oracle_command *commands, size_t command_count,
            double end_s, struct way_result *result);

#endif
