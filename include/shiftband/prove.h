// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * prove.h - what holds for every load within bounds, whatever its profile.
 *
 * A run speaks of one load profile. Where only bounds of the torque are known, the speeds that the machine can have are intervals
 * between two courses that no other one crosses, and the controller cuts them at its thresholds; the sets that come of it
 * are carried from command to command until none grows any more. Which load profile leads where does not matter: over time,
 * over turns or over places.
 *
 * Inside the class: a rigid machine in open loop at one voltage, all shifters, sampling, start delay, dwell, debounce, rounding
 * and filter of a reading of the speed. What takes a scenario out of it is named by its key.
 *
 * A clutch that slips in gear, or is engaged only after some first decisions, makes boxes of the sets (src/prove/edge_clutch.h): safe,
 * not exact.
 *
 * A bounded rate of the load (load.bounds.rate) makes its torque a coordinate of the sets, in cells (src/prove/cells.h): safe, not exact.
 *
 * Source: shared with src/prove/edge.h.
 */
#ifndef SHIFTBAND_PROVE_H
#define SHIFTBAND_PROVE_H

#include <signal.h>
#include <stdio.h>

#include "shiftband/model.h"

/* What is said of a statement. */
enum sb_proof {
  SB_PROOF_PROVED,    /* no load profile within the bounds does otherwise */
  SB_PROOF_DISPROVED, /* one does */
  SB_PROOF_UNDECIDED, /* a set was too wide to tell, or nobody asked */
  SB_PROOF_UNSHOWN    /* nothing can be proved, and no run among those tried shows the contrary */
};

/* The statements: X(name, JSON member). The output never stands in gear for longer than limits.stall_time; the fastest gear is
 * engaged for good once the load stays at its lightest; no constant load makes the box hunt; it settles in a gear once the
 * load stays at its heaviest. */
#define SB_PROVE_STATEMENT_LIST(X)           \
  X(STALL, "never_stalls")                   \
  X(RETURN, "returns")                       \
  X(CONSTANT, "constant_load_does_not_hunt") \
  X(REACTION, "settles_under_the_heaviest_load")

enum sb_prove_statement {
#define SB_PROVE_STATEMENT(name, member) SB_PROVE_##name,
  SB_PROVE_STATEMENT_LIST(SB_PROVE_STATEMENT)
#undef SB_PROVE_STATEMENT
      SB_PROVE_STATEMENTS
};

/* Bounds that no load profile exceeds; NAN: there is no such thing, INFINITY: there is no bound. X(name, JSON member, words, unit) */
#define SB_PROVE_BOUND_LIST(X)                                                              \
  X(STANDING, "longest_standstill_in_gear_s", "longest standstill in gear", "s")            \
  X(RETURN_TIME, "longest_return_s", "longest return", "s")                                 \
  X(REACTION_TIME, "longest_reaction_s", "longest reaction", "s")                           \
  X(CYCLE_ONCE, "fastest_cycle_once_s", "fastest cycle", "s")                               \
  X(CYCLE_LASTING, "fastest_cycle_lasting_s", "fastest lasting cycle", "s")                 \
  X(SWING, "least_swing_nm", "least swing", "N.m")                                          \
  X(SHIFT, "longest_shift_s", "longest shift", "s")                                         \
  X(STANDSTILL, "longest_standstill_in_shift_s", "longest standstill in a shift", "s")      \
  X(OUTPUT, "least_output_speed_in_shift_rad_s", "lowest output speed in a shift", "rad/s") \
  X(SHOCK, "greatest_engagement_shock_nms", "greatest engagement shock", "N.m.s")           \
  X(TORQUE, "greatest_torque_nm", "greatest torque", "N.m")                                 \
  X(SPEED, "greatest_motor_speed_rad_s", "greatest motor speed", "rad/s")                   \
  X(CURRENT, "greatest_current_a", "greatest current", "A")

enum sb_prove_bound {
#define SB_PROVE_BOUND(name, member, words, unit) SB_PROVE_##name,
  SB_PROVE_BOUND_LIST(SB_PROVE_BOUND)
#undef SB_PROVE_BOUND
      SB_PROVE_BOUNDS
};

/* Readings at which a gear's commands come, fractions of the reference; NAN: they never do. */
struct sb_prove_commands {
  double downshift_from, downshift_to, upshift_from, upshift_to;
};

enum { SB_PROVE_CORNERS_MAX = 48 };

/* A load profile over time: from each time on these torques, or straight lines between them. */
struct sb_prove_profile {
  int count;
  bool is_linear;
  double time_s[SB_PROVE_CORNERS_MAX], acting_nm[SB_PROVE_CORNERS_MAX], resisting_nm[SB_PROVE_CORNERS_MAX];
  double duration_s; /* of the run that shows it */
};

