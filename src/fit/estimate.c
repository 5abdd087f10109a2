// SPDX-License-Identifier: GPL-3.0-or-later
#include "fit/estimate.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_linalg.h>
#include <gsl/gsl_sort.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "shiftband/least_squares.h"

static const double difference = 1e-4;  /* of an x, for gradients */
static const double x_tolerance = 1e-9; /* of an x near 10: far below any standard error */
static const double bisquare = 4.685;   /* 95 % efficiency on sound data (Draper and Smith, from memory) */
static const double mad_to_sd = 1.0 / 0.6745;
static const double chance_aside = 1e-3;   /* of setting anything aside in a sound channel */
static const double share_of_one = 0.02;   /* spread assumed of a channel without spare readings */
static const double range_sd = 1.0 / 12.0; /* variance of a rounding, in steps squared */

enum { ROBUST_ROUND_MAX = 8, ROUND_MAX = 6 };

/* ---- storage ---- */

enum sb_status sb_estimate_init(struct sb_estimate *estimate, struct sb_bench *bench, struct sb_error *err)
{
  *estimate = (struct sb_estimate){.bench = bench, .rows = bench->reading_count + bench->known_count};
  estimate->terms = estimate->terms_max = sb_bench_unknown_count(bench);
  const size_t rows = estimate->rows + 1, terms = estimate->terms_max + 1;
  estimate->computed = calloc(rows, sizeof(double));
  estimate->f = calloc(rows, sizeof(double));
  estimate->weights = calloc(rows, sizeof(double));
  estimate->jacobian = calloc(rows * terms, sizeof(double));
  estimate->covariance = calloc(terms * terms, sizeof(double));
  const bool is_whole = estimate->computed != NULL && estimate->f != NULL && estimate->weights != NULL &&
                        estimate->jacobian != NULL && estimate->covariance != NULL;
  return is_whole ? SB_OK : sb_fail(err, SB_ERR_MEMORY, "fit: out of memory");
}

void sb_estimate_clear(struct sb_estimate *estimate)
{
  free(estimate->computed);
  free(estimate->f);
  free(estimate->weights);
  free(estimate->jacobian);
  free(estimate->covariance);
  *estimate = (struct sb_estimate){0};
}

/* ---- residuals ---- */

static int residuals(void *context, const double *x, double *f)
{
  struct sb_estimate *estimate = context;
  const struct sb_bench *bench = estimate->bench;
  double p[SB_FIT_PARAMETER_COUNT], own[SB_FIT_LOG_MAX][SB_OWN_COUNT];
  sb_bench_unpack(bench, x, p, own);
  if (sb_bench_compute(bench, p, own, estimate->computed) != 0) return -1;
  for (size_t i = 0; i < bench->reading_count; i++) f[i] = estimate->computed[i] - bench->readings[i].value;
  for (size_t k = 0; k < bench->known_count; k++) {
    const struct sb_fit_known *known = &bench->setup->known[k];
    f[bench->reading_count + k] = sb_bench_figure(bench, p, known->kind) - 0.5 * (known->least + known->greatest);
  }
  return 0;
}

static enum sb_status makes_no_machine(struct sb_error *err)
{
  return sb_fail(err, SB_ERR_NUMERICS, "the search came to figures that make no machine");
}

enum sb_status sb_estimate_look(struct sb_estimate *estimate, struct sb_error *err)
{
  struct sb_bench *bench = estimate->bench;
  estimate->terms = sb_bench_unknown_count(bench);
  const size_t terms = estimate->terms, rows = estimate->rows;
  double *x = malloc((terms + 1) * sizeof *x), *ahead = malloc((rows + 1) * sizeof *ahead);
  enum sb_status status = sb_bench_set_steps(bench, err);
  if (x == NULL || ahead == NULL) status = sb_fail(err, SB_ERR_MEMORY, "fit: out of memory");
  if (status == SB_OK) sb_bench_pack(bench, x);
  for (size_t j = 0; j < terms && status == SB_OK; j++) {
    const double at = x[j];
    x[j] = at + difference;
    int failed = residuals(estimate, x, ahead);
    x[j] = at - difference;
    failed |= residuals(estimate, x, estimate->f);
    x[j] = at;
    if (failed != 0) status = makes_no_machine(err);
    for (size_t i = 0; i < rows; i++) {
      estimate->jacobian[i * terms + j] = (ahead[i] - estimate->f[i]) / (2.0 * difference);
    }
  }
  if (status == SB_OK && residuals(estimate, x, estimate->f) != 0) status = makes_no_machine(err);
  free(x);
  free(ahead);
  return status;
}

