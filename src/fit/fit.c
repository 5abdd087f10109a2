// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/fit.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/gsl_quiet.h"
#include "base/shortage.h"
#include "fit/cover.h"
#include "fit/estimate.h"
#include "fit/show.h"

/* Standard deviations, in e-folds or scales, above which a direction is undetermined: at the first look, with readings taken for
 * good to 1 %, and by the noise that they turn out to have. What was held at first may well be free after that. */
static const double undetermined_at_first = 3.0, undetermined_by_noise = 0.5;

static const double confidence_point = 0.975;

/* Two shares of a direction that differ by less are equal. */
static const double same_share = 0.1;

enum { PROFILE_ROUND_MAX = 4 };

/* ---- the fit ---- */

struct fit {
  struct sb_bench bench;
  struct sb_estimate estimate;
  bool was_free[SB_FIT_PARAMETER_COUNT];
  bool was_own_free[SB_FIT_LOG_MAX][SB_OWN_COUNT];
  double start_p[SB_FIT_PARAMETER_COUNT];
  enum sb_fit_state states[SB_FIT_FIGURE_COUNT];
  double held_variance[SB_FIT_FIGURE_COUNT]; /* of what is held and could be otherwise */
  struct sb_explore_minima others;           /* where logs have shifts */
  bool is_walked[SB_FIT_PARAMETER_COUNT];    /* ends[] has where the valley of the squares ends */
  double ends[SB_FIT_PARAMETER_COUNT][2];
};

static void free_all(struct fit *fit)
{
  memcpy(fit->bench.is_free, fit->was_free, sizeof fit->was_free);
  for (int t = 0; t < fit->bench.test_count; t++) {
    memcpy(fit->bench.tests[t].is_own_free, fit->was_own_free[t], sizeof fit->was_own_free[t]);
  }
}

static void remember_free(struct fit *fit)
{
  memcpy(fit->was_free, fit->bench.is_free, sizeof fit->was_free);
  memcpy(fit->start_p, fit->bench.p, sizeof fit->start_p);
  for (int t = 0; t < fit->bench.test_count; t++) {
    memcpy(fit->was_own_free[t], fit->bench.tests[t].is_own_free, sizeof fit->was_own_free[t]);
  }
}

static bool is_same_hold(const struct sb_bench *bench, const struct fit *before)
{
  bool is_same = memcmp(bench->is_free, before->bench.is_free, sizeof bench->is_free) == 0;
  for (int t = 0; t < bench->test_count; t++) {
    is_same &= memcmp(bench->tests[t].is_own_free, before->bench.tests[t].is_own_free,
                      sizeof bench->tests[t].is_own_free) == 0;
  }
  return is_same;
}

static enum sb_fit_relation relation_of(const double shares[SB_FIT_PARAMETER_COUNT])
{
  int count = 0, together = 0, against = 0;
  for (int j = 0; j < SB_FIT_PARAMETER_COUNT; j++) {
    count += shares[j] != 0.0;
    together += fabs(shares[j] - 1.0) < same_share;
    against += fabs(shares[j] + 1.0) < same_share;
  }
  if (count == 1) return SB_FIT_ALONE;
  if (together == count) return SB_FIT_TOGETHER;
  return count == 2 && together == 1 && against == 1 ? SB_FIT_OPPOSITE : SB_FIT_PROPORTION;
}

/* A direction of the unknowns in e-folds of the parameters, so that ones that scale together have equal shares. */
static void fill_undetermined(const struct sb_bench *bench, const struct sb_identify *directions, size_t k,
                              struct sb_fit_undetermined *out)
{
  double greatest = 0.0;
  for (size_t j = 0; j < directions->terms; j++) {
    int test, own;
    const int parameter = sb_identify_parameter(bench, j, &test, &own);
    if (parameter < 0) continue;
    double share = directions->directions[k * directions->terms + j];
    const double p = bench->p[parameter], scale = bench->scale[parameter];
    if (!sb_bench_is_positive(parameter) && fabs(p) > 0.01 * scale) share *= scale / p;
    out->shares[parameter] = share;
  }
  const double unit = out->shares[out->held];
  for (int j = 0; j < SB_FIT_PARAMETER_COUNT; j++) greatest = fmax(greatest, fabs(out->shares[j]));
  for (int j = 0; j < SB_FIT_PARAMETER_COUNT; j++) {
    out->shares[j] = fabs(out->shares[j]) < 0.05 * greatest ? 0.0 : out->shares[j] / unit;
  }
  out->relation = relation_of(out->shares);
}

