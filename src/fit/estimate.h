// SPDX-License-Identifier: GPL-3.0-or-later
/* estimate.h - one solution: residuals, weights, Jacobian and covariance of a bench's unknowns. */
#ifndef SHIFTBAND_FIT_ESTIMATE_H
#define SHIFTBAND_FIT_ESTIMATE_H

#include "fit/bench.h"

struct sb_estimate {
  struct sb_bench *bench;
  size_t rows;        /* readings, then known figures, then priors (sb_bench_priors) */
  size_t priors;      /* the first row of these */
  size_t terms;       /* unknowns that are free now */
  double *computed;   /* computed[rows] */
  double *f;          /* f[rows]: computed - measured */
  double *weights;    /* weights[rows]: 1 / variance; 0: set aside */
  double *jacobian;   /* jacobian[rows * terms_max] as rows of `terms` */
  double *covariance; /* covariance[terms * terms] */
  double *
      gauge_shifts; /* gauge_shifts[SB_FIT_GAUGE_COUNT * terms_max]: how the unknowns move as a gauge goes to its end */
  size_t terms_max;
  double work_done; /* readings and spans computed so far: a search that needs more than WORK_MAX of them is given up */
};

#define SB_ESTIMATE_WORK_MAX 4e8

/* Room for all unknowns of the bench as they are free now; more may not become free later. */
enum sb_status sb_estimate_init(struct sb_estimate *estimate, struct sb_bench *bench, struct sb_error *err);
void sb_estimate_clear(struct sb_estimate *estimate);

/* Residuals and Jacobian at the bench's present values. SB_ERR_NUMERICS where the machine makes no sense there. */
enum sb_status sb_estimate_evaluate(struct sb_estimate *estimate, struct sb_error *err);

/* From the bench's values to the minimum under the present weights; the bench then holds it. */
enum sb_status sb_estimate_solve(struct sb_estimate *estimate, struct sb_error *err);

/* Weighted sum of squares of the last solution. */
double sb_estimate_squares(const struct sb_estimate *estimate);

/* Whether what one believes of parameters counts (sb_bench_priors); not in standard errors, for it is no measurement. */
void sb_estimate_use_priors(struct sb_estimate *estimate, bool is_used);

/* Weights for a first look: each channel good to 1 % of its greatest reading. */
void sb_estimate_weigh_roughly(struct sb_estimate *estimate);

/* The fit to all readings alike. *is_sound: none of them is too far off. The bench holds the answer. */
enum sb_status sb_estimate_run_plain(struct sb_estimate *estimate, bool *is_sound, struct sb_error *err);

/* The sum over channels of count ln(mean of |f|) of the last solution: the less, the better it follows the logs. */
double sb_estimate_misfit(const struct sb_estimate *estimate);

/* The plain fit; where readings are too far off it, the robust one, then those set aside; then the weighted one. The bench
 * holds the answer. */
enum sb_status sb_estimate_run_robust(struct sb_estimate *estimate, struct sb_error *err);

/* The weighted fit of what was not set aside, until the spreads stand still; fills the covariance. */
enum sb_status sb_estimate_run(struct sb_estimate *estimate, struct sb_error *err);

/* Jacobian and covariance at the bench's present values and weights, which are an answer already. */
enum sb_status sb_estimate_finish(struct sb_estimate *estimate, struct sb_error *err);

/* How the residuals answer to a gain of one gauge, relative: rows[rows] gets the derivatives. */
enum sb_status sb_estimate_respond(struct sb_estimate *estimate, enum sb_fit_gauge_kind gauge, double *rows,
                                   struct sb_error *err);

/* Gradient of a figure with respect to the unknowns: gradient[terms]. */
void sb_estimate_gradient(const struct sb_estimate *estimate, enum sb_fit_figure_kind kind, double *gradient);

/* ---- gauge.c: gauges that err by one gain throughout ---- */

/* Whether a gauge measured anything that counts. */
bool sb_gauge_is_used(const struct sb_bench *bench, enum sb_fit_gauge_kind gauge);

/* Fills gauge_shifts of a finished estimate. */
enum sb_status sb_gauge_apply(struct sb_estimate *estimate, struct sb_error *err);

/* ---- instant.c: logs over time in one gear ---- */

/* From an answer with its covariance to the best one with the drive switched between other rows nearby; the bench holds it, and
 * weights and covariance are those there. */
enum sb_status sb_instant_settle(struct sb_estimate *estimate, struct sb_error *err);

/* ---- explore.c: where a search with shifts in its logs sets out from ---- */

enum { SB_EXPLORE_MINIMUM_MAX = 12 };

/* Places that follow the logs about as well as the best, and lie apart from it. */
struct sb_explore_minima {
  int count;
  struct sb_bench_place places[SB_EXPLORE_MINIMUM_MAX];
};

/* Where a parameter whose value is p is looked at for u from 0 to 1, with p itself at one half: as many times below what it is as above,
 * or as far below as above, but not below zero. */
double sb_explore_parameter(const struct sb_bench *bench, int parameter, double p, double u);

/* Brings the bench to the best values found from several starts around its present ones. */
enum sb_status sb_explore(struct sb_estimate *estimate, struct sb_explore_minima *others, struct sb_error *err);

/* ---- profile.c: intervals of logs with shifts, by walking along the valley of the squares ---- */

/*
 * How far a free parameter can go to either side of the answer, all others following, before the weighted squares have grown
 * by t^2: *least and *greatest, +-INFINITY where no end is found within some e-folds, or scales. error: the
 * linearized one, in x, from which the walk takes its first step. Where the walk comes to a better answer than the bench
 * has, it stops with *is_better and the bench there; else the bench is left as it was.
 */
enum sb_status sb_profile(struct sb_estimate *estimate, int parameter, double error, double t, double *least,
                          double *greatest, bool *is_better, struct sb_error *err);

/* ---- identify.c, advise.c: what the readings leave open, and which measurement would determine it ---- */

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

/* ---- fitted.c: figures from the parameters of an estimate: whether the data tell them, their errors and intervals ---- */

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
