// SPDX-License-Identifier: GPL-3.0-or-later
/* chopper.h - internal: the guards of a driver that limits the current: where the motor's line goes over into its next piece. */
#ifndef SHIFTBAND_SIM_CHOPPER_H
#define SHIFTBAND_SIM_CHOPPER_H

#include "sim/guard.h"

extern const struct sb_guard sb_chopper_guards[];

/* So far beyond a piece's end its line still holds, rad/s: pieces meet there, so rounding does not take it to and fro. Pure. */
double sb_chopper_slack_rad_s(const struct sb_sim *sim);

/* Whether a speed is on the present piece. Pure. */
bool sb_chopper_is_on_piece(const struct sb_sim *sim, double x);

#endif
