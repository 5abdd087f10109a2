// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * external_program.h - a decider that is a program: lines of text over its standard input and output.
 *
 * Each run starts the program anew and says, first of all, one line of what stays the same:
 *
 *   shiftband-controller 2 gears=3 start_gear=3 sample_period_s=0.02 count_pct=1 start_delay_samples=30
 *   dwell_samples=75 debounce_samples=1 downshift_below=40,60 upshift_above=70,90 downshift_below_pct=40,60 upshift_above_pct=70,90            (all in one line)
 *
 * then a line a sample, seven numbers with a space between two, and waits for one line with the gear wanted, from 1:
 *
 *   SAMPLE TIME READING READING_PCT GEAR ENGAGED DECIDING        12 0.24 87 87 3 1 1        ->   3
 *
 * They are the fields of struct sb_own_input (own_controller.h). Numbers have decimal points in every locale; a line ends
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

#include "shiftband/decider.h"

struct sb_own_program {
  const char *name;                  /* for messages */
  const char *const *argv;           /* argv[0] is the path; NULL at the end */
  double timeout_s;                  /* s, > 0: for an answer */
  const volatile sig_atomic_t *stop; /* other than 0: ends runs with SB_ERR_STOPPED; NULL: never */
};

/* A decider over a program, which must outlive it. */
struct sb_decider sb_own_program_decider(const struct sb_own_program *program);

#endif
