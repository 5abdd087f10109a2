// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * machine.h - a candidate as a scenario: the sets that make it, its model, its runs.
 */
#ifndef SHIFTBAND_DESIGN_MACHINE_H
#define SHIFTBAND_DESIGN_MACHINE_H

#include "design/design.h"

enum { SB_MACHINE_TEXT_SIZE = 1200 };

/* The sets of a candidate, behind those of the source. */
struct sb_machine_sets {
  size_t count;
  const char **items; /* items[count], owned */
  char gears[SB_MACHINE_TEXT_SIZE], downshift[160], upshift[160], dwell[80];
};

enum sb_status sb_machine_set(const struct sb_design_request *request, const struct sb_choices *choices,
                              const struct sb_candidate *candidate, const struct sb_design_control *control,
                              struct sb_machine_sets *sets);
void sb_machine_sets_clear(struct sb_machine_sets *sets);

/* The option of each axis in a combination. Pure. */
int sb_machine_option(const struct sb_choices *choices, int combination, int axis);

/* A candidate under each load, the scenario's own first. */
struct sb_loaded {
  int count;
  struct sb_scenario *items; /* items[count], owned */
};

/* Loads a candidate. Statuses and faults as sb_scenario_load(). Release with sb_machine_unload() after SB_OK. */
enum sb_status sb_machine_load(const struct sb_design_request *request, const struct sb_design_answer *answer,
                               const struct sb_candidate *candidate, const struct sb_design_control *control,
                               struct sb_loaded *out, struct sb_faults *faults);
void sb_machine_unload(struct sb_loaded *loaded);

/* Fills the facts of all combinations, and the identity. */
enum sb_status sb_machine_combine(const struct sb_design_request *request, struct sb_design_answer *answer,
                                  struct sb_faults *faults, struct sb_error *err);

/* Any thresholds that are valid, for the first time that it is loaded. */
struct sb_design_control sb_machine_any_control(const struct sb_candidate *candidate);

/* Thresholds and dwell by closed forms: around the crossover load, without a hunting band, and never stuck low where that can be; under
 * several loads the lowest thresholds and the longest dwell of any. */
struct sb_design_control sb_machine_control(const struct sb_loaded *loaded);

/* Control of a model as texts take it. */
struct sb_design_control sb_machine_own_control(const struct sb_model *model);

/* Runs a model as it stands. */
enum sb_status sb_machine_run(const struct sb_model *model, const struct sb_candidate *candidate,
                              struct sb_design_figures *figures, struct sb_error *err);

/* The values of all needs of a machine that was run. */
void sb_machine_values(const struct sb_design_answer *answer, const struct sb_model *model,
                       const struct sb_candidate *candidate, const struct sb_design_figures *figures,
                       double values[SB_NEED_MAX]);

/* What finish is about, rad of the output; NAN: nothing. Pure. */
double sb_machine_way_rad(const struct sb_choices *choices, const struct sb_model *model);

#endif
