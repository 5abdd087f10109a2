// SPDX-License-Identifier: GPL-3.0-or-later
/* A candidate as texts that a --set takes, and loaded. */
#include "design/machine.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/constants.h"
#include "design/words.h"

int sb_machine_option(const struct sb_choices *choices, int combination, int axis)
{
  for (int k = choices->axis_count - 1; k > axis; k--) combination /= choices->axes[k].option_count;
  return combination % choices->axes[axis].option_count;
}

static void write_gears(const struct sb_box *box, char *text)
{
  snprintf(text, SB_MACHINE_TEXT_SIZE, "gearbox.gears=[");
  for (int s = 0; s < box->speeds; s++) {
    sb_fail_add(text, SB_MACHINE_TEXT_SIZE, "%s{name: %s, meshes: [", s > 0 ? ", " : "",
                sb_design_speed_name(box->speeds, s));
    sb_fail_add(text, SB_MACHINE_TEXT_SIZE, "%s]%s}", sb_design_meshes(box, s).text,
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

void sb_machine_unload(struct sb_loaded *loaded)
{
  for (int k = 0; k < loaded->count; k++) sb_scenario_clear(&loaded->items[k]);
  free(loaded->items);
  *loaded = (struct sb_loaded){.count = 0};
}

enum sb_status sb_machine_load(const struct sb_design_request *request, const struct sb_design_answer *answer,
                               const struct sb_candidate *candidate, const struct sb_design_control *control,
                               struct sb_loaded *out, struct sb_faults *faults)
{
  struct sb_machine_sets sets;
  *faults = (struct sb_faults){0};
  *out = (struct sb_loaded){.items = calloc((size_t)answer->path_count, sizeof *out->items)};
  if (out->items == NULL) return SB_ERR_MEMORY;
  enum sb_status status = sb_machine_set(request, answer->choices, candidate, control, &sets);
  for (int k = 0; k < answer->path_count && status == SB_OK; k++) {
    sb_faults_clear(faults);
    status = sb_scenario_load(answer->paths[k], sets.items, sets.count, &out->items[k], faults);
    out->count += status == SB_OK;
  }
  sb_machine_sets_clear(&sets);
  if (status != SB_OK) sb_machine_unload(out);
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

static bool can_help(const struct sb_model *model)
{
  double least, greatest;
  sb_load_share_range_nm(&model->load, model->run.duration_s, SB_SHARE_ACTING, &least, &greatest);
  return least < 0.0;
}

/* The motor without load, in the fastest gear, with nothing that helps it: by 1 / ratio. */
static double finish_per_ratio_s(const struct sb_choices *choices, const struct sb_model *model)
{
  const struct sb_motor_line line = sb_motor_line_driven(&model->motor, &model->supply, model->drive.limit_fraction);
  const bool has_bound = !can_help(model) && model->run.initial_output_speed_rad_s == 0.0 &&
                         !model->battery.is_present && !model->magnet.is_present;
  return has_bound ? sb_machine_way_rad(choices, model) / sb_motor_no_load_speed_rad_s(&line) : (double)NAN;
}

static struct sb_combination facts_of(const struct sb_choices *choices, const struct sb_loaded *loaded)
{
  const struct sb_model *model = &loaded->items[0].model;
  const struct sb_motor_line line = sb_motor_line_driven(&model->motor, &model->supply, model->drive.limit_fraction);
  const struct sb_shifter_ops *ops = model->shifter.ops;
  double quadratic;
  struct sb_combination facts = {
      .is_swing = ops != NULL && ops->is_direction_selected,
      .stall_nm = line.stall_nm,
      .slope_nms_rad = line.slope_nms_rad,
      .friction_nm = line.friction_nm,
      .limit_nm = line.limit_a > 0.0 ? line.limit_nm : (double)INFINITY,
      .stall_a = line.stall_a,
      .slope_as_rad = line.slope_as_rad,
      .mesh_efficiency = model->gearbox.gears[0].meshes[0].efficiency,
      .finish_per_ratio_s = NAN,
      .gear_count = model->gearbox.gear_count,
  };
  sb_load_speed_terms(&model->load, &facts.viscous_nms_rad, &quadratic);
  sb_load_range_nm(&model->load, model->run.duration_s, &facts.lightest_nm, &facts.heaviest_nm);
  facts.is_linear = quadratic == 0.0 && isinf(facts.limit_nm) && model->drive.mode == SB_DRIVE_OPEN_LOOP;
  for (int k = 0; k < loaded->count; k++) {
    facts.finish_per_ratio_s =
        fmax(facts.finish_per_ratio_s, finish_per_ratio_s(choices, &loaded->items[k].model)); /* but for NAN */
  }
  return facts;
}

/* The words of a combination's choices. */
static void name_combination(const struct sb_choices *choices, int combination, char name[128])
{
  name[0] = 0;
  for (int k = 0; k < choices->axis_count; k++) {
    const int option = sb_machine_option(choices, combination, k);
    sb_fail_add(name, 128, "%s%s", k > 0 ? ", " : "", choices->axes[k].options[option].words);
  }
}

/* A direction-selected shifter is known by what the first try says: it is tried with gears for either. */
static enum sb_status load_combination(const struct sb_design_request *request, const struct sb_design_answer *answer,
                                       int combination, struct sb_loaded *out, struct sb_faults *faults)
{
  struct sb_candidate candidate = placeholder(answer->choices, combination, false);
  struct sb_design_control any = sb_machine_any_control(&candidate);
  const bool has_shelf = answer->choices->shelf.is_present;
  enum sb_status status = sb_machine_load(request, answer, &candidate, has_shelf ? &any : NULL, out, faults);
  if (status != SB_ERR_SCENARIO || !has_shelf) return status;
  struct sb_faults second;
  candidate = placeholder(answer->choices, combination, true);
  any = sb_machine_any_control(&candidate);
  status = sb_machine_load(request, answer, &candidate, &any, out, &second);
  sb_faults_clear(status == SB_OK ? faults : &second);
  return status;
}

/* What the answer depends on: the scenarios, their tables, and all values of the choices, whichever file they come from. */
static enum sb_status identify(const struct sb_design_request *request, const struct sb_loaded *loaded,
                               struct sb_design_answer *answer, struct sb_error *err)
{
  const struct sb_scenario_source *source = &request->source;
  enum sb_status status = SB_OK;
  for (int k = 0; k < loaded->count && status == SB_OK; k++) {
    status = sb_tasks_hash_scenario(&answer->identity, answer->paths[k], source->sets, source->set_count,
                                    &loaded->items[k], err);
  }
  return status;
}

static void identify_choices(struct sb_design_answer *answer)
{
  for (int a = 0; a < answer->choices->axis_count; a++) {
    const struct sb_choice_axis *axis = &answer->choices->axes[a];
    for (int k = 0; k < axis->option_count; k++) {
      answer->identity = sb_tasks_hash_text(answer->identity, axis->options[k].set);
    }
  }
}

static enum sb_status combine(const struct sb_design_request *request, struct sb_design_answer *answer, int index,
                              struct sb_faults *faults, struct sb_error *err)
{
  struct sb_loaded loaded;
  enum sb_status status = load_combination(request, answer, index, &loaded, faults);
  if (status != SB_OK) return status;
  sb_faults_clear(faults);
  answer->combinations[index] = facts_of(answer->choices, &loaded);
  name_combination(answer->choices, index, answer->combinations[index].name);
  answer->combination_count++;
  status = identify(request, &loaded, answer, err);
  sb_machine_unload(&loaded);
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
  enum sb_status status = answer->combinations != NULL ? SB_OK : SB_ERR_MEMORY;
  identify_choices(answer);
  for (int k = 0; k < (int)count && status == SB_OK; k++) status = combine(request, answer, k, faults, err);
  return status;
}
