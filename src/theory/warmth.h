// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * warmth.h - how warm the winding gets while a load stays, how soon, and what a warm motor is like.
 *
 *   loss      P = I^2 R(T), with the motor's line at the warm resistance and with what the magnets have left: I falls as
 *             R(T) rises at a blocked motor; where a constant torque is carried it stays, or grows as magnets weaken
 *   steady    T = Tamb + P (Rw + Rh), the least such T: where a motor that starts cold ends
 *   time      winding.h's equations with P(T), integrated by GSL's Bulirsch-Stoer stepper (relative 1e-11), the moment
 *             found by Brent's method
 *
 * The motor is in steady state, at the limit of the duty or at its target: its own time constants are taken as far shorter
 * than those of the heat.
 * The supply's voltage stays. Loss in iron, brushes and friction goes elsewhere. A gear of -1 stands for a blocked shaft.
 *
 * Source: heating and cooling of machines as in G. K. Dubey, Fundamentals of Electrical Drives, chapter 4. Checked in
 * tests/machine/test_winding.c and tests/theory/test_warmth.c against worked examples, quadrature and an explicit integration.
 */
#ifndef SHIFTBAND_THEORY_WARMTH_H
#define SHIFTBAND_THEORY_WARMTH_H

#include "shiftband/model.h"

enum { SB_WARMTH_BLOCKED = -1 };

/* Where copper melts: no steady temperature above it is given. */
#define SB_COPPER_MELTS_C 1085.0

/* Loss in W so warm, in a gear (index; blocked: -1) in steady state under a torque from outside (N m). Pure. */
double sb_warmth_loss_w(const struct sb_model *model, int gear, double external_nm, const struct sb_warmth *warmth);

/* Both temperatures when the heat of a winding at a temperature has flowed through the housing for long. Pure. */
struct sb_warmth sb_warmth_soaked(const struct sb_winding *winding, double winding_c);

/* Steady temperatures of winding and housing; INFINITY when not below the melting point of copper. */
struct sb_warmth sb_warmth_steady(const struct sb_model *model, int gear, double external_nm);

/* When a temperature is reached, and how warm both are then. */
struct sb_warmth_reach {
  double time_s; /* 0: it is that warm at the start; INFINITY: never; NAN: the calculation failed */
  struct sb_warmth at;
};

/* From the scenario's start on, in a gear under a torque from outside, until the winding reaches limit_c. */
struct sb_warmth_reach sb_warmth_reached(const struct sb_model *model, int gear, double external_nm, double limit_c);

/* Time in s without any loss until the winding has cooled down to target_c; INFINITY: never, for it is no warmer around. */
double sb_warmth_cooling_s(const struct sb_winding *winding, const struct sb_warmth *from, double target_c);

/*
 * The same machine so warm: every closed form of it is the warm motor's. Resistance, stall torque and current, and no-load
 * speed change, with magnets that weaken torque constant, voltage constant and no-load current, too; friction and the
 * sensor's reference stay. Its figures hold at these temperatures, so that it can be simulated too. Needs a winding that is
 * present.
 */
struct sb_model sb_warmth_warm_model(const struct sb_model *cold, const struct sb_warmth *warmth);

#endif
