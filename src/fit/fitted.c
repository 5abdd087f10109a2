// SPDX-License-Identifier: GPL-3.0-or-later
#include "fit/estimate.h"

#include <math.h>
#include <string.h>

#include "fit/cover.h"

/* A figure that may change by this share of itself is open. */
static const double open_share = 0.5;

const struct sb_fit_figure_facts sb_fit_figures[SB_FIT_FIGURE_COUNT] = {
#define FIGURE_ROW(kind, key, quantity, words) [kind] = {key, quantity, words},
    SB_FIT_FIGURE_LIST(FIGURE_ROW)
#undef FIGURE_ROW
};

const char *const sb_fit_parameter_words[SB_FIT_PARAMETER_COUNT] = {
#define PARAMETER_ROW(kind, words) [kind] = words,
    SB_FIT_PARAMETER_LIST(PARAMETER_ROW)
#undef PARAMETER_ROW
};

int sb_fit_figure_find(const char *name)
{
  for (int k = 0; k < SB_FIT_FIGURE_COUNT; k++) {
    if (strcmp(sb_fit_figures[k].key, name) == 0) return k;
  }
  return -1;
}

int sb_fit_figure_parameter(enum sb_fit_figure_kind kind)
{
  switch (kind) {
    case SB_FIT_NO_LOAD_SPEED: return SB_FIT_P_NO_LOAD_SPEED;
    case SB_FIT_STALL_TORQUE: return SB_FIT_P_STALL_TORQUE;
    case SB_FIT_STALL_CURRENT: return SB_FIT_P_STALL_CURRENT;
    case SB_FIT_NO_LOAD_CURRENT: return SB_FIT_P_FRICTION_SHARE;
    case SB_FIT_ROTOR_INERTIA: return SB_FIT_P_ROTOR_INERTIA;
    case SB_FIT_MESH_EFFICIENCY: return SB_FIT_P_MESH_EFFICIENCY;
    case SB_FIT_LOAD_FRICTION: return SB_FIT_P_LOAD_FRICTION;
    case SB_FIT_LOAD_VISCOUS: return SB_FIT_P_VISCOUS;
    case SB_FIT_LOAD_INERTIA: return SB_FIT_P_LOAD_INERTIA;
    default: return -1;
  }
}

/* Never below zero by nature, so that its interval is one of factors. */
static bool is_positive_figure(enum sb_fit_figure_kind kind)
{
  switch (kind) {
    case SB_FIT_NO_LOAD_CURRENT:
    case SB_FIT_LOAD_FRICTION:
    case SB_FIT_LOAD_VISCOUS:
    case SB_FIT_MOTOR_FRICTION:
    case SB_FIT_MOTOR_VISCOUS:
    case SB_FIT_FRICTION_OVER_INERTIA:
    case SB_FIT_VISCOUS_OVER_INERTIA: return false;
    default: return true;
  }
}

double sb_fitted_size(const struct sb_bench *bench, enum sb_fit_figure_kind kind)
{
  const double *p = bench->p;
  const double stall_nm = p[SB_FIT_P_STALL_TORQUE], speed = p[SB_FIT_P_NO_LOAD_SPEED];
  switch (kind) {
    case SB_FIT_NO_LOAD_CURRENT: return 0.1 * p[SB_FIT_P_STALL_CURRENT];
    case SB_FIT_LOAD_FRICTION: return bench->scale[SB_FIT_P_LOAD_FRICTION];
    case SB_FIT_LOAD_VISCOUS: return bench->scale[SB_FIT_P_VISCOUS];
    case SB_FIT_MOTOR_FRICTION: return 0.1 * stall_nm;
    case SB_FIT_MOTOR_VISCOUS: return 0.1 * stall_nm / speed;
    case SB_FIT_FRICTION_OVER_INERTIA: return 0.1 * stall_nm / p[SB_FIT_P_ROTOR_INERTIA];
    case SB_FIT_VISCOUS_OVER_INERTIA: return 0.1 * stall_nm / speed / p[SB_FIT_P_ROTOR_INERTIA];
    default: return fabs(sb_bench_figure(bench, p, kind));
  }
}

