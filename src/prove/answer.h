// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * answer.h - what the sets of states (reach.h) say: a function each for a group of bounds.
 *
 * All take the reach at its full bounds, with the commands that are ever given, and leave it so.
 */
#ifndef SHIFTBAND_PROVE_ANSWER_H
#define SHIFTBAND_PROVE_ANSWER_H

#include "prove/reach.h"
#include "shiftband/prove.h"

/* cycle.c: the least time from a command to the second one after it, in samples; INT_MAX: it never comes. */
int sb_answer_cycle(struct sb_reach *reach, const struct sb_reach_commands *commands);

/* swing.c: the least width of bounds within which commands go on for ever. */
struct sb_answer_swing {
  double least_nm;  /* within such bounds they do; INFINITY: within none, as far as is known */
  double at_nm[2];  /* where */
  double proved_nm; /* within lesser ones they do not */
};
struct sb_answer_swing sb_answer_swing(struct sb_reach *reach, const struct sb_reach_commands *commands);

/* witness.c: whether a value of a bound is worse than another one, or the first; NAN is no value. Pure. */
bool sb_answer_is_worse(int bound, double value, double than);

/* Which torque swings, and between which bounds. */
struct sb_answer_range {
  bool is_acting;
  double from_nm, to_nm;
};
struct sb_answer_range sb_answer_swinging(const struct sb_reach *reach);

/* Shows that no swing of `asked_nm` makes commands go on for ever from any lower end between two, in cells no narrower than `narrow_nm`;
 * false: it could not, and `left_nm` is where. */
bool sb_answer_is_quiet(struct sb_reach *reach, const struct sb_reach_commands *commands, double asked_nm,
                        double narrow_nm, const double ends_nm[2], double left_nm[2]);

/* Whether a constant load makes commands go on for ever, in one machine. */
bool sb_answer_hunts(struct sb_reach *reach, const struct sb_reach_commands *commands, double load_nm);

/* settle.c: the longest time until no shift follows any more once the load stays at its lightest (way up: until the fastest gear
 * is engaged) or heaviest (down). INFINITY: for ever, or not found out; NAN: no shift is needed. */
double sb_answer_settle(struct sb_reach *reach, const struct sb_reach_commands *commands, int way);

/* The same from states that wait in a gear at a sample, under the one load to which the reach is bound; NAN: no shift comes. */
double sb_answer_settle_on(struct sb_reach *reach, int way, int gear, const struct sb_reach_item *from);

/* The gear that the heaviest load stops for good, for no reading takes it into a slower one; -1: none. */
int sb_answer_stopped_gear(struct sb_reach *reach);

/* The longest time that the output stands in an engaged gear, s; INFINITY: for ever. */
double sb_answer_standing(struct sb_reach *reach, const struct sb_reach_commands *commands);

/* The same of shifts alone, under the load to which the reach is bound. */
double sb_answer_standing_after(struct sb_reach *reach, const struct sb_reach_commands *commands);

/* The readings at which commands come. */
void sb_answer_commands(const struct sb_reach *reach, const struct sb_reach_commands *commands, struct sb_prove *out);

/* extreme.c: what shifts are like at worst. */
struct sb_answer_shifts {
  double longest_s, standstill_s, least_output_rad_s;
  double shock_nms[SB_REACH_WAYS];
};
struct sb_answer_shifts sb_answer_shifts(struct sb_reach *reach, const struct sb_reach_commands *commands);

/* box.c: the same of has_boxes; the shocks stay NAN. */
double sb_answer_box_settle(struct sb_reach *reach, const struct sb_reach_commands *commands, int way);
double sb_answer_box_standing(struct sb_reach *reach, const struct sb_reach_commands *commands);
struct sb_answer_shifts sb_answer_box_shifts(struct sb_reach *reach, const struct sb_reach_commands *commands);

/* As sb_prove_solve(), but a machine whose clutch needs boxes, which take long and decide little, is outside. */
enum sb_status sb_prove_solve_sharply(const struct sb_model *model, struct sb_prove *out, struct sb_error *err);

#endif
