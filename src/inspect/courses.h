// SPDX-License-Identifier: GPL-3.0-or-later
/* courses.h - the most likely course of gears beside a log of the motor's speed alone. */
#ifndef SHIFTBAND_INSPECT_COURSES_H
#define SHIFTBAND_INSPECT_COURSES_H

#include "inspect/gear_track.h"

/*
 * Finds shifts and fills the track.
 *
 *   series       a: speeds of the motor, rad/s, with sign; times from the run's start, s
 *   noise_rad_s  standard deviation of their noise
 *
 * SB_OK with out->shifts NULL: nothing could be followed. SB_ERR_MEMORY.
 */
enum sb_status sb_courses_follow(const struct sb_series *series, const struct sb_model *model, double noise_rad_s,
                                 struct sb_inspection *out, struct sb_track *track);

#endif
