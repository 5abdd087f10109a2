// SPDX-License-Identifier: GPL-3.0-or-later
#include "prove/any_load.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "prove/answer.h"
#include "prove/any_load_lines.h"
#include "prove/any_load_point.h"
#include "shiftband/tasks.h"

/* Of the reference: of a plane by rows and columns, and of one by sets of states. */
static const double fine_step = 0.005, coarse_step = 0.05;

/* A plane of fewer points does not lay a swing arm's sheets. */
static const long sheets_pay_from = 1000;

static const char letters[] = {
#define CLASS_LETTER(code, letter, words) letter,
    SB_ANY_LOAD_CLASS_LIST(CLASS_LETTER)
#undef CLASS_LETTER
};

static const char *const class_words[] = {
#define CLASS_WORDS(code, letter, words) words,
    SB_ANY_LOAD_CLASS_LIST(CLASS_WORDS)
#undef CLASS_WORDS
};

char sb_any_load_letter(enum sb_any_load_class class)
{
  return letters[class];
}

const char *sb_any_load_words(enum sb_any_load_class class)
{
  return class_words[class];
}

double sb_any_load_swing_nm(const struct sb_any_load_point *point)
{
  return fmax(point->high_nm - point->low_nm, 0.0);
}

enum sb_any_load_class sb_any_load_class_of(const struct sb_prove *prove)
{
  const enum sb_proof *statements = prove->statements;
  const double *bounds = prove->bounds;
  const bool is_exact = !prove->is_safe_only && prove->model->control.sensor.filter_s == 0.0;
  if (prove->outside != NULL) return SB_ANY_LOAD_UNDECIDED;
  const bool is_restless = statements[SB_PROVE_REACTION] == SB_PROOF_DISPROVED && prove->stopped_gear < 0;
  if (statements[SB_PROVE_CONSTANT] == SB_PROOF_DISPROVED || is_restless) return SB_ANY_LOAD_HUNTS;
  if (statements[SB_PROVE_RETURN] == SB_PROOF_DISPROVED) return SB_ANY_LOAD_STUCK_LOW;
  const bool is_standing = is_exact && bounds[SB_PROVE_STANDING] > prove->model->limits.stall_time_s;
  if (statements[SB_PROVE_STALL] == SB_PROOF_DISPROVED || is_standing) return SB_ANY_LOAD_STALLS;
  for (int k = 0; k < SB_PROVE_STATEMENTS; k++) {
    if (statements[k] != SB_PROOF_PROVED) return SB_ANY_LOAD_UNDECIDED;
  }
  for (int g = 0; g < prove->model->gearbox.gear_count; g++) {
    const struct sb_prove_commands *commands = &prove->commands[g];
    if (!isnan(commands->downshift_from) || !isnan(commands->upshift_from)) return SB_ANY_LOAD_PROVED;
  }
  return SB_ANY_LOAD_NEVER_SHIFTS;
}

bool sb_any_load_is_quick(const struct sb_model *model)
{
  const bool is_locking = sb_gearbox_has_locking(&model->gearbox); /* only sets tell whether the output drives */
  return model->gearbox.gear_count == 2 && model->control.sensor.filter_s == 0.0 && !is_locking;
}

/* Every stride-th point of an axis, or its first one. */
static struct sb_map_axis thinned(const struct sb_map_axis *axis, int stride)
{
  const double step = stride * axis->step_fraction;
  const double first = ceil(axis->first_fraction / step - 1e-6) * step;
  const double last = sb_map_axis_at(axis, axis->count - 1);
  const int count = (int)floor((last - first) / step + 1e-6) + 1;
  return count > 0 ? (struct sb_map_axis){first, step, count} : (struct sb_map_axis){axis->first_fraction, step, 1};
}

/*
 * Whether the start, too, is one that rows and columns tell of: nothing turns backwards, no clutch slips. A machine that they
 * cannot take is none; without memory nobody knows.
 */
