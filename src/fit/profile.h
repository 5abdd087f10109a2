// SPDX-License-Identifier: GPL-3.0-or-later
/* profile.h - intervals of logs with shifts, by walking along the valley of the squares. */
#ifndef SHIFTBAND_FIT_PROFILE_H
#define SHIFTBAND_FIT_PROFILE_H

#include "fit/estimate.h"

/*
 * How far a free parameter can go to either side of the answer, all others following, before the weighted squares have grown
 * by t^2: *least and *greatest, +-INFINITY where no end is found within some e-folds, or scales. error: the
 * linearized one, in x, from which the walk takes its first step. Where the walk comes to a better answer than the bench
 * has, it stops with *is_better and the bench there; else the bench is left as it was.
 */
enum sb_status sb_profile(struct sb_estimate *estimate, int parameter, double error, double t, double *least,
                          double *greatest, bool *is_better, struct sb_error *err);

#endif
