// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * contact.h - internal: a vehicle on the ground, as a part of a segment. Gripping wheels carry the vehicle with them;
 * slipping ones bring a fixed torque to it and move apart from it. All functions ask for a load with a road.
 */
#ifndef SHIFTBAND_SIM_CONTACT_H
#define SHIFTBAND_SIM_CONTACT_H

#include "sim/guard.h"

/* Before a segment is settled: the vehicle's place becomes the segment's; wheels as fast as the vehicle may grip. */
void sb_contact_begin(struct sb_sim *sim);

/* What depends on grip and place alone: inertias, the most that the contact carries, the traction. */
void sb_contact_prepare(struct sb_sim *sim);

/* After the output is settled: the vehicle's own direction, bodies left or taken up; true: the output is to be settled
 * once more. */
bool sb_contact_settle(struct sb_sim *sim);

/* Once directions are settled, before what the output has against it is built. */
void sb_contact_build(struct sb_sim *sim);

void sb_contact_set_corners(struct sb_sim *sim);
void sb_contact_take_resting(struct sb_sim *sim);

/* Whether the wheels, taken to grip, are asked for more than they carry: they then slip. */
bool sb_contact_lets_go(struct sb_sim *sim);

/* Wheels that grip begin to slip at the speed that they have, with a lead over the vehicle to come. */
void sb_contact_let_go(struct sb_sim *sim, int lead);

/* What the vehicle has against a start of the output in a direction, as far as the contact passes it on, N m; and as soon
 * as it moves. */
double sb_contact_resting_nm(const struct sb_sim *sim, int output_direction);
double sb_contact_sliding_nm(const struct sb_sim *sim, int output_direction);

/* Adds what the contact brings against a moving output: traction while slipping, else what is pushed. */
void sb_contact_add_moving(const struct sb_sim *sim, int output_direction, struct sb_load_curve *curve);

/* Before the output's speed jumps: the inertia that jumps, the wheels alone where they can slip, for a jolt is a greater
 * force than they carry; they then slip. A clutch whose sides have met does not jolt. */
double sb_contact_jolt_inertia(struct sb_sim *sim);

/* A corner of the road was reached: bodies are met, the way ends. */
void sb_contact_arrive(struct sb_sim *sim);

/* The vehicle's angle now, and its speed. */
double sb_contact_angle_rad(const struct sb_state *state);
double sb_contact_speed_rad_s(const struct sb_state *state);

void sb_contact_book(struct sb_sim *sim, double elapsed_s);

extern const struct sb_guard sb_contact_guards[];

#endif
