// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * spring.h - internal: an output shaft that gives, in mesh. Motor and output move apart, the shaft's torque between
 * them; either may be at rest by itself. All functions ask for a segment with a spring.
 */
#ifndef SHIFTBAND_SIM_SPRING_H
#define SHIFTBAND_SIM_SPRING_H

#include "sim/guard.h"

/* Settles the directions of both ends and driving or overrun. */
void sb_spring_settle(struct sb_sim *sim);

void sb_spring_build(struct sb_sim *sim);

/* Puts a relaxed shaft into mesh; takes it out, and returns the energy that it held, J. While a clutch in line with it
 * slips, it keeps its twist. */
void sb_spring_engage(struct sb_sim *sim);
double sb_spring_release(struct sb_sim *sim);

/* Before that: the wheels that turned with the output join the motor. */
void sb_spring_take_wheels(struct sb_sim *sim);

/* Energy that the shaft holds, J. */
double sb_spring_energy_j(const struct sb_sim *sim);

void sb_spring_book(struct sb_sim *sim);

extern const struct sb_guard sb_spring_guards[];

#endif
