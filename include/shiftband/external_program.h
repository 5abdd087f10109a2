// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * external_program.h - who chooses the gears in a run instead of the controller of controller.h: a decider, and one that
 * is a program, with lines of text over its standard input and output.
 *
 * A decider is asked once a sample, as that controller is, and its faults end the run: a gear that is none, a gear jumped
 * over, and whatever its functions report. Errors name the decider and the sample, with SB_ERR_CONTROLLER.
 *
 * Each run starts a program again and says, first of all, one line of what stays the same:
 *
 *   shiftband-controller 2 gears=3 start_gear=3 sample_period_s=0.02 count_pct=1 start_delay_samples=30
 *   dwell_samples=75 debounce_samples=1 downshift_below=40,60 upshift_above=70,90 downshift_below_pct=40,60 upshift_above_pct=70,90            (all in one line)
 *
 * then a line a sample, seven numbers with a space between two, and waits for one line with the gear wanted, from 1:
 *
 *   SAMPLE TIME READING READING_PCT GEAR ENGAGED DECIDING        12 0.24 87 87 3 1 1        ->   3
 *
 * They are the fields of struct sb_own_input (external_controller.h). Numbers have decimal points in every locale; a line ends
 * with a line feed. The first line gets no answer. An answer "! words" ends the run with these words. When the run is
 * over, standard input closes, and the program should end. Standard error is left to it.
 *
 * The first answer of a run may take ten times the time limit, for the program has to start. A program that is late, ends,
 * says something else or more than it was asked ends the run, and is killed with all processes of its group; no child is
 * left behind in any case. One that leaves its group (setsid) is not followed.
 *
 * The calling program must ignore SIGPIPE.
 */
#ifndef SHIFTBAND_EXTERNAL_PROGRAM_H
#define SHIFTBAND_EXTERNAL_PROGRAM_H

#include <signal.h>
#include <stdbool.h>

#include "shiftband/external_controller.h"
#include "shiftband/status.h"

#ifdef __cplusplus
extern "C" {
#endif

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

struct sb_external_program {
  const char *name;                  /* for messages */
  const char *const *argv;           /* argv[0] is the path; NULL at the end */
  double timeout_s;                  /* s, > 0: for an answer */
  const volatile sig_atomic_t *stop; /* other than 0: ends runs with SB_ERR_STOPPED; NULL: never */
};

/* A decider over a program, which must outlive it. */
struct sb_decider sb_external_program_decider(const struct sb_external_program *program);

#ifdef __cplusplus
}
#endif

#endif