/* With all unknowns free at the answer: what is undetermined, what each figure is worth, and what would help. */
static enum sb_status evaluate_all(struct fit *fit, struct sb_identify *directions, struct sb_fit_result *out,
                                   struct sb_error *err)
{
  struct sb_estimate *estimate = &fit->estimate;
  free_all(fit);
  sb_bench_set_scales(&fit->bench);
  enum sb_status status = sb_estimate_evaluate(estimate, err);
  if (status == SB_OK) status = sb_identify_find(estimate, undetermined_by_noise, directions, err);
  if (status != SB_OK) return status;
  for (int k = 0; k < SB_FIT_FIGURE_COUNT; k++) {
    double gradient[64] = {0}, size = 0.0;
    const enum sb_fit_figure_kind kind = (enum sb_fit_figure_kind)k;
    fit->states[k] = SB_FIT_ABSENT;
    if (sb_fitted_is_absent(&fit->bench, kind)) continue;
    sb_estimate_gradient(estimate, kind, gradient);
    for (size_t j = 0; j < estimate->terms; j++) size = fmax(size, fabs(gradient[j]));
    fit->states[k] = size == 0.0 ? SB_FIT_GIVEN
                     : sb_fitted_is_open(estimate, directions, kind, gradient, &fit->held_variance[k])
                         ? SB_FIT_UNDETERMINED
                         : SB_FIT_DETERMINED;
  }
  /* Without a torque or an inertia in newton metres there is no viscous friction in them either, however small it is. */
  const bool has_scale = fit->states[SB_FIT_STALL_TORQUE] != SB_FIT_UNDETERMINED ||
                         fit->states[SB_FIT_ROTOR_INERTIA] != SB_FIT_UNDETERMINED;
  if (!has_scale && fit->states[SB_FIT_MOTOR_VISCOUS] == SB_FIT_DETERMINED)
    fit->states[SB_FIT_MOTOR_VISCOUS] = SB_FIT_UNDETERMINED;
  out->undetermined_count = 0;
  for (size_t k = 0; k < directions->count && out->undetermined_count < SB_FIT_UNDETERMINED_MAX; k++) {
    int test, own;
    const int held = sb_identify_parameter(&fit->bench, directions->pivots[k], &test, &own);
    if (held < 0) continue;
    struct sb_fit_undetermined *to = &out->undetermined[out->undetermined_count++];
    *to = (struct sb_fit_undetermined){.held = (enum sb_fit_parameter)held};
    to->advice = sb_advise_on(estimate, directions->directions + k * directions->terms);
    fill_undetermined(&fit->bench, directions, k, to);
  }
  out->advice_count = sb_advise(estimate, out->advice);
  return SB_OK;
}

/* Intervals take in other valleys that are no deeper than the ends of this one. */
static void visit_others(struct fit *fit, double growth)
{
  struct sb_estimate *estimate = &fit->estimate;
  struct sb_bench *bench = &fit->bench;
  const struct sb_bench_place answer = sb_bench_place_now(bench);
  struct sb_error ignored;
  const double most = sb_estimate_evaluate(estimate, &ignored) == SB_OK ? sb_estimate_squares(estimate) + growth : 0.0;
  for (int k = 0; k < fit->others.count; k++) {
    sb_bench_go_to(bench, &fit->others.places[k]);
    if (sb_estimate_solve(estimate, &ignored) != SB_OK || !(sb_estimate_squares(estimate) < most)) continue;
    for (int j = 0; j < SB_FIT_PARAMETER_COUNT; j++) {
      fit->ends[j][0] = fmin(fit->ends[j][0], bench->p[j]);
      fit->ends[j][1] = fmax(fit->ends[j][1], bench->p[j]);
    }
  }
  sb_bench_go_to(bench, &answer);
}

