// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * elementary.h - internal: sine, cosine and exponential in additions and multiplications alone, so that they are the same
 * bits on every processor. The mathematics library's own depend on what instructions a processor has, and parts of a map
 * that were calculated on two machines must join.
 *
 * Argument reduction: W. J. Cody, W. Waite, Software Manual for the Elementary Functions, 1980 (from memory).
 */
#ifndef SHIFTBAND_BASE_ELEMENTARY_H
#define SHIFTBAND_BASE_ELEMENTARY_H

/* Sine and cosine of an angle, rad; within 2 units in the last place of 1 for |angle| <= 1e6. Pure. */
void sb_elementary_sin_cos(double angle_rad, double *sine, double *cosine);

/* exp(x) - 1, within a few units in the last place; INFINITY where it is too large. Pure. */
double sb_elementary_exp_less_1(double x);

/* Natural logarithm, within 2 units in the last place. Pure. */
double sb_elementary_log(double x);

/* The angle, rad, of a tangent, and of a sine from -1 to 1; within 5 units in the last place. Pure. */
double sb_elementary_atan(double x);
double sb_elementary_asin(double x);

/* 1 / k! */
enum { SB_INVERSE_FACTORIAL_COUNT = 20 };
extern const double sb_elementary_inverse_factorials[SB_INVERSE_FACTORIAL_COUNT];

#endif
