// SPDX-License-Identifier: GPL-3.0-or-later
/* What is asked for, laid out as a study. */
#include <stdlib.h>
#include <string.h>

#include "machine/caution.h"
#include "map/lattice.h"
#include "shiftband/discharge.h"
#include "shiftband/scenario.h"
#include "study/passing.h"
#include "study/study.h"

static const char charge_path[] = "supply.battery.charge";

static enum sb_status check_source(const struct sb_study_request *request, const struct sb_scenario *nominal,
                                   struct sb_error *err)
{
  if (request->samples > 0 && nominal->tolerance_count == 0) {
    return sb_fail(err, SB_ERR_SCENARIO, "--samples needs tolerances, and this scenario has none");
  }
  if (request->charges > 0 && !nominal->model.battery.is_present) {
    return sb_fail(err, SB_ERR_SCENARIO, "--discharge needs a battery, found no supply.battery");
  }
  return SB_OK;
}

static void describe(const struct sb_study_source *source, struct sb_study *study)
{
  const struct sb_model *model = &source->nominal->model;
  snprintf(study->scenario, sizeof study->scenario, "%s", model->name);
  if (source->decider != NULL) snprintf(study->controller, sizeof study->controller, "%s", source->decider->name);
  study->has_acting_load = sb_caution_has_acting_load(&model->load);
  snprintf(study->battery_caution, sizeof study->battery_caution, "%s", sb_caution_of_battery(&model->battery));
}

/* The charge at which the battery ends in use. */
static enum sb_status find_end(const struct sb_model *model, double *end_fraction, struct sb_error *err)
{
  struct sb_discharge discharge;
  const enum sb_status status = sb_discharge_solve(model, &discharge, err);
  if (status == SB_OK) *end_fraction = sb_discharge_end_fraction(model, &discharge);
  return status;
}

/* An axis over the charge, from full to the end in use: scale 1 in fractions, 100 in percent. */
static enum sb_status add_charge(const struct sb_model *model, long points, double scale, struct sb_study *study,
                                 struct sb_error *err)
{
  double end_fraction = 0.0;
  if (points == 0) return SB_OK;
  if (study->axis_count == SB_STUDY_AXIS_MAX) {
    return sb_fail(err, SB_ERR_USAGE, "--discharge and --vary make more than %d axes", SB_STUDY_AXIS_MAX);
  }
  const enum sb_status status = find_end(model, &end_fraction, err);
  if (status != SB_OK) return status;
  struct sb_axis *axis = &study->axes[study->axis_count++];
  *axis = (struct sb_axis){.from = scale, .to = scale * end_fraction, .points = (int)points};
  memcpy(axis->path, charge_path, sizeof charge_path);
  strcpy(axis->unit, scale > 1.0 ? "%" : "");
  return SB_OK;
}

/* The fastest corner of the tolerances decides how far up the plane goes, so that no sample reads above it. */
static enum sb_status reach_corners(const struct sb_study_source *source, bool is_full, struct sb_map_options *plane,
                                    struct sb_error *err)
{
  const struct sb_scenario *nominal = source->nominal;
  const struct sb_scenario_source file = {source->path, source->sets, source->set_count};
  struct sb_scenario *corner = malloc(sizeof *corner);
  const int count = sb_samples_corner_count(nominal);
  double *values = calloc((size_t)(count + 1) * (size_t)nominal->tolerance_count, sizeof *values);
  enum sb_status status = corner != NULL && values != NULL
                              ? sb_samples_draw(nominal, SB_SAMPLES_SEARCH, 0, count + 1, values, err)
                              : sb_fail(err, SB_ERR_MEMORY, "out of memory for a sample");
  for (int k = 1; k <= count && status == SB_OK; k++) {
    struct sb_faults faults;
    struct sb_changes changes = {.count = 0};
    sb_samples_change(nominal, values + k * nominal->tolerance_count, &changes);
    const enum sb_status loaded = sb_scenario_load_changed(&file, &changes, corner, &faults);
    if (loaded != SB_OK && loaded != SB_ERR_SCENARIO) status = sb_faults_fail(err, loaded, &faults);
    sb_faults_clear(&faults);
    if (loaded != SB_OK) continue;
    if (is_full) sb_discharge_set(&corner->model, 1.0);
    const int upshift_count = sb_map_options_default(&corner->model).upshift.count;
    if (upshift_count > plane->upshift.count) plane->upshift.count = upshift_count;
    sb_scenario_clear(corner);
  }
  free(values);
  free(corner);
  return status;
}

/* Maps: the plane is that of the full battery, whose readings reach highest. */
static enum sb_status plan_maps(const struct sb_study_request *request, const struct sb_study_source *source,
                                struct sb_study *study, struct sb_error *err)
{
  struct sb_model model = source->nominal->model;
  struct sb_map_options plane;
  const bool has_charge = request->charges > 0;
  if (has_charge) sb_discharge_set(&model, 1.0);
  enum sb_status status = sb_map_plane_parse(&model, request->pair, request->downshift, request->upshift, &plane, err);
  if (status == SB_OK && request->samples > 0 && request->upshift == NULL) {
    status = reach_corners(source, has_charge, &plane, err);
  }
  if (status == SB_OK)
    status = sb_passing_check(&plane.downshift, &plane.upshift, err); /* better now than after all samples */
  if (status == SB_OK) status = add_charge(&model, request->charges, 1.0, study, err);
  if (status != SB_OK) return status;
  study->kind = SB_STUDY_MAPS;
  study->pair = plane.pair;
  study->downshift = plane.downshift;
  study->upshift = plane.upshift;
  study->downshift_fraction = model.control.downshift_fraction[plane.pair];
  study->upshift_fraction = model.control.upshift_fraction[plane.pair];
  study->is_whole = request->downshift != NULL || request->upshift != NULL;
  snprintf(study->slower, sizeof study->slower, "%s", model.gearbox.gears[plane.pair].name);
  snprintf(study->faster, sizeof study->faster, "%s", model.gearbox.gears[plane.pair + 1].name);
  return SB_OK;
}

