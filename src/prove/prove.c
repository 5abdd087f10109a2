// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/prove.h"

#include <limits.h>
#include <math.h>
#include <stdlib.h>

#include "prove/answer.h"
#include "prove/cells.h"
#include "theory/steady.h"

struct proving {
  struct sb_reach reach;
  const struct sb_model *slowest;
  struct sb_reach_commands all, lasting;
};

/* What is to be proved, of which machines. */
struct question {
  const struct sb_model *ends[SB_EDGE_SIDES];
  bool is_swing_asked, is_forward_only;
  bool forgoes_boxes; /* what would need them is outside */
};

static const char locks_itself[] =
    "gearbox.back_efficiency: a gear locks itself, and machines within the tolerances differ";
static const char turns_back[] = "tolerances: friction, drag and losses turn over where the output turns backwards";

const char *sb_prove_proof_word(enum sb_proof proof)
{
  static const char *const words[] = {"proved", "disproved", "undecided", "no counterexample"};
  return words[proof];
}

const char *const sb_prove_bound_words[] = {
#define BOUND_WORDS(name, member, words, unit) words,
    SB_PROVE_BOUND_LIST(BOUND_WORDS)
#undef BOUND_WORDS
        NULL};

enum sb_prove_bound sb_prove_bound_of(enum sb_prove_statement statement)
{
  static const enum sb_prove_bound bounds[] = {[SB_PROVE_STALL] = SB_PROVE_STANDING,
                                               [SB_PROVE_RETURN] = SB_PROVE_RETURN_TIME,
                                               [SB_PROVE_CONSTANT] = SB_PROVE_SWING,
                                               [SB_PROVE_REACTION] = SB_PROVE_REACTION_TIME};
  return bounds[statement];
}

static double cycle_s(const struct sb_reach *reach, int samples)
{
  return samples == INT_MAX ? NAN : samples * reach->edges.sample_s;
}

static void note_shifts(struct proving *proving, struct sb_prove *out)
{
  const struct sb_answer_shifts shifts = proving->reach.has_boxes ? sb_answer_box_shifts(&proving->reach, &proving->all)
                                                                  : sb_answer_shifts(&proving->reach, &proving->all);
  out->bounds[SB_PROVE_SHIFT] = shifts.longest_s;
  out->bounds[SB_PROVE_STANDSTILL] = shifts.standstill_s;
  out->bounds[SB_PROVE_OUTPUT] = shifts.least_output_rad_s;
  out->bounds[SB_PROVE_SHOCK] = fmax(shifts.shock_nms[SB_REACH_DOWN], shifts.shock_nms[SB_REACH_UP]);
  for (int way = 0; way < SB_REACH_WAYS; way++) out->shock_nms[way] = shifts.shock_nms[way];
  if (!proving->reach.edges.has_clutch) return;
  out->bounds[SB_PROVE_SHOCK] = out->shock_nms[0] = out->shock_nms[1] = NAN; /* the sides of a clutch meet */
}

static void note_extremes(const struct proving *proving, struct sb_prove *out)
{
  const struct sb_edge_extremes *extremes = &proving->reach.edges.extremes;
  const double slip_nm = proving->reach.has_boxes ? proving->reach.slip_nm : 0.0;
  out->bounds[SB_PROVE_TORQUE] = fmax(extremes->torque_nm, slip_nm);
  out->bounds[SB_PROVE_SPEED] = extremes->motor_rad_s;
  out->bounds[SB_PROVE_CURRENT] = out->model->motor.has_currents ? extremes->current_a : NAN;
}

/* How long the output stands, and until it is settled. */
static void note_waits(struct proving *proving, struct sb_prove *out)
{
  struct sb_reach *reach = &proving->reach;
  if (reach->has_boxes) {
    out->bounds[SB_PROVE_STANDING] = sb_answer_box_standing(reach, &proving->all);
    out->bounds[SB_PROVE_RETURN_TIME] = sb_answer_box_settle(reach, &proving->all, SB_REACH_UP);
    out->bounds[SB_PROVE_REACTION_TIME] = sb_answer_box_settle(reach, &proving->all, SB_REACH_DOWN);
    return;
  }
  out->bounds[SB_PROVE_STANDING] = sb_answer_standing(reach, &proving->all);
  out->bounds[SB_PROVE_RETURN_TIME] = sb_answer_settle(reach, &proving->all, SB_REACH_UP);
  out->bounds[SB_PROVE_REACTION_TIME] = sb_answer_settle(reach, &proving->all, SB_REACH_DOWN);
  out->stopped_gear = sb_answer_stopped_gear(reach);
  if (out->stopped_gear > 0) out->bounds[SB_PROVE_REACTION_TIME] = INFINITY; /* it needs a slower one, and gets none */
}

