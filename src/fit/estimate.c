// SPDX-License-Identifier: GPL-3.0-or-later
#include "fit/estimate.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_linalg.h>
#include <gsl/gsl_sort.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/gsl_quiet.h"
#include "base/shortage.h"
#include "fit/least_squares.h"

static const double leash = 1.0;        /* of an x, in units of one standard deviation of all readings together */
static const double leash_most = 3.0;   /* no step goes further */
static const double difference = 1e-4;  /* of an x, for gradients */
static const double x_tolerance = 1e-7; /* of an x near 10: far below any standard error */
static const double bisquare = 4.685;   /* 95 % efficiency on sound data (Draper and Smith, from memory) */
static const double huber = 1.345;      /* likewise */
static const double mad_to_sd = 1.0 / 0.6745;
static const double outlier_chance = 1e-3; /* of setting anything aside in a sound channel */
static const double share_of_one = 0.02;   /* spread assumed of a channel without spare readings */
static const double model_share = 1e-6;    /* of the greatest reading: the digits of a log are no better */
static const double singular_share = 1e-9; /* of the greatest singular value: below it is rounding */
static const double range_sd = 1.0 / 12.0; /* variance of a rounding, in steps squared */

enum { ROBUST_ROUND_MAX = 8, ROUND_MAX = 6 };

/* ---- storage ---- */

enum sb_status sb_estimate_init(struct sb_estimate *estimate, struct sb_bench *bench, struct sb_error *err)
{
  *estimate = (struct sb_estimate){.bench = bench};
  estimate->priors = bench->reading_count + bench->known_count;
  estimate->rows = estimate->priors + sb_bench_priors(bench, NULL, NULL, NULL, NULL);
  estimate->terms = estimate->terms_max = sb_bench_unknown_count(bench);
  const size_t rows = estimate->rows + 1, terms = estimate->terms_max + 1;
  estimate->computed = calloc(rows, sizeof(double));
  estimate->f = calloc(rows, sizeof(double));
  estimate->weights = calloc(rows, sizeof(double));
  estimate->jacobian = calloc(rows * terms, sizeof(double));
  estimate->covariance = calloc(terms * terms, sizeof(double));
  estimate->gauge_shifts = calloc(SB_FIT_GAUGE_COUNT * terms, sizeof(double));
  const bool is_whole = estimate->computed != NULL && estimate->f != NULL && estimate->weights != NULL &&
                        estimate->jacobian != NULL && estimate->covariance != NULL && estimate->gauge_shifts != NULL;
  return is_whole ? SB_OK : sb_bench_no_memory(err);
}

void sb_estimate_clear(struct sb_estimate *estimate)
{
  free(estimate->computed);
  free(estimate->f);
  free(estimate->weights);
  free(estimate->jacobian);
  free(estimate->covariance);
  free(estimate->gauge_shifts);
  *estimate = (struct sb_estimate){0};
}

/* ---- residuals ---- */

static double work_of(const struct sb_bench *bench)
{
  size_t sum = bench->reading_count;
  for (int t = 0; t < bench->test_count; t++) sum += bench->tests[t].span_count;
  return (double)sum;
}

static int residuals(void *context, const double *x, double *f)
{
  struct sb_estimate *estimate = context;
  const struct sb_bench *bench = estimate->bench;
  estimate->work_done += work_of(bench);
  if (estimate->work_done > SB_ESTIMATE_WORK_MAX) return -1;
  double p[SB_FIT_PARAMETER_COUNT], own[SB_FIT_LOG_MAX][SB_OWN_COUNT];
  sb_bench_unpack(bench, x, p, own);
  if (sb_predict(bench, p, own, estimate->computed) != 0) return -1;
  for (size_t i = 0; i < bench->reading_count; i++) f[i] = estimate->computed[i] - bench->readings[i].value;
  for (size_t k = 0; k < bench->known_count; k++) {
    const struct sb_fit_known *known = &bench->setup->known[k];
    f[bench->reading_count + k] = sb_bench_figure(bench, p, known->kind) - 0.5 * (known->least + known->greatest);
  }
  sb_bench_priors(bench, p, own, f + estimate->priors, NULL);
  return 0;
}

static enum sb_status makes_no_machine(struct sb_error *err)
{
  return sb_fail(err, SB_ERR_NUMERICS, "the search found values that no machine can have");
}

