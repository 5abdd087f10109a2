// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * pulses.h - internal: the marks of the motor that pass a sensor of pulses (sensor.h), from the motor's own angle. Only the ends of
 * stretches bring them up to date, so that whoever looks at states between changes nothing.
 */
#ifndef SHIFTBAND_SIM_PULSES_H
#define SHIFTBAND_SIM_PULSES_H

#include "shiftband/sim.h"

/* At t = 0. Does nothing without such a sensor. */
void sb_pulses_start(struct sb_sim *sim);

/* What passed on the stretch that has just ended, before a sample or at it; its gear is still the state's. */
void sb_pulses_take(struct sb_sim *sim, long long sample, double sample_s);

#endif
