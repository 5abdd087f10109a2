// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * While the drive is switched between two rows the squares are smooth; at a row they have a corner, so there may be a minimum
 * on either side of it, and a search comes to the one beside which it starts. So where a row is near, a switching is tried on
 * its other side, too, as long as that is better.
 */
#include "fit/estimate.h"

#include <math.h>

static const double better = 1e-3; /* squares that another minimum has less, in variances of a reading */
static const double near = 6.0;    /* standard errors to a row beyond which no minimum is expected */
static const double beyond = 0.1;  /* where a search sets out: this share of the pause behind the row */

/* An instant that is a log's own unknown. */
struct switching {
  struct sb_bench_test *test;
  int own;
  double from_s; /* what the unknown counts from, by the log's clock */
};

/* The place just beyond the row before (way -1) or after (+1) a switching, and how far it is to that row. */
static double across_row(const struct switching *at, int way, double *distance_s)
{
  const struct sb_log *log = at->test->log;
  const double time_s = at->from_s + at->test->own[at->own];
  size_t row = 1; /* the one after it */
  while (row + 1 < log->count && log->time_s[row] < time_s) row++;
  const double edge_s = log->time_s[way < 0 ? row - 1 : row], pause_s = log->time_s[row] - log->time_s[row - 1];
  *distance_s = fabs(edge_s - time_s);
  return edge_s + way * beyond * pause_s - at->from_s;
}

/* From the present minimum to better ones on one side of it; true where there was one. */
static bool walk(struct sb_estimate *estimate, const struct switching *at, int way, double reach_s, double *squares)
{
  struct sb_bench *bench = estimate->bench;
  struct sb_error ignored;
  bool has_moved = false;
  for (;;) {
    const struct sb_bench_place answer = sb_bench_place_now(bench);
    double distance_s;
    const double other = across_row(at, way, &distance_s);
    if (!(distance_s < reach_s)) return has_moved;
    at->test->own[at->own] = other;
    const bool is_solved = sb_estimate_solve(estimate, &ignored) == SB_OK;
    if (!is_solved || !(sb_estimate_squares(estimate) < *squares - better)) {
      sb_bench_go_to(bench, &answer);
      return has_moved;
    }
    *squares = sb_estimate_squares(estimate);
    has_moved = true;
  }
}

enum sb_status sb_instant_settle(struct sb_estimate *estimate, struct sb_error *err)
{
  struct sb_bench *bench = estimate->bench;
  double reaches_s[SB_FIT_LOG_MAX][SB_OWN_COUNT] = {{0.0}}, squares = sb_estimate_squares(estimate);
  bool has_moved = false;
  for (size_t j = 0; j < estimate->terms; j++) {
    int t = 0, own = 0;
    if (sb_identify_parameter(bench, j, &t, &own) >= 0) continue;
    reaches_s[t][own] = near * sqrt(estimate->covariance[j * estimate->terms + j]) * bench->tests[t].own_scale[own];
  }
  for (int t = 0; t < bench->test_count; t++) {
    struct sb_bench_test *test = &bench->tests[t];
    if (!test->is_dynamic) continue;
    const bool is_lag = test->phase == SB_FIT_PHASE_FIND && test->span_count > 1;
    const struct switching start = {test, SB_OWN_START, is_lag ? test->spans[1].from_s : 0.0};
    const struct switching off = {test, SB_OWN_OFF, 0.0};
    for (int way = -1; way <= 1; way += 2) {
      has_moved |= walk(estimate, &start, way, reaches_s[t][SB_OWN_START], &squares);
      has_moved |= walk(estimate, &off, way, reaches_s[t][SB_OWN_OFF], &squares);
    }
  }
  return has_moved ? sb_estimate_run(estimate, err) : SB_OK;
}