enum sb_status sb_estimate_evaluate(struct sb_estimate *estimate, struct sb_error *err)
{
  struct sb_bench *bench = estimate->bench;
  estimate->terms = sb_bench_unknown_count(bench);
  const size_t terms = estimate->terms, rows = estimate->rows;
  double *x = calloc(terms + 1, sizeof *x), *ahead = calloc(rows + 1, sizeof *ahead);
  if (x == NULL || ahead == NULL) {
    free(x);
    free(ahead);
    return sb_bench_no_memory(err);
  }
  enum sb_status status = SB_OK;
  sb_bench_pack(bench, x);
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
    const double exact = 1e-4 * fmax(fabs(known->least), fabs(known->greatest)) + 1e-30;
    const double sd = fmax((known->greatest - known->least) / (2.0 * gsl_cdf_ugaussian_Pinv(0.975)), exact);
    estimate->weights[bench->reading_count + k] = 1.0 / (sd * sd);
  }
  sb_bench_priors(bench, NULL, NULL, NULL, estimate->weights + estimate->priors);
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
  if (sizes == NULL) {
    sb_shortage_note();
    return INFINITY;
  }
  for (size_t i = 0; i < bench->reading_count; i++) {
    if (bench->readings[i].channel == channel) sizes[n++] = fabs(estimate->f[i]);
  }
  unknowns = estimate->terms * n / (bench->reading_count > 0 ? bench->reading_count : 1);
  if (unknowns + 2 > n) unknowns = n > 2 ? n - 2 : 0;
  gsl_sort(sizes, 1, n);
  double sd = n > 0 ? sizes[unknowns + (n - unknowns) / 2] * mad_to_sd : INFINITY;
  free(sizes);
  sd = fmax(sd, model_share * greatest_of(bench, channel));
  return fmax(sd, bench->channels[channel].quantum * sqrt(range_sd));
}

/* Spread of those that are not marked, at about their degrees of freedom. */
static double kept_sd(const struct sb_estimate *estimate, int c)
{
  const struct sb_bench *bench = estimate->bench;
  double sum = 0.0, count = 0.0;
  for (size_t i = 0; i < bench->reading_count; i++) {
    if (bench->readings[i].channel != c || bench->readings[i].is_outlier) continue;
    sum += estimate->f[i] * estimate->f[i];
    count += 1.0;
  }
  return sqrt(sum / fmax(count - 2.0, 1.0));
}

/* The readings of a channel in order: places[count], owned by the caller; NULL without memory. */
static size_t *places_of(const struct sb_bench *bench, int channel)
{
  size_t *places = calloc(bench->channels[channel].count + 1, sizeof *places), n = 0;
  if (places == NULL) sb_shortage_note();
  for (size_t i = 0; places != NULL && i < bench->reading_count; i++) {
    if (bench->readings[i].channel == channel) places[n++] = i;
  }
  return places;
}

/* How many readings from `first` on are all beyond a limit on one side. */
static size_t run_length(const struct sb_estimate *estimate, const size_t *places, size_t first, size_t count,
                         double limit)
{
  size_t n = 0;
  const double sign = estimate->f[places[first]] < 0.0 ? -1.0 : 1.0;
  while (first + n < count && sign * estimate->f[places[first + n]] > limit) n++;
  return n;
}

/*
 * A run of readings beyond a limit that comes or goes gradually is the machine moving otherwise than the model, not a fault
 * of the sensor: such readings keep their say. A burst of bad readings starts and ends at once.
 */
static bool is_gradual(const struct sb_estimate *estimate, const size_t *places, size_t first, size_t length,
                       size_t count)
{
  double greatest = 0.0;
  if (length < 4) return false;
  for (size_t k = first; k < first + length; k++) greatest = fmax(greatest, fabs(estimate->f[places[k]]));
  const bool comes = first > 0 && fabs(estimate->f[places[first]] - estimate->f[places[first - 1]]) < 0.5 * greatest;
  const size_t end = first + length;
  const bool goes = end < count && fabs(estimate->f[places[end - 1]] - estimate->f[places[end]]) < 0.5 * greatest;
  return comes || goes;
}

