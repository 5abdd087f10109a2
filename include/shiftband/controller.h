// SPDX-License-Identifier: 0BSD
/*
 * controller.h - automatic gear selection by hysteresis on motor speed, for microcontrollers and for the simulator.
 *
 * Freestanding C99: no heap, no library calls, no floating point, no I/O. Permission to use, copy, modify, and/or
 * distribute this module (controller.h, controller.c) for any purpose with or without fee is hereby granted. THE
 * SOFTWARE IS PROVIDED "AS IS" AND THE AUTHORS DISCLAIM ALL WARRANTIES; IN NO EVENT SHALL THEY BE LIABLE FOR ANY
 * DAMAGES WHATSOEVER ARISING FROM ITS USE.
 *
 * Every sample:
 *   while less than dwell_samples have passed since the last shift command (or start_delay_samples since the start),
 *   or while the box is in neutral: nothing is decided and nothing is counted
 *   reading <  downshift_below(pair) debounce_samples times in a row, and a lower gear exists  -> the next lower gear
 *   reading >  upshift_above(pair)   debounce_samples times in a row, and a higher gear exists -> the next higher gear
 *
 * Gears count from 1, the greatest reduction. Pair p (0, 1, ...) lies between gears p + 1 and p + 2. Readings and
 * thresholds are in the sensor's own whole counts.
 */
#ifndef SHIFTBAND_CONTROLLER_H
#define SHIFTBAND_CONTROLLER_H

#include <stdint.h>

#define SB_CONTROLLER_GEAR_MAX 8

#ifdef __cplusplus
extern "C" {
#endif

struct sb_controller_setup {
  int32_t downshift_below[SB_CONTROLLER_GEAR_MAX - 1]; /* counts: shift down when the reading is below */
  int32_t upshift_above[SB_CONTROLLER_GEAR_MAX - 1];   /* counts: shift up when the reading is above */
  uint32_t dwell_samples;                              /* after a shift command, >= 0 */
  uint32_t start_delay_samples;                        /* after the start, >= 0 */
  uint8_t debounce_samples;                            /* >= 1; 0 counts as 1 */
  uint8_t gear_count;                                  /* 1..SB_CONTROLLER_GEAR_MAX */
};

struct sb_controller_state {
  uint32_t wait_samples; /* samples still to pass before decisions are taken */
  uint8_t gear;          /* last commanded gear, from 1 */
  uint8_t below_count;   /* readings in a row below downshift_below */
  uint8_t above_count;   /* readings in a row above upshift_above */
};

/* Starts in the given gear (1..gear_count); the next call of update is the first sample. */
void sb_controller_start(const struct sb_controller_setup *setup, struct sb_controller_state *state, uint8_t gear);

/*
 * One sample: the reading in counts, and whether a gear is engaged (0: neutral). Returns the commanded gear, from 1;
 * a change against the last call is a shift command.
 */
uint8_t sb_controller_update(const struct sb_controller_setup *setup, struct sb_controller_state *state,
                             int32_t reading, uint8_t is_engaged);

/* The same for a reading that is only known to lie between two counts: a downshift is decided by the least one, an upshift by the
 * greatest one, so that whatever could shift does. */
uint8_t sb_controller_update_between(const struct sb_controller_setup *setup, struct sb_controller_state *state,
                                     int32_t least, int32_t greatest, uint8_t is_engaged);

/*
 * A reading of the speed against a reference that follows the supply (scale.c, needed for nothing else): the motor's no-load speed at
 * the voltage that the controller measures. All counts; whole numbers of 32 bits, and not even a division is left to a library.
 *
 *   reading * factor / (voltage - offset), to the nearest whole number
 */
struct sb_controller_scale {
  uint32_t factor; /* factor * most_reading + most voltage counts fits in 32 bits */
  int32_t offset;  /* voltage at which the motor's no-load speed would be zero */
  int32_t least;   /* > 0: of voltage - offset; anything below counts as this */
  int32_t most;    /* >= 0: of the reading; anything above counts as this */
};

/* What sb_controller_update() takes as reading: thresholds are in the counts of this one. */
int32_t sb_controller_scaled(const struct sb_controller_scale *scale, int32_t reading, int32_t voltage);

#ifdef __cplusplus
}
#endif

#endif
