// SPDX-License-Identifier: GPL-3.0-or-later
/* kinds.h - the kinds of shifter, one file each; listed in shifter.c. */
#ifndef SHIFTBAND_MACHINE_SHIFTER_KINDS_H
#define SHIFTBAND_MACHINE_SHIFTER_KINDS_H

#include "shiftband/shifter.h"

extern const struct sb_shifter_ops sb_shifter_swing_arm;
extern const struct sb_shifter_ops sb_shifter_selector;
extern const struct sb_shifter_ops sb_shifter_clutch;

#endif
