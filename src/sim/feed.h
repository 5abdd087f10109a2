// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * feed.h - internal: what feeds the motor. Duty, voltage and resistance are brought up to date at ticks and held between
 * them, so that the motor's line is straight inside a segment. A model in which none of them ever changes has no ticks; nor are there any once
 * nothing will change any more.
 */
#ifndef SHIFTBAND_SIM_FEED_H
#define SHIFTBAND_SIM_FEED_H

#include "sim/segment.h"

/* Whole steps between two ticks; 0: none. Pure. */
long long sb_feed_steps_per_tick(const struct sb_model *model, double step_s);

/* At t = 0. */
void sb_feed_start(struct sb_sim *sim);

/* Whether ticks change nothing any more: neither battery nor winding, and a drive that stays as it is. There are none, then. */
bool sb_feed_is_settled(const struct sb_sim *sim);

/* A tick at the present instant, the segment booked; a new segment must follow. True: the drive was cut or came back. */
bool sb_feed_tick(struct sb_sim *sim);

/* Makes the motor's line of the segment. */
void sb_feed_line(struct sb_sim *sim);

/* Open-circuit voltage at the present charge; what the segment holds is that of the middle between two ticks. */
double sb_feed_open_voltage_v(const struct sb_sim *sim);

/* Charge left in the battery, a share of its capacity. */
double sb_feed_charge_fraction(const struct sb_sim *sim);

/* The outside torque that would bring a gear (index) to the same speed with the supply and winding of the model;
 * what follows the speed is taken at the present one. */
double sb_feed_load_at_start_nm(const struct sb_sim *sim, int gear, double external_nm);

/* Whether the drive is on: no stop is ordered and no switch has opened, whatever the duty. */
bool sb_feed_is_on(const struct sb_sim *sim);

/* +1: the machine is driven the way its gears drive, or not at all; -1: the other way. */
int sb_feed_direction(const struct sb_sim *sim);

#endif
