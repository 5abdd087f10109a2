// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/drive.h"

#include <math.h>

/* A command given for a tick belongs to that tick, however 1000 times 5 ms is rounded. */
static const double same_time = 1e-9;

static bool has_command_but_forward(const struct sb_table *schedule)
{
  for (size_t i = 0; i < schedule->count; i++) {
    if (schedule->y[i] != (double)SB_COMMAND_FORWARD) return true;
  }
  return false;
}

bool sb_drive_is_moving(const struct sb_drive *drive)
{
  return drive->mode != SB_DRIVE_OPEN_LOOP || drive->ramp_s > 0.0 || has_command_but_forward(&drive->schedule);
}

double sb_drive_final_duty(const struct sb_drive *drive)
{
  if (drive->mode == SB_DRIVE_OPEN_LOOP || drive->integral_per_rad > 0.0) return drive->limit_fraction;
  return fmin(drive->gain_per_rad_s * drive->target_rad_s, drive->limit_fraction);
}

enum sb_drive_command sb_drive_command_at(const struct sb_drive *drive, double time_s)
{
  const struct sb_table *schedule = &drive->schedule;
  if (schedule->count == 0) return SB_COMMAND_FORWARD;
  const double latest_s = time_s + same_time * fmax(1.0, fabs(time_s));
  size_t last = 0;
  for (size_t i = 1; i < schedule->count && schedule->x[i] <= latest_s; i++) last = i;
  return schedule->y[last] > 0.0 ? SB_COMMAND_FORWARD : schedule->y[last] < 0.0 ? SB_COMMAND_REVERSE : SB_COMMAND_STOP;
}

bool sb_drive_is_settled(const struct sb_drive *drive, const struct sb_drive_state *state, double time_s)
{
  const struct sb_table *schedule = &drive->schedule;
  const bool is_last_command = schedule->count <= 1 || schedule->x[schedule->count - 1] <= time_s;
  if (drive->mode != SB_DRIVE_OPEN_LOOP || !is_last_command) return false;
  if (state->command != (int)sb_drive_command_at(drive, time_s)) return false;
  return state->command == SB_COMMAND_STOP || fabs(state->duty) == drive->limit_fraction;
}

/* The greatest |duty| that limit and ramp allow. */
static double greatest_duty(const struct sb_drive *drive, double duty_before)
{
  const double raised = drive->ramp_s > 0.0 ? duty_before + drive->period_s / drive->ramp_s : INFINITY;
  return fmin(drive->limit_fraction, raised);
}

/*
 * |Duty| of the inner loop at a speed in the commanded direction. The integral takes in this tick's error for the next one,
 * but for an error that would push the duty on beyond a bound it is at, or that the driver grants no more current for (common practice).
 */
static double hold_duty(const struct sb_drive *drive, double speed_rad_s, double greatest, bool is_held,
                        double *integral_rad)
{
  const double error_rad_s = drive->target_rad_s - speed_rad_s;
  const double wanted = drive->gain_per_rad_s * error_rad_s + drive->integral_per_rad * *integral_rad;
  const bool is_stuck = ((wanted >= greatest || is_held) && error_rad_s > 0.0) || (wanted <= 0.0 && error_rad_s < 0.0);
  if (!is_stuck) *integral_rad += error_rad_s * drive->period_s;
  return fmin(fmax(wanted, 0.0), greatest);
}

struct sb_drive_state sb_drive_tick(const struct sb_drive *drive, const struct sb_drive_state *from, double time_s,
                                    double speed_rad_s, bool is_held)
{
  struct sb_drive_state state = *from;
  state.command = (int)sb_drive_command_at(drive, time_s);
  if (state.command != from->command) state.duty = state.integral_rad = 0.0; /* a new command starts from nothing */
  if (state.command == SB_COMMAND_STOP) return state;

  const double direction = state.command;
  const double greatest = greatest_duty(drive, fabs(state.duty));
  const double duty = drive->mode == SB_DRIVE_SPEED_CONTROL
                          ? hold_duty(drive, direction * speed_rad_s, greatest, is_held, &state.integral_rad)
                          : greatest;
  state.duty = direction * duty;
  return state;
}

struct sb_drive_state sb_drive_start(const struct sb_drive *drive, double speed_rad_s)
{
  const struct sb_drive_state off = {.command = SB_COMMAND_STOP};
  return sb_drive_tick(drive, &off, 0.0, speed_rad_s, false);
}
