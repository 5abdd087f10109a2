// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * An exact map of each sample at each charge: records, added up.
 *
 * A record holds the rectangles in which the sample passes, and whether it shifts there (passing.h). Over a charge three lines are before them: what the
 * scenario's own thresholds come to, and for either threshold with the other one at its own, which need not lie on the
 * lattice, the stretches of lattice points that pass.
 */
#include "study/maps.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "map/class.h"
#include "map/margin.h"
#include "shiftband/discharge.h"
#include "study/refusal.h"

/* Evenly from full to the end in use. */
static double charge_at(const struct sb_study *study, long point)
{
  const struct sb_axis *axis = &study->axes[0];
  const double share = axis->points > 1 ? (double)point / (double)(axis->points - 1) : 0.0;
  return axis->from - share * (axis->from - axis->to);
}

/* Indices of an axis on one side of a threshold. */
static struct sb_span side_of(const struct sb_map_axis *axis, double fraction, bool is_above)
{
  const double slack = 1e-6; /* of a step: far below it, far above rounding */
  const double place = (fraction - axis->first_fraction) / axis->step_fraction;
  const int first = is_above ? (int)fmax(floor(place + slack) + 1.0, 0.0) : 0;
  const int end = is_above ? axis->count : (int)fmin(ceil(place - slack), (double)axis->count);
  return (struct sb_span){first, end - 1};
}

/* The stretches of lattice points of one threshold that pass, as pairs of indices on a line. */
static enum sb_status write_stretches(const struct sb_model *model, const struct sb_map_options *plane,
                                      bool is_downshift, struct sb_lines *out, struct sb_error *err)
{
  const double downshift = model->control.downshift_fraction[plane->pair],
               upshift = model->control.upshift_fraction[plane->pair];
  const double step = plane->downshift.step_fraction;
  const struct sb_map_axis *axis = is_downshift ? &plane->downshift : &plane->upshift;
  const struct sb_span side = side_of(axis, is_downshift ? upshift : downshift, !is_downshift);
  const struct sb_map_axis line = {sb_map_axis_at(axis, side.first), step, side.last - side.first + 1};
  struct sb_map_options options = *plane;
  options.downshift = is_downshift ? line : (struct sb_map_axis){downshift, step, 1};
  options.upshift = is_downshift ? (struct sb_map_axis){upshift, step, 1} : line;
  options.is_passing_asked = true;
  enum sb_status status = SB_OK;
  if (line.count > 0) {
    struct sb_map map;
    int *cells = NULL;
    status = sb_map_exact(model, &options, true, &map, err);
    if (status != SB_OK) return status;
    status = sb_map_line_cells(&map, is_downshift, &cells, err);
    for (int k = 0; status == SB_OK && k < line.count; k++) {
      if (cells[k] < 0 || map.cells[cells[k]].verdict.kinds != 0) continue;
      const int first = k;
      while (k + 1 < line.count && cells[k + 1] >= 0 && map.cells[cells[k + 1]].verdict.kinds == 0) k++;
      sb_lines_add(out, "%d %d ", side.first + first, side.first + k);
    }
    free(cells);
    sb_map_clear(&map);
  }
  sb_lines_add(out, "\n");
  return status;
}

static enum sb_status write_own(const struct sb_model *model, const struct sb_map_options *plane, struct sb_lines *out,
                                struct sb_error *err)
{
  struct sb_map_verdict verdict;
  struct sb_map_figures figures;
  const int pair = plane->pair;
  const enum sb_status status = sb_map_look_at(model, plane, model->control.downshift_fraction[pair],
                                               model->control.upshift_fraction[pair], &verdict, &figures, err);
  if (status != SB_OK) return status;
  sb_lines_add(out, "%.17g %u %d %ld %.17g %.17g %.17g\n", model->supply.open_circuit_voltage_v, verdict.kinds,
               (int)verdict.cause, figures.shift_count, figures.output_turns, figures.given_j,
               figures.greatest_torque_nm);
  return SB_OK;
}

