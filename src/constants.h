// SPDX-License-Identifier: GPL-3.0-or-later
/* constants.h - internal: exact conversions used at the edges. */
#ifndef SHIFTBAND_CONSTANTS_H
#define SHIFTBAND_CONSTANTS_H

#define SB_PI 3.14159265358979323846
#define SB_TURN (2.0 * SB_PI)   /* rad */
#define SB_RPM (SB_TURN / 60.0) /* rad/s */

#endif