/* Gives a channel another spread; returns the relative change. */
static double set_spread(struct sb_fit_channel *channel, double sd)
{
  const double change = fabs(sd - channel->sd) / sd;
  channel->sd = sd;
  return change;
}

/* Every reading of a channel alike, by their spread; returns the greatest relative change of one. */
static double weigh_plainly(struct sb_estimate *estimate)
{
  struct sb_bench *bench = estimate->bench;
  double change = 0.0;
  for (int c = 0; c < bench->channel_count; c++) {
    change = fmax(change, set_spread(&bench->channels[c], fmax(kept_sd(estimate, c), bulk_sd(estimate, c))));
  }
  for (size_t i = 0; i < bench->reading_count; i++) {
    estimate->weights[i] = pow(bench->channels[bench->readings[i].channel].sd, -2.0);
  }
  return change;
}

/* Huber's weights, which give every reading some say, so that a search far from its end is drawn there by all of them;
 * returns likewise. */
static double weigh_mildly(struct sb_estimate *estimate)
{
  struct sb_bench *bench = estimate->bench;
  double change = 0.0;
  for (int c = 0; c < bench->channel_count; c++) {
    change = fmax(change, set_spread(&bench->channels[c], bulk_sd(estimate, c)));
  }
  for (size_t i = 0; i < bench->reading_count; i++) {
    const double sd = bench->channels[bench->readings[i].channel].sd;
    estimate->weights[i] = fmin(1.0, huber * sd / fabs(estimate->f[i])) / (sd * sd);
  }
  return change;
}

/* Bisquare weights; returns likewise. */
static double weigh_robustly(struct sb_estimate *estimate)
{
  struct sb_bench *bench = estimate->bench;
  double change = 0.0;
  for (int c = 0; c < bench->channel_count; c++) {
    const struct sb_fit_channel *channel = &bench->channels[c];
    const double sd = bulk_sd(estimate, c);
    change = fmax(change, set_spread(&bench->channels[c], sd));
    size_t *places = places_of(bench, c), length = 0;
    for (size_t k = 0; places != NULL && k<channel->count; k += length> 0 ? length : 1) {
      const double u = estimate->f[places[k]] / (bisquare * sd), inner = fabs(u) < 1.0 ? 1.0 - u * u : 0.0;
      estimate->weights[places[k]] = inner * inner / (sd * sd);
      length = run_length(estimate, places, k, channel->count, bisquare * sd);
      const bool has_say = is_gradual(estimate, places, k, length, channel->count);
      for (size_t m = k; m < k + length; m++) {
        estimate->weights[places[m]] = has_say ? pow(estimate->f[places[m]] * bisquare, -2.0) : 0.0;
      }
    }
    free(places);
  }
  return change;
}

/* Marks the readings of a channel beyond a limit, but for runs that have their say. */
static void mark_beyond(struct sb_estimate *estimate, int c, double limit)
{
  struct sb_bench *bench = estimate->bench;
  struct sb_fit_channel *channel = &bench->channels[c];
  size_t *places = places_of(bench, c), length = 0;
  channel->outlier_count = channel->deviating_count = 0;
  for (size_t k = 0; places != NULL && k<channel->count; k += length> 0 ? length : 1) {
    bench->readings[places[k]].is_outlier = false;
    length = run_length(estimate, places, k, channel->count, limit);
    const bool has_say = is_gradual(estimate, places, k, length, channel->count);
    for (size_t m = k; m < k + length; m++) bench->readings[places[m]].is_outlier = !has_say;
    channel->outlier_count += has_say ? 0 : length;
    channel->deviating_count += has_say ? length : 0;
  }
  free(places);
}

/* Far from the bulk: further than one in a thousand sound logs would have any reading. The spread of the bulk is a rough
 * figure in a short channel, so a reading must lie as far off by the spread of all others, too. */
