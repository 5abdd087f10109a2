// SPDX-License-Identifier: GPL-3.0-or-later
#include "design/search.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "base/constants.h"
#include "design/drops.h"

/* Slices that are worked on before their machines are put together: bounds the memory that they take. */
enum { SLICE_BATCH = 64 };

/* ---- closed forms ---- */

/* Efficiency of a path of so many meshes. */
static double efficiency_of(const struct sb_combination *combination, int meshes)
{
  double efficiency = 1.0;
  for (int k = 0; k < meshes; k++) efficiency *= combination->mesh_efficiency;
  return efficiency;
}

/* At most this speed of the output in one gear. */
static double gear_speed_rad_s(const struct sb_combination *own, double ratio, double efficiency, double load_nm)
{
  const double reduced = ratio * efficiency;
  const double torque_nm = fmin(own->stall_nm, own->limit_nm) - own->friction_nm - load_nm / reduced;
  if (!(torque_nm > 0.0)) return 0.0;
  const double free_nm = own->stall_nm - own->friction_nm - load_nm / reduced;
  return free_nm / (own->slope_nms_rad + own->viscous_nms_rad / (ratio * reduced)) / ratio;
}

double sb_search_speed_rad_s(const struct sb_combination *combination, const struct sb_candidate *candidate,
                             double load_nm)
{
  double best = 0.0;
  for (int s = 0; s < candidate->box.speeds; s++) {
    const double efficiency = efficiency_of(combination, sb_box_mesh_count(&candidate->box, s));
    best = fmax(best, gear_speed_rad_s(combination, candidate->ratios[s], efficiency, load_nm));
  }
  return best;
}

/* The part of a search that one thread works on. */
struct part {
  const struct sb_design_answer *answer;
  struct sb_needs needs;
  struct sb_motions motions;
  double stock_count, ratio_count, unfit_count;
  bool is_swing, is_out_of_memory, is_over;
  FILE *all;
};

/* The least load of a tooth, in the gears that carry a load at the speed that is wanted; NAN: none does, or no strength is known. */
static double tooth_under(const struct part *part, const struct sb_combination *combination,
                          const struct sb_candidate *candidate, const struct sb_need *need)
{
  const struct sb_shelf *shelf = &part->answer->choices->shelf;
  double least = NAN;
  for (int s = 0; s < candidate->box.speeds; s++) {
    const double efficiency = efficiency_of(combination, sb_box_mesh_count(&candidate->box, s));
    const double speed_rad_s = gear_speed_rad_s(combination, candidate->ratios[s], efficiency, need->load_nm);
    if (!sb_needs_is_met(need, speed_rad_s)) continue;
    const struct sb_tooth_load load =
        sb_box_speed_tooth_load_per_nm(&candidate->box, shelf, combination->mesh_efficiency, s);
    least = fmin(isnan(least) ? INFINITY : least, need->load_nm * load.fraction);
  }
  return least;
}

static double greatest_tooth(const struct part *part, const struct sb_combination *combination,
                             const struct sb_candidate *candidate)
{
  double greatest = NAN;
  for (int k = 0; k < part->needs.count; k++) {
    const struct sb_need *need = &part->needs.items[k];
    if (need->kind == SB_NEED_SPEED) greatest = fmax(greatest, tooth_under(part, combination, candidate, need));
  }
  return greatest;
}

static double bound_of(const struct part *part, const struct sb_combination *combination,
                       const struct sb_candidate *candidate, const struct sb_need *need)
{
  const int last = candidate->box.speeds - 1;
  switch (need->kind) {
    case SB_NEED_SPEED: return sb_search_speed_rad_s(combination, candidate, need->load_nm);
    case SB_NEED_MOST_SPEED:
      return combination->is_linear ? sb_search_speed_rad_s(combination, candidate, need->load_nm) : (double)NAN;
    case SB_NEED_FINISH: return combination->finish_per_ratio_s * candidate->ratios[last];
    case SB_NEED_LENGTH: return sb_box_length_m(&candidate->box, part->answer->choices->shelf.module_m);
    case SB_NEED_TOOTH: return greatest_tooth(part, combination, candidate);
    default: return NAN;
  }
}

static bool has_same_ratios(const struct sb_candidate *candidate)
{
  for (int s = 1; s < candidate->box.speeds; s++) {
    if (candidate->ratios[s] == candidate->ratios[s - 1]) return true;
  }
  return false;
}

static void judge(struct part *part, struct sb_candidate *candidate)
{
  const struct sb_combination *combination = &part->answer->combinations[candidate->combination];
  double values[SB_NEED_MAX];
  for (int k = 0; k < part->needs.count; k++) {
    values[k] = bound_of(part, combination, candidate, &part->needs.items[k]);
  }
  const int missed = sb_needs_judge(&part->needs, values);
  if (missed >= 0) {
    sb_drops_write(part->all, part->answer, candidate, part->needs.items[missed].path);
    return;
  }
  candidate->tooth =
      sb_box_tooth_load_per_nm(&candidate->box, &part->answer->choices->shelf, combination->mesh_efficiency);
  struct sb_candidate loser;
  const enum sb_kept kept = sb_motions_add(&part->motions, candidate, &loser);
  if (kept == SB_KEPT_SAME) sb_drops_write(part->all, part->answer, &loser, sb_drops_words(SB_DROP_SAME));
  part->is_out_of_memory = part->is_out_of_memory || kept == SB_KEPT_NO_MEMORY;
  part->is_over = part->motions.count > SB_DESIGN_KEPT_MAX;
}

