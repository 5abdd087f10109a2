// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * jam.h - internal: a path that locks itself and jams.
 *
 * In overrun the motor must turn with |eta_back| of what the output brings, so the output's inertia counts against the
 * motor's: Jm + Jo eta_back / N^2. Where that is not positive no finite torque slows the two down together: as soon as the
 * output would drive, teeth press harder the more they slow it down, and motor and output stop at once. An output whose
 * wheels can slip stops alone; its vehicle goes on.
 */
#ifndef SHIFTBAND_SIM_JAM_H
#define SHIFTBAND_SIM_JAM_H

#include "sim/segment.h"

/* Whether the state, its directions settled, is one that the path jams in. Pure. */
bool sb_jam_is_due(const struct sb_sim *sim);

/* Books one: the energy lost in the meshes, J, and the angular impulse that stopped the output, N m s, >= 0. */
void sb_jam_book(struct sb_sim *sim, double lost_j, double impulse_nms);

/* Stops motor and output; their energy is lost in the meshes. Directions must be settled once more. */
void sb_jam_stop(struct sb_sim *sim);

#endif