/* Intervals of the free parameters from the valley itself; false in *is_whole where it led to a better answer. */
static enum sb_status walk_profiles(struct fit *fit, bool *is_whole, struct sb_error *err)
{
  struct sb_estimate *estimate = &fit->estimate;
  const size_t terms = estimate->terms;
  enum sb_status status = sb_estimate_finish(estimate, err);
  double errors[SB_FIT_PARAMETER_COUNT] = {0}, freedom = 0.0;
  size_t unknown = 0;
  for (int j = 0; j < SB_FIT_PARAMETER_COUNT; j++) {
    if (!fit->bench.is_free[j]) continue;
    errors[j] = sqrt(estimate->covariance[unknown * terms + unknown]);
    unknown++;
  }
  for (int c = 0; c < fit->bench.channel_count; c++) freedom += fit->bench.channels[c].freedom;
  const double t = gsl_cdf_tdist_Pinv(confidence_point, fmax(freedom, 1.0));
  bool is_better = false;
  sb_estimate_use_priors(estimate, true);
  for (int j = 0; j < SB_FIT_PARAMETER_COUNT && status == SB_OK && !is_better; j++) {
    if (!fit->bench.is_free[j]) continue;
    status = sb_profile(estimate, j, errors[j], t, &fit->ends[j][0], &fit->ends[j][1], &is_better, err);
    fit->is_walked[j] = status == SB_OK && !is_better;
  }
  if (status == SB_OK && !is_better) visit_others(fit, t * t);
  sb_estimate_use_priors(estimate, false);
  *is_whole = !is_better;
  return status;
}

/* Where logs have shifts: nothing is held, and errors come from the profile of the squares as it is. */
static enum sb_status search_with_shift(struct fit *fit, struct sb_fit_result *out, struct sb_error *err)
{
  struct sb_estimate *estimate = &fit->estimate;
  struct sb_identify directions = {0};
  bool is_whole = false;
  enum sb_status status = sb_explore(estimate, &fit->others, err);
  for (int round = 0; round < PROFILE_ROUND_MAX && !is_whole && status == SB_OK; round++) {
    status = sb_estimate_run_robust(estimate, err);
    if (status == SB_OK) status = evaluate_all(fit, &directions, out, err);
    sb_identify_clear(&directions);
    if (status == SB_OK) status = walk_profiles(fit, &is_whole, err);
  }
  return status == SB_OK ? sb_estimate_finish(estimate, err) : status;
}

/* Back from where the search may have left what is held now and can well be zero. What is open only together with others stays
 * where it is: these follow it by their ratio, and no ratio to zero can be followed. */
static void go_back(struct fit *fit, const struct fit *before, const struct sb_identify *directions)
{
  for (size_t k = 0; k < directions->count; k++) {
    const double *direction = directions->directions + k * directions->terms;
    const size_t pivot = directions->pivots[k];
    int test = 0, own = 0;
    const int parameter = sb_identify_parameter(&fit->bench, pivot, &test, &own);
    bool is_alone = true;
    for (size_t j = 0; j < directions->terms; j++) is_alone &= j == pivot || fabs(direction[j]) < same_share;
    if (parameter < 0 || sb_bench_is_positive(parameter) || !before->bench.is_free[parameter] || !is_alone) continue;
    fit->bench.p[parameter] = fit->start_p[parameter];
  }
}

/* Holds what is undetermined, fits, evaluates again with the true noise, and fits once more where that changes anything. */
static enum sb_status search(struct fit *fit, struct sb_fit_result *out, struct sb_error *err)
{
  struct sb_estimate *estimate = &fit->estimate;
  struct sb_identify directions = {0};
  enum sb_status status = sb_estimate_evaluate(estimate, err);
  sb_estimate_weigh_roughly(estimate);
  if (status == SB_OK) status = sb_identify_find(estimate, undetermined_at_first, &directions, err);
  if (status != SB_OK) return status;
  sb_identify_hold(&directions, &fit->bench);
  sb_identify_clear(&directions);
  status = sb_estimate_run_robust(estimate, err);
  if (status == SB_OK) status = sb_instant_settle(estimate, err);
  if (status != SB_OK) return status;