/* One box in all combinations whose shifter it is made for. */
static bool take_box(void *context, const struct sb_box *box)
{
  struct part *part = context;
  const struct sb_design_answer *answer = part->answer;
  struct sb_candidate candidate = {.box = *box};
  for (int s = 0; s < box->speeds; s++) candidate.ratios[s] = sb_box_ratio(box, s);
  const bool is_there = sb_box_is_in_stock(box, &answer->choices->shelf);
  const bool is_double = has_same_ratios(&candidate);
  for (int k = 0; k < answer->combination_count; k++) {
    if (answer->combinations[k].is_swing != part->is_swing) continue;
    candidate.combination = k;
    if (!is_there) {
      part->stock_count += 1.0;
      sb_drops_write(part->all, answer, &candidate, sb_drops_words(SB_DROP_STOCK));
    } else if (is_double) {
      part->ratio_count += 1.0;
      sb_drops_write(part->all, answer, &candidate, sb_drops_words(SB_DROP_RATIO));
    } else {
      judge(part, &candidate);
    }
  }
  return !part->is_out_of_memory && !part->is_over;
}

/* ---- counting ---- */

static bool has_kind(const struct sb_design_answer *answer, bool is_swing)
{
  for (int k = 0; k < answer->combination_count; k++) {
    if (answer->combinations[k].is_swing == is_swing) return true;
  }
  return false;
}

static double combinations_of(const struct sb_design_answer *answer, bool is_swing)
{
  double count = 0.0;
  for (int k = 0; k < answer->combination_count; k++) count += answer->combinations[k].is_swing == is_swing;
  return count;
}

static enum sb_status refuse_count(const struct sb_design_request *request, const struct sb_design_answer *answer,
                                   struct sb_error *err)
{
  const struct sb_shelf *shelf = &answer->choices->shelf;
  const char *path = request->source.path;
  if (answer->machine_count == 0.0) {
    return sb_fail(
        err, SB_ERR_SCENARIO,
        "%s: choices.wheels: no box can be made of these %d wheels: no two pairs have sums of teeth that fit "
        "between the same axles, or no shifter fits the number of speeds",
        path, shelf->teeth_count);
  }
  return sb_fail(err, SB_ERR_SCENARIO,
                 "%s: choices: needs at most %.0f machines, found %.4g: %.4g boxes in %d combinations; narrow stages "
                 "(%d..%d), speeds (%d..%d), teeth (%d wheels) or another choice",
                 path, SB_DESIGN_COUNT_MAX, answer->machine_count, answer->box_count, answer->combination_count,
                 shelf->stages[0], shelf->stages[1], shelf->speeds[0], shelf->speeds[1], shelf->teeth_count);
}

