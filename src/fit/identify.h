// SPDX-License-Identifier: GPL-3.0-or-later
/* identify.h - what the readings cannot tell apart, and which measurement would. */
#ifndef SHIFTBAND_FIT_IDENTIFY_H
#define SHIFTBAND_FIT_IDENTIFY_H

#include "fit/estimate.h"

/* Directions of the unknowns, one a row, that may change without the readings showing it. */
struct sb_blind {
  size_t count, terms;
  double *directions; /* directions[count * terms], owned: each is 1 at its own pivot and 0 at the others' */
  size_t *pivots;     /* pivots[count], owned: the unknown to be held */
  double *sds;        /* sds[count], owned: how far it may go, in units of one e-fold or one scale */
};

/*
 * Reads them off the singular values of the weighted Jacobian of a look at the bench: a direction is blind when its
 * standard deviation is above sd_min.
 */
enum sb_status sb_blind_find(const struct sb_estimate *estimate, double sd_min, struct sb_blind *out,
                             struct sb_error *err);
void sb_blind_clear(struct sb_blind *blind);

/* The parameter of an unknown; -1 when it is a log's own (then *test and *own say which). */
int sb_unknown_parameter(const struct sb_bench *bench, size_t unknown, int *test, int *own);

/* Holds the pivots. */
void sb_blind_hold(const struct sb_blind *blind, struct sb_bench *bench);

/* The measurement that would tell most about one direction of the unknowns, or NULL; of such a look, too. */
const char *sb_advise_on(const struct sb_estimate *estimate, const double *direction);

/*
 * Measurements that would settle what is blind, or sharpen what is vague: the one after which the worst parameter is known
 * best comes first; others follow while something is still blind. `estimate` is a look with all unknowns free. Returns how
 * many, at most SB_FIT_ADVICE_MAX.
 */
size_t sb_advise(const struct sb_estimate *estimate, const char **advice);

#endif
