// SPDX-License-Identifier: GPL-3.0-or-later
/* The four stages of a search, one after the other. */
#include "design/design.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "design/front.h"
#include "design/machine.h"
#include "design/search.h"
#include "design/stage.h"

/* ---- the second stage: which machines are run, and the front of their runs ---- */

/* By closed forms, for the order of runs alone: speed under the lightest and the heaviest load, current there, wheels, teeth. */
static struct sb_worth estimate_of(const struct sb_combination *own, const struct sb_candidate *candidate)
{
  const double slow = candidate->ratios[0];
  const double motor_nm = own->heaviest_nm / fmax(slow * own->mesh_efficiency, 1e-9) + own->friction_nm;
  const double speed_rad_s = own->slope_nms_rad > 0.0 ? (own->stall_nm - motor_nm) / own->slope_nms_rad : 0.0;
  struct sb_worth worth;
  for (int k = 0; k < SB_AIM_COUNT; k++) worth.values[k] = NAN;
  worth.values[SB_AIM_SPEED] = -sb_search_speed_rad_s(own, candidate, own->lightest_nm);
  worth.values[SB_AIM_CHARGE] = -sb_search_speed_rad_s(own, candidate, own->heaviest_nm);
  worth.values[SB_AIM_CURRENT] = own->stall_a - own->slope_as_rad * fmax(speed_rad_s, 0.0);
  worth.values[SB_AIM_WHEELS] = sb_box_wheel_count(&candidate->box);
  worth.values[SB_AIM_TOOTH] = candidate->tooth_per_nm;
  return worth;
}

/* Puts the machines to be run first; returns how many they are, -1 without memory. */
static long choose_runs(const struct sb_design_request *request, const struct sb_design_answer *answer,
                        struct sb_motions *motions)
{
  const long count = (long)motions->count;
  if (count <= request->run_most) return count;
  struct sb_worth *worths = malloc((size_t)count * sizeof *worths);
  bool *is_front = calloc((size_t)count, sizeof *is_front);
  long chosen = -1;
  if (worths != NULL && is_front != NULL) {
    for (long k = 0; k < count; k++) {
      worths[k] = estimate_of(&answer->combinations[motions->items[k].combination], &motions->items[k]);
    }
    chosen = sb_front_mark(worths, count, is_front);
    if (chosen > request->run_most) sb_front_thin(worths, count, is_front, request->run_most);
    chosen = 0;
    for (long k = 0; k < count; k++) {
      if (is_front[k]) motions->items[chosen++] = motions->items[k];
    }
  }
  free(worths);
  free(is_front);
  return chosen;
}

/* Records of a stage and the machines that they are about. */
struct tried {
  long count;
  struct sb_candidate *candidates;
  struct sb_design_record *records;
  struct sb_worth *worths;
  bool *is_front;
};

static void clear(struct tried *tried)
{
  free(tried->candidates);
  free(tried->records);
  free(tried->worths);
  free(tried->is_front);
  *tried = (struct tried){.count = 0};
}

static bool make(struct tried *tried, const struct sb_candidate *candidates, long count)
{
  const size_t room = count > 0 ? (size_t)count : 1;
  *tried = (struct tried){.count = count,
                          .candidates = malloc(room * sizeof *tried->candidates),
                          .records = calloc(room, sizeof *tried->records),
                          .worths = malloc(room * sizeof *tried->worths),
                          .is_front = calloc(room, sizeof *tried->is_front)};
  const bool is_whole =
      tried->candidates != NULL && tried->records != NULL && tried->worths != NULL && tried->is_front != NULL;
  if (!is_whole) {
    clear(tried);
  } else if (count > 0) {
    memcpy(tried->candidates, candidates, room * sizeof *candidates);
  }
  return is_whole;
}

/* Keeps those that are marked. */
static void sift(struct tried *tried)
{
  long left = 0;
  for (long k = 0; k < tried->count; k++) {
    if (!tried->is_front[k]) continue;
    tried->candidates[left] = tried->candidates[k];
    tried->records[left] = tried->records[k];
    tried->worths[left++] = tried->worths[k];
  }
  tried->count = left;
}

/* Drops those that miss a need, and marks the front of the others. */
static void judge(struct tried *tried, struct sb_design_answer *answer, enum sb_fate wanted)
{
  for (long k = 0; k < tried->count; k++) {
    const struct sb_design_record *record = &tried->records[k];
    answer->unfit_count += record->fate == SB_FATE_INVALID;
    answer->failed_count += record->fate == SB_FATE_FAILED;
    tried->is_front[k] = record->fate == wanted && sb_needs_judge(&answer->needs, record->values) < 0;
    tried->worths[k] = sb_front_worth(&record->figures);
  }
  sift(tried);
}

static enum sb_status run_all(const struct sb_design_request *request, struct sb_design_answer *answer,
                              struct tried *tried, struct sb_error *err)
{
  const struct sb_stage stage = {request, answer, "runs", tried->candidates, tried->count, sb_stage_try};
  const enum sb_status status = sb_stage_run(&stage, tried->records, err);
  if (status != SB_OK) return status;
  answer->run_count = tried->count;
  judge(tried, answer, SB_FATE_RUN);
  const long met = tried->count;
  answer->front_count = sb_front_mark(tried->worths, tried->count, tried->is_front);
  if (answer->front_count < 0) return sb_fail(err, SB_ERR_MEMORY, "out of memory for a front");
  answer->beaten_count = met - answer->front_count;
  if (answer->front_count > request->tune_most) {
    sb_front_thin(tried->worths, tried->count, tried->is_front, request->tune_most);
    answer->untuned_count = answer->front_count - request->tune_most;
  }
  sift(tried);
  return SB_OK;
}

