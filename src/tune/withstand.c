// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * withstand.c - how much more or less load, voltage, inertia and friction an answer withstands, each alone.
 *
 * The machines as written and at the corners of their tolerances are run with the quantity at rising or falling percentages until one
 * of them fails; between the last that passes and the first that fails the percentage is bisected. Verdicts may come and go
 * with it, so what lies between two percentages of the ladder is not known where both pass.
 */
#include <math.h>
#include <stdlib.h>

#include "tune/answer.h"
#include "tune/try.h"

/* Percent of the quantity, in this order; the signs come from the direction. */
static const double ladder[] = {0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 0.75, 0.9, 2.0};

enum { STEP_COUNT = sizeof ladder / sizeof *ladder, BISECTIONS = 4, LESS_STEPS = 8 };

/* One quantity of one machine changed; the tables of its load are its own. */
struct changed {
  struct sb_model model;
  double *room;
};

static bool scale_load(struct changed *changed, double factor)
{
  struct sb_load *load = &changed->model.load;
  size_t count = 1;
  for (int i = 0; i < load->part_count; i++) count += load->parts[i].table.count;
  double *room = changed->room = calloc(count, sizeof *room);
  if (room == NULL) return false;
  load->breakaway_nm *= factor;
  for (int i = 0; i < load->part_count; i++) {
    struct sb_load_part *part = &load->parts[i];
    part->torque_nm *= factor;
    part->breakaway_nm *= factor;
    part->viscous_nms_rad *= factor;
    part->quadratic_nms2_rad2 *= factor;
    part->mean_nm *= factor;
    part->amplitude_nm *= factor;
    if (part->is_grade || part->table.count == 0) continue; /* a grade is an angle, and its torque stands before it */
    for (size_t k = 0; k < part->table.count; k++) room[k] = factor * part->table.y[k];
    part->table.y = room;
    room += part->table.count;
  }
  return true;
}

static void scale_friction(struct sb_model *model, double factor)
{
  static const double least = 0.02;
  model->motor.friction_nm *= factor;
  for (int g = 0; g < model->gearbox.gear_count; g++) {
    struct sb_gear *gear = &model->gearbox.gears[g];
    gear->drag_nm *= factor;
    gear->back_efficiency = 1.0 - factor * (1.0 - gear->back_efficiency);
    for (int m = 0; m < gear->mesh_count; m++) {
      struct sb_mesh *mesh = &gear->meshes[m];
      mesh->efficiency = fmax(1.0 - factor * (1.0 - mesh->efficiency), least);
    }
  }
  sb_gearbox_derive(&model->gearbox);
}

static bool change(struct changed *changed, enum sb_tune_quantity quantity, double factor)
{
  struct sb_model *model = &changed->model;
  changed->room = NULL;
  switch (quantity) {
    case SB_TUNE_LOAD: return scale_load(changed, factor);
    case SB_TUNE_VOLTAGE: model->supply.open_circuit_voltage_v *= factor; break;
    case SB_TUNE_INERTIA:
      model->load.inertia_kg_m2 *= factor;
      model->load.road.inertia_kg_m2 *= factor;
      break;
    default: scale_friction(model, factor); break;
  }
  return true;
}

/* Whether the quantity means anything here: a battery's charge gives its voltage, and a lossless box has no friction. */
static bool is_there(const struct sb_model *model, enum sb_tune_quantity quantity)
{
  if (quantity == SB_TUNE_VOLTAGE) return !model->battery.is_present;
  if (quantity == SB_TUNE_LOAD) return model->load.part_count > 0;
  if (quantity == SB_TUNE_INERTIA) return true;
  bool has_friction = model->motor.friction_nm > 0.0;
  for (int g = 0; g < model->gearbox.gear_count; g++) {
    has_friction = has_friction || model->gearbox.gears[g].efficiency < 1.0 || model->gearbox.gears[g].drag_nm > 0.0;
  }
  return has_friction;
}

