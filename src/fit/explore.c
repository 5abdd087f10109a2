// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Where a search with shifts in its logs sets out from.
 *
 * Sliding, reversing and standing change within few readings of a shift, so the squares have more than one valley. Points
 * of a Sobol sequence around the scenario's values are looked at; from the best of them, one after the other, the plain fit
 * is made, until two have come to the same valley and no reading is too far off it. What was found is nudged then, as there
 * may be a deeper valley beside it.
 */
#include <gsl/gsl_qrng.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/gsl_quiet.h"
#include "fit/estimate.h"

/* Two starts that leave the same misfit have come to the same valley. */
static const double same_misfit = 0.5;

/* A place is another valley when a parameter differs by so much of itself, and the squares are at most so much greater. */
static const double apart = 0.03, other_squares = 6.0;

enum { POINT_COUNT = 256, START_COUNT = 6, DIMENSION_MAX = 40, NUDGE_MAX = 32 };

/* How far points go from the scenario: factors of what is positive by nature, shares of its scale of what is not. */
static const double inertia_factor = 4.0, efficiency_factor = 1.15, other_factor = 1.3, share_reach = 0.75;

/* A place to set out from, or come to. */
struct start {
  struct sb_bench_place at;
  double badness;
};

double sb_explore_parameter(const struct sb_bench *bench, int parameter, double p, double u)
{
  const double way = 2.0 * u - 1.0;
  if (!sb_bench_is_positive(parameter)) return fmax(p + way * share_reach * bench->scale[parameter], 0.0);
  const bool is_inertia = parameter == SB_FIT_P_ROTOR_INERTIA || parameter == SB_FIT_P_LOAD_INERTIA;
  const bool is_share = parameter == SB_FIT_P_MESH_EFFICIENCY;
  const double factor = is_inertia ? inertia_factor : is_share ? efficiency_factor : other_factor;
  const double moved = p * pow(factor, way);
  return is_share ? fmin(moved, 1.0) : moved;
}

/* The point of coordinates u around a start. */
static void point_at(const struct sb_bench *bench, const struct start *from, const double *u, struct start *out)
{
  unsigned count = 0;
  *out = *from;
  for (int j = 0; j < SB_FIT_PARAMETER_COUNT; j++) {
    if (bench->is_free[j]) out->at.p[j] = sb_explore_parameter(bench, j, from->at.p[j], u[count++]);
  }
  for (int t = 0; t < bench->test_count; t++) {
    const struct sb_bench_test *test = &bench->tests[t];
    for (size_t k = 0; k < test->event_count && count < DIMENSION_MAX; k++) {
      const struct sb_bench_event *event = &test->events[k];
      out->at.own[t][SB_OWN_EVENT + k] = event->middle_s + (u[count++] - 0.5) * event->spread_s;
    }
  }
}

static double badness_at(struct sb_bench *bench, const struct start *start, double *computed)
{
  sb_bench_go_to(bench, &start->at);
  return sb_bench_cost(bench, computed);
}

/* Keeps the best, in order, after the first, which always stays. */
static void keep(struct start *starts, const struct start *more)
{
  int k = START_COUNT - 1;
  if (!(more->badness < starts[k].badness)) return;
  for (; k > 1 && more->badness < starts[k - 1].badness; k--) starts[k] = starts[k - 1];
  starts[k] = *more;
}

/* Each instant in turn to the best of a few places in its pause. */
static void sweep_instants(struct sb_bench *bench, struct start *start, double *computed)
{
  static const double places[] = {-0.45, -0.2, 0.0, 0.2, 0.45};
  for (int t = 0; t < bench->test_count; t++) {
    for (size_t k = 0; k < bench->tests[t].event_count; k++) {
      const struct sb_bench_event *event = &bench->tests[t].events[k];
      for (size_t m = 0; m < sizeof places / sizeof *places && event->spread_s > 0.0; m++) {
        struct start other = *start;
        other.at.own[t][SB_OWN_EVENT + k] = event->middle_s + places[m] * event->spread_s;
        other.badness = badness_at(bench, &other, computed);
        if (other.badness < start->badness) *start = other;
      }
    }
  }
}

/* The present start, then the best of all points. */
static bool find_starts(struct sb_bench *bench, struct start (*starts)[START_COUNT], double *computed)
{
  SB_GSL_QUIET;
  gsl_qrng *points = gsl_qrng_alloc(gsl_qrng_sobol, DIMENSION_MAX);
  if (points == NULL) return false;
  for (int k = 0; k < START_COUNT; k++) (*starts)[k] = (struct start){sb_bench_place_now(bench), INFINITY};
  struct start *first = &(*starts)[0];
  first->badness = badness_at(bench, first, computed);
  for (int k = 0; k < POINT_COUNT; k++) {
    double u[DIMENSION_MAX];
    struct start point;
    gsl_qrng_get(points, u);
    point_at(bench, first, u, &point);
    point.badness = badness_at(bench, &point, computed);
    keep(first, &point);
  }
  gsl_qrng_free(points);
  return true;
}

