// SPDX-License-Identifier: GPL-3.0-or-later
/* The four stages of a search, one after the other. */
#include "design/design.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "design/drops.h"
#include "design/front.h"
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
  const struct sb_tooth_load *tooth = &candidate->tooth;
  worth.values[SB_AIM_TOOTH] = isnan(tooth->fraction) ? tooth->force_n : tooth->fraction;
  return worth;
}

/* Marks those of the front, `most` at most; false without memory. */
static bool mark_front(const struct sb_worth *worths, long count, bool *is_front, long most)
{
  const long marked = sb_front_mark(worths, count, is_front);
  return marked >= 0 && (marked <= most || sb_front_thin(worths, count, is_front, most));
}

/* Puts the machines to be run first; returns how many they are, -1 without memory. */
static long choose_runs(const struct sb_design_request *request, const struct sb_design_answer *answer,
                        struct sb_motions *motions)
{
  const long count = (long)motions->count;
  if (count <= request->run_most) return count;
  struct sb_worth *worths = malloc((size_t)count * sizeof *worths);
  bool *is_front = calloc((size_t)count, sizeof *is_front);
  bool is_marked = worths != NULL && is_front != NULL;
  for (long k = 0; k < count && is_marked; k++) {
    worths[k] = estimate_of(&answer->combinations[motions->items[k].combination], &motions->items[k]);
  }
  is_marked = is_marked && mark_front(worths, count, is_front, request->run_most);
  long chosen = is_marked ? 0 : -1;
  for (long k = 0; k < count && is_marked; k++) {
    if (is_front[k]) {
      motions->items[chosen++] = motions->items[k];
    } else {
      sb_drops_write(request->all, answer, &motions->items[k], sb_drops_words(SB_DROP_UNRUN));
    }
  }
  free(worths);
  free(is_front);
  return chosen;
}

/* What a search works with. */
struct searching {
  const struct sb_design_request *request;
  struct sb_design_answer *answer;
};

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

static void write_drop(const struct searching *searching, const struct sb_candidate *candidate, enum sb_drop drop)
{
  sb_drops_write(searching->request->all, searching->answer, candidate, sb_drops_words(drop));
}

/* Keeps those that are marked; returns how many go, by this rule. */
static long sift(const struct searching *searching, struct tried *tried, enum sb_drop drop)
{
  const long before = tried->count;
  long left = 0;
  for (long k = 0; k < before; k++) {
    if (!tried->is_front[k]) {
      write_drop(searching, &tried->candidates[k], drop);
      continue;
    }
    tried->candidates[left] = tried->candidates[k];
    tried->records[left] = tried->records[k];
    tried->worths[left] = tried->worths[k];
    tried->is_front[left++] = true;
  }
  tried->count = left;
  return before - left;
}

/* Whether a machine meets all needs; else it is counted and listed. */
static bool meets(const struct searching *searching, const struct sb_candidate *candidate,
                  const struct sb_design_record *record)
{
  struct sb_design_answer *answer = searching->answer;
  if (record->fate == SB_FATE_INVALID || record->fate == SB_FATE_FAILED) {
    const bool is_valid = record->fate == SB_FATE_FAILED;
    answer->failed_count += is_valid;
    answer->unfit_count += !is_valid;
    write_drop(searching, candidate, is_valid ? SB_DROP_FAILED : SB_DROP_UNFIT);
    return false;
  }
  const int missed = sb_needs_judge(&answer->needs, record->values);
  if (missed >= 0) sb_drops_write(searching->request->all, answer, candidate, answer->needs.items[missed].path);
  return missed < 0;
}

/* Drops those that miss a need, and values the others. */
static void judge(const struct searching *searching, struct tried *tried)
{
  long left = 0;
  for (long k = 0; k < tried->count; k++) {
    if (!meets(searching, &tried->candidates[k], &tried->records[k])) continue;
    tried->candidates[left] = tried->candidates[k];
    tried->records[left] = tried->records[k];
    tried->worths[left] = sb_front_worth(&tried->records[k].figures);
    tried->is_front[left++] = true;
  }
  tried->count = left;
}

/* Keeps the front; *gone: how many others there are. */
static enum sb_status keep_front(const struct searching *searching, struct tried *tried, enum sb_drop drop, long *gone,
                                 struct sb_error *err)
{
  if (sb_front_mark(tried->worths, tried->count, tried->is_front) < 0) {
    return sb_fail(err, SB_ERR_MEMORY, "out of memory for a front");
  }
  *gone = sift(searching, tried, drop);
  return SB_OK;
}

