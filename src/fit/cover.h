// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * cover.h - how far a 95 % interval reaches where noise and gauges err together.
 *
 *   S = s T + sum of d_k U_k     T: Student's t, U_k: anything in -1..1, all values equally likely
 *
 * The reach h is the least one with P(|S| <= h) >= 95 %, and, where all gauges read too much by all they may, or all too little
 * (each U_k = 1, or -1), P(|S| <= h) >= 90 %: for its owner a wrong gauge is wrong every time. Both are calculated on
 * distributions, not from a sum of variances, which would be 19 % too wide for one U alone and too narrow for few degrees of
 * freedom.
 * Source: propagation of distributions as in the GUM's supplement 1, JCGM 101:2008 (from memory), here by convolution.
 */
#ifndef SHIFTBAND_FIT_COVER_H
#define SHIFTBAND_FIT_COVER_H

#include <stddef.h>

enum { SB_COVER_PART_MAX = 8 };

/* error: s >= 0; freedom >= 1 of T; half_widths[count]: d_k with its sign, count <= SB_COVER_PART_MAX. Pure. */
double sb_cover_reach(double error, double freedom, const double *half_widths, size_t count);

#endif
