// SPDX-License-Identifier: GPL-3.0-or-later
/* deciding.h - internal: a decider's part of one run. */
#ifndef SHIFTBAND_EXTERNAL_DECIDING_H
#define SHIFTBAND_EXTERNAL_DECIDING_H

#include "shiftband/external_program.h"
#include "shiftband/sim.h"

struct sb_controller_setup;

struct sb_deciding {
  const struct sb_decider *decider; /* NULL: none */
  void *run;
  bool is_begun;
  struct sb_own_input input;
};

enum sb_status sb_deciding_begin(struct sb_deciding *deciding, const struct sb_decider *decider,
                                 const struct sb_model *model, const struct sb_controller_setup *setup,
                                 struct sb_error *err);

/* Asks at a sample; *gear from 1. */
enum sb_status sb_deciding_ask(struct sb_deciding *deciding, const struct sb_sim *sim, const struct sb_row *row,
                               int32_t reading, int *gear, struct sb_error *err);

/* Ends what was begun. status: of the run so far, and given back unless it is SB_OK. */
enum sb_status sb_deciding_end(struct sb_deciding *deciding, enum sb_status status, struct sb_error *err);

#endif
