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

/* It ends: its greatest values count. No filter followed it. */
struct sb_corner sb_edge_finish(struct sb_edges *edges, enum sb_edge_side side);

/* Whether the clutch of a course that has been followed slips, or has begun to slip. */
bool sb_edge_is_slipping(const struct sb_edges *edges, enum sb_edge_side side);

/* From here on slips are watched; a course that has been followed may end slipping. */
void sb_edge_watch_slips(struct sb_edges *edges);
void sb_edge_note_slip(struct sb_edges *edges, enum sb_edge_side side);

/* A course begins with a command from a gear to another one. */
void sb_edge_command(struct sb_edges *edges, enum sb_edge_side side, int gear, int to, const struct sb_corner *from);

/* The time to engage from a corner, and the state just before. */
struct sb_edge_shift sb_edge_engaging(struct sb_edges *edges, enum sb_edge_side side, int gear, int to,
                                      const struct sb_corner *from);

/* The first sample that finds the gear engaged, and may decide. Pure. */
int sb_edge_first_sample(const struct sb_edges *edges, double engaged_s, int dwell);

/* Carries a span through a shift by a selector or a swing arm; the times in `out` have begun. */
void sb_edge_arrive_at_once(struct sb_edges *edges, int gear, int to, const struct sb_span *from, int dwell,
                            struct sb_edge_arrivals *out);

/* What a speed delivers under the load that a side has at a time counts, if only for an instant. */
void sb_edge_take_instant(struct sb_edges *edges, enum sb_edge_side side, int gear, double motor_rad_s, double time_s);

/* A load jumps where courses have come to the speeds between two: the heaviest finds the fastest course, and the lightest the slowest. Between them the
 * torque is greatest at an end, or where the output only just turns. */
void sb_edge_take_jumps(struct sb_edges *edges, int gear, double low_rad_s, double high_rad_s, double time_s);

/* What is delivered now counts of the machine and load that come together the other way round, too. */
void sb_edge_look_across(struct sb_edges *edges, const struct sb_sim *sim);

/* The speed of the motor now is one that the gear has. */
void sb_edge_note_mesh(struct sb_edges *edges, const struct sb_sim *sim);

/* The output's speed as a multiple of the motor's. Pure. */
double sb_edge_per_motor(const struct sb_edges *edges, int gear);

/* What is read at a speed, as a fraction of the reference. Pure. */
double sb_edge_reading(const struct sb_edges *edges, double motor_rad_s);

/* The least and the greatest reading of all speeds between two. Pure. */
double sb_edge_least_reading(const struct sb_edges *edges, double low_rad_s, double high_rad_s);
double sb_edge_greatest_reading(const struct sb_edges *edges, double low_rad_s, double high_rad_s);

/* A filter's value after a reading. Pure. */
double sb_edge_filter(const struct sb_edges *edges, double filtered, double reading);

#endif