  struct fit before = *fit;
  status = evaluate_all(fit, &directions, out, err);
  if (status == SB_OK) {
    go_back(fit, &before, &directions);
    sb_identify_hold(&directions, &fit->bench);
    const bool is_same = is_same_hold(&fit->bench, &before);
    status = is_same ? sb_estimate_finish(estimate, err) : sb_estimate_run_robust(estimate, err);
    if (status == SB_OK && !is_same) status = sb_instant_settle(estimate, err);
  }
  sb_identify_clear(&directions);
  return status;
}

/* Enough readings for the unknowns and their errors? */
static enum sb_status check_count(const struct fit *fit, struct sb_error *err)
{
  const size_t unknowns = sb_bench_unknown_count(&fit->bench);
  if (unknowns > 60) {
    return sb_fail(err, SB_ERR_SCENARIO, "needs fewer logs at a time, found %zu unknowns in them", unknowns);
  }
  if (unknowns == 0) return sb_fail(err, SB_ERR_SCENARIO, "needs at least one value to fit, found all of them given");
  if (fit->bench.reading_count >= 3) return SB_OK;
  return sb_fail(err, SB_ERR_SCENARIO, "%s: needs at least 3 readings of speed or current, found %zu",
                 fit->bench.tests[0].log->path, fit->bench.reading_count);
}

/* ---- the result ---- */

static enum sb_status fill_readings(const struct fit *fit, struct sb_fit_result *out, struct sb_error *err)
{
  const struct sb_bench *bench = &fit->bench;
  out->readings = calloc(bench->reading_count + 1, sizeof *out->readings);
  if (out->readings == NULL) return sb_bench_no_memory(err);
  out->reading_count = bench->reading_count;
  for (size_t i = 0; i < bench->reading_count; i++) {
    const struct sb_bench_reading *from = &bench->readings[i];
    out->readings[i] = (struct sb_fit_reading){.log = from->test,
                                               .column = from->column,
                                               .row = from->row,
                                               .measured = from->value,
                                               .computed = from->value + fit->estimate.f[i],
                                               .is_outlier = from->is_outlier};
  }
  return SB_OK;
}

/* Share of the variance of a channel's readings that the fit explains, without outliers. */
static double explained_of(const struct sb_fit_result *result, const struct sb_fit_channel *channel)
{
  double mean = 0.0, count = 0.0, spread = 0.0, left = 0.0;
  for (int pass = 0; pass < 2; pass++) {
    for (size_t i = 0; i < result->reading_count; i++) {
      const struct sb_fit_reading *reading = &result->readings[i];
      if (reading->log != channel->log || reading->column != channel->column || reading->is_outlier) continue;
      if (pass == 0) {
        mean += reading->measured;
        count += 1.0;
      } else {
        spread += pow(reading->measured - mean / count, 2.0);
        left += pow(reading->measured - reading->computed, 2.0);
      }
    }
  }
  return spread > 0.0 ? 1.0 - left / spread : 1.0;
}

static void fill_channels(const struct fit *fit, struct sb_fit_result *out)
{
  out->channel_count = (size_t)fit->bench.channel_count;
  memcpy(out->channels, fit->bench.channels, sizeof out->channels);
  for (size_t c = 0; c < out->channel_count; c++) {
    out->channels[c].explained_fraction = explained_of(out, &out->channels[c]);
  }
}