/* Keeps `most` of a front; *gone: how many go. */
static enum sb_status thin(const struct searching *searching, struct tried *tried, enum sb_drop drop, long most,
                           long *gone, struct sb_error *err)
{
  if (tried->count > most && !sb_front_thin(tried->worths, tried->count, tried->is_front, most)) {
    return sb_fail(err, SB_ERR_MEMORY, "out of memory for a front");
  }
  *gone = sift(searching, tried, drop);
  return SB_OK;
}

/* The machines that are tuned: all that pass their runs, or, where these are too many, of their front. */
static enum sb_status choose_tunes(const struct searching *searching, struct tried *tried, struct sb_error *err)
{
  struct sb_design_answer *answer = searching->answer;
  const long most = searching->request->tune_most;
  judge(searching, tried);
  answer->passed_count = tried->count;
  if (tried->count <= most) return SB_OK;
  const enum sb_status status = keep_front(searching, tried, SB_DROP_BEATEN, &answer->beaten_count, err);
  return status == SB_OK ? thin(searching, tried, SB_DROP_UNTUNED, most, &answer->untuned_count, err) : status;
}

static enum sb_status run_all(const struct searching *searching, struct tried *tried, struct sb_error *err)
{
  struct sb_design_answer *answer = searching->answer;
  const struct sb_stage stage = {searching->request, answer, SB_DESIGN_RUNS, tried->candidates,
                                 tried->count,       NULL,   sb_stage_try};
  const enum sb_status status = sb_stage_run(&stage, tried->records, &answer->is_shard, err);
  answer->run_count = tried->count;
  return status == SB_OK && !answer->is_shard ? choose_tunes(searching, tried, err) : status;
}

static enum sb_status tune_all(const struct searching *searching, struct tried *tried, struct sb_error *err)
{
  struct sb_design_answer *answer = searching->answer;
  const struct sb_stage stage = {searching->request, answer, SB_DESIGN_TUNES, tried->candidates,
                                 tried->count,       NULL,   sb_stage_tune};
  if (searching->request->shard_count > 1 && tried->count == 0) {
    return sb_fail(err, SB_ERR_USAGE,
                   "no machine is left to tune, and so nothing to cut into shards; leave out --shard");
  }
  enum sb_status status = sb_stage_run(&stage, tried->records, &answer->is_shard, err);
  if (status != SB_OK || answer->is_shard) return status;
  answer->tuned_count = tried->count;
  judge(searching, tried);
  status = keep_front(searching, tried, SB_DROP_OUTDONE, &answer->outdone_count, err);
  if (status != SB_OK) return status;
  return thin(searching, tried, SB_DROP_UNSHOWN, searching->request->design_most, &answer->unshown_count, err);
}

