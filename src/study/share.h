// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * share.h - the share of samples that pass, with a confidence bound.
 *
 * The bound is the one-sided 95 % lower one of Clopper and Pearson for x of n independent samples:
 *
 *   sum over k >= x of C(n, k) p^k (1 - p)^(n - k) = 0.05,   p = the 5 % quantile of Beta(x, n - x + 1)
 *
 * Source: C. J. Clopper, E. S. Pearson, Biometrika 26 (1934), 404-413 (from memory); the quantile is GSL's.
 */
#ifndef SHIFTBAND_STUDY_SHARE_H
#define SHIFTBAND_STUDY_SHARE_H

#include <stdbool.h>
#include <stdio.h>

#define SB_SHARE_CONFIDENCE 0.95

/* The share that `passed` of `samples` (>= 1) speak for at least, with 95 % confidence; 0 for none. Pure. */
double sb_share_least(long passed, long samples);

/* A mark in a picture: '.' all of them, that of SB_MAP_NEVER_SHIFTS (map/class.h) all of them and none of them ever shifts, 9 to 0
 * tenths, '-' none. Pure. */
char sb_share_mark(long passed, long never_shift, long total);

/* What the marks mean, and what all of so many samples speak for. */
void sb_share_write_legend(FILE *out, long samples, bool has_never_shifting);

#endif