bool sb_fitted_is_absent(const struct sb_bench *bench, enum sb_fit_figure_kind kind)
{
  bool has_motion = false;
  for (int t = 0; t < bench->test_count; t++) has_motion |= bench->tests[t].is_dynamic;
  if (isnan(sb_bench_figure(bench, bench->p, kind))) return true;
  switch (kind) {
    case SB_FIT_STALL_CURRENT:
    case SB_FIT_NO_LOAD_CURRENT:
    case SB_FIT_RESISTANCE:
    case SB_FIT_KT: return !bench->has_currents;
    case SB_FIT_KT_OVER_KE:
    case SB_FIT_KE: return !bench->has_currents || !bench->is_voltage_known;
    case SB_FIT_ROTOR_INERTIA:
    case SB_FIT_LOAD_INERTIA:
    case SB_FIT_TIME_CONSTANT:
    case SB_FIT_TORQUE_OVER_INERTIA:
    case SB_FIT_FRICTION_OVER_INERTIA:
    case SB_FIT_VISCOUS_OVER_INERTIA: return !has_motion;
    default: return false;
  }
}

/* How far an undetermined direction may go. Viscous friction of the motor can be no more than all of its friction at no load. */
static double reach_of(const struct sb_bench *bench, const struct sb_identify *directions, size_t k)
{
  int test, own;
  const double *p = bench->p, reach = fmin(directions->sds[k], 1e2), share = p[SB_FIT_P_FRICTION_SHARE];
  if (sb_identify_parameter(bench, directions->pivots[k], &test, &own) != SB_FIT_P_VISCOUS) return reach;
  if (bench->setup->model != NULL || !bench->has_currents) return reach;
  const double all_nm = p[SB_FIT_P_STALL_TORQUE] * fmax(share, 0.0) / (1.0 - share);
  return fmin(reach, all_nm / p[SB_FIT_P_NO_LOAD_SPEED] / bench->scale[SB_FIT_P_VISCOUS]);
}

static bool is_of_friction(enum sb_fit_figure_kind kind)
{
  return kind == SB_FIT_MOTOR_FRICTION || kind == SB_FIT_MOTOR_VISCOUS || kind == SB_FIT_FRICTION_OVER_INERTIA ||
         kind == SB_FIT_VISCOUS_OVER_INERTIA;
}

bool sb_fitted_is_open(const struct sb_estimate *full, const struct sb_identify *directions,
                       enum sb_fit_figure_kind kind, const double *gradient, double *variance)
{
  const double size = fmax(fabs(sb_bench_figure(full->bench, full->bench->p, kind)), sb_fitted_size(full->bench, kind));
  *variance = 0.0;
  for (size_t k = 0; k < directions->count; k++) {
    double along = 0.0, length = 0.0;
    for (size_t j = 0; j < directions->terms; j++) {
      const double part = directions->directions[k * directions->terms + j];
      along += gradient[j] * part;
      length += part * part;
    }
    const double reach = is_of_friction(kind) ? fmin(directions->sds[k], 1e2) : reach_of(full->bench, directions, k);
    const double change = fabs(along) / sqrt(length) * reach;
    if (change > open_share * size) return true;
    *variance += change * change / 3.0;
  }
  return false;
}

/*
 * Variance of a figure, and the degrees of freedom behind it by the part that each channel has in it (Welch, Satterthwaite).
 * Weights from spreads that are themselves estimates are not the best ones: P. Meier, Variance of a weighted mean, Biometrics
 * 9, 1953 (from memory), gives the factor 1 + 4 sum of a (1 - a) / freedom over the parts a.
 */