static void find_outliers(struct sb_estimate *estimate)
{
  struct sb_bench *bench = estimate->bench;
  for (int c = 0; c < bench->channel_count; c++) {
    const double n = (double)bench->channels[c].count;
    const double limit = gsl_cdf_tdist_Qinv(0.5 * outlier_chance / n, fmax(n - 2.0, 1.0));
    mark_beyond(estimate, c, limit * bench->channels[c].sd);
    const double sd = kept_sd(estimate, c);
    if (sd > bench->channels[c].sd) mark_beyond(estimate, c, limit * sd);
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
    const double kept = (double)(channel->count - channel->outlier_count);
    const double used =
        has_leverage ? leverage_of(estimate, c) : kept * (double)estimate->terms / (double)bench->reading_count;
    const double rounding = channel->quantum * channel->quantum * range_sd;
    double sum = 0.0;
    for (size_t i = 0; i < bench->reading_count; i++) {
      if (bench->readings[i].channel == c && !bench->readings[i].is_outlier) sum += estimate->f[i] * estimate->f[i];
    }
    channel->freedom = kept - used > 0.5 ? kept - used : 0.0;
    double variance = channel->freedom > 0.0 ? sum / channel->freedom : pow(share_of_one * greatest_of(bench, c), 2.0);
    variance = fmax(variance, pow(model_share * greatest_of(bench, c), 2.0));
    const double sd = sqrt(fmax(variance, rounding)), noise = fmax(variance - rounding, 0.0);
    change = fmax(change, fabs(sd - channel->sd) / sd);
    channel->sd = sd;
    for (size_t i = 0; i < bench->reading_count; i++) {
      const struct sb_bench_reading *reading = &bench->readings[i];
      if (reading->channel != c) continue;
      estimate->weights[i] = reading->is_outlier ? 0.0 : 1.0 / (noise + reading->repeats * rounding + 1e-300);
    }
  }
  return change;
}

/* ---- solutions ---- */

/* The columns of the weighted Jacobian brought to length one: scale[terms] has their lengths. */
static void fill_scaled(const struct sb_estimate *estimate, gsl_matrix *a, gsl_vector *scale)
{
  for (size_t j = 0; j < estimate->terms; j++) {
    double sum = 0.0;
    for (size_t i = 0; i < estimate->rows; i++) {
      const double part = sqrt(estimate->weights[i]) * estimate->jacobian[i * estimate->terms + j];
      gsl_matrix_set(a, i, j, part);
      sum += part * part;
    }
    gsl_vector_set(scale, j, sum > 0.0 ? sqrt(sum) : 1.0);
    gsl_vector_view column = gsl_matrix_column(a, j);
    gsl_vector_scale(&column.vector, 1.0 / gsl_vector_get(scale, j));
  }
}

/* (J' W J)^-1 by singular values; what has none gets so great a variance that it will be found undetermined. */
static enum sb_status fill_covariance(struct sb_estimate *estimate, struct sb_error *err)
{
  SB_GSL_QUIET;
  const size_t terms = estimate->terms, rows = estimate->rows > terms ? estimate->rows : terms;
  if (terms == 0) return SB_OK;
  if (!sb_least_squares_brace(rows, terms)) return sb_bench_no_memory(err);
  gsl_matrix *a = gsl_matrix_calloc(rows, terms), *v = gsl_matrix_alloc(terms, terms);
  gsl_vector *s = gsl_vector_alloc(terms), *scale = gsl_vector_alloc(terms), *work = gsl_vector_alloc(terms);
  enum sb_status status = SB_OK;
  if (a == NULL || v == NULL || s == NULL || scale == NULL || work == NULL) {
    status = sb_bench_no_memory(err);
  } else {
    fill_scaled(estimate, a, scale);
    gsl_linalg_SV_decomp(a, v, s, work);
    const double least = singular_share * gsl_vector_get(s, 0);
    for (size_t j = 0; j < terms; j++) {
      for (size_t k = 0; k < terms; k++) {
        double sum = 0.0;
        for (size_t m = 0; m < terms; m++) {
          sum += gsl_matrix_get(v, j, m) * gsl_matrix_get(v, k, m) / pow(fmax(gsl_vector_get(s, m), least), 2.0);
        }
        estimate->covariance[j * terms + k] = sum / (gsl_vector_get(scale, j) * gsl_vector_get(scale, k));
      }
    }
  }
  gsl_matrix_free(a);
  gsl_matrix_free(v);
  gsl_vector_free(s);
  gsl_vector_free(scale);
  gsl_vector_free(work);
  sb_shortage_relax();
  return status;
}

/* The residuals, and how far the search has gone from where it began: a direction that the readings hardly tell does not run
 * away on the first steps; the next search begins where this one ends, so nothing of it stays in the answer. */
