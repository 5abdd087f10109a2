// SPDX-License-Identifier: GPL-3.0-or-later
/* constants.h - internal: exact conversions and bounds used at the edges. */
#ifndef SHIFTBAND_BASE_CONSTANTS_H
#define SHIFTBAND_BASE_CONSTANTS_H

#define SB_PI 3.14159265358979323846
#define SB_TURN (2.0 * SB_PI)   /* rad */
#define SB_RPM (SB_TURN / 60.0) /* rad/s */

/* More than this is no measurement; a clock of a log may count microseconds since 1970. */
#define SB_READING_MAX 1e16

#endif