/* ---- weights ---- */

static void weigh_known(struct sb_estimate *estimate)
{
  const struct sb_bench *bench = estimate->bench;
  for (size_t k = 0; k < bench->known_count; k++) {
    const struct sb_fit_known *known = &bench->setup->known[k];
    const double exact = 1e-4 * fmax(fabs(known->least), fabs(known->greatest)) + 1e-300;
    const double sd = fmax((known->greatest - known->least) / (2.0 * gsl_cdf_ugaussian_Pinv(0.975)), exact);
    estimate->weights[bench->reading_count + k] = 1.0 / (sd * sd);
  }
}

static double greatest_of(const struct sb_bench *bench, int channel)
{
  double greatest = 0.0;
  for (size_t i = 0; i < bench->reading_count; i++) {
    if (bench->readings[i].channel == channel) greatest = fmax(greatest, fabs(bench->readings[i].value));
  }
  return greatest > 0.0 ? greatest : 1.0;
}

void sb_estimate_weigh_roughly(struct sb_estimate *estimate)
{
  const struct sb_bench *bench = estimate->bench;
  for (int c = 0; c < bench->channel_count; c++) {
    const double sd = 0.01 * greatest_of(bench, c);
    for (size_t i = 0; i < bench->reading_count; i++) {
      if (bench->readings[i].channel == c) estimate->weights[i] = 1.0 / (sd * sd);
    }
  }
  weigh_known(estimate);
}

/* Spread of the bulk of a channel: the median of the |f| that are left when as many of the least as there are unknowns are
 * dropped, as these are small by the fit alone. */
static double bulk_sd(const struct sb_estimate *estimate, int channel)
{
  const struct sb_bench *bench = estimate->bench;
  double *sizes = malloc((bench->reading_count + 1) * sizeof *sizes);
  size_t n = 0, unknowns = 0;
  if (sizes == NULL) return INFINITY;
  for (size_t i = 0; i < bench->reading_count; i++) {
    if (bench->readings[i].channel == channel) sizes[n++] = fabs(estimate->f[i]);
  }
  unknowns = estimate->terms * n / (bench->reading_count > 0 ? bench->reading_count : 1);
  if (unknowns + 2 > n) unknowns = n > 2 ? n - 2 : 0;
  gsl_sort(sizes, 1, n);
  double sd = n > 0 ? sizes[unknowns + (n - unknowns) / 2] * mad_to_sd : INFINITY;
  free(sizes);
  sd = fmax(sd, 1e-9 * greatest_of(bench, channel));
  return fmax(sd, bench->channels[channel].quantum * sqrt(range_sd));
}

/* Bisquare weights; returns the greatest relative change of a channel's spread. */
static double weigh_robustly(struct sb_estimate *estimate)
{
  struct sb_bench *bench = estimate->bench;
  double change = 0.0;
  for (int c = 0; c < bench->channel_count; c++) {
    struct sb_fit_channel *channel = &bench->channels[c];
    const double sd = bulk_sd(estimate, c);
    change = fmax(change, fabs(sd - channel->sd) / sd);
    channel->sd = sd;
    for (size_t i = 0; i < bench->reading_count; i++) {
      if (bench->readings[i].channel != c) continue;
      const double u = estimate->f[i] / (bisquare * sd), inner = fabs(u) < 1.0 ? 1.0 - u * u : 0.0;
      estimate->weights[i] = inner * inner / (sd * sd);
    }
  }
  return change;
}

/* Far from the bulk: further than one in a thousand sound logs would have any reading. */
static void set_aside(struct sb_estimate *estimate)
{
  struct sb_bench *bench = estimate->bench;
  for (int c = 0; c < bench->channel_count; c++) {
    struct sb_fit_channel *channel = &bench->channels[c];
    const double n = (double)channel->count, share = (double)estimate->terms / (double)bench->reading_count;
    const double freedom = fmax(n * (1.0 - share), 1.0);
    const double limit = gsl_cdf_tdist_Qinv(0.5 * chance_aside / n, freedom) * channel->sd;
    channel->aside_count = 0;
    for (size_t i = 0; i < bench->reading_count; i++) {
      if (bench->readings[i].channel != c) continue;
      bench->readings[i].is_aside = fabs(estimate->f[i]) > limit;
      channel->aside_count += bench->readings[i].is_aside;
    }
  }
}

