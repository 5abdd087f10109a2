// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * edge_clutch.h - internal: a clutch that slips in gear.
 *
 * Motor speed w, output speed W, ratio N, capacity C, s = sign(w - N W), at w = N W anything between -1 and 1:
 *
 *   Jm w' = T(w) - s C        Jo W' = g(s C, W) - TL(W)        g: what the gears pass on, which never falls with s
 *
 * w' depends on W through s alone and never falls with it; W' depends on w through s alone and never falls with it, nor rises with
 * the load. So the system is quasi-monotone, and since s, friction and rest never push apart what has met, each state has one
 * course. Courses whose beginnings and loads are ordered in both speeds stay ordered, slipping, joined (s is what keeps them
 * together) or at rest, in a shift or after it, for nothing else changes when the sides first meet. Two corners under the heaviest and
 * the lightest load bound all between them: a box, which is safe, but has states that no load reaches.
 *
 * Joined sides need s C = u where u never falls with the load, nor rises with w as long as the load's own rise with speed is
 * the gentler one; where it is not, the whole rise between both ends is added. So a lead of the motor begins at the slow end
 * under the heaviest load, a lag at the fast end under the lightest one; where neither can be, w >= N W, or w <= N W, trims the box.
 *
 * In a shift the sides meet at a time that rises or falls with either speed and the load for as long as s stays: the four corners have
 * the first and the last time. A command looks at w alone, so it cuts w and leaves W as it is, but for the trimming.
 *
 * Were a clutch held for ever once joined, a slower state that is joined could be passed by a faster one that still slips: that
 * order would fail. This one slips whenever it must.
 *
 * Source: shared with edge.h.
 */
#ifndef SHIFTBAND_PROVE_EDGE_CLUTCH_H
#define SHIFTBAND_PROVE_EDGE_CLUTCH_H

#include "prove/edge.h"

/* Speeds of the motor that joined sides of a span can have; none: from > to. */
struct sb_edge_joined {
  double from_rad_s, to_rad_s;
};

/* Adds those of a span, and those at which courses that were watched have met. */
void sb_edge_joined_add(const struct sb_edges *edges, int gear, const struct sb_span *span,
                        struct sb_edge_joined *joined);
void sb_edge_joined_add_met(const struct sb_edges *edges, struct sb_edge_joined *joined);

/* Notes in a span how joined sides can come to slip, and what they deliver at worst. */
void sb_edge_mark_slips(struct sb_edges *edges, int gear, const struct sb_edge_joined *joined, struct sb_span *span);

/* Leaves out of a box what its marks exclude; false: nothing is left. */
bool sb_edge_trim(const struct sb_edges *edges, int gear, struct sb_span *span);

/* The greatest torque at the output of a clutch that slips in some way, states of a span, N m. Pure. */
double sb_edge_slip_torque_nm(const struct sb_edges *edges, int gear, const struct sb_span *span, bool is_leading,
                              bool is_lagging);

/* Both ways that a shift can slip from a span. Pure. */
double sb_edge_shift_torque_nm(const struct sb_edges *edges, int to, const struct sb_span *from);

/* A box of a gear that holds a span and whatever becomes of it, whether its sides have met or not; false: none was found. */
bool sb_edge_closed_box(struct sb_edges *edges, int gear, const struct sb_span *from, struct sb_span *out);

/* When the sides of a clutch meet that shifts from any state of a box, s: least and greatest. */
void sb_edge_meetings_s(struct sb_edges *edges, int gear, int to, const struct sb_span *box, double times_s[2]);

/* A shift by a clutch; `facts` may be NULL. */
struct sb_edge_clutch_facts {
  double standing_s;         /* of the output in gear up to the first sample that decides */
  double standstill_s;       /* of the output in the shift */
  double least_output_rad_s; /* in the shift */
};
void sb_edge_arrive_slipping(struct sb_edges *edges, int gear, int to, const struct sb_span *from, int dwell,
                             struct sb_edge_arrivals *out, struct sb_edge_clutch_facts *facts);

/* Where both ends of a span go, with all that they pass at whole time constants: no more than a guess. */
struct sb_span sb_edge_drift(struct sb_edges *edges, int gear, const struct sb_span *from);

#endif
