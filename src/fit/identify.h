// SPDX-License-Identifier: GPL-3.0-or-later
/* identify.h - what the readings leave open, and which measurement would determine it. */
#ifndef SHIFTBAND_FIT_IDENTIFY_H
#define SHIFTBAND_FIT_IDENTIFY_H

#include "fit/estimate.h"

/* Directions of the unknowns, one a row, that may change without the readings showing it. */
struct sb_identify {
  size_t count, terms;
  double *directions; /* directions[count * terms], owned: each is 1 at its own pivot and 0 at the others' */
  size_t *pivots;     /* pivots[count], owned: the unknown to be held */
  double *sds;        /* sds[count], owned: how far it may go, in units of one e-fold or one scale */
};

/*
 * Reads them off the singular values of the weighted Jacobian of an evaluated estimate: a direction is undetermined when
 * its standard deviation is above sd_min.
 */
enum sb_status sb_identify_find(const struct sb_estimate *estimate, double sd_min, struct sb_identify *out,
                                struct sb_error *err);
void sb_identify_clear(struct sb_identify *directions);

/* The parameter of an unknown; -1 when it is a log's own (then *test and *own say which). */
int sb_identify_parameter(const struct sb_bench *bench, size_t unknown, int *test, int *own);

/* Holds the pivots. */
void sb_identify_hold(const struct sb_identify *directions, struct sb_bench *bench);

/* The measurement that would determine most of one direction of the unknowns, or NULL. */
const char *sb_advise_on(const struct sb_estimate *estimate, const double *direction);

/*
 * Measurements that would determine what is open, or improve what is vague: the one after which the worst parameter is known
 * best comes first; others follow while something is still open. `estimate` was evaluated with all unknowns free. Returns
 * how many, at most SB_FIT_ADVICE_MAX.
 */
size_t sb_advise(const struct sb_estimate *estimate, const char **advice);

#endif
