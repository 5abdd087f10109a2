// SPDX-License-Identifier: GPL-3.0-or-later
/* constants.h - internal: exact conversions used at the edges. */
#ifndef SHIFTBAND_CONSTANTS_H
#define SHIFTBAND_CONSTANTS_H

#define SB_TURN 6.28318530717958647692528676655900577 /* rad */
#define SB_RPM (SB_TURN / 60.0)                       /* rad/s */

#endif