static enum sb_status evaluate(const struct sb_study_work *work, long point, const struct sb_scenario *scenario,
                               struct sb_lines *out, struct sb_error *err)
{
  const struct sb_study *study = work->study;
  struct sb_map_options options = {.pair = study->pair, .downshift = study->downshift, .upshift = study->upshift};
  struct sb_map map;
  enum sb_status status = SB_OK;
  struct sb_model model = scenario->model;
  options.leaf_max = sb_map_options_default(&model).leaf_max;
  options.stop = work->source->stop;
  if (sb_maps_have_charge(study)) {
    sb_discharge_set(&model, charge_at(study, point));
    status = write_own(&model, &options, out, err);
    if (status == SB_OK) status = write_stretches(&model, &options, true, out, err);
    if (status == SB_OK) status = write_stretches(&model, &options, false, out, err);
  }
  options.is_passing_asked = true;
  if (status == SB_OK) status = sb_map_exact(&model, &options, false, &map, err);
  if (status != SB_OK) return status;
  sb_passing_write(out, &map);
  sb_map_clear(&map);
  return SB_OK;
}

/* Samples that pass along both axes, the other threshold at its own. */
struct lines_counts {
  int *downshift, *upshift; /* owned */
};

static bool read_own(const char *text, bool is_first, struct sb_map_point *point)
{
  struct sb_map_verdict verdict;
  struct sb_map_figures figures;
  double voltage_v;
  unsigned kinds;
  int cause;
  if (sscanf(text, "%lf %u %d %ld %lf %lf %lf", &voltage_v, &kinds, &cause, &figures.shift_count, &figures.output_turns,
             &figures.given_j, &figures.greatest_torque_nm) != 7) {
    return false;
  }
  if (!sb_map_verdict_take(kinds, cause, &verdict)) return false;
  point->own_passed += verdict.kinds == 0;
  point->own_never_shift += sb_map_class_of_run(&verdict, &figures) == SB_MAP_NEVER_SHIFTS;
  if (!is_first) return true;
  point->voltage_v = voltage_v;
  point->verdict = verdict;
  point->figures = figures;
  return true;
}

/* Adds a line of stretches to the counts of an axis. */
static bool read_stretches(const char *text, int count, int *counts)
{
  while (*text != '\n') {
    char *end;
    const long first = strtol(text, &end, 10), last = strtol(end, &end, 10);
    if (*end != ' ' || first < 0 || last < first || last >= count) return false;
    for (long k = first; k <= last; k++) counts[k]++;
    text = end + 1;
  }
  return true;
}

static const char *next_line(const char *text)
{
  const char *end = text != NULL ? strchr(text, '\n') : NULL;
  return end != NULL ? end + 1 : NULL;
}

/* The three lines before the rectangles; returns where those begin, or NULL. */
static const char *read_lines(const char *text, const struct sb_study *study, bool is_first,
                              struct lines_counts *counts, struct sb_map_point *point)
{
  const char *downshifts = next_line(text), *upshifts = next_line(downshifts), *rest = next_line(upshifts);
  if (rest == NULL || !read_own(text, is_first, point)) return NULL;
  const bool is_read = read_stretches(downshifts, study->downshift.count, counts->downshift) &&
                       read_stretches(upshifts, study->upshift.count, counts->upshift);
  return is_read ? rest : NULL;
}

/* The unbroken stretch of lattice points where all samples pass, around the point nearest to a threshold. */
static struct sb_map_stretch stretch_near(const struct sb_map_axis *axis, const int *counts, long all, double fraction)
{
  const double place = (fraction - axis->first_fraction) / axis->step_fraction;
  int nearest = -1;
  assert(counts != NULL);
  for (int k = 0; k < axis->count; k++) {
    if (counts[k] < all) continue;
    if (nearest < 0 || fabs((double)k - place) < fabs((double)nearest - place)) nearest = k;
  }
  if (nearest < 0) return (struct sb_map_stretch){(double)NAN, (double)NAN};
  int first = nearest, last = nearest;
  while (first > 0 && counts[first - 1] >= all) first--;
  while (last + 1 < axis->count && counts[last + 1] >= all) last++;
  return (struct sb_map_stretch){sb_map_axis_at(axis, first), sb_map_axis_at(axis, last)};
}