struct sb_prove {
  const struct sb_model *model;
  const char *outside; /* the key that takes the scenario out of the class, with words why; NULL: it is inside */
  double lightest_nm, heaviest_nm;      /* of the torque from outside, forward */
  double acting_nm[2], resisting_nm[2]; /* the bounds themselves */
  int stopped_gear; /* from 0: that the heaviest load stops for good, for no reading takes it into a slower one; -1: none, or has_boxes */
  double return_up_to_nm; /* the greatest constant load from which the fastest gear is engaged again; NAN: has_boxes */
  enum sb_proof statements[SB_PROVE_STATEMENTS];
  double bounds[SB_PROVE_BOUNDS];
  double shock_nms[2];          /* the greatest of downshifts, of upshifts */
  double swing_at_nm[2];        /* where the least swing lies */
  double least_swing_proved_nm; /* no lesser swing makes it shift for ever */
  struct sb_prove_commands commands[SB_GEAR_MAX];
  bool is_safe_only; /* some set is wider than what can be reached */
  bool has_boxes;    /* since a clutch slips in gear under some load, or engages after some first decisions */
  bool is_rate_used; /* the bounds count on the greatest rate of the load */

  /* What runs come to at worst, as far as they were sought, and the profiles that lead there; NAN: none was found. */
  double reached[SB_PROVE_BOUNDS];
  struct sb_prove_profile profiles[SB_PROVE_BOUNDS];
  long run_count; /* of the search */
  long try_count; /* where nothing can be proved: profiles that were tried */
};

/* Proves what there is to prove. The model outlives the result. SB_ERR_MEMORY, or the status of a simulation. */
enum sb_status sb_prove_solve(const struct sb_model *model, struct sb_prove *out, struct sb_error *err);

/* The same in a few hundredths of a second (with a rate, in some seconds): without the least swing, so that nothing is said of constant loads. */
enum sb_status sb_prove_solve_quickly(const struct sb_model *model, struct sb_prove *out, struct sb_error *err);

/* All machines between two that differ in figures which the motion is ordered by. */
struct sb_prove_machines {
  const struct sb_model *slowest, *fastest;
  bool is_forward_only; /* they are ordered while the output does not turn backwards: friction, drag, losses */
};

/* The same bounds of all of them, for a machine whose figures stay what they are and for one in which they change; without the least
 * swing. They are safe: a statement is proved or undecided. */
enum sb_status sb_prove_solve_between(const struct sb_model *model, const struct sb_prove_machines *machines,
                                      struct sb_prove *out, struct sb_error *err);

/* The answers in a sentence or two, without constant loads; "" where nothing can be proved. */
struct sb_prove_line {
  char text[512];
};
struct sb_prove_line sb_prove_line(const struct sb_prove *prove);

/* Seeks load profiles whose runs come near to the bounds, and disprove what is not proved. The same statuses. */
enum sb_status sb_prove_search(struct sb_prove *prove, struct sb_error *err);

/* How long to try: runs; `stop` raised ends it, `on_progress` is told after each; both may be NULL. */
struct sb_prove_effort {
  long tries;
  const volatile sig_atomic_t *stop;
  void (*on_progress)(void *context, long done, long total);
  void *context;
};

/* Where nothing can be proved (`outside`): seeks counterexamples by runs over load profiles of a few corners within the bounds, random
 * ones and those that a minimizer finds. A statement is then disproved, its profile in profiles[sb_prove_bound_of()], or not shown to be
 * wrong. SB_ERR_STOPPED, and those above. */
enum sb_status sb_prove_try(struct sb_prove *prove, const struct sb_prove_effort *effort, struct sb_error *err);

/* A run of more than this share of a bound shows that the bound is exact. */
#define SB_PROVE_EXACT_SHARE 0.99

/* Writes the scenario with the profile of a bound in place of the load's parts that do not follow the speed. Returns 0, or -1 when
 * writing failed. */
int sb_prove_write_scenario(const struct sb_prove *prove, enum sb_prove_bound bound, FILE *out);

/* Whether such a scenario can be written: a holding brake has no key without its hoist. Pure. */
bool sb_prove_can_write(const struct sb_prove *prove);

/* The bound that a statement hangs on. Pure. */
enum sb_prove_bound sb_prove_bound_of(enum sb_prove_statement statement);

/* The words of a bound as an option takes them, by number; NULL at the end. */
extern const char *const sb_prove_bound_words[];

/* The key that takes a model out of the class, with words why; NULL: it is inside. Pure. */
const char *sb_prove_outside(const struct sb_model *model);

/* The member of JSON, words and unit of a statement and a bound. Constant strings. */
const char *sb_prove_proof_word(enum sb_proof proof);

/* Writes the answers for people, or as one JSON object. Returns 0, or -1 when writing failed. */
int sb_prove_write_text(const struct sb_prove *prove, FILE *out);
int sb_prove_write_json(const struct sb_prove *prove, FILE *out);

#endif
