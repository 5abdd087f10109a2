// SPDX-License-Identifier: GPL-3.0-or-later
/* A candidate as texts that a --set takes, and loaded. */
#include "design/machine.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/constants.h"

int sb_machine_option(const struct sb_choices *choices, int combination, int axis)
{
  for (int k = choices->axis_count - 1; k > axis; k--) combination /= choices->axes[k].option_count;
  return combination % choices->axes[axis].option_count;
}

static const char *speed_name(int speeds, int speed)
{
  static const char *const names[SB_SHELF_SPEED_MAX][SB_SHELF_SPEED_MAX] = {
      {"fast"}, {"slow", "fast"}, {"slow", "middle", "fast"}, {"slow", "second", "third", "fast"}};
  return names[speeds - 1][speed];
}

static void write_meshes(const struct sb_box *box, int speed, char *text)
{
  for (int k = 0; k < box->stages - 1; k++) {
    sb_fail_add(text, SB_MACHINE_TEXT_SIZE, "%d/%d, ", box->shared[k][0], box->shared[k][1]);
  }
  const int *pair = box->last[speed];
  if (box->idler > 0 && speed == box->idler_speed) {
    sb_fail_add(text, SB_MACHINE_TEXT_SIZE, "%d/%d, %d/%d", pair[0], box->idler, box->idler, pair[1]);
  } else {
    sb_fail_add(text, SB_MACHINE_TEXT_SIZE, "%d/%d", pair[0], pair[1]);
  }
}

static void write_gears(const struct sb_box *box, char *text)
{
  snprintf(text, SB_MACHINE_TEXT_SIZE, "gearbox.gears=[");
  for (int s = 0; s < box->speeds; s++) {
    sb_fail_add(text, SB_MACHINE_TEXT_SIZE, "%s{name: %s, meshes: [", s > 0 ? ", " : "", speed_name(box->speeds, s));
    write_meshes(box, s, text);
    sb_fail_add(text, SB_MACHINE_TEXT_SIZE, "]%s}",
                box->idler > 0 && s == box->idler_speed ? ", motor_direction: reverse" : "");
  }
  sb_fail_add(text, SB_MACHINE_TEXT_SIZE, "]");
}

static void write_thresholds(const char *key, const double *percent, int pairs, char *text, size_t size)
{
  snprintf(text, size, "controller.%s=[", key);
  for (int p = 0; p < pairs; p++) sb_fail_add(text, size, "%s%.12g %%", p > 0 ? ", " : "", percent[p]);
  sb_fail_add(text, size, "]");
}

static void add(struct sb_machine_sets *sets, const char *text)
{
  sets->items[sets->count++] = text;
}

enum sb_status sb_machine_set(const struct sb_design_request *request, const struct sb_choices *choices,
                              const struct sb_candidate *candidate, const struct sb_design_control *control,
                              struct sb_machine_sets *sets)
{
  const size_t own = request->source.set_count;
  const int speeds = candidate->box.stages > 0 ? candidate->box.speeds : 0;
  sets->count = 0;
  sets->items = calloc(own + (size_t)choices->axis_count + 8, sizeof *sets->items);
  if (sets->items == NULL) return SB_ERR_MEMORY;
  for (size_t k = 0; k < own; k++) add(sets, request->source.sets[k]);
  if (speeds > 0) {
    write_gears(&candidate->box, sets->gears);
    add(sets, sets->gears);
  }
  for (int k = 0; k < choices->axis_count; k++) {
    add(sets, choices->axes[k].options[sb_machine_option(choices, candidate->combination, k)].set);
  }
  if (control == NULL || control->pairs == 0) return SB_OK;
  const int pairs = control->pairs;
  write_thresholds("downshift_below", control->downshift_pct, pairs, sets->downshift, sizeof sets->downshift);
  write_thresholds("upshift_above", control->upshift_pct, pairs, sets->upshift, sizeof sets->upshift);
  snprintf(sets->dwell, sizeof sets->dwell, "controller.dwell=%.12g s", control->dwell_s);
  add(sets, sets->downshift);
  add(sets, sets->upshift);
  add(sets, sets->dwell);
  return SB_OK;
}

void sb_machine_sets_clear(struct sb_machine_sets *sets)
{
  free(sets->items);
  sets->items = NULL;
}

enum sb_status sb_machine_load(const struct sb_design_request *request, const struct sb_choices *choices,
                               const struct sb_candidate *candidate, const struct sb_design_control *control,
                               struct sb_scenario *out, struct sb_faults *faults)
{
  struct sb_machine_sets sets;
  *faults = (struct sb_faults){0};
  enum sb_status status = sb_machine_set(request, choices, candidate, control, &sets);
  if (status == SB_OK) status = sb_scenario_load(request->source.path, sets.items, sets.count, out, faults);
  sb_machine_sets_clear(&sets);
  return status;
}

/* ---- the facts of each combination ---- */