static void note_cycles(struct proving *proving, struct sb_prove *out)
{
  struct sb_reach *reach = &proving->reach;
  out->bounds[SB_PROVE_CYCLE_ONCE] = cycle_s(reach, sb_answer_cycle(reach, &proving->all));
  out->bounds[SB_PROVE_CYCLE_LASTING] = cycle_s(reach, sb_answer_cycle(reach, &proving->lasting));
}

/* The least of the gears' loads up to which each is left upwards. */
static double return_up_to_nm(const struct proving *proving)
{
  const struct sb_model *model = proving->slowest;
  const struct sb_motor_line line = sb_motor_line_driven(&model->motor, &model->supply, model->drive.limit_fraction);
  double least_nm = INFINITY;
  for (int g = 0; g + 1 < proving->reach.gear_count; g++) {
    const double reading = proving->reach.gears[g].upshift_rad_s / model->control.sensor.reference_rad_s;
    least_nm = fmin(least_nm, sb_steady_load_nm(model, &line, g, reading));
  }
  return least_nm;
}

static enum sb_proof unless(bool is_proved, bool is_disproved)
{
  if (is_proved) return SB_PROOF_PROVED;
  return is_disproved ? SB_PROOF_DISPROVED : SB_PROOF_UNDECIDED;
}

static void judge(struct sb_prove *out)
{
  const double *bounds = out->bounds;
  const bool is_exact = !out->is_safe_only;
  const bool is_stalling = isinf(bounds[SB_PROVE_STANDING]);
  enum sb_proof *statements = out->statements;
  statements[SB_PROVE_STALL] =
      unless(bounds[SB_PROVE_STANDING] <= out->model->limits.stall_time_s, is_stalling && is_exact);
  statements[SB_PROVE_RETURN] = unless(isfinite(bounds[SB_PROVE_RETURN_TIME]), is_exact);
  statements[SB_PROVE_REACTION] = unless(!isinf(bounds[SB_PROVE_REACTION_TIME]), is_exact);
  statements[SB_PROVE_CONSTANT] = unless(out->least_swing_proved_nm > 0.0, bounds[SB_PROVE_SWING] == 0.0 && is_exact);
}

static void note_swing(struct proving *proving, struct sb_prove *out)
{
  const struct sb_answer_swing swing = sb_answer_swing(&proving->reach, &proving->all);
  out->bounds[SB_PROVE_SWING] = proving->reach.has_boxes ? swing.proved_nm : swing.least_nm;
  out->least_swing_proved_nm = swing.proved_nm;
  out->swing_at_nm[0] = swing.at_nm[0];
  out->swing_at_nm[1] = swing.at_nm[1];
}

/* A load of bounded rate reaches less. */
static enum sb_status tighten(struct sb_reach *reach, struct sb_prove *out)
{
  struct sb_cells cells;
  if (!sb_cells_apply(reach, out->bounds[SB_PROVE_SHIFT])) return SB_OK;
  enum sb_status status = sb_cells_init(&cells, reach, out->bounds[SB_PROVE_SHIFT]);
  out->is_rate_used = !cells.has_left;
  if (status == SB_OK && out->is_rate_used) status = sb_cells_tighten(&cells, out);
  sb_cells_clear(&cells);
  return status;
}

