// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * design.h - whole machines from a shelf: gears, motor, shifter and thresholds.
 *
 * The search goes in four stages, and counts what each drops:
 *
 *   1 closed forms   every box with every combination of the other choices. A machine is dropped only by what no run can mend: see
 *                    needs.h. Of machines that move in exactly the same way (the same choices, ratios and numbers of meshes) the
 *                    one whose teeth are loaded least stays, then the one with more hunting teeth, then the first.
 *   2 runs           what is left, with thresholds by closed forms. Where more is left than runs are wished, those that no other one
 *                    beats by estimates come first, and the answer says how many were not run. Where no more is left than may be
 *                    tuned there are no runs.
 *   3 tuning         all machines that pass their runs, where they are no more than may be tuned; else the front of the runs: those
 *                    that are not worse in everything than another one
 *   4 the answer     the front of the tuned designs, run again as they are written, and what is proved of those that are shown
 *
 * A design serves its scenario and all further loads: each figure is the worst of them.
 */
#ifndef SHIFTBAND_DESIGN_DESIGN_H
#define SHIFTBAND_DESIGN_DESIGN_H

#include <signal.h>

#include "design/boxes.h"
#include "design/needs.h"
#include "shiftband/prove.h"
#include "shiftband/scenario.h"
#include "shiftband/tasks.h"

enum { SB_DESIGN_KEPT_MAX = 400000, SB_DESIGN_COMBINATION_MAX = 4096 };

/* More boxes than these are refused before anything is calculated. */
#define SB_DESIGN_COUNT_MAX 2e9

/* The stages that are cut into tasks, and into shards: X(name, word). */
#define SB_DESIGN_STAGE_LIST(X) \
  X(RUNS, "runs")               \
  X(TUNES, "tunes")             \
  X(PROOFS, "proofs")

enum sb_design_stage {
#define STAGE_NAME(name, word) SB_DESIGN_##name,
  SB_DESIGN_STAGE_LIST(STAGE_NAME)
#undef STAGE_NAME
      SB_DESIGN_STAGES
};

struct sb_design_request {
  struct sb_scenario_source source;
  const char *const *loads; /* further scenarios that each design must serve: loads[load_count] */
  size_t load_count;
  long run_most, tune_most, design_most;
  int jobs;
  uint64_t identity;        /* of the program; the scenarios and options come on top */
  const char *journal_stem; /* journals are STEM.runs.part and so on, of a shard STEM.part; NULL: none */
  bool is_resumed;
  /* Shards: the first stage that is not given is cut; its part goes to on_shard, and there is no answer. */
  int shard, shard_count;
  const struct sb_tasks_result *given[SB_DESIGN_STAGES]; /* what shards found, put together; NULL: none */
  enum sb_status (*on_shard)(void *context, const struct sb_tasks_result *result, struct sb_error *err);
  FILE *all; /* each machine that is dropped, with its reason, as CSV; NULL: nobody asks */
  const volatile sig_atomic_t *stop;
  void (*on_stage)(void *context, const char *what, bool begins);
  void (*on_progress)(void *context, long done, long total);
  void *context;
};

/* A machine to try: a box in one combination of the choices. */
struct sb_candidate {
  int combination;
  struct sb_box box; /* stages 0: the gears of the scenario */
  double ratios[SB_SHELF_SPEED_MAX];
  struct sb_tooth_load tooth; /* for each N.m at the output */
};

/* What a run of a machine comes to. NAN: it has no such thing. */
struct sb_design_figures {
  double time_s, speed_rad_s; /* of the run; mean speed of the output, to and fro */
  double charge_as, energy_j;
  double current_a, winding_c, output_torque_nm;
  double tooth_n, tooth_fraction;               /* the greatest force on a tooth; of the force that it may carry */
  int wheel_count;                              /* 0: not known */
  unsigned verdicts;                            /* bits by enum sb_verdict_kind */
  double margin_fraction, swing_nm, carried_nm; /* of a tuned design */
};

/* Thresholds of all pairs, as texts that a --set takes. */
struct sb_design_control {
  int pairs;
  double downshift_pct[SB_GEAR_MAX - 1], upshift_pct[SB_GEAR_MAX - 1];
  double dwell_s;
};

/* What more of all loads comes to, in proportion. */
struct sb_design_limit {
  double load_nm;    /* of the heaviest load; the first tried that fails; NAN: none did */
  unsigned verdicts; /* bits by enum sb_verdict_kind */
  int scenario;      /* 0: the scenario itself, 1: the first further load, ... */
};

struct sb_design {
  struct sb_candidate candidate;
  struct sb_design_control control;
  struct sb_design_figures figures;
  struct sb_design_limit limit;
  const char *path; /* of a finished design; NULL: one of the choices */
  char name[128];
  bool is_proved_class;
  enum sb_proof statements[SB_PROVE_STATEMENTS];
};

/* Facts of one combination of the choices that closed forms need. */
struct sb_combination {
  char name[128]; /* the words of its choices */
  bool is_swing, is_linear;
  double stall_nm, slope_nms_rad, friction_nm, limit_nm; /* the motor's line; limit INFINITY: none */
  double stall_a, slope_as_rad;
  double mesh_efficiency, viscous_nms_rad;
  double lightest_nm, heaviest_nm;
  double
      finish_per_ratio_s; /* no run finishes earlier than this times the ratio of the fastest gear; NAN: no such bound */
  int gear_count;
};

struct sb_design_answer {
  struct sb_scenario base; /* its choices; everything else is empty */
  const struct sb_choices *choices;
  const char *const *paths; /* of all scenarios that it serves: paths[path_count], owned */
  int path_count;
  uint64_t identity; /* of the program, the scenarios and all tables */
  bool is_shard;     /* a shard was written, and there is no answer */
  int combination_count;
  struct sb_combination *combinations;
  double box_count, machine_count;
  struct sb_needs needs;
  double stock_count, ratio_count; /* dropped: not in stock, two speeds of one ratio */
  double same_count;               /* dropped: another one moves in the same way */
  long kept_count;                 /* left by the closed forms */
  long run_count, unrun_count;
  long passed_count;  /* runs that meet all needs */
  long beaten_count;  /* runs that others beat, and so not tuned */
  long untuned_count; /* on the front of the runs, and not tuned */
  long tuned_count;
  long unfit_count;   /* no valid scenario */
  long failed_count;  /* of the tuned: no thresholds pass */
  long outdone_count; /* of the tuned: another one beats it */
  long unshown_count; /* on the front, and not among the designs */
  int design_count;
  struct sb_design *designs; /* owned: of the front of the tuned, fastest first */
};

/* Searches. Release the answer in any case. On failure err says why, and faults may hold more. */
enum sb_status sb_design_search(const struct sb_design_request *request, struct sb_design_answer *answer,
                                struct sb_faults *faults, struct sb_error *err);

/* A finished design beside others: runs the scenario as it is. */
enum sb_status sb_design_take(const char *path, const struct sb_design_request *request,
                              struct sb_design_answer *answer, struct sb_faults *faults, struct sb_error *err);

void sb_design_clear(struct sb_design_answer *answer);

/* Writes design number `index` as a scenario, under one of the loads (0: the scenario's own). */
enum sb_status sb_design_write_scenario(FILE *out, const struct sb_design_request *request,
                                        const struct sb_design_answer *answer, int index, int load,
                                        struct sb_faults *faults);

void sb_design_write_text(FILE *out, const struct sb_design_answer *answer);
void sb_design_write_json(FILE *out, const struct sb_design_answer *answer);
void sb_design_write_csv(FILE *out, const struct sb_design_answer *answer);

#endif