static int leashed(void *context, const double *x, double *f)
{
  const struct sb_estimate *estimate = context;
  double furthest = 0.0;
  for (size_t j = 0; j < estimate->terms; j++) {
    f[estimate->rows + j] = (x[j] - SB_BENCH_MIDDLE) / leash;
    furthest = fmax(furthest, fabs(x[j] - SB_BENCH_MIDDLE));
  }
  /* An inertia of next to nothing would take steps without number. */
  return furthest > leash_most ? -1 : residuals(context, x, f);
}

/* One search from x, leashed where shifts make such directions. The Jacobian of the rows alone is kept. */
static enum sb_status search(struct sb_estimate *estimate, double *x, struct sb_error *err)
{
  const size_t rows = estimate->rows, terms = estimate->terms;
  const size_t count = rows + (sb_bench_has_shift(estimate->bench) ? terms : 0);
  const struct sb_residuals problem = {count, terms, count > rows ? leashed : residuals, estimate, x_tolerance};
  double *weights = malloc(count * sizeof *weights), *jacobian = calloc(count * terms, sizeof *jacobian);
  enum sb_status status = SB_OK;
  if (weights == NULL || jacobian == NULL) {
    status = sb_bench_no_memory(err);
  } else {
    memcpy(weights, estimate->weights, rows * sizeof *weights);
    for (size_t i = rows; i < count; i++) weights[i] = 1.0;
    status = sb_least_squares_nonlinear(&problem, weights, x, jacobian, NULL, err);
    memcpy(estimate->jacobian, jacobian, rows * terms * sizeof *jacobian);
  }
  free(weights);
  free(jacobian);
  return status;
}

enum sb_status sb_estimate_solve(struct sb_estimate *estimate, struct sb_error *err)
{
  struct sb_bench *bench = estimate->bench;
  estimate->terms = sb_bench_unknown_count(bench);
  if (estimate->terms == 0) return sb_estimate_evaluate(estimate, err);
  double *x = malloc(estimate->terms * sizeof *x);
  if (x == NULL) return sb_bench_no_memory(err);
  sb_bench_pack(bench, x);
  const enum sb_status status = search(estimate, x, err);
  if (status == SB_OK) {
    struct sb_bench_place place = sb_bench_place_now(bench);
    residuals(estimate, x, estimate->f); /* of all readings, those without weight too */
    sb_bench_unpack(bench, x, place.p, place.own);
    sb_bench_go_to(bench, &place);
  }
  free(x);
  return status;
}

double sb_estimate_squares(const struct sb_estimate *estimate)
{
  double sum = 0.0;
  for (size_t i = 0; i < estimate->rows; i++) sum += estimate->weights[i] * estimate->f[i] * estimate->f[i];
  return sum;
}

/* Solves and weighs until the spreads stand still. */
static enum sb_status settle(struct sb_estimate *estimate, double (*weigh)(struct sb_estimate *), struct sb_error *err)
{
  enum sb_status status = SB_OK;
  double change = INFINITY;
  weigh(estimate);
  for (int round = 0; round < ROBUST_ROUND_MAX && change > 0.02 && status == SB_OK; round++) {
    status = sb_estimate_solve(estimate, err);
    if (status == SB_OK) change = weigh(estimate);
  }
  return status;
}

/* Marks outliers of a plain solution; whether there are none. */
static bool is_clean(struct sb_estimate *estimate)
{
  struct sb_bench *bench = estimate->bench;
  size_t count = 0;
  for (int c = 0; c < bench->channel_count; c++) bench->channels[c].sd = bulk_sd(estimate, c);
  find_outliers(estimate);
  for (int c = 0; c < bench->channel_count; c++) {
    count += bench->channels[c].outlier_count + bench->channels[c].deviating_count;
  }
  return count == 0;
}

enum sb_status sb_estimate_run_plain(struct sb_estimate *estimate, bool *is_sound, struct sb_error *err)
{
  struct sb_bench *bench = estimate->bench;
  for (size_t i = 0; i < bench->reading_count; i++) bench->readings[i].is_outlier = false;
  enum sb_status status = sb_estimate_evaluate(estimate, err);
  weigh_known(estimate);
  if (status == SB_OK) status = settle(estimate, weigh_plainly, err);
  *is_sound = status == SB_OK && is_clean(estimate);
  return status;
}

