// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * boxes.h - all boxes of whole wheels that a shelf gives, one after the other.
 *
 * A box has stages from the motor to the output, each a pair driver/driven. All speeds share all stages but the last one; in the last
 * one each speed has a pair of its own. Shared stages reduce the speed, and
 * in another order they are the same box. The pairs of the last stage lie between
 * the same two axles: the sums of their teeth differ by no more than the tolerance of the centre distance.
 *
 * For a swing arm, the reversal of the motor selects one of two speeds. One pair of the last stage meshes directly; the other one
 * has an idler between its wheels, so that the output turns as before while the motor turns back. Its wheels must not touch each
 * other (their sum is at least 4 teeth less: the heads are one module high), and the idler must reach both:
 * sum + 2 idler >= the other pair's sum. Of the wheels that do, the smallest is taken that has no fewer teeth than the smaller wheel of
 * its pair, so that its teeth are no weaker; else the greatest.
 *
 * Counts, with n(S) pairs of the sum S among all T^2 pairs of T wheels, R = T (T - 1) / 2 of them reductions, and d the greatest
 * difference of sums:
 *
 *   shared stages       multisets of k among R: C(R + k - 1, k)
 *   last stage          sum over S of C(n(S..S+d), s) - C(n(S+1..S+d), s)
 *   with a swing arm    sum of n(S1) n(S2) over S2 + 4 <= S1 <= S2 + 2 (largest wheel)
 */
#ifndef SHIFTBAND_DESIGN_BOXES_H
#define SHIFTBAND_DESIGN_BOXES_H

#include <stdbool.h>
#include <stdint.h>

#include "scenario/choices.h"

/* Wheels by their teeth. speeds go from the slowest to the fastest. */
struct sb_box {
  int stages, speeds;
  int shared[SB_SHELF_STAGE_MAX - 1][2]; /* driver, driven; stages - 1 of them */
  int last[SB_SHELF_SPEED_MAX][2];
  int idler; /* teeth; 0: none */
  int idler_speed;
};

/* Boxes of one way of shifting, one number of stages and of speeds, whose last stage begins with one pair. */
struct sb_box_slice {
  bool is_swing;
  int stages, speeds;
  int anchor; /* a pair, in the order of boxes.c */
};

struct sb_box_plan;

/* What there is to enumerate; NULL when memory runs out. has_plain, has_swing: ways of shifting among the choices. */
struct sb_box_plan *sb_boxes_plan(const struct sb_shelf *shelf, bool has_plain, bool has_swing);
void sb_boxes_free(struct sb_box_plan *plan);

/* How many boxes there are, of either way of shifting. Pure. */
double sb_boxes_count(const struct sb_box_plan *plan, bool is_swing);

long sb_boxes_slice_count(const struct sb_box_plan *plan);
struct sb_box_slice sb_boxes_slice(const struct sb_box_plan *plan, long index);

/* Visits the boxes of a slice, always in the same order, until the visitor returns false. */
void sb_boxes_visit(const struct sb_box_plan *plan, const struct sb_box_slice *slice,
                    bool (*visit)(void *context, const struct sb_box *box), void *context);

/* ---- figures of a box; pure ---- */

/* Wheels that it needs, the idler too. */
int sb_box_wheel_count(const struct sb_box *box);

/* Meshes from the motor to the output of a speed. */
int sb_box_mesh_count(const struct sb_box *box, int speed);

double sb_box_ratio(const struct sb_box *box, int speed);

/* Meshes whose two numbers of teeth have no common divisor: each tooth then meets each of the other wheel. */
int sb_box_hunting_teeth(const struct sb_box *box);

/* All axles in a line, with half of the first and of the last wheel, their heads included, m. */
double sb_box_length_m(const struct sb_box *box, double module_m);

/* The fewest teeth of any wheel. */
int sb_box_fewest_teeth(const struct sb_box *box);

/* Whether the stock has all its wheels. */
bool sb_box_is_in_stock(const struct sb_box *box, const struct sb_shelf *shelf);

/* The greatest load of a tooth: the force, and of the force that the tooth may carry (Lewis, by the wheel of fewer teeth). */
struct sb_tooth_load {
  double force_n, fraction; /* NAN without a width in the shelf */
};

/* For each N m at the output, in any speed, when the meshes behind it have the efficiency. */
struct sb_tooth_load sb_box_tooth_load_per_nm(const struct sb_box *box, const struct sb_shelf *shelf,
                                              double mesh_efficiency);

/* The same of one speed. */
struct sb_tooth_load sb_box_speed_tooth_load_per_nm(const struct sb_box *box, const struct sb_shelf *shelf,
                                                    double mesh_efficiency, int speed);

/* Whether one load is less than another one, by more than rounding: by the share where it is known, else by the force. */
bool sb_box_tooth_load_is_less(const struct sb_tooth_load *one, const struct sb_tooth_load *other);

/* Least teeth of a wheel of full depth that a rack cuts without undercut: 2 / sin^2(20 deg) = 17.097; 17 are common practice. */
enum { SB_UNDERCUT_TEETH = 17 };

#endif