static enum sb_status solve(struct proving *proving, const struct question *question, struct sb_prove *out)
{
  struct sb_reach *reach = &proving->reach;
  const bool is_spread = question->ends[0] != question->ends[1];
  reach->forgoes_boxes = question->forgoes_boxes;
  sb_reach_all(reach, &proving->all);
  out->outside = reach->trouble;
  if (reach->trouble != NULL || reach->edges.status != SB_OK) return reach->edges.status;
  (void)sb_reach_lasting(reach, &proving->all, &proving->lasting);
  sb_answer_commands(reach, &proving->all, out);
  note_shifts(proving, out);
  note_extremes(proving, out);
  note_waits(proving, out);
  note_cycles(proving, out);
  if (question->is_swing_asked) note_swing(proving, out);
  if (question->is_forward_only && reach->edges.least_output_rad_s < -reach->edges.sizes.speed_rad_s) {
    out->outside = turns_back;
  }
  if (reach->has_boxes && reach->trouble != NULL) out->outside = reach->trouble;
  out->has_boxes = reach->has_boxes;
  out->return_up_to_nm = reach->has_boxes ? (double)NAN : return_up_to_nm(proving);
  if (!is_spread && tighten(reach, out) != SB_OK) return reach->edges.status;
  out->is_safe_only = is_spread || reach->has_boxes || isfinite(out->model->load.bounds.rate_nm_s);
  judge(out);
  return reach->edges.status;
}

static void note_load(const struct sb_edge_load *load, struct sb_prove *out)
{
  out->lightest_nm = sb_edge_least_nm(load);
  out->heaviest_nm = sb_edge_greatest_nm(load);
  for (int end = 0; end < 2; end++) {
    out->acting_nm[end] = load->acting_nm[end];
    out->resisting_nm[end] = load->resisting_nm[end];
  }
}

static enum sb_status solve_model(const struct sb_model *model, const struct question *question, struct sb_prove *out,
                                  struct sb_error *err)
{
  const bool is_between = question->ends[0] != question->ends[1];
  const bool has_locking =
      sb_gearbox_has_locking(&question->ends[0]->gearbox) || sb_gearbox_has_locking(&question->ends[1]->gearbox);
  *out =
      (struct sb_prove){.model = model, .outside = sb_prove_outside(model), .return_up_to_nm = NAN, .stopped_gear = -1};
  for (int end = 0; end < 2 && out->outside == NULL; end++) out->outside = sb_prove_outside(question->ends[end]);
  if (out->outside == NULL && is_between && has_locking) out->outside = locks_itself;
  for (int k = 0; k < SB_PROVE_BOUNDS; k++) out->bounds[k] = out->reached[k] = NAN;
  for (int k = 0; k < SB_PROVE_STATEMENTS; k++) out->statements[k] = SB_PROOF_UNDECIDED;
  const struct sb_edge_load load = sb_edge_load_between(question->ends);
  note_load(&load, out);
  if (out->outside != NULL) return SB_OK;
  struct proving *proving = calloc(1, sizeof *proving);
  if (proving == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for a proof");
  proving->slowest = question->ends[SB_EDGE_SLOW];
  enum sb_status status = sb_reach_init_between(&proving->reach, model, question->ends, err);
  if (status == SB_OK) {
    status = solve(proving, question, out);
    if (status != SB_OK) *err = proving->reach.edges.err;
    sb_reach_clear(&proving->reach);
  }
  free(proving);
  return status;
}

enum sb_status sb_prove_solve(const struct sb_model *model, struct sb_prove *out, struct sb_error *err)
{
  const struct question question = {.ends = {model, model}, .is_swing_asked = true};
  return solve_model(model, &question, out, err);
}

enum sb_status sb_prove_solve_sharply(const struct sb_model *model, struct sb_prove *out, struct sb_error *err)
{
  const struct question question = {.ends = {model, model}, .is_swing_asked = true, .forgoes_boxes = true};
  return solve_model(model, &question, out, err);
}

enum sb_status sb_prove_solve_quickly(const struct sb_model *model, struct sb_prove *out, struct sb_error *err)
{
  const struct question question = {.ends = {model, model}};
  return solve_model(model, &question, out, err);
}

enum sb_status sb_prove_solve_between(const struct sb_model *model, const struct sb_prove_machines *machines,
                                      struct sb_prove *out, struct sb_error *err)
{
  const struct question question = {.ends = {machines->slowest, machines->fastest},
                                    .is_forward_only = machines->is_forward_only};
  return solve_model(model, &question, out, err);
}