static double variance_of(const struct sb_estimate *estimate, const double *gradient, double *freedom)
{
  const struct sb_bench *bench = estimate->bench;
  const size_t terms = estimate->terms;
  double parts[3 * SB_FIT_LOG_MAX] = {0}, total = 0.0, under = 0.0, factor = 1.0, lean[64] = {0};
  for (size_t j = 0; j < terms && j < 64; j++) {
    for (size_t k = 0; k < terms; k++) lean[j] += estimate->covariance[j * terms + k] * gradient[k];
  }
  for (size_t i = 0; i < estimate->rows; i++) {
    double pull = 0.0;
    for (size_t j = 0; j < terms; j++) pull += estimate->jacobian[i * terms + j] * lean[j];
    const double part = estimate->weights[i] * pull * pull;
    total += part;
    if (i < bench->reading_count) parts[bench->readings[i].channel] += part;
  }
  for (int c = 0; c < bench->channel_count; c++) {
    if (!(bench->channels[c].freedom > 0.0 && total > 0.0)) continue;
    const double part = parts[c] / total;
    under += part * part / bench->channels[c].freedom;
    factor += 4.0 * part * (1.0 - part) / bench->channels[c].freedom;
  }
  *freedom = under > 0.0 ? fmin(1.0 / under, 1e9) : 1e9;
  return total * factor;
}

/* How far the figure moves as each gauge goes to an end of its half-width. */
static void shifts_of(const struct sb_estimate *estimate, const double *gradient, double shifts[SB_FIT_GAUGE_COUNT])
{
  for (int g = 0; g < SB_FIT_GAUGE_COUNT; g++) {
    shifts[g] = 0.0;
    for (size_t j = 0; j < estimate->terms; j++) {
      shifts[g] += gradient[j] * estimate->gauge_shifts[(size_t)g * estimate->terms_max + j];
    }
  }
}

/* What one unit of reach is to the figure's ends: of one that is positive by nature the interval is one of factors. */
static void set_ends(enum sb_fit_figure_kind kind, double reach, struct sb_fit_figure *figure)
{
  const bool is_factor = is_positive_figure(kind) && figure->value > 0.0;
  figure->least = is_factor ? figure->value * exp(-reach / figure->value) : figure->value - reach;
  figure->greatest = is_factor ? figure->value * exp(reach / figure->value) : figure->value + reach;
}

void sb_fitted_fill(const struct sb_estimate *estimate, enum sb_fit_figure_kind kind, double held_variance,
                    struct sb_fit_figure *figure)
{
  double gradient[64] = {0}, shifts[SB_FIT_GAUGE_COUNT], variance = held_variance;
  sb_estimate_gradient(estimate, kind, gradient);
  variance += variance_of(estimate, gradient, &figure->freedom);
  shifts_of(estimate, gradient, shifts);
  const double noise = sqrt(variance);
  const double reach = sb_cover_reach(noise, figure->freedom, shifts, SB_FIT_GAUGE_COUNT);
  for (int g = 0; g < SB_FIT_GAUGE_COUNT; g++) variance += shifts[g] * shifts[g] / 3.0;
  figure->standard_error = sqrt(variance);
  figure->gauge_share = reach > 0.0 ? 1.0 - sb_cover_reach(noise, figure->freedom, NULL, 0) / reach : 0.0;
  set_ends(kind, reach, figure);
}

double sb_fitted_widen(const struct sb_estimate *estimate, enum sb_fit_figure_kind kind,
                       const struct sb_fit_figure *figure, double end)
{
  double gradient[64] = {0}, shifts[SB_FIT_GAUGE_COUNT];
  if (!isfinite(end)) return end;
  sb_estimate_gradient(estimate, kind, gradient);
  shifts_of(estimate, gradient, shifts);
  const double noise = fabs(end - figure->value) / sb_cover_reach(1.0, figure->freedom, NULL, 0);
  return figure->value +
         copysign(sb_cover_reach(noise, figure->freedom, shifts, SB_FIT_GAUGE_COUNT), end - figure->value);
}