/* Each channel's part in the unknowns: the sum of its leverages. */
static double leverage_of(const struct sb_estimate *estimate, int channel)
{
  const struct sb_bench *bench = estimate->bench;
  const size_t terms = estimate->terms;
  double sum = 0.0;
  for (size_t i = 0; i < bench->reading_count; i++) {
    if (bench->readings[i].channel != channel || estimate->weights[i] <= 0.0) continue;
    const double *row = estimate->jacobian + i * terms;
    for (size_t j = 0; j < terms; j++) {
      for (size_t k = 0; k < terms; k++) {
        sum += estimate->weights[i] * row[j] * estimate->covariance[j * terms + k] * row[k];
      }
    }
  }
  return sum;
}

/* Spreads from the residuals at each channel's share of the degrees of freedom; returns the greatest change. */
static double weigh_by_spread(struct sb_estimate *estimate, bool has_leverage)
{
  struct sb_bench *bench = estimate->bench;
  double change = 0.0;
  for (int c = 0; c < bench->channel_count; c++) {
    struct sb_fit_channel *channel = &bench->channels[c];
    const double kept = (double)(channel->count - channel->aside_count);
    const double used =
        has_leverage ? leverage_of(estimate, c) : kept * (double)estimate->terms / (double)bench->reading_count;
    const double rounding = channel->quantum * channel->quantum * range_sd;
    double sum = 0.0;
    for (size_t i = 0; i < bench->reading_count; i++) {
      if (bench->readings[i].channel == c && !bench->readings[i].is_aside) sum += estimate->f[i] * estimate->f[i];
    }
    channel->freedom = kept - used > 0.5 ? kept - used : 0.0;
    double variance = channel->freedom > 0.0 ? sum / channel->freedom : pow(share_of_one * greatest_of(bench, c), 2.0);
    variance = fmax(variance, pow(1e-9 * greatest_of(bench, c), 2.0));
    const double sd = sqrt(fmax(variance, rounding)), noise = fmax(variance - rounding, 0.0);
    change = fmax(change, fabs(sd - channel->sd) / sd);
    channel->sd = sd;
    for (size_t i = 0; i < bench->reading_count; i++) {
      const struct sb_bench_reading *reading = &bench->readings[i];
      if (reading->channel != c) continue;
      estimate->weights[i] = reading->is_aside ? 0.0 : 1.0 / (noise + reading->repeats * rounding + 1e-300);
    }
  }
  return change;
}

/* ---- solutions ---- */

/* (J' W J)^-1, each unknown in units of its own column first, so that the scale of none spoils the others. */
static enum sb_status fill_covariance(struct sb_estimate *estimate, struct sb_error *err)
{
  const size_t terms = estimate->terms;
  gsl_matrix *normal = gsl_matrix_calloc(terms, terms);
  gsl_vector *scale = gsl_vector_alloc(terms);
  enum sb_status status = SB_OK;
  if (normal == NULL || scale == NULL) status = sb_fail(err, SB_ERR_MEMORY, "fit: out of memory");
  for (size_t i = 0; i < estimate->rows && status == SB_OK; i++) {
    const double *row = estimate->jacobian + i * terms;
    for (size_t j = 0; j < terms; j++) {
      for (size_t k = 0; k < terms; k++) {
        *gsl_matrix_ptr(normal, j, k) += estimate->weights[i] * row[j] * row[k];
      }
    }
  }
  for (size_t j = 0; j < terms && status == SB_OK; j++) gsl_vector_set(scale, j, sqrt(gsl_matrix_get(normal, j, j)));
  for (size_t j = 0; j < terms && status == SB_OK; j++) {
    for (size_t k = 0; k < terms; k++)
      *gsl_matrix_ptr(normal, j, k) /= gsl_vector_get(scale, j) * gsl_vector_get(scale, k);
  }
  if (status == SB_OK &&
      (gsl_linalg_cholesky_decomp1(normal) != GSL_SUCCESS || gsl_linalg_cholesky_invert(normal) != GSL_SUCCESS)) {
    status = sb_fail(err, SB_ERR_NUMERICS, "the readings do not fix all unknowns");
  }
  for (size_t j = 0; j < terms && status == SB_OK; j++) {
    for (size_t k = 0; k < terms; k++) {
      estimate->covariance[j * terms + k] =
          gsl_matrix_get(normal, j, k) / (gsl_vector_get(scale, j) * gsl_vector_get(scale, k));
    }
  }
  if (normal != NULL) gsl_matrix_free(normal);
  if (scale != NULL) gsl_vector_free(scale);
  return status;
}

