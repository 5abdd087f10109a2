// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * decider.h - who chooses the gears in a run instead of the controller of controller.h.
 *
 * A decider is asked once a sample, as that controller is, and its faults end the run: a gear that is none, a gear jumped
 * over, and whatever its functions report. Errors name the decider and the sample, with SB_ERR_CONTROLLER.
 */
#ifndef SHIFTBAND_DECIDER_H
#define SHIFTBAND_DECIDER_H

#include <stdbool.h>

#include "shiftband/external_controller.h"
#include "shiftband/status.h"

/* Runs in several threads may use one decider at once, each between a begin and an end of its own. */
struct sb_decider {
  const char *name; /* for messages */
  void *context;
  /* Begins a run; `input` holds what stays the same. *run goes to the other two. NULL: nothing to begin. */
  enum sb_status (*begin)(void *context, const struct sb_own_input *input, void **run, struct sb_error *err);
  /* One sample: the gear wanted. Errors say only what is wrong. */
  enum sb_status (*decide)(void *run, const struct sb_own_input *input, int *gear, struct sb_error *err);
  /* Releases the run, whole or ended early; of a whole one it may still find fault. NULL: nothing to end. */
  enum sb_status (*end)(void *run, bool is_whole, struct sb_error *err);
};

#endif
