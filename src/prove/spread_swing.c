// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * spread_swing.c - whether any of many machines shifts for ever under a constant load, or under a little swing of it.
 *
 * A part of the machines, all between its slowest and its fastest one, is shown to be quiet as one machine is (swing.c): in cells of
 * the load in which commands come to an end. Where some cells are left, the part is halved along one of its dimensions, and only
 * the loads of these cells are asked again.
 */
#include <math.h>
#include <stdlib.h>

#include "prove/spread.h"

/* So many parts are looked at; a part is halved so often; the narrowest cells of the load as shares of its bounds, less by each halving. */
enum { PARTS_MAX = 128, HALVINGS_MAX = 14, CELLS = 16 };

struct part {
  double low[SB_TOLERANCE_MAX], high[SB_TOLERANCE_MAX]; /* shares */
};

struct asking {
  const struct sb_spread_maker *maker;
  struct sb_reach_commands *commands; /* scratch */
  double asked_nm;
  int parts;
  struct sb_spread_swing *out;
  enum sb_status status;
  struct sb_error *err;
};

static bool make_ends(struct asking *asking, const struct part *part, const struct sb_model *ends[2])
{
  const struct sb_spread_maker *maker = asking->maker;
  const double *shares[2] = {part->low, part->high};
  for (int end = 0; end < 2 && asking->status == SB_OK; end++) {
    asking->status = maker->make(maker->context, end, shares[end], &ends[end], asking->err);
  }
  return asking->status == SB_OK;
}

/* The part as one machine with edges; false: something failed. */
static bool open_part(struct asking *asking, const struct part *part, struct sb_reach *reach)
{
  const struct sb_model *ends[2];
  if (!make_ends(asking, part, ends)) return false;
  asking->status = sb_reach_init_between(reach, ends[0], ends, asking->err);
  if (asking->status != SB_OK) return false;
  sb_reach_all(reach, asking->commands);
  return true;
}

static void close_part(struct asking *asking, struct sb_reach *reach)
{
  if (asking->status == SB_OK && reach->edges.status != SB_OK) {
    asking->status = reach->edges.status;
    *asking->err = reach->edges.err;
  }
  sb_reach_clear(reach);
}

/* Whether a part is quiet between two loads; else where it may not be. INFINITY, -INFINITY: all loads. */
static bool is_quiet(struct asking *asking, const struct part *part, int halvings, double loads_nm[2])
{
  struct sb_reach reach;
  bool is_shown = false;
  if (!open_part(asking, part, &reach)) return false;
  const bool turns_back =
      asking->maker->is_forward_only && reach.edges.least_output_rad_s < -reach.edges.sizes.speed_rad_s;
  if (reach.trouble == NULL && !turns_back) {
    const struct sb_answer_range range = sb_answer_swinging(&reach);
    const double ends_nm[2] = {fmax(loads_nm[0], range.from_nm), fmin(loads_nm[1], range.to_nm)};
    const double narrow_nm = (range.to_nm - range.from_nm) / (CELLS << (halvings / asking->maker->count));
    is_shown = sb_answer_is_quiet(&reach, asking->commands, asking->asked_nm, narrow_nm, ends_nm, loads_nm);
  }
  close_part(asking, &reach);
  return is_shown;
}

/* Whether the machine in the middle of a part hunts at the load in the middle of what is left. */
static bool is_hunting(struct asking *asking, const struct part *part, const double loads_nm[2])
{
  struct part middle;
  struct sb_reach reach;
  for (int k = 0; k < asking->maker->count; k++) middle.low[k] = middle.high[k] = 0.5 * (part->low[k] + part->high[k]);
  const struct sb_model *ends[2];
  if (!make_ends(asking, &middle, ends)) return false;
  asking->status = sb_reach_init(&reach, ends[0], asking->err);
  if (asking->status != SB_OK) return false;
  sb_reach_all(&reach, asking->commands);
  const double load_nm = 0.5 * (loads_nm[0] + loads_nm[1]);
  const bool is_found = reach.trouble == NULL && sb_answer_hunts(&reach, asking->commands, load_nm);
  close_part(asking, &reach);
  if (!is_found) return false;
  asking->out->constant = SB_PROOF_DISPROVED;
  asking->out->shown_nm = load_nm;
  for (int k = 0; k < asking->maker->count; k++) asking->out->shown[k] = middle.low[k];
  return true;
}

static bool cover(struct asking *asking, const struct part *part, int halvings, const double loads_nm[2])
{
  double left_nm[2] = {loads_nm[0], loads_nm[1]};
  if (asking->status != SB_OK || asking->parts++ >= PARTS_MAX) return false;
  if (is_quiet(asking, part, halvings, left_nm)) return true;
  if (asking->status != SB_OK || halvings >= HALVINGS_MAX) return false;
  if (asking->asked_nm == 0.0 && halvings > 1 && is_hunting(asking, part, left_nm)) return false;
  const int k = halvings % asking->maker->count;
  struct part halves[2] = {*part, *part};
  halves[0].high[k] = halves[1].low[k] = 0.5 * (part->low[k] + part->high[k]);
  return cover(asking, &halves[0], halvings + 1, left_nm) && cover(asking, &halves[1], halvings + 1, left_nm);
}

static bool is_shown_for(struct asking *asking, double asked_nm)
{
  static const double all_nm[2] = {-INFINITY, INFINITY};
  struct part whole = {{0.0}, {0.0}};
  for (int k = 0; k < asking->maker->count; k++) whole.high[k] = 1.0;
  asking->asked_nm = asked_nm;
  asking->parts = 0;
  return cover(asking, &whole, 0, all_nm);
}

enum sb_status sb_spread_swing_solve(const struct sb_spread_maker *maker, double likely_nm, struct sb_spread_swing *out,
                                     struct sb_error *err)
{
  static const double shares[] = {0.9, 0.6, 0.3};
  struct asking asking = {.maker = maker, .out = out, .status = SB_OK, .err = err};
  *out = (struct sb_spread_swing){.constant = SB_PROOF_UNDECIDED};
  asking.commands = malloc(sizeof *asking.commands);
  if (asking.commands == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for the least swing");
  if (is_shown_for(&asking, 0.0)) {
    out->constant = SB_PROOF_PROVED;
    if (isinf(likely_nm) && is_shown_for(&asking, 1e300)) out->proved_nm = INFINITY;
    for (size_t k = 0; k < sizeof shares / sizeof *shares && isfinite(likely_nm) && out->proved_nm == 0.0; k++) {
      if (is_shown_for(&asking, shares[k] * likely_nm)) out->proved_nm = shares[k] * likely_nm;
    }
  }
  free(asking.commands);
  return asking.status;
}