/* What is proved of the designs that are shown. */
static enum sb_status prove_all(const struct searching *searching, struct tried *tried, struct sb_error *err)
{
  struct sb_design_record *records = calloc((size_t)tried->count + 1, sizeof *records);
  if (records == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for proofs");
  const struct sb_stage stage = {searching->request, searching->answer, SB_DESIGN_PROOFS, tried->candidates,
                                 tried->count,       tried->records,    sb_stage_prove};
  const enum sb_status status = sb_stage_run(&stage, records, &searching->answer->is_shard, err);
  const bool is_done = status == SB_OK && !searching->answer->is_shard;
  for (int k = 0; is_done && k < tried->count; k++) tried->records[k] = records[k];
  free(records);
  return status;
}

/* ---- the answer ---- */

static int by_speed(const void *one, const void *other)
{
  const struct sb_design *a = one, *b = other;
  if (a->figures.speed_rad_s != b->figures.speed_rad_s) return a->figures.speed_rad_s > b->figures.speed_rad_s ? -1 : 1;
  if (a->candidate.combination != b->candidate.combination) return a->candidate.combination - b->candidate.combination;
  return memcmp(&a->candidate.box, &b->candidate.box, sizeof a->candidate.box);
}

static struct sb_design design_of(const struct sb_candidate *candidate, const struct sb_design_record *record)
{
  struct sb_design design = {.candidate = *candidate,
                             .control = record->control,
                             .figures = record->figures,
                             .limit = record->limit,
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
    sb_fail_add(design->name, sizeof design->name, "%s", answer->combinations[design->candidate.combination].name);
  }
  qsort(answer->designs, (size_t)answer->design_count, sizeof *answer->designs, by_speed);
  return SB_OK;
}

/* The machines that the closed forms leave, and of them those that are run; without runs, all. */
static enum sb_status find_machines(const struct searching *searching, struct tried *tried, bool *is_run,
                                    struct sb_error *err)
{
  const struct sb_design_request *request = searching->request;
  struct sb_design_answer *answer = searching->answer;
  struct sb_motions motions = {.count = 0};
  if (request->on_stage != NULL) request->on_stage(request->context, "boxes", true);
  enum sb_status status = sb_search_run(request, answer, &motions, err);
  if (request->on_stage != NULL) request->on_stage(request->context, "boxes", false);
  long count = (long)motions.count;
  *is_run = count > request->tune_most;
  if (status == SB_OK && *is_run) count = choose_runs(request, answer, &motions);
  answer->unrun_count = answer->kept_count - count;
  const bool is_whole = status != SB_OK || (count >= 0 && make(tried, motions.items, count));
  if (!is_whole) status = sb_fail(err, SB_ERR_MEMORY, "out of memory for runs");
  sb_motions_clear(&motions);
  return status;
}

static enum sb_status search(const struct searching *searching, struct tried *tried, struct sb_error *err)
{
  struct sb_design_answer *answer = searching->answer;
  bool is_run = false;
  enum sb_status status = find_machines(searching, tried, &is_run, err);
  if (status == SB_OK && is_run) status = run_all(searching, tried, err);
  if (status == SB_OK && !answer->is_shard) status = tune_all(searching, tried, err);
  if (status == SB_OK && !answer->is_shard) status = prove_all(searching, tried, err);
  return status == SB_OK && !answer->is_shard ? take_designs(tried, answer, err) : status;
}

/* The scenarios that designs serve: the one with the shelf first. */
static enum sb_status list_paths(const struct sb_design_request *request, struct sb_design_answer *answer)
{
  const char **paths = malloc((request->load_count + 1) * sizeof *paths);
  if (paths == NULL) return SB_ERR_MEMORY;
  paths[answer->path_count++] = request->source.path;
  for (size_t k = 0; k < request->load_count; k++) paths[answer->path_count++] = request->loads[k];
  answer->paths = paths;
  return SB_OK;
}

static enum sb_status begin(const struct sb_design_request *request, struct sb_design_answer *answer,
                            struct sb_faults *faults, struct sb_error *err)
{
  const struct sb_scenario_source *source = &request->source;
  *answer = (struct sb_design_answer){.identity = request->identity};
  *faults = (struct sb_faults){0};
  enum sb_status status = list_paths(request, answer);
  if (status == SB_OK) {
    status = sb_choices_load(source->path, source->sets, source->set_count, &answer->base, faults);
  }
  if (status != SB_OK) return status;
  answer->choices = answer->base.choices;
  if (answer->choices == NULL) {
    return sb_fail(err, SB_ERR_SCENARIO, "%s: needs a section choices, found none", source->path);
  }
  answer->needs = sb_needs_of(answer->choices);
  return SB_OK;
}

enum sb_status sb_design_search(const struct sb_design_request *request, struct sb_design_answer *answer,
                                struct sb_faults *faults, struct sb_error *err)
{
  const struct searching searching = {request, answer};
  struct tried tried = {.count = 0};
  enum sb_status status = begin(request, answer, faults, err);
  if (status == SB_OK) status = sb_machine_combine(request, answer, faults, err);
  if (status == SB_OK) status = sb_search_count(request, answer, err);
  if (status == SB_OK) status = search(&searching, &tried, err);
  clear(&tried);
  return status;
}

void sb_design_clear(struct sb_design_answer *answer)
{
  free(answer->designs);
  free(answer->combinations);
  free((void *)(uintptr_t)answer->paths);
  sb_scenario_clear(&answer->base);
  answer->designs = NULL;
  answer->combinations = NULL;
  answer->paths = NULL;
}

enum sb_status sb_design_write_scenario(FILE *out, const struct sb_design_request *request,
                                        const struct sb_design_answer *answer, int index, int load,
                                        const struct sb_table_taker *taker, struct sb_faults *faults)
{
  const struct sb_design *design = &answer->designs[index];
  struct sb_machine_sets sets;
  *faults = (struct sb_faults){0};
  enum sb_status status = sb_machine_set(request, answer->choices, &design->candidate, &design->control, &sets);
  if (status == SB_OK) {
    status = sb_choices_write_scenario(out, answer->paths[load], sets.items, sets.count, taker, faults);
  }
  sb_machine_sets_clear(&sets);
  return status;
}