/* Any box of its kind, so that there are gears; its thresholds mean nothing. */
static struct sb_candidate placeholder(const struct sb_choices *choices, int combination, bool is_swing)
{
  const struct sb_shelf *shelf = &choices->shelf;
  struct sb_candidate candidate = {.combination = combination};
  if (!shelf->is_present) return candidate;
  const int speeds = is_swing ? 2 : shelf->speeds[0];
  candidate.box = (struct sb_box){.stages = 1, .speeds = speeds};
  for (int s = 0; s < speeds; s++) {
    candidate.box.last[s][0] = 10;
    candidate.box.last[s][1] = 50 - 10 * s;
  }
  if (is_swing) candidate.box.idler = 10;
  return candidate;
}

static double way_of(const struct sb_choices *choices, const struct sb_model *model)
{
  const struct sb_require *require = &choices->require;
  if (isnan(require->finish_s)) return NAN;
  if (isfinite(require->turns)) return require->turns * SB_TURN;
  return model->load.road.is_present && isfinite(model->load.road.finish_rad) ? model->load.road.finish_rad
                                                                              : (double)NAN;
}

static bool can_help(const struct sb_model *model)
{
  double least, greatest;
  sb_load_share_range_nm(&model->load, model->run.duration_s, SB_SHARE_ACTING, &least, &greatest);
  return least < 0.0;
}

static struct sb_combination facts_of(const struct sb_choices *choices, const struct sb_model *model)
{
  const struct sb_motor_line line = sb_motor_line_driven(&model->motor, &model->supply, model->drive.limit_fraction);
  double quadratic;
  struct sb_combination facts = {
      .is_swing = model->shifter.ops->is_direction_selected,
      .stall_nm = line.stall_nm,
      .slope_nms_rad = line.slope_nms_rad,
      .friction_nm = line.friction_nm,
      .limit_nm = line.limit_a > 0.0 ? line.limit_nm : (double)INFINITY,
      .stall_a = line.stall_a,
      .slope_as_rad = line.slope_as_rad,
      .mesh_efficiency = model->gearbox.gears[0].meshes[0].efficiency,
      .no_load_rad_s = sb_motor_no_load_speed_rad_s(&line),
      .way_rad = way_of(choices, model),
      .gear_count = model->gearbox.gear_count,
  };
  sb_load_speed_terms(&model->load, &facts.viscous_nms_rad, &quadratic);
  sb_load_range_nm(&model->load, model->run.duration_s, &facts.lightest_nm, &facts.heaviest_nm);
  facts.is_linear = quadratic == 0.0 && isinf(facts.limit_nm) && model->drive.mode == SB_DRIVE_OPEN_LOOP;
  facts.has_speed_bound = !can_help(model) && model->run.initial_output_speed_rad_s == 0.0 &&
                          !model->battery.is_present && !model->magnet.is_present;
  return facts;
}

/* A direction-selected shifter is known by what the first try says: it is tried with gears for either. */
static enum sb_status load_combination(const struct sb_design_request *request, const struct sb_choices *choices,
                                       int combination, struct sb_scenario *out, struct sb_faults *faults)
{
  struct sb_candidate candidate = placeholder(choices, combination, false);
  struct sb_design_control any = {
      .pairs = candidate.box.speeds - 1, .downshift_pct = {40, 40, 40}, .upshift_pct = {90, 90, 90}, .dwell_s = 1.0};
  const bool has_shelf = choices->shelf.is_present;
  enum sb_status status = sb_machine_load(request, choices, &candidate, has_shelf ? &any : NULL, out, faults);
  if (status != SB_ERR_SCENARIO || !has_shelf) return status;
  struct sb_faults second;
  candidate = placeholder(choices, combination, true);
  any.pairs = 1;
  status = sb_machine_load(request, choices, &candidate, &any, out, &second);
  if (status == SB_OK) {
    sb_faults_clear(faults);
  } else {
    sb_faults_clear(&second);
  }
  return status;
}

enum sb_status sb_machine_combine(const struct sb_design_request *request, struct sb_design_answer *answer,
                                  struct sb_faults *faults, struct sb_error *err)
{
  const double count = sb_choices_count(answer->choices);
  if (count > SB_DESIGN_COMBINATION_MAX) {
    return sb_fail(err, SB_ERR_SCENARIO, "%s: choices: needs at most %d combinations without the wheels, found %.0f",
                   request->source.path, SB_DESIGN_COMBINATION_MAX, count);
  }
  answer->combinations = calloc((size_t)count, sizeof *answer->combinations);
  struct sb_scenario *scenario = calloc(1, sizeof *scenario);
  enum sb_status status = answer->combinations != NULL && scenario != NULL ? SB_OK : SB_ERR_MEMORY;
  for (int k = 0; k < (int)count && status == SB_OK; k++) {
    status = load_combination(request, answer->choices, k, scenario, faults);
    if (status != SB_OK) break;
    sb_faults_clear(faults);
    answer->combinations[answer->combination_count++] = facts_of(answer->choices, &scenario->model);
    sb_scenario_clear(scenario);
  }
  free(scenario);
  return status;
}
