// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * crossover.h - where one of two neighbouring gears begins to be the better one: by speed, by acceleration, by energy.
 *
 * On the straight line T = m (w0 - w), less friction and drag, a gear brings K (A - m N W) to the output at its speed W, with
 * K = N eta and A = m w0 - friction - drag. What follows the output's speed is the same in both gears, so they drive it equally fast at
 *
 *   W = (Ks As - Kf Af) / (m (Ks Ns - Kf Nf))      equal efficiencies, no drag: W = w0 / (Nf + Ns)
 *
 * and the load there is the crossover load: below it the faster gear turns the output faster, above it the slower one. Speed control,
 * a limited current and anything else that bends the line are solved by the torque balance instead.
 *
 * While the output is accelerated the motor's own inertia counts, too: both gears accelerate alike where
 * (Kf (..) - TL) / (Jo + Nf^2 eta Jm) is the same for the slower gear, which is at a lower speed.
 *
 * For a turn of the output the slower gear needs more energy from the supply under light loads (its motor's friction turns
 * more often), and less under heavy ones (its motor stays nearer to its no-load speed). Between them lies the load of equal energy.
 *
 * Leaves out: the time and energy of the shift itself, loads that drive the output, a supply whose voltage falls with its charge.
 * Source: excess traction of neighbouring gears, lecture on vehicle dynamics (euromotor.org, presentation 7, slide 16), for the
 * place where to shift; the closed forms follow from the line, and are checked in tests/theory/test_crossover.c.
 */
#ifndef SHIFTBAND_CROSSOVER_H
#define SHIFTBAND_CROSSOVER_H

#include <stdbool.h>

#include "shiftband/model.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Who is ahead where two gears do not meet. */
enum sb_ahead { SB_AHEAD_NEITHER, SB_AHEAD_SLOWER, SB_AHEAD_FASTER };

struct sb_crossover {
  double
      load_nm; /* torque from outside at which both turn the output equally fast; NAN: none, and ahead says who is faster */
  double output_speed_rad_s; /* there, as the readings */
  double slower_reading, faster_reading;
  enum sb_ahead ahead; /* SB_AHEAD_NEITHER where they meet */
  /* Output speed above which the faster gear accelerates better under the lightest load; NAN: none. */
  double acceleration_speed_rad_s;
  double
      energy_load_nm; /* torque from outside at which both take the same energy for a turn; NAN: none, and cheaper says who needs less */
  double energy_j;       /* for a turn of the output there */
  enum sb_ahead cheaper; /* SB_AHEAD_NEITHER where they meet, or where both take the same under every load */
};

/* Of the pair of gears `slow` (index) and the one above it, at the model's supply. Pure. */
struct sb_crossover sb_crossover_solve(const struct sb_model *model, int slow);

/* Energy from the supply for a turn of the output in a gear (index) under a torque from outside, J; without currents that of the
 * motor's shaft; INFINITY when the gear stalls. Pure. */
double sb_crossover_turn_j(const struct sb_model *model, int gear, double external_nm);

#ifdef __cplusplus
}
#endif

#endif
