// SPDX-License-Identifier: GPL-3.0-or-later
/* plain_events.h - internal: the guards of motor and output themselves: stops, starts, corners of the load, engagement. */
#ifndef SHIFTBAND_SIM_PLAIN_EVENTS_H
#define SHIFTBAND_SIM_PLAIN_EVENTS_H

#include "sim/guard.h"

extern const struct sb_guard sb_plain_events[];

#endif