static enum sb_status look_from_start(const struct sb_model *model, bool *is_quick, struct sb_error *err)
{
  static const struct sb_map_axis point = {0.5, 0.1, 1};
  struct sb_edges edges;
  *is_quick = false;
  if (!sb_any_load_is_quick(model)) return SB_OK;
  struct sb_any_lines *lines = calloc(1, sizeof *lines);
  if (lines == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for the start of a machine");
  enum sb_status status = sb_edge_init(&edges, model, err);
  if (status == SB_OK) {
    status = sb_any_lines_init(lines, &edges, &point, &point, err);
    if (status == SB_OK) {
      *is_quick = !lines->is_doubtful;
      sb_any_lines_clear(lines);
    }
    sb_edge_clear(&edges);
  }
  free(lines);
  return status == SB_ERR_MEMORY ? status : SB_OK;
}

enum sb_status sb_any_load_options_of(const struct sb_model *model, const struct sb_map_options *part,
                                      struct sb_any_load_options *options, struct sb_error *err)
{
  bool is_quick;
  const enum sb_status status = look_from_start(model, &is_quick, err);
  if (status != SB_OK) return status;
  const double wanted = is_quick ? fine_step : coarse_step;
  const int stride = (int)fmax(1.0, floor(wanted / part->upshift.step_fraction + 1e-6));
  struct sb_any_load_options out = {.pair = part->pair, .jobs = 0};
  out.downshift = thinned(&part->downshift, stride);
  out.upshift = thinned(&part->upshift, stride);
  *options = out;
  return SB_OK;
}

enum sb_status sb_any_load_options_default(const struct sb_model *model, struct sb_any_load_options *options,
                                           struct sb_error *err)
{
  struct sb_map_options whole = sb_map_options_default(model);
  const int below = (int)ceil((1.0 - whole.downshift.first_fraction) / whole.downshift.step_fraction - 1e-6);
  whole.downshift.count = below < whole.downshift.count ? below : whole.downshift.count;
  return sb_any_load_options_of(model, &whole, options, err);
}

/* ---- the plane as tasks: a column each ---- */

struct work {
  struct sb_any_load *plane;
  struct sb_any_lines lines;
  bool has_lines;
};

static enum sb_status solve_by_sets(const struct sb_model *model, int pair, double downshift_fraction,
                                    double upshift_fraction, struct sb_any_load_point *point, struct sb_error *err)
{
  struct sb_model *varied = malloc(sizeof *varied);
  struct sb_prove *prove = malloc(sizeof *prove);
  enum sb_status status = SB_OK;
  if (varied == NULL || prove == NULL) {
    status = sb_fail(err, SB_ERR_MEMORY, "out of memory for a point of a plane of thresholds");
  } else {
    *varied = *model;
    varied->control.downshift_fraction[pair] = downshift_fraction;
    varied->control.upshift_fraction[pair] = upshift_fraction;
    status = sb_prove_solve_sharply(varied, prove, err);
    point->is_by_sets = true;
    if (status == SB_OK) {
      point->class = sb_any_load_class_of(prove);
      point->standing_s = prove->bounds[SB_PROVE_STANDING];
    }
    if (status == SB_OK && prove->outside == NULL && isfinite(prove->bounds[SB_PROVE_SWING]) && isnan(point->high_nm)) {
      point->low_nm = prove->swing_at_nm[0];
      point->high_nm = prove->swing_at_nm[1];
    }
  }
  free(varied);
  free(prove);
  return status;
}

/* A load that changes slowly is one of those that change at any rate: what is proved holds, the contrary need not. */
static void allow_for_rate(const struct sb_model *model, struct sb_any_load_point *point)
{
  if (point->class < SB_ANY_LOAD_UNDECIDED && isfinite(model->load.bounds.rate_nm_s))
    point->class = SB_ANY_LOAD_UNDECIDED;
}

static enum sb_status solve_point(struct work *work, struct sb_edges *edges, int downshift, int upshift,
                                  struct sb_error *err)
{
  struct sb_any_load *plane = work->plane;
  const struct sb_any_load_options *options = &plane->options;
  struct sb_any_load_point point = {.high_nm = NAN, .low_nm = NAN};
  enum sb_status status = SB_OK;
  const bool is_decided = work->has_lines && sb_any_point_decide(&work->lines, edges, &work->lines.rows[downshift],
                                                                 &work->lines.columns[upshift], &point);
  if (!is_decided) {
    status = solve_by_sets(plane->model, options->pair, sb_map_axis_at(&options->downshift, downshift),
                           sb_map_axis_at(&options->upshift, upshift), &point, err);
  }
  allow_for_rate(plane->model, &point);
  plane->points[downshift * options->upshift.count + upshift] = point;
  return status;
}

static enum sb_status solve_column(void *context, long index, struct sb_lines *out, struct sb_error *err)
{
  struct work *work = context;
  const struct sb_any_load_options *options = &work->plane->options;
  const int upshift = (int)index;
  const double below = sb_map_axis_at(&options->upshift, upshift) - 1e-9;
  struct sb_edges edges;
  enum sb_status status = sb_edge_init(&edges, work->plane->model, err);
  (void)out;
  if (status != SB_OK) return status;
  for (int i = 0; i < options->downshift.count && status == SB_OK; i++) {
    if (!(sb_map_axis_at(&options->downshift, i) < below)) break;
    if (options->wanted != NULL && !options->wanted[i * options->upshift.count + upshift]) {
      work->plane->points[i * options->upshift.count + upshift] =
          (struct sb_any_load_point){.class = SB_ANY_LOAD_UNDECIDED, .high_nm = NAN, .low_nm = NAN};
    } else if (options->stop != NULL && *options->stop != 0) {
      status = SB_ERR_STOPPED;
    } else {
      status = solve_point(work, &edges, i, upshift, err);
    }
  }
  if (status == SB_OK && edges.status != SB_OK) {
    status = edges.status;
    *err = edges.err;
  }
  sb_edge_clear(&edges);
  return status;
}

static enum sb_status lay_lines(struct work *work, struct sb_error *err)
{
  struct sb_edges edges;
  const struct sb_any_load_options *options = &work->plane->options;
  if (!sb_any_load_is_quick(work->plane->model)) return SB_OK;
  enum sb_status status = sb_edge_init(&edges, work->plane->model, err);
  if (status != SB_OK) return status;
  status = sb_any_lines_init(&work->lines, &edges, &options->downshift, &options->upshift, err);
  work->has_lines = status == SB_OK;
  const long points = (long)options->downshift.count * options->upshift.count;
  if (status == SB_OK && points >= sheets_pay_from) status = sb_any_lines_lay_sheets(&work->lines, &edges, err);
  sb_edge_clear(&edges);
  return status;
}

static enum sb_status run_columns(struct work *work, struct sb_error *err)
{
  const struct sb_any_load_options *options = &work->plane->options;
  const struct sb_tasks tasks = {
      .about = "", .task_count = options->upshift.count, .run_task = solve_column, .context = work};
  struct sb_tasks_options how = sb_tasks_options_default();
  struct sb_tasks_result result;
  how.jobs = options->jobs;
  how.stop = options->stop;
  how.on_progress = options->on_progress;
  how.progress_context = options->progress_context;
  const enum sb_status status = sb_tasks_run(&tasks, &how, &result, err);
  if (status != SB_OK) return status;
  const bool is_interrupted = result.is_interrupted;
  sb_tasks_result_clear(&result);
  return is_interrupted ? sb_fail(err, SB_ERR_STOPPED, "stopped") : SB_OK;
}

enum sb_status sb_any_load_solve(const struct sb_model *model, const struct sb_any_load_options *options,
                                 struct sb_any_load *plane, struct sb_error *err)
{
  const char *outside = sb_prove_outside(model);
  if (outside != NULL) {
    const int key = (int)strcspn(outside, ":");
    return sb_fail(err, SB_ERR_SCENARIO, "%.*s: nothing can be proved for every load:%s", key, outside,
                   outside + key + (outside[key] != 0 ? 1 : 0));
  }
  const size_t count = (size_t)options->downshift.count * (size_t)options->upshift.count;
  const struct sb_edge_load load = sb_edge_load_of(model);
  struct sb_any_load out = {.model = model,
                            .options = *options,
                            .acting_nm = {load.acting_nm[0], load.acting_nm[1]},
                            .resisting_nm = {load.resisting_nm[0], load.resisting_nm[1]}};
  struct work *work = calloc(1, sizeof *work);
  out.points = calloc(count, sizeof *out.points);
  enum sb_status status = SB_OK;
  if (work == NULL || out.points == NULL) {
    status = sb_fail(err, SB_ERR_MEMORY, "out of memory for a plane of %zu points", count);
  } else {
    work->plane = &out;
    status = lay_lines(work, err);
    if (status == SB_OK) status = run_columns(work, err);
    if (work->has_lines) sb_any_lines_clear(&work->lines);
  }
  free(work);
  if (status == SB_OK) {
    *plane = out;
  } else {
    free(out.points);
  }
  return status;
}

void sb_any_load_clear(struct sb_any_load *plane)
{
  free(plane->points);
  plane->points = NULL;
}

enum sb_status sb_any_load_look_at(const struct sb_model *model, int pair, double downshift_fraction,
                                   double upshift_fraction, struct sb_any_load_point *point, struct sb_error *err)
{
  const double step = model->control.threshold_step_fraction > 0.0 ? model->control.threshold_step_fraction : 0.001;
  const struct sb_any_load_options options = {
      .pair = pair, .downshift = {downshift_fraction, step, 1}, .upshift = {upshift_fraction, step, 1}, .jobs = 1};
  struct sb_any_load plane = {.model = model};
  const enum sb_status status = sb_any_load_solve(model, &options, &plane, err);
  if (status != SB_OK) return status;
  assert(plane.points != NULL);
  *point = plane.points[0];
  sb_any_load_clear(&plane);
  return SB_OK;
}