static void fill_origins(const struct fit *fit, struct sb_fit_result *out)
{
  const struct sb_bench *bench = &fit->bench;
  const size_t terms = fit->estimate.terms;
  for (int t = 0; t < bench->test_count; t++) {
    const struct sb_bench_test *test = &bench->tests[t];
    out->origins[t] = (struct sb_fit_origin){.is_dynamic = test->is_dynamic,
                                             .corner = test->corner,
                                             .shift_count = sb_shift_find_count(test),
                                             .is_engagement_seen = test->is_engagement_logged || test->is_slipping,
                                             .phase = test->phase,
                                             .start_s = test->own[SB_OWN_START],
                                             .start_se_s = NAN,
                                             .off_s = test->own[SB_OWN_OFF],
                                             .off_se_s = NAN,
                                             .speed_rad_s = test->own[SB_OWN_SPEED]};
  }
  for (int t = 0; t < bench->test_count; t++) {
    out->has_unseen_engagement |= out->origins[t].shift_count > 0 && !out->origins[t].is_engagement_seen;
  }
  for (size_t j = 0; j < terms; j++) {
    int t = 0, own = 0;
    if (sb_identify_parameter(bench, j, &t, &own) >= 0) continue;
    const double se = sqrt(fit->estimate.covariance[j * terms + j]) * bench->tests[t].own_scale[own];
    if (own == SB_OWN_START) out->origins[t].start_se_s = se;
    if (own == SB_OWN_OFF) out->origins[t].off_se_s = se;
  }
  for (int t = 0; t < bench->test_count; t++) {
    struct sb_fit_origin *origin = &out->origins[t];
    if (origin->phase != SB_FIT_COAST_DOWN) continue;
    origin->off_s = origin->start_s; /* what begins there is the coasting */
    origin->off_se_s = origin->start_se_s;
    origin->start_se_s = NAN;
  }
}

/* The interval and error of a figure from the ends of the valley, where it was walked. */
static void take_ends(const struct fit *fit, enum sb_fit_figure_kind kind, struct sb_fit_figure *figure)
{
  const int parameter = sb_fit_figure_parameter(kind);
  /* The current is the friction's share of another. */
  if (parameter < 0 || parameter == SB_FIT_P_FRICTION_SHARE || !fit->is_walked[parameter]) return;
  const double *ends = fit->ends[parameter];
  const double size = fmax(fabs(figure->value), sb_fitted_size(&fit->bench, kind));
  const double width = ends[1] - ends[0], unit = 2.0 * sb_cover_reach(1.0, figure->freedom, NULL, 0);
  figure->least = sb_fitted_widen(&fit->estimate, kind, figure, ends[0]);
  figure->greatest = sb_fitted_widen(&fit->estimate, kind, figure, ends[1]);
  figure->standard_error = (figure->greatest - figure->least) / unit;
  figure->gauge_share = 1.0 - width / (figure->greatest - figure->least);
  if (figure->standard_error > undetermined_by_noise * size) {
    figure->state = SB_FIT_UNDETERMINED;
    figure->least = figure->greatest = figure->standard_error = figure->gauge_share = NAN;
  }
}

static bool is_named(const struct sb_fit_result *result, int parameter)
{
  for (size_t k = 0; k < result->undetermined_count; k++) {
    if (result->undetermined[k].shares[parameter] != 0.0) return true;
  }
  return false;
}

/* Parameters whose interval is too wide join what the data leave open. */
static void add_vague(const struct fit *fit, struct sb_fit_result *out)
{
  for (int k = 0; k < SB_FIT_FIGURE_COUNT && out->undetermined_count < SB_FIT_UNDETERMINED_MAX; k++) {
    const int parameter = sb_fit_figure_parameter((enum sb_fit_figure_kind)k);
    if (parameter < 0 || !fit->is_walked[parameter] || out->figures[k].state != SB_FIT_UNDETERMINED) continue;
    if (is_named(out, parameter)) continue;
    struct sb_fit_undetermined *vague = &out->undetermined[out->undetermined_count++];
    *vague = (struct sb_fit_undetermined){.held = (enum sb_fit_parameter)parameter, .is_vague = true};
    vague->shares[parameter] = 1.0;
  }
}