/* From the bench's values to the minimum under the present weights; the bench then holds it. */
static enum sb_status solve(struct sb_estimate *estimate, struct sb_error *err)
{
  struct sb_bench *bench = estimate->bench;
  estimate->terms = sb_bench_unknown_count(bench);
  if (estimate->terms == 0) return sb_estimate_look(estimate, err);
  enum sb_status status = sb_bench_set_steps(bench, err);
  double *x = malloc(estimate->terms * sizeof *x);
  if (x == NULL) return sb_fail(err, SB_ERR_MEMORY, "fit: out of memory");
  sb_bench_pack(bench, x);
  const struct sb_residuals problem = {estimate->rows, estimate->terms, residuals, estimate, x_tolerance};
  if (status == SB_OK) {
    status = sb_least_squares_nonlinear(&problem, estimate->weights, x, estimate->jacobian, estimate->f, err);
  }
  if (status == SB_OK) {
    double p[SB_FIT_PARAMETER_COUNT], own[SB_FIT_LOG_MAX][SB_OWN_COUNT];
    residuals(estimate, x, estimate->f); /* of all readings, those without weight too */
    sb_bench_unpack(bench, x, p, own);
    memcpy(bench->p, p, sizeof p);
    for (int t = 0; t < bench->test_count; t++) memcpy(bench->tests[t].own, own[t], sizeof own[t]);
  }
  free(x);
  return status;
}

enum sb_status sb_estimate_run_robust(struct sb_estimate *estimate, struct sb_error *err)
{
  enum sb_status status = sb_estimate_look(estimate, err);
  weigh_known(estimate);
  double change = INFINITY;
  if (status == SB_OK) weigh_robustly(estimate);
  for (int round = 0; round < ROBUST_ROUND_MAX && change > 0.02 && status == SB_OK; round++) {
    status = solve(estimate, err);
    if (status == SB_OK) change = weigh_robustly(estimate);
  }
  if (status != SB_OK) return status;
  set_aside(estimate);
  return sb_estimate_run(estimate, err);
}

enum sb_status sb_estimate_run(struct sb_estimate *estimate, struct sb_error *err)
{
  enum sb_status status = SB_OK;
  double change = INFINITY;
  weigh_known(estimate);
  weigh_by_spread(estimate, false);
  for (int round = 0; round < ROUND_MAX && change > 1e-3 && status == SB_OK; round++) {
    status = solve(estimate, err);
    if (status == SB_OK) status = fill_covariance(estimate, err);
    if (status == SB_OK) change = weigh_by_spread(estimate, true);
    /* With one channel and no rounding a common factor on the weights moves nothing. */
    if (estimate->bench->channel_count == 1 && estimate->bench->known_count == 0 &&
        !(estimate->bench->channels[0].quantum > 0.1 * estimate->bench->channels[0].sd)) {
      change = 0.0;
    }
  }
  return status == SB_OK ? fill_covariance(estimate, err) : status;
}

enum sb_status sb_estimate_finish(struct sb_estimate *estimate, struct sb_error *err)
{
  const enum sb_status status = sb_estimate_look(estimate, err);
  return status == SB_OK ? fill_covariance(estimate, err) : status;
}

void sb_estimate_gradient(const struct sb_estimate *estimate, enum sb_fit_figure_kind kind, double *gradient)
{
  const struct sb_bench *bench = estimate->bench;
  size_t j = 0;
  for (int k = 0; k < SB_FIT_PARAMETER_COUNT; k++) {
    if (!bench->is_free[k]) continue;
    double p[SB_FIT_PARAMETER_COUNT], values[2];
    for (int side = 0; side < 2; side++) {
      const double move = side == 0 ? difference : -difference;
      memcpy(p, bench->p, sizeof p);
      p[k] = sb_bench_is_positive(k) ? p[k] * exp(move) : p[k] + move * bench->scale[k];
      values[side] = sb_bench_figure(bench, p, kind);
    }
    gradient[j++] = (values[0] - values[1]) / (2.0 * difference);
  }
  while (j < estimate->terms) gradient[j++] = 0.0; /* the logs' own unknowns are in no figure */
}
