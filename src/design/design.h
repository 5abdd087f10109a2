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
 *                    beats by estimates come first, and the answer says how many were not run.
 *   3 tuning         the front of the runs: those that are not worse in everything than another one
 *   4 the answer     the front of the tuned designs, run again as they are written
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

struct sb_design_request {
  struct sb_scenario_source source;
  long run_most, tune_most;
  int jobs;
  uint64_t identity;
  const char *journal_stem; /* journals are STEM.runs.part and STEM.tunes.part; NULL: none */
  bool is_resumed;
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
  double tooth_per_nm; /* of the teeth, see boxes.h; NAN: not known */
};

/* What a run of a machine comes to. NAN: it has no such thing. */
struct sb_design_figures {
  double time_s, speed_rad_s; /* of the run; mean speed of the output, to and fro */
  double charge_as, energy_j;
  double current_a, winding_c, output_torque_nm;
  double tooth_load;                            /* N, or a share with a width in the shelf */
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

struct sb_design {
  struct sb_candidate candidate;
  struct sb_design_control control;
  struct sb_design_figures figures;
  const char *path; /* of a finished design; NULL: one of the choices */
  char name[128];
  bool is_proved_class;
  enum sb_proof statements[SB_PROVE_STATEMENTS];
};

/* Facts of one combination of the choices that closed forms need. */
struct sb_combination {
  bool is_swing, is_linear, has_speed_bound;
  double stall_nm, slope_nms_rad, friction_nm, limit_nm; /* the motor's line; limit INFINITY: none */
  double stall_a, slope_as_rad;
  double mesh_efficiency, viscous_nms_rad;
  double lightest_nm, heaviest_nm;
  double no_load_rad_s, way_rad; /* way: that finish is about; NAN: none */
  int gear_count;
};

struct sb_design_answer {
  struct sb_scenario base; /* its choices; everything else is empty */
  const struct sb_choices *choices;
  int combination_count;
  struct sb_combination *combinations;
  double box_count, machine_count;
  struct sb_needs needs;
  double stock_count, ratio_count; /* dropped: not in stock, two speeds of one ratio */
  double unfit_count;              /* swing arm or single gear that the combination cannot have */
  double same_count;               /* dropped: another one moves in the same way */
  long kept_count;                 /* left by the closed forms */
  long run_count, unrun_count;
  long beaten_count; /* runs that others beat */
  long front_count;  /* of the runs */
  long tuned_count, untuned_count;
  long failed_count; /* of the tuned: no thresholds pass */
  int design_count;
  struct sb_design *designs; /* owned: the front of the tuned, fastest first */
};

/* Searches. Release the answer in any case. On failure err says why, and faults may hold more. */
enum sb_status sb_design_search(const struct sb_design_request *request, struct sb_design_answer *answer,
                                struct sb_faults *faults, struct sb_error *err);

/* A finished design beside others: runs the scenario as it is. */
enum sb_status sb_design_take(const char *path, const struct sb_design_request *request,
                              struct sb_design_answer *answer, struct sb_faults *faults, struct sb_error *err);

void sb_design_clear(struct sb_design_answer *answer);

/* Writes design number `index` as a scenario. */
enum sb_status sb_design_write_scenario(FILE *out, const struct sb_design_request *request,
                                        const struct sb_design_answer *answer, int index, struct sb_faults *faults);

void sb_design_write_text(FILE *out, const struct sb_design_answer *answer);
void sb_design_write_json(FILE *out, const struct sb_design_answer *answer);
void sb_design_write_csv(FILE *out, const struct sb_design_answer *answer);

#endif