static enum sb_status add_records(const struct sb_study *study, const struct sb_lines *tasks,
                                  struct lines_counts *counts, struct sb_map_point *point, struct sb_error *err)
{
  enum sb_status status = SB_OK;
  for (long k = 0; k < sb_study_sample_count(study) && status == SB_OK; k++) {
    const char *text = tasks[k].text != NULL ? tasks[k].text : "";
    int length;
    const bool is_refused = sb_refusal_reason(text, &length) != NULL; /* it passes nowhere */
    point->refused += is_refused;
    if (is_refused) {
      text = "";
    } else if (sb_maps_have_charge(study)) {
      text = read_lines(text, study, k == 0, counts, point);
    }
    if (text == NULL) return sb_fail(err, SB_ERR_SCENARIO, "the results of this study cannot be read");
    status = sb_passing_add(&point->passing, text, err);
  }
  return status;
}

static enum sb_status fill_point(const struct sb_study *study, const struct sb_lines *tasks, struct sb_map_point *point,
                                 struct sb_error *err)
{
  const long samples = sb_study_sample_count(study);
  struct lines_counts counts = {calloc((size_t)study->downshift.count, sizeof(int)),
                                calloc((size_t)study->upshift.count, sizeof(int))};
  enum sb_status status = counts.downshift != NULL && counts.upshift != NULL
                              ? SB_OK
                              : sb_fail(err, SB_ERR_MEMORY, "out of memory for a line of thresholds");
  if (status == SB_OK) status = sb_passing_init(&point->passing, &study->downshift, &study->upshift, err);
  if (status == SB_OK) status = add_records(study, tasks, &counts, point, err);
  if (status == SB_OK && !sb_passing_finish(&point->passing)) {
    status = sb_fail(err, SB_ERR_SCENARIO, "the rectangles of a sample overlap");
  }
  if (status == SB_OK) {
    point->shares = sb_passing_shares_of(&point->passing);
    point->downshift = stretch_near(&study->downshift, counts.downshift, samples, study->downshift_fraction);
    point->upshift = stretch_near(&study->upshift, counts.upshift, samples, study->upshift_fraction);
    status =
        sb_passing_find_best(&point->passing, study->downshift_fraction, study->upshift_fraction, &point->best, err);
  }
  free(counts.downshift);
  free(counts.upshift);
  return status;
}

static enum sb_status take(const struct sb_tasks_result *result, struct sb_study_report *report, struct sb_error *err)
{
  const struct sb_study *study = report->study;
  const long count = sb_study_point_count(study);
  struct sb_map_point *points = calloc((size_t)count, sizeof *points);
  report->points = points;
  if (points == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for the points of the study");
  enum sb_status status = SB_OK;
  for (long i = 0; i < count && status == SB_OK; i++) {
    if (sb_maps_have_charge(study)) points[i].charge_fraction = charge_at(study, i);
    status = fill_point(study, &result->tasks[i * sb_study_sample_count(study)], &points[i], err);
    if (count > 1) sb_passing_clear(&points[i].passing); /* its counts are large, and no table of charges shows them */
  }
  return status;
}

static void clear(struct sb_study_report *report)
{
  struct sb_map_point *points = report->points;
  for (long i = 0; i < sb_study_point_count(report->study); i++) sb_passing_clear(&points[i].passing);
  free(points);
}

const struct sb_evaluator sb_maps_evaluator = {evaluate,           take,       clear, sb_maps_write_csv,
                                               sb_maps_write_text, sb_maps_put};