static enum sb_status tune_all(const struct sb_design_request *request, struct sb_design_answer *answer,
                               struct tried *tried, struct sb_error *err)
{
  const struct sb_stage stage = {request, answer, "tunes", tried->candidates, tried->count, sb_stage_tune};
  const enum sb_status status = sb_stage_run(&stage, tried->records, err);
  if (status != SB_OK) return status;
  answer->tuned_count = tried->count;
  judge(tried, answer, SB_FATE_TUNED);
  if (sb_front_mark(tried->worths, tried->count, tried->is_front) < 0) {
    return sb_fail(err, SB_ERR_MEMORY, "out of memory for a front");
  }
  sift(tried);
  return SB_OK;
}

/* ---- the answer ---- */

static int by_speed(const void *one, const void *other)
{
  const struct sb_design *a = one, *b = other;
  if (a->figures.speed_rad_s != b->figures.speed_rad_s) return a->figures.speed_rad_s > b->figures.speed_rad_s ? -1 : 1;
  if (a->candidate.combination != b->candidate.combination) return a->candidate.combination - b->candidate.combination;
  return memcmp(&a->candidate.box, &b->candidate.box, sizeof a->candidate.box);
}

static void name_design(const struct sb_choices *choices, struct sb_design *design)
{
  design->name[0] = 0;
  for (int k = 0; k < choices->axis_count; k++) {
    const int option = sb_machine_option(choices, design->candidate.combination, k);
    sb_fail_add(design->name, sizeof design->name, "%s%s", k > 0 ? ", " : "", choices->axes[k].options[option].words);
  }
}

static struct sb_design design_of(const struct sb_candidate *candidate, const struct sb_design_record *record)
{
  struct sb_design design = {.candidate = *candidate,
                             .control = record->control,
                             .figures = record->figures,
                             .is_proved_class = record->is_proved_class};
  for (int k = 0; k < SB_PROVE_STATEMENTS; k++) design.statements[k] = (enum sb_proof)record->statements[k];
  return design;
}

static enum sb_status take_designs(const struct tried *tried, struct sb_design_answer *answer, struct sb_error *err)
{
  answer->designs = calloc((size_t)tried->count + 1, sizeof *answer->designs);
  if (answer->designs == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for designs");
  for (long k = 0; k < tried->count; k++) {
    struct sb_design *design = &answer->designs[answer->design_count++];
    *design = design_of(&tried->candidates[k], &tried->records[k]);
    name_design(answer->choices, design);
  }
  qsort(answer->designs, (size_t)answer->design_count, sizeof *answer->designs, by_speed);
  return SB_OK;
}

static enum sb_status search(const struct sb_design_request *request, struct sb_design_answer *answer,
                             struct sb_motions *motions, struct tried *tried, struct sb_error *err)
{
  if (request->on_stage != NULL) request->on_stage(request->context, "boxes", true);
  enum sb_status status = sb_search_run(request, answer, motions, err);
  if (request->on_stage != NULL) request->on_stage(request->context, "boxes", false);
  if (status != SB_OK) return status;
  const long runs = choose_runs(request, answer, motions);
  if (runs < 0) return sb_fail(err, SB_ERR_MEMORY, "out of memory for estimates");
  answer->unrun_count = answer->kept_count - runs;
  if (!make(tried, motions->items, runs)) return sb_fail(err, SB_ERR_MEMORY, "out of memory for runs");
  status = run_all(request, answer, tried, err);
  if (status == SB_OK) status = tune_all(request, answer, tried, err);
  return status == SB_OK ? take_designs(tried, answer, err) : status;
}

enum sb_status sb_design_search(const struct sb_design_request *request, struct sb_design_answer *answer,
                                struct sb_faults *faults, struct sb_error *err)
{
  const struct sb_scenario_source *source = &request->source;
  struct sb_motions motions = {.count = 0};
  struct tried tried = {.count = 0};
  *answer = (struct sb_design_answer){.box_count = 0.0};
  *faults = (struct sb_faults){0};
  enum sb_status status = sb_choices_load(source->path, source->sets, source->set_count, &answer->base, faults);
  if (status != SB_OK) return status;
  answer->choices = answer->base.choices;
  if (answer->choices == NULL) {
    return sb_fail(err, SB_ERR_SCENARIO, "%s: needs a section choices, found none", source->path);
  }
  answer->needs = sb_needs_of(answer->choices);
  status = sb_machine_combine(request, answer, faults, err);
  if (status == SB_OK) status = sb_search_count(request, answer, err);
  if (status == SB_OK) status = search(request, answer, &motions, &tried, err);
  sb_motions_clear(&motions);
  clear(&tried);
  return status;
}

void sb_design_clear(struct sb_design_answer *answer)
{
  free(answer->designs);
  free(answer->combinations);
  sb_scenario_clear(&answer->base);
  answer->designs = NULL;
  answer->combinations = NULL;
}

enum sb_status sb_design_write_scenario(FILE *out, const struct sb_design_request *request,
                                        const struct sb_design_answer *answer, int index, struct sb_faults *faults)
{
  const struct sb_design *design = &answer->designs[index];
  struct sb_machine_sets sets;
  *faults = (struct sb_faults){0};
  enum sb_status status = sb_machine_set(request, answer->choices, &design->candidate, &design->control, &sets);
  if (status == SB_OK) {
    status = sb_choices_write_scenario(out, request->source.path, sets.items, sets.count, faults);
  }
  sb_machine_sets_clear(&sets);
  return status;
}