/* A threshold over a thinned lattice: whole multiples of a round number of steps, about `points` of them. */
static enum sb_status lay_threshold(const struct sb_scenario *scenario, const char *path, int pair,
                                    const struct sb_map_axis *axis, int points, struct sb_axis *out,
                                    struct sb_error *err)
{
  char text[SB_AXIS_SET_SIZE], range[64];
  const long stride = sb_map_axis_stride(axis, points);
  const long first = sb_map_axis_number(axis, 0), last = sb_map_axis_number(axis, axis->count - 1);
  const long from = (first + stride - 1) / stride, to = last / stride;
  const double step_pct = sb_fields_rounded_percent(axis->step_fraction) * (double)stride;
  snprintf(range, sizeof range, "%.12g..%.12g %%", step_pct * (double)from, step_pct * (double)to);
  snprintf(text, sizeof text, "%s=%s", path, range);
  if (sb_axis_parse(text, scenario, (int)(to - from) + 1, out, err) == SB_OK) return SB_OK;
  snprintf(text, sizeof text, "%s.%d=%s", path, pair + 1, range); /* a list of thresholds: one a pair */
  return sb_axis_parse(text, scenario, (int)(to - from) + 1, out, err);
}

/* Someone else's controller: the plane of thresholds as a grid of runs. */
static enum sb_status plan_plane(const struct sb_study_request *request, const struct sb_scenario *nominal,
                                 struct sb_study *study, struct sb_error *err)
{
  struct sb_map_options plane;
  const int points = request->points > 0 ? (int)request->points : SB_STUDY_POINTS_DEFAULT;
  enum sb_status status =
      sb_map_plane_parse(&nominal->model, request->pair, request->downshift, request->upshift, &plane, err);
  if (status != SB_OK) return status;
  study->axis_count = 2;
  status =
      lay_threshold(nominal, "controller.downshift_below", plane.pair, &plane.downshift, points, &study->axes[0], err);
  if (status != SB_OK) return status;
  return lay_threshold(nominal, "controller.upshift_above", plane.pair, &plane.upshift, points, &study->axes[1], err);
}

static enum sb_status plan_axes(const struct sb_study_request *request, const struct sb_scenario *nominal,
                                struct sb_study *study, struct sb_error *err)
{
  const bool is_much = request->vary_count > 2;
  const int few = is_much ? SB_STUDY_POINTS_FEWER : SB_STUDY_POINTS_DEFAULT;
  const int points = request->points > 0 ? (int)request->points : few;
  if (request->vary_count > SB_STUDY_AXIS_MAX) {
    return sb_fail(err, SB_ERR_USAGE, "--vary may be given %d times at most", SB_STUDY_AXIS_MAX);
  }
  for (size_t a = 0; a < request->vary_count; a++) {
    struct sb_error reason;
    const enum sb_status status = sb_axis_parse(request->vary[a], nominal, points, &study->axes[a], &reason);
    if (status != SB_OK) return sb_fail(err, status, "--vary: %s", reason.text);
  }
  study->axis_count = (int)request->vary_count;
  return SB_OK;
}

static enum sb_status plan_runs(const struct sb_study_request *request, const struct sb_study_source *source,
                                struct sb_study *study, struct sb_error *err)
{
  const struct sb_scenario *nominal = source->nominal;
  study->kind = SB_STUDY_RUNS;
  study->has_limits = request->has_limits;
  enum sb_status status =
      request->vary_count > 0 ? plan_axes(request, nominal, study, err) : plan_plane(request, nominal, study, err);
  if (status == SB_OK) status = add_charge(&nominal->model, request->charges, 100.0, study, err);
  return status;
}

static enum sb_status check_size(const struct sb_study *study, struct sb_error *err)
{
  const double tasks = sb_study_size(study);
  if (tasks <= SB_STUDY_TASKS_MAX) return SB_OK;
  return sb_fail(err, SB_ERR_USAGE, "%.0f runs are more than %d: use fewer --points or --samples", tasks,
                 SB_STUDY_TASKS_MAX);
}

enum sb_status sb_study_plan(const struct sb_study_request *request, const struct sb_study_source *source,
                             struct sb_study *study, struct sb_error *err)
{
  struct sb_study out = {.form = SB_STUDY_FORM, .samples = request->samples, .seed = request->seed};
  enum sb_status status = check_source(request, source->nominal, err);
  if (status != SB_OK) return status;
  describe(source, &out);
  const bool is_exact = request->vary_count == 0 && source->decider == NULL;
  status = is_exact ? plan_maps(request, source, &out, err) : plan_runs(request, source, &out, err);
  if (status == SB_OK) status = check_size(&out, err);
  if (status == SB_OK) *study = out;
  return status;
}
