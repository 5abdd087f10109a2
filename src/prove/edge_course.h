// SPDX-License-Identifier: GPL-3.0-or-later
/* edge_course.h - internal: one course of a side from its beginning to its end, in gear and through a shift (edge.h). */
#ifndef SHIFTBAND_PROVE_EDGE_COURSE_H
#define SHIFTBAND_PROVE_EDGE_COURSE_H

#include "prove/edge.h"

/* A sample that falls short of an engagement by less than this share of its period sees the gear engaged. */
#define SB_EDGE_SAME_SAMPLE 1e-9

/* A course begins in gear, so long after its sample. */
void sb_edge_begin(struct sb_edges *edges, enum sb_edge_side side, int gear, const struct sb_corner *from,
                   double time_s);

/* It goes on to a step. */
void sb_edge_advance(struct sb_edges *edges, enum sb_edge_side side, long long step);

/* It ends: its greatest values count. */
struct sb_corner sb_edge_finish(struct sb_edges *edges, enum sb_edge_side side, double filtered);

/* Whether the clutch of a course that has been followed slips, or has begun to slip. */
bool sb_edge_is_slipping(const struct sb_edges *edges, enum sb_edge_side side);

/* What a speed delivers under the load of a side counts, if only for an instant. */
void sb_edge_take_instant(struct sb_edges *edges, enum sb_edge_side side, int gear, double motor_rad_s);

/* What is delivered now counts of the machine and load that come together the other way round, too. */
void sb_edge_look_across(struct sb_edges *edges, const struct sb_sim *sim);

/* The output's speed as a multiple of the motor's. Pure. */
double sb_edge_per_motor(const struct sb_edges *edges, int gear);

/* The least and the greatest reading of all speeds between two. Pure. */
double sb_edge_least_reading(const struct sb_edges *edges, double low_rad_s, double high_rad_s);
double sb_edge_greatest_reading(const struct sb_edges *edges, double low_rad_s, double high_rad_s);

/* A filter's value after a reading. Pure. */
double sb_edge_filter(const struct sb_edges *edges, double filtered, double reading);

#endif