/* A nudge away from an answer: to one parameter, or to one instant. */
struct nudge {
  int parameter, test; /* -1: none */
  size_t event;
  double by; /* e-folds or scales; pauses */
};

static void apply(const struct nudge *nudge, struct sb_bench *bench)
{
  if (nudge->parameter >= 0) {
    double *p = &bench->p[nudge->parameter];
    *p = sb_bench_is_positive(nudge->parameter) ? *p * exp(nudge->by) : *p + nudge->by * bench->scale[nudge->parameter];
  } else {
    const struct sb_bench_event *event = &bench->tests[nudge->test].events[nudge->event];
    bench->tests[nudge->test].own[SB_OWN_EVENT + nudge->event] = event->middle_s + nudge->by * event->spread_s;
  }
}

static size_t list_nudges(const struct sb_bench *bench, struct nudge *nudges)
{
  static const double ways[] = {-0.25, 0.25}, places[] = {-0.45, 0.0, 0.45};
  size_t count = 0;
  for (int j = 0; j < SB_FIT_PARAMETER_COUNT; j++) {
    for (int k = 0; k < 2 && bench->is_free[j]; k++) nudges[count++] = (struct nudge){.parameter = j, .by = ways[k]};
  }
  for (int t = 0; t < bench->test_count; t++) {
    for (size_t m = 0; m < bench->tests[t].event_count; m++) {
      for (int k = 0; k < 3 && count < NUDGE_MAX && bench->tests[t].events[m].spread_s > 0.0; k++) {
        nudges[count++] = (struct nudge){.parameter = -1, .test = t, .event = m, .by = places[k]};
      }
    }
  }
  return count;
}

/* Whether any parameter of a place is clearly another than the best one's. */
static bool lies_apart(const struct sb_bench *bench, const struct sb_bench_place *place,
                       const struct sb_bench_place *best)
{
  for (int j = 0; j < SB_FIT_PARAMETER_COUNT; j++) {
    const double size = sb_bench_is_positive(j) ? best->p[j] : bench->scale[j];
    if (bench->is_free[j] && fabs(place->p[j] - best->p[j]) > apart * size) return true;
  }
  return false;
}

static void note_minimum(const struct sb_bench *bench, const struct sb_bench_place *best,
                         struct sb_explore_minima *others)
{
  const struct sb_bench_place place = sb_bench_place_now(bench);
  if (others->count < SB_EXPLORE_MINIMUM_MAX && lies_apart(bench, &place, best))
    others->places[others->count++] = place;
}

/* From the answer, nudged in turn in every way, to a better valley beside it, as long as there is one. */
static enum sb_status shake(struct sb_estimate *estimate, struct sb_bench_place *best, struct sb_explore_minima *others,
                            struct sb_error *err)
{
  struct sb_bench *bench = estimate->bench;
  struct nudge nudges[NUDGE_MAX];
  const size_t count = list_nudges(bench, nudges);
  bool is_sound = false;
  sb_bench_go_to(bench, best);
  enum sb_status status = sb_estimate_run_plain(estimate, &is_sound, err);
  double squares = sb_estimate_squares(estimate);
  *best = sb_bench_place_now(bench);
  for (size_t k = 0, calm = 0; calm < count && k < 2 * count && status == SB_OK; k++, calm++) {
    sb_bench_go_to(bench, best);
    apply(&nudges[k % count], bench);
    struct sb_error ignored;
    const enum sb_status solved = sb_estimate_solve(estimate, &ignored);
    if (solved == SB_ERR_MEMORY) return sb_fail(err, solved, "%s", ignored.text);
    if (solved != SB_OK) continue;
    const double found = sb_estimate_squares(estimate);
    if (!(found < squares - same_misfit)) {
      if (found < squares + other_squares) note_minimum(bench, best, others);
      continue;
    }
    status = sb_estimate_run_plain(estimate, &is_sound, err);
    squares = sb_estimate_squares(estimate);
    *best = sb_bench_place_now(bench);
    calm = 0;
  }
  sb_bench_go_to(bench, best);
  return status;
}

enum sb_status sb_explore(struct sb_estimate *estimate, struct sb_explore_minima *others, struct sb_error *err)
{
  struct sb_bench *bench = estimate->bench;
  struct start starts[START_COUNT], best = {sb_bench_place_now(bench), INFINITY};
  if (!find_starts(bench, &starts, estimate->computed)) return sb_bench_no_memory(err);
  bool is_agreed = false;
  for (int k = 0; k < START_COUNT && !is_agreed; k++) {
    bool is_sound = false;
    sweep_instants(bench, &starts[k], estimate->computed);
    sb_bench_go_to(bench, &starts[k].at);
    const enum sb_status status = sb_estimate_run_plain(estimate, &is_sound, err);
    if (status == SB_ERR_MEMORY) return status;
    if (status != SB_OK) continue; /* from there no way leads to a machine */
    const struct start end = {sb_bench_place_now(bench), sb_estimate_misfit(estimate)};
    is_agreed = is_sound && fabs(end.badness - best.badness) < same_misfit;
    if (end.badness < best.badness) best = end;
  }
  return shake(estimate, &best.at, others, err);
}
