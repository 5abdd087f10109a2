// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * drive.h - what duty the motor is given: a constant one or an inner loop on speed, ramps, and a command over time.
 *
 * The duty changes at ticks only, drive.period_s apart, and is held between them, as a pulse-width timer does. It counts
 * in the direction in which the present gear drives forward; the command reverse turns it over.
 *
 *   open loop       duty = limit
 *   speed control   error = target - speed (in the commanded direction),  duty = Kp error + Ki integral of error,
 *                   within 0..limit; the integral stands still while the duty is at a bound, or the driver holds the
 *                   current, and the error pushes on
 *   ramp            |duty| grows by at most period / ramp_time a tick; it falls at once
 */
#ifndef SHIFTBAND_DRIVE_H
#define SHIFTBAND_DRIVE_H

#include <stdbool.h>

#include "shiftband/table.h"

#ifdef __cplusplus
extern "C" {
#endif

enum sb_drive_mode { SB_DRIVE_OPEN_LOOP, SB_DRIVE_SPEED_CONTROL };

/* What the motor's terminals see while the drive is off. */
enum sb_drive_off {
  SB_OFF_COAST, /* open circuit */
  SB_OFF_BRAKE  /* short circuit, duty 0 */
};

/* What the drive is switched to. */
enum sb_drive_command { SB_COMMAND_REVERSE = -1, SB_COMMAND_STOP = 0, SB_COMMAND_FORWARD = 1 };

struct sb_drive {
  enum sb_drive_mode mode;
  double limit_fraction;   /* greatest duty, 0 < limit <= 1 */
  double target_rad_s;     /* speed control: motor speed, > 0 */
  double gain_per_rad_s;   /* Kp, duty per rad/s, >= 0 */
  double integral_per_rad; /* Ki, duty per rad, >= 0 */
  double period_s;         /* of the ticks, a whole multiple of the step */
  double ramp_s;           /* from 0 to full duty; 0: at once */
  enum sb_drive_off off;
  /* enum sb_drive_command over time, s, >= 0; before the first: as the first; count 0: forward */
  struct sb_table schedule;
};

/* What a drive remembers from tick to tick. */
struct sb_drive_state {
  double duty;         /* in the gear's forward direction, -limit..limit */
  double integral_rad; /* of the speed's error */
  int command;         /* enum sb_drive_command, in force */
};

/* Whether the duty can ever differ from the limit: else there are no ticks for the drive's sake. Pure. */
bool sb_drive_is_moving(const struct sb_drive *drive);

/* Whether every tick from now on leaves the state as it is, whatever the speed. Pure. */
bool sb_drive_is_settled(const struct sb_drive *drive, const struct sb_drive_state *state, double time_s);

/* The |duty| that a motor which cannot turn is given in the end, ramp and integral run out. Pure. */
double sb_drive_final_duty(const struct sb_drive *drive);

/* The command in force at a time. Pure. */
enum sb_drive_command sb_drive_command_at(const struct sb_drive *drive, double time_s);

/* At t = 0, the motor's speed (rad/s) in the gear's forward direction. */
struct sb_drive_state sb_drive_start(const struct sb_drive *drive, double speed_rad_s);

/* At a tick at time_s: what is held until the next; is_held: the driver holds the motor's current at its limit. Pure. */
struct sb_drive_state sb_drive_tick(const struct sb_drive *drive, const struct sb_drive_state *from, double time_s,
                                    double speed_rad_s, bool is_held);

#ifdef __cplusplus
}
#endif

#endif