static void fill_figures(const struct fit *fit, struct sb_fit_result *out)
{
  double least_certain = 0.0;
  for (int k = 0; k < SB_FIT_FIGURE_COUNT; k++) {
    const enum sb_fit_figure_kind kind = (enum sb_fit_figure_kind)k;
    struct sb_fit_figure *figure = &out->figures[k];
    *figure = (struct sb_fit_figure){.state = fit->states[k],
                                     .value = sb_bench_figure(&fit->bench, fit->bench.p, kind),
                                     .standard_error = NAN,
                                     .least = NAN,
                                     .greatest = NAN,
                                     .gauge_share = NAN};
    if (figure->state != SB_FIT_DETERMINED) continue;
    sb_fitted_fill(&fit->estimate, kind, fit->held_variance[k], figure);
    take_ends(fit, kind, figure);
    if (figure->state != SB_FIT_DETERMINED) continue;
    const double share = figure->standard_error / fmax(fabs(figure->value), sb_fitted_size(&fit->bench, kind));
    if (k <= SB_FIT_LOAD_INERTIA && share > least_certain) {
      least_certain = share;
      out->least_certain = kind;
    }
  }
  add_vague(fit, out);
}

static void fill_gauges(const struct fit *fit, struct sb_fit_result *out)
{
  for (int g = 0; g < SB_FIT_GAUGE_COUNT; g++) {
    const struct sb_fit_gauge *gauge = &fit->bench.setup->gauges[g];
    out->gauges[g] = *gauge;
    out->is_gauge_used[g] = sb_gauge_is_used(&fit->bench, (enum sb_fit_gauge_kind)g);
  }
}

/* From the answer to the result; a figure that no machine can have is refused. */
static enum sb_status conclude(struct fit *fit, const struct sb_log *logs, struct sb_fit_result *out,
                               struct sb_error *err)
{
  enum sb_status status = sb_gauge_apply(&fit->estimate, err);
  if (status == SB_OK) status = fill_readings(fit, out, err);
  if (status != SB_OK) return status;
  fill_gauges(fit, out);
  fill_figures(fit, out);
  fill_origins(fit, out);
  fill_channels(fit, out);
  out->nominal_voltage_v = fit->bench.nominal_voltage_v;
  out->is_voltage_known = fit->bench.is_voltage_known;
  return sb_possible_check(out, logs, err);
}

enum sb_status sb_fit_solve(const struct sb_fit_setup *setup, const struct sb_log *logs, size_t count,
                            struct sb_fit_result *out, struct sb_error *err)
{
  SB_GSL_QUIET;
  struct sb_fit_result result = {.has_scenario = setup->model != NULL, .log_count = count};
  struct sb_fit_setup with_constants = *setup;
  struct fit *fit = calloc(1, sizeof *fit);
  if (setup->is_equal_constants && setup->known_count < SB_FIT_KNOWN_MAX) {
    with_constants.known[with_constants.known_count++] = (struct sb_fit_known){SB_FIT_KT_OVER_KE, 1.0, 1.0};
  }
  if (fit == NULL) return sb_bench_no_memory(err);
  (void)sb_shortage_take();
  enum sb_status status = sb_bench_init(&fit->bench, &with_constants, logs, count, err);
  if (status == SB_OK) status = check_count(fit, err);
  if (status == SB_OK) status = sb_bench_start(&fit->bench, err);
  if (status == SB_OK) status = sb_estimate_init(&fit->estimate, &fit->bench, err);
  if (status == SB_OK) {
    remember_free(fit);
    status = sb_bench_has_shift(&fit->bench) ? search_with_shift(fit, &result, err) : search(fit, &result, err);
  }
  if (status == SB_OK) status = conclude(fit, logs, &result, err);
  if (sb_shortage_take()) status = sb_bench_no_memory(err);
  if (status == SB_OK) {
    *out = result;
  } else {
    sb_fit_result_clear(&result);
  }
  if (status == SB_ERR_NUMERICS && fit->estimate.work_done > SB_ESTIMATE_WORK_MAX) {
    sb_fail(
        err, status,
        "the search did not converge: no values of this machine follow these logs; fit fewer values (--fit, --known), or make a log without what the scenario does not have, such as a load that changes");
  }
  sb_estimate_clear(&fit->estimate);
  sb_bench_clear(&fit->bench);
  free(fit);
  return status;
}

void sb_fit_result_clear(struct sb_fit_result *result)
{
  free(result->readings);
  *result = (struct sb_fit_result){0};
}