/* One search. */
struct search {
  const struct sb_survey *survey;
  const struct sb_tune_result *answer;
  struct sb_tune_reserve *reserve;
  int suspect; /* the machine that failed last is tried first */
};

static enum sb_status try_machine(struct search *search, int machine, double share, bool *fails, struct sb_error *err)
{
  const struct sb_tune_result *answer = search->answer;
  struct changed changed = {.model = search->survey->machines[machine].model};
  struct sb_map_verdict verdict;
  struct sb_map_figures figures;
  if (!change(&changed, search->reserve->quantity, 1.0 + share)) {
    return sb_fail(err, SB_ERR_MEMORY, "out of memory for another load");
  }
  const enum sb_status status = sb_try_run(&changed.model, search->survey->options, answer->downshift_fraction,
                                           answer->upshift_fraction, answer->dwell_s, &verdict, &figures, err);
  free(changed.room);
  if (status != SB_OK) return status;
  *fails = verdict.kinds != 0;
  if (!*fails) return SB_OK;
  search->suspect = search->reserve->machine = machine;
  search->reserve->verdict = verdict;
  return SB_OK;
}

/* All light machines at a share more or less; ends at the first that fails. */
static enum sb_status try_share(struct search *search, double share, bool *fails, struct sb_error *err)
{
  const struct sb_survey *survey = search->survey;
  const volatile sig_atomic_t *stop = survey->options->stop;
  const int suspect = search->suspect;
  enum sb_status status = suspect >= 0 ? try_machine(search, suspect, share, fails, err) : SB_OK;
  for (int i = 0; i < survey->count && status == SB_OK && !*fails; i++) {
    if (stop != NULL && *stop != 0) return sb_fail(err, SB_ERR_STOPPED, "stopped");
    if (i != suspect && survey->machines[i].is_light) status = try_machine(search, i, share, fails, err);
  }
  *(*fails ? &search->reserve->fails_share : &search->reserve->passes_share) = share;
  return status;
}

static enum sb_status find_reserve(struct search *search, bool is_more, struct sb_error *err)
{
  const double sign = is_more ? 1.0 : -1.0;
  const int steps = is_more ? STEP_COUNT : LESS_STEPS;
  bool fails = false;
  enum sb_status status = SB_OK;
  for (int k = 0; k < steps && status == SB_OK && !fails; k++)
    status = try_share(search, sign * ladder[k], &fails, err);
  search->reserve->is_end = !fails;
  for (int k = 0; k < BISECTIONS && status == SB_OK && !search->reserve->is_end; k++) {
    const double middle = 0.5 * (search->reserve->passes_share + search->reserve->fails_share);
    bool here = false;
    status = try_share(search, middle, &here, err);
  }
  return status;
}

enum sb_status sb_withstand_find(const struct sb_survey *survey, struct sb_tune_result *result, struct sb_error *err)
{
  enum sb_status status = SB_OK;
  for (int k = 0; k < 2 * SB_TUNE_QUANTITY_COUNT && status == SB_OK; k++) {
    const enum sb_tune_quantity quantity = (enum sb_tune_quantity)(k / 2);
    if (!is_there(&survey->machines[0].model, quantity)) continue;
    if (survey->options->is_brief && (quantity != SB_TUNE_LOAD || k % 2 != 0)) continue;
    struct sb_tune_reserve *reserve = &result->reserves[result->reserve_count++];
    *reserve = (struct sb_tune_reserve){.quantity = quantity, .is_more = k % 2 == 0, .machine = -1};
    struct search search = {survey, result, reserve, -1};
    status = find_reserve(&search, reserve->is_more, err);
  }
  return status;
}

const char *sb_tune_quantity_name(enum sb_tune_quantity quantity)
{
  static const char *const names[SB_TUNE_QUANTITY_COUNT] = {"load", "voltage", "inertia", "friction"};
  return names[quantity];
}
