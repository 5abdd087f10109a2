// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * spread.h - what holds over the tolerances of a scenario, for every load within bounds.
 *
 * A tolerance that orders the motion the same way is a bound like those of the load: whatever value it has, courses lie between that
 * of the slowest machine and that of the fastest (edge.h). The supply's voltage does so, torques of the load, and while the output
 * turns forward what follows speed, drag and the efficiencies. The others are sampled: their nominal values, their ends,
 * and evenly between (scenario.h); for each sample all is proved over the bounds.
 *
 * Bounds between two machines are wider than what any of them reaches. Whether a constant load makes one hunt is asked in parts:
 * a part of the loads with a part of the machines, halved until in each of them shifts come to an end (spread_swing.c).
 */
#ifndef SHIFTBAND_PROVE_SPREAD_H
#define SHIFTBAND_PROVE_SPREAD_H

#include "prove/answer.h"
#include "shiftband/scenario.h"

struct sb_prove_spread {
  const struct sb_scenario *scenario;
  const char *sampled[SB_TOLERANCE_MAX]; /* why a tolerance is no bound; NULL: it is one */
  int bound_count, sample_count;
  const char *outside; /* what takes a sample out of the class; NULL: all are inside */
  enum sb_proof statements[SB_PROVE_STATEMENTS];
  double bounds[SB_PROVE_BOUNDS]; /* of all machines; the swing: no lesser one makes any of them shift for ever */
  char shown[SB_PROVE_STATEMENTS][SB_CHANGE_SIZE]; /* the machine that disproves */
};

/* Proves over all tolerances of a scenario; the source loads it again with other values. The same statuses as sb_prove_solve(), and those of
 * loading. */
enum sb_status sb_prove_spread_solve(const struct sb_scenario_source *source, const struct sb_scenario *scenario,
                                     const struct sb_prove *nominal, struct sb_prove_spread *out, struct sb_error *err);

/* Why a tolerance cannot be a bound, as words behind "is sampled: "; NULL: it can. Pure. */
const char *sb_prove_spread_why_sampled(const struct sb_model *model, const char *path);

/* For people, behind the text of a proof; one JSON object of both. Returns 0, or -1 when writing failed. */
int sb_prove_spread_write_text(const struct sb_prove_spread *spread, FILE *out);
int sb_prove_spread_write_json(const struct sb_prove *prove, const struct sb_prove_spread *spread, FILE *out);

/* Machines by shares of each of their dimensions: 0 is the slowest, 1 the fastest; valid until the next one of the same slot. */
enum { SB_SPREAD_SLOTS = 2 };
struct sb_spread_maker {
  int count; /* dimensions */
  bool is_forward_only;
  enum sb_status (*make)(void *context, int slot, const double *shares, const struct sb_model **out,
                         struct sb_error *err);
  void *context;
};

/* Whether constant loads, or a swing of the load, make any of the machines shift for ever. */
struct sb_spread_swing {
  enum sb_proof constant;
  double proved_nm;                         /* no lesser swing does; INFINITY: none within the bounds */
  double shown_nm, shown[SB_TOLERANCE_MAX]; /* the load and the machine's shares that disprove */
};

/* `likely_nm` is the least swing of one of the machines, where the search begins. */
enum sb_status sb_spread_swing_solve(const struct sb_spread_maker *maker, double likely_nm, struct sb_spread_swing *out,
                                     struct sb_error *err);

#endif
