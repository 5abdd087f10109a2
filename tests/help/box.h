// SPDX-License-Identifier: GPL-3.0-or-later
/* box.h - models built in a line or two, for tests of what follows from a model. */
#ifndef SHIFTBAND_TESTS_BOX_H
#define SHIFTBAND_TESTS_BOX_H

#include <gsl/gsl_rng.h>
#include <stdbool.h>

#include "shiftband/model.h"

void box_add_gear(struct sb_model *model, double ratio, double efficiency);

void box_add_part(struct sb_model *model, const char *kind, struct sb_load_part part);

void box_add_constant(struct sb_model *model, double torque_nm, bool is_resisting);

void box_add_viscous(struct sb_model *model, double viscous);

void box_add_quadratic(struct sb_model *model, double quadratic);

/* A motor that is a plain line: no currents, no friction. No gear, no load yet. */
struct sb_model box_line(double no_load_rad_s, double stall_nm, double rotor_inertia, double output_inertia);

/* A motor of constants k (both), R and constant friction torque, at a voltage: the figures that a data sheet would give. */
struct sb_model box_constants(double voltage_v, double k, double ohm, double friction_nm, double rotor_inertia,
                              double output_inertia);

/* The shape of a small cart: friction, two gears, a selector. */
struct sb_model box_cart(void);

/* The same with a swing arm: an idler (here: an internal mesh) in the slow path, so that both turn the output alike. */
struct sb_model box_swing(void);

/* A shift from a gear so low that the output hardly turns into a direct one, the motor switched off. */
struct sb_model box_joining(double motor_inertia, double output_inertia, double old_ratio);

/* At random: a motor with friction and currents behind a supply of at most that share of its resistance, two gears that lose, drag
 * and are driven backwards, and a load that follows speed. */
struct sb_model box_random(gsl_rng *dice, double greatest_internal_share);

#endif