enum sb_status sb_search_count(const struct sb_design_request *request, struct sb_design_answer *answer,
                               struct sb_error *err)
{
  const struct sb_shelf *shelf = &answer->choices->shelf;
  if (!shelf->is_present) {
    answer->box_count = 1.0;
    answer->machine_count = answer->combination_count;
    return SB_OK;
  }
  struct sb_box_plan *plan = sb_boxes_plan(shelf, has_kind(answer, false), has_kind(answer, true));
  if (plan == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for boxes");
  for (int swing = 0; swing < 2; swing++) {
    const double count = sb_boxes_count(plan, swing != 0);
    answer->box_count += count;
    answer->machine_count += count * combinations_of(answer, swing != 0);
  }
  sb_boxes_free(plan);
  const bool is_fit = answer->machine_count > 0.0 && answer->machine_count <= SB_DESIGN_COUNT_MAX;
  return is_fit ? SB_OK : refuse_count(request, answer, err);
}

/* ---- slices as tasks ---- */

struct slicing {
  const struct sb_design_request *request;
  const struct sb_design_answer *answer;
  const struct sb_box_plan *plan;
  long first;
};

/* A part's counts and machines as bytes: they go no farther than this process. */
static enum sb_status run_slice(void *context, long index, struct sb_lines *out, struct sb_error *err)
{
  const struct slicing *slicing = context;
  const struct sb_box_slice slice = sb_boxes_slice(slicing->plan, slicing->first + index);
  struct part *part = calloc(1, sizeof *part);
  if (part == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for boxes");
  part->answer = slicing->answer;
  part->needs = sb_needs_of(slicing->answer->choices);
  part->is_swing = slice.is_swing;
  char *rows = NULL;
  size_t length = 0;
  if (slicing->request->all != NULL) part->all = open_memstream(&rows, &length);
  sb_boxes_visit(slicing->plan, &slice, take_box, part);
  if (part->all != NULL) fclose(part->all);
  part->all = NULL;
  enum sb_status status = SB_OK;
  if (part->is_out_of_memory) status = sb_fail(err, SB_ERR_MEMORY, "out of memory for boxes");
  if (part->is_over) {
    status = sb_fail(err, SB_ERR_SCENARIO,
                     "more than %d machines that move differently meet require: ask for more there, or narrow choices",
                     SB_DESIGN_KEPT_MAX);
  }
  if (status == SB_OK) {
    sb_lines_add_bytes(out, (const char *)part, sizeof *part);
    if (part->motions.count > 0) {
      sb_lines_add_bytes(out, (const char *)part->motions.items, part->motions.count * sizeof(struct sb_candidate));
    }
    if (length > 0) sb_lines_add_bytes(out, rows, length);
  }
  free(rows);
  sb_motions_clear(&part->motions);
  free(part);
  return status;
}

/* Puts a part's machines to those of the parts before it. */
static enum sb_status merge(const struct sb_design_request *request, struct sb_design_answer *answer,
                            struct sb_motions *motions, const struct sb_lines *lines, struct sb_error *err)
{
  struct part part;
  memcpy(&part, lines->text, sizeof part);
  sb_needs_add(&answer->needs, &part.needs);
  answer->stock_count += part.stock_count;
  answer->ratio_count += part.ratio_count;
  motions->same_count += part.motions.same_count;
  const char *at = lines->text + sizeof part;
  for (size_t k = 0; k < part.motions.count; k++, at += sizeof(struct sb_candidate)) {
    struct sb_candidate candidate, loser;
    memcpy(&candidate, at, sizeof candidate);
    const enum sb_kept kept = sb_motions_add(motions, &candidate, &loser);
    if (kept == SB_KEPT_NO_MEMORY) return sb_fail(err, SB_ERR_MEMORY, "out of memory for boxes");
    if (kept == SB_KEPT_SAME) sb_drops_write(request->all, answer, &loser, sb_drops_words(SB_DROP_SAME));
  }
  if (request->all != NULL) fwrite(at, 1, (size_t)(lines->text + lines->length - at), request->all);
  if (motions->count <= SB_DESIGN_KEPT_MAX) return SB_OK;
  return sb_fail(err, SB_ERR_SCENARIO,
                 "%s: more than %d machines that move differently meet require: ask for more there, or narrow choices",
                 request->source.path, SB_DESIGN_KEPT_MAX);
}

static enum sb_status run_batch(struct slicing *slicing, long count, struct sb_design_answer *answer,
                                struct sb_motions *motions, struct sb_error *err)
{
  const struct sb_tasks tasks = {.about = "", .task_count = count, .run_task = run_slice, .context = slicing};
  struct sb_tasks_options options = sb_tasks_options_default();
  struct sb_tasks_result result;
  options.jobs = slicing->request->jobs;
  options.stop = slicing->request->stop;
  enum sb_status status = sb_tasks_run(&tasks, &options, &result, err);
  if (status != SB_OK) return status;
  if (result.is_interrupted) status = sb_fail(err, SB_ERR_STOPPED, "stopped");
  for (long k = 0; k < count && status == SB_OK; k++) {
    status = merge(slicing->request, answer, motions, &result.tasks[k], err);
  }
  sb_tasks_result_clear(&result);
  return status;
}

/* Without a shelf the gears are those of the scenario, and the combinations are all there is. */
static enum sb_status take_combinations(struct sb_design_answer *answer, struct sb_motions *motions)
{
  for (int k = 0; k < answer->combination_count; k++) {
    const struct sb_candidate candidate = {.combination = k, .tooth = {NAN, NAN}};
    if (!sb_grow(&motions->items, &motions->room, motions->count, sizeof motions->items[0])) return SB_ERR_MEMORY;
    motions->items[motions->count++] = candidate;
  }
  answer->kept_count = answer->combination_count;
  return SB_OK;
}

enum sb_status sb_search_run(const struct sb_design_request *request, struct sb_design_answer *answer,
                             struct sb_motions *motions, struct sb_error *err)
{
  const struct sb_shelf *shelf = &answer->choices->shelf;
  if (!shelf->is_present) return take_combinations(answer, motions);
  struct sb_box_plan *plan = sb_boxes_plan(shelf, has_kind(answer, false), has_kind(answer, true));
  if (plan == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for boxes");
  struct slicing slicing = {.request = request, .answer = answer, .plan = plan};
  const long slices = sb_boxes_slice_count(plan);
  enum sb_status status = SB_OK;
  for (long first = 0; first < slices && status == SB_OK; first += SLICE_BATCH) {
    const long count = slices - first < SLICE_BATCH ? slices - first : SLICE_BATCH;
    if (request->on_progress != NULL) request->on_progress(request->context, first, slices);
    slicing.first = first;
    status = run_batch(&slicing, count, answer, motions, err);
  }
  sb_boxes_free(plan);
  answer->same_count = motions->same_count;
  answer->kept_count = (long)motions->count;
  return status;
}
