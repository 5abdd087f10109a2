// SPDX-License-Identifier: GPL-3.0-or-later
/* motion.h - internal: the guards of motor and output themselves: stops, starts, corners of the load, engagement. */
#ifndef SHIFTBAND_MOTION_H
#define SHIFTBAND_MOTION_H

#include "guard.h"

extern const struct sb_guard sb_motion_guards[];

#endif
