// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * run.h - a whole run: the simulator, the sensor, the controller and the monitor together.
 *
 * At a sample: the machine has moved up to it and events at that instant have taken effect; then the sensor reads, the
 * controller decides, and a command acts at once. Same model, same bytes.
 */
#ifndef SHIFTBAND_RUN_H
#define SHIFTBAND_RUN_H

#include "shiftband/controller.h"
#include "shiftband/decider.h"
#include "shiftband/verdict.h"

struct sb_run_options {
  int locked_gear; /* from 1: that gear for the whole run; 0: the controller chooses */
  /* Takes each row of the trace, in order of time; NULL: no trace. A result other than 0 ends the run with SB_ERR_IO. */
  int (*on_row)(void *context, const struct sb_row *row);
  void *context;
  /* Told each sample of the controller: whether a gear is in mesh, whether it was to decide (sb_sim_is_deciding), and its
   * command; NULL: nobody listens. */
  void (*on_sample)(void *sample_context, int32_t reading, bool is_engaged, bool is_deciding, int commanded_gear);
  void *sample_context;
  const struct sb_decider *decider; /* NULL: the controller of controller.h; else asked unless a gear is locked */
};

struct sb_run_options sb_run_options_default(void);

struct sb_run_result {
  struct sb_monitor monitor; /* shifts and verdicts */
  struct sb_sums sums;
  struct sb_row end;
  int end_gear;         /* from 1: commanded last */
  long long step_count; /* steps done */
  double overcharge_as; /* greatest charge above full that a battery was given, A s; 0: none */
};

/* The controller's constants for a model: thresholds in sensor counts, times in whole samples, rounded up. */
struct sb_controller_setup sb_run_controller_setup(const struct sb_model *model);

/* Runs the model. Fills *result on SB_OK; release it with sb_run_result_clear(). */
enum sb_status sb_run(const struct sb_model *model, const struct sb_run_options *options, struct sb_run_result *result,
                      struct sb_error *err);

void sb_run_result_clear(struct sb_run_result *result);

#endif
