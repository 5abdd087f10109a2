// SPDX-License-Identifier: 0BSD
/*
 * external_controller.h - a controller of your own: one C function, in a shared object, for `--controller FILE.so`.
 *
 * Freestanding C99. Permission to use, copy, modify, and/or distribute this file for any purpose with or without fee is
 * hereby granted. THE SOFTWARE IS PROVIDED "AS IS" AND THE AUTHORS DISCLAIM ALL WARRANTIES; IN NO EVENT SHALL THEY BE
 * LIABLE FOR ANY DAMAGES WHATSOEVER ARISING FROM ITS USE.
 *
 *   #include "shiftband/external_controller.h"
 *
 *   int32_t sb_own_controller(const struct sb_own_input *input)
 *   {
 *     return input->reading_pct < 50.0 ? 1 : 2;
 *   }
 *
 *   cc -shared -fPIC -Iinclude -o own.so own.c
 *   shiftband run --controller ./own.so FILE.yaml
 *
 * It is called once a sample and returns the gear wanted, 1 (the greatest reduction) to gear_count; the gear of the last
 * call is no command, a neighbour of it is a shift command that acts at once. Anything else ends the run with an error: a
 * gear that is none, or one that jumps over another. A command while a shift is under way begins that shift again.
 *
 * Each run has a process of its own, so variables of the file start afresh with each run, and runs share nothing however
 * many threads work. A firmware's controller that keeps no variables of its own finds room in `memory`, zero when a run
 * begins. What it prints goes to standard error. One that crashes, hangs or is late ends the run, and nothing else.
 */
#ifndef SHIFTBAND_EXTERNAL_CONTROLLER_H
#define SHIFTBAND_EXTERNAL_CONTROLLER_H

#include <stdint.h>

/* Grows with every change that older objects would not understand. It is part of the function's name for the linker, so
 * that an object of another version is refused in words. */
#define SB_OWN_VERSION 1
#define sb_own_controller sb_own_controller_1

#define SB_OWN_GEAR_MAX 8
#define SB_OWN_MEMORY_SIZE 4096

#ifdef __cplusplus
extern "C" {
#endif

/* One sample. Pair p (0, 1, ...) lies between gears p + 1 and p + 2. */
struct sb_own_input {
  uint32_t version; /* SB_OWN_VERSION */
  uint32_t size;    /* of this struct, in bytes: later programs may add at its end */

  /* What changes from sample to sample. */
  int64_t sample;      /* from 0 */
  double time_s;       /* s, since the start */
  double reading_pct;  /* the sensor's reading, % of its reference */
  int32_t reading;     /* the same in the sensor's own whole counts */
  int32_t gear;        /* commanded last, from 1; at first the start gear */
  int32_t is_engaged;  /* 1: a gear is engaged; 0: neutral, a shift is under way */
  int32_t is_deciding; /* 1: and the drive is on; 0: the reading says nothing about the load */

  /* What the scenario says, the same in all samples of a run. Nobody has to obey it. */
  int32_t gear_count; /* 1..SB_OWN_GEAR_MAX */
  int32_t start_gear;
  double sample_period_s;
  double count_pct;                             /* % of the reference that one count stands for */
  uint32_t dwell_samples;                       /* after a shift command */
  uint32_t start_delay_samples;                 /* after the start */
  uint32_t debounce_samples;                    /* readings in a row, >= 1 */
  uint32_t memory_size;                         /* SB_OWN_MEMORY_SIZE */
  int32_t downshift_below[SB_OWN_GEAR_MAX - 1]; /* counts: shift down when the reading is below */
  int32_t upshift_above[SB_OWN_GEAR_MAX - 1];   /* counts: shift up when the reading is above */
  double downshift_below_pct[SB_OWN_GEAR_MAX - 1];
  double upshift_above_pct[SB_OWN_GEAR_MAX - 1];

  void *memory; /* memory[memory_size], aligned for anything; zero when a run begins, then as the last call left it */
};

/* The gear wanted, from 1. */
#if defined(__GNUC__)
__attribute__((visibility("default")))
#endif
int32_t
sb_own_controller(const struct sb_own_input *input);

#ifdef __cplusplus
}
#endif

#endif