double sb_estimate_misfit(const struct sb_estimate *estimate)
{
  const struct sb_bench *bench = estimate->bench;
  double sum = 0.0;
  for (int c = 0; c < bench->channel_count; c++) {
    double size = model_share * greatest_of(bench, c);
    for (size_t i = 0; i < bench->reading_count; i++) {
      if (bench->readings[i].channel == c) size += fabs(estimate->f[i]) / (double)bench->channels[c].count;
    }
    sum += (double)bench->channels[c].count * log(size);
  }
  for (size_t i = bench->reading_count; i < estimate->rows; i++) {
    sum += 0.5 * estimate->weights[i] * estimate->f[i] * estimate->f[i];
  }
  return sum;
}

/* Where logs have shifts a single row may tell a figure: setting it aside at once would leave a wrong valley to be found.
 * So a plain fit comes first there, and stays where no reading is too far off it. */
static enum sb_status settle_with_shift(struct sb_estimate *estimate, bool *is_done, struct sb_error *err)
{
  const enum sb_status status = sb_estimate_run_plain(estimate, is_done, err);
  return status == SB_OK && !*is_done ? settle(estimate, weigh_mildly, err) : status;
}

enum sb_status sb_estimate_run_robust(struct sb_estimate *estimate, struct sb_error *err)
{
  bool is_done = false;
  enum sb_status status = SB_OK;
  if (sb_bench_has_shift(estimate->bench)) {
    status = settle_with_shift(estimate, &is_done, err);
  } else {
    status = sb_estimate_evaluate(estimate, err);
    weigh_known(estimate);
  }
  if (status == SB_OK && !is_done) {
    status = settle(estimate, weigh_robustly, err);
    find_outliers(estimate);
  }
  return status == SB_OK ? sb_estimate_run(estimate, err) : status;
}

void sb_estimate_use_priors(struct sb_estimate *estimate, bool is_used)
{
  const struct sb_bench *bench = estimate->bench;
  double *weights = estimate->weights + estimate->priors;
  for (int j = 0; j < SB_FIT_PARAMETER_COUNT && sb_bench_has_shift(bench); j++) weights[j] = is_used ? 1.0 : 0.0;
}

enum sb_status sb_estimate_run(struct sb_estimate *estimate, struct sb_error *err)
{
  enum sb_status status = SB_OK;
  double change = INFINITY;
  weigh_known(estimate);
  weigh_by_spread(estimate, false);
  for (int round = 0; round < ROUND_MAX && change > 5e-3 && status == SB_OK; round++) {
    status = sb_estimate_solve(estimate, err);
    if (status == SB_OK) status = fill_covariance(estimate, err);
    if (status == SB_OK) change = weigh_by_spread(estimate, true);
    /* With one channel and no rounding a common factor on the weights moves nothing. */
    if (estimate->bench->channel_count == 1 && estimate->bench->known_count == 0 &&
        !(estimate->bench->channels[0].quantum > 0.1 * estimate->bench->channels[0].sd)) {
      change = 0.0;
    }
  }
  sb_estimate_use_priors(estimate, false);
  return status == SB_OK ? fill_covariance(estimate, err) : status;
}

enum sb_status sb_estimate_finish(struct sb_estimate *estimate, struct sb_error *err)
{
  const enum sb_status status = sb_estimate_evaluate(estimate, err);
  return status == SB_OK ? fill_covariance(estimate, err) : status;
}

enum sb_status sb_estimate_respond(struct sb_estimate *estimate, enum sb_fit_gauge_kind gauge, double *rows,
                                   struct sb_error *err)
{
  double *x = calloc(estimate->terms + 1, sizeof *x), *gain = &estimate->bench->gains[gauge];
  const double before = *gain;
  if (x == NULL) return sb_bench_no_memory(err);
  sb_bench_pack(estimate->bench, x);
  *gain = before * exp(difference);
  int failed = residuals(estimate, x, rows);
  *gain = before * exp(-difference);
  failed |= residuals(estimate, x, estimate->f);
  for (size_t i = 0; i < estimate->rows; i++) rows[i] = (rows[i] - estimate->f[i]) / (2.0 * difference);
  *gain = before;
  failed |= residuals(estimate, x, estimate->f);
  free(x);
  return failed == 0 ? SB_OK : makes_no_machine(err);
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
