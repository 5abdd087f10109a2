// SPDX-License-Identifier: GPL-3.0-or-later
/* rest.h - internal: what acts on a body at rest, and what holds it. */
#ifndef SHIFTBAND_SIM_REST_H
#define SHIFTBAND_SIM_REST_H

#include "sim/segment.h"

/* A start needs this fraction of the torques at hand, so that a balance struck to the last bit does not start and stop
 * without end. */
extern const double sb_rest_tolerance;

/* The load's piece that the state is in, of one side of the contact. */
struct sb_load_curve sb_rest_curve_at(const struct sb_sim *sim, int direction, bool is_at_rest,
                                      enum sb_load_share share, enum sb_load_side side);

/* What lies against a body at rest on a side. */
struct sb_resting sb_rest_at(const struct sb_sim *sim, enum sb_load_side side);

/* What acts plus what holds in a direction, and their sum without signs, N m. */
double sb_rest_nm(const struct sb_resting *resting, double time_s, double angle_rad, int direction);
double sb_rest_scale_nm(const struct sb_resting *resting, double time_s, double angle_rad, int direction);

/* What acts plus what would oppose it as soon as it moves, N m. */
double sb_rest_sliding_nm(const struct sb_resting *resting, double time_s, double angle_rad, int direction);

/* The holding brake, closed in neutral and while the drive is off, N m. */
double sb_rest_brake_nm(const struct sb_sim *sim);

/* Whether it does not change in time. Pure. */
bool sb_rest_is_steady(const struct sb_resting *resting);

#endif
