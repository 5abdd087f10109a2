// SPDX-License-Identifier: GPL-3.0-or-later
/* fitted.h - figures from the parameters of an estimate: whether the data tell them, their errors and intervals. */
#ifndef SHIFTBAND_FIT_FITTED_H
#define SHIFTBAND_FIT_FITTED_H

#include "fit/estimate.h"
#include "fit/identify.h"

/* Whether a figure has no part in this machine or these logs. */
bool sb_fitted_is_absent(const struct sb_bench *bench, enum sb_fit_figure_kind kind);

/* What counts as little for a figure that may be zero; the size of any other. */
double sb_fitted_size(const struct sb_bench *bench, enum sb_fit_figure_kind kind);

/* Whether going along an open direction as far as the data let it would change the figure by half; where not, *variance gets
 * what it may change it by, as of even chances. gradient: of the figure, by the estimate's unknowns. */
bool sb_fitted_is_open(const struct sb_estimate *full, const struct sb_identify *directions,
                       enum sb_fit_figure_kind kind, const double *gradient, double *variance);

/* Error and 95 % interval of a figure whose value is filled. held_variance: of what is held and could be otherwise. */
void sb_fitted_fill(const struct sb_estimate *estimate, enum sb_fit_figure_kind kind, double held_variance,
                    struct sb_fit_figure *figure);

/* The same for an end of the interval that noise alone would leave at `end`: where the gauges widen it to. */
double sb_fitted_widen(const struct sb_estimate *estimate, enum sb_fit_figure_kind kind,
                       const struct sb_fit_figure *figure, double end);

#endif
