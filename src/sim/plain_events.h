// SPDX-License-Identifier: GPL-3.0-or-later
/* plain_events.h - internal: the guards of motor and output themselves: stops, starts, corners of the load, engagement. */
#ifndef SHIFTBAND_SIM_PLAIN_EVENTS_H
#define SHIFTBAND_SIM_PLAIN_EVENTS_H

#include "sim/guard.h"

/* Places of those that are known without a series, too (neutral.h). */
enum { SB_EVENT_FREE_MOTOR_STOPS = 5, SB_EVENT_OUTPUT_STOPS, SB_EVENT_TURNED_ENOUGH = 9 };

extern const struct sb_guard sb_plain_events[];

#endif
