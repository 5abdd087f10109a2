// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * A gauge that reads (1 + e) times the truth throughout moves all its readings together, so nothing of it averages out. The
 * unknowns x minimize the squares of f(x, e), hence dx/de = -(J'WJ)^-1 J'W df/de: one and the same e in every row and
 * log, so what moves together stays so in every figure (the GUM, 5.2: correlated inputs add before they are squared).
 */
#include "fit/estimate.h"

#include <stdlib.h>

const struct sb_fit_gauge_facts sb_fit_gauges[SB_FIT_GAUGE_COUNT] = {
#define GAUGE_ROW(kind, name, percent, means) [kind] = {name, 0.01 * (percent), means},
    SB_FIT_GAUGE_LIST(GAUGE_ROW)
#undef GAUGE_ROW
};

static bool has_column(const struct sb_bench *bench, enum sb_log_column column)
{
  for (int t = 0; t < bench->test_count; t++) {
    if (bench->tests[t].log->columns[column] != NULL) return true;
  }
  return false;
}

bool sb_gauge_is_used(const struct sb_bench *bench, enum sb_fit_gauge_kind gauge)
{
  bool has_motion = false;
  for (int t = 0; t < bench->test_count; t++) has_motion |= bench->tests[t].is_dynamic;
  switch (gauge) {
    case SB_FIT_GAUGE_TORQUE: return has_column(bench, SB_LOG_TORQUE);
    case SB_FIT_GAUGE_CURRENT: return has_column(bench, SB_LOG_MOTOR_CURRENT);
    case SB_FIT_GAUGE_VOLTAGE: return bench->is_voltage_known;
    case SB_FIT_GAUGE_CLOCK: return has_motion;
    default: return true;
  }
}

/* How the unknowns move for a gain of one: shift[terms]. */
static void move_unknowns(const struct sb_estimate *estimate, const double *response, double *shift)
{
  const size_t terms = estimate->terms;
  double pull[64] = {0.0};
  for (size_t i = 0; i < estimate->rows; i++) {
    for (size_t j = 0; j < terms; j++) {
      pull[j] += estimate->jacobian[i * terms + j] * estimate->weights[i] * response[i];
    }
  }
  for (size_t j = 0; j < terms; j++) {
    shift[j] = 0.0;
    for (size_t k = 0; k < terms; k++) shift[j] -= estimate->covariance[j * terms + k] * pull[k];
  }
}

enum sb_status sb_gauge_apply(struct sb_estimate *estimate, struct sb_error *err)
{
  struct sb_bench *bench = estimate->bench;
  double *response = calloc(estimate->rows + 1, sizeof *response);
  enum sb_status status = SB_OK;
  if (response == NULL) return sb_bench_no_memory(err);
  for (int g = 0; g < SB_FIT_GAUGE_COUNT && status == SB_OK; g++) {
    const double half_width = bench->setup->gauges[g].half_width;
    double *shift = estimate->gauge_shifts + (size_t)g * estimate->terms_max;
    if (!(half_width > 0.0) || !sb_gauge_is_used(bench, (enum sb_fit_gauge_kind)g)) continue;
    status = sb_estimate_respond(estimate, (enum sb_fit_gauge_kind)g, response, err);
    if (status == SB_OK) move_unknowns(estimate, response, shift);
    for (size_t j = 0; j < estimate->terms; j++) shift[j] *= half_width;
  }
  free(response);
  return status;
}
