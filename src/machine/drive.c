// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/drive.h"

#include <math.h>

/* An order given for a tick belongs to that tick, however 1000 times 5 ms is rounded. */
static const double same_time = 1e-9;

static bool has_order_but_forward(const struct sb_table *orders)
{
  for (size_t i = 0; i < orders->count; i++) {
    if (orders->y[i] != (double)SB_ORDER_FORWARD) return true;
  }
  return false;
}

bool sb_drive_is_moving(const struct sb_drive *drive)
{
  return drive->mode != SB_DRIVE_OPEN_LOOP || drive->ramp_s > 0.0 || has_order_but_forward(&drive->orders);
}

double sb_drive_final_duty(const struct sb_drive *drive)
{
  if (drive->mode == SB_DRIVE_OPEN_LOOP || drive->integral_per_rad > 0.0) return drive->limit_fraction;
  return fmin(drive->gain_per_rad_s * drive->target_rad_s, drive->limit_fraction);
}

enum sb_order sb_drive_order_at(const struct sb_drive *drive, double time_s)
{
  const struct sb_table *orders = &drive->orders;
  if (orders->count == 0) return SB_ORDER_FORWARD;
  const double latest_s = time_s + same_time * fmax(1.0, fabs(time_s));
  size_t last = 0;
  for (size_t i = 1; i < orders->count && orders->x[i] <= latest_s; i++) last = i;
  return orders->y[last] > 0.0 ? SB_ORDER_FORWARD : orders->y[last] < 0.0 ? SB_ORDER_REVERSE : SB_ORDER_STOP;
}

/* The greatest |duty| that limit and ramp allow. */
static double greatest_duty(const struct sb_drive *drive, double duty_before)
{
  const double raised = drive->ramp_s > 0.0 ? duty_before + drive->period_s / drive->ramp_s : INFINITY;
  return fmin(drive->limit_fraction, raised);
}

/*
 * |Duty| of the inner loop at a speed in the commanded sense. The integral takes in this tick's error for the next one,
 * but for an error that would push the duty on beyond a bound it is at.
 */
static double hold_duty(const struct sb_drive *drive, double speed_rad_s, double greatest, double *integral_rad)
{
  const double error_rad_s = drive->target_rad_s - speed_rad_s;
  const double wanted = drive->gain_per_rad_s * error_rad_s + drive->integral_per_rad * *integral_rad;
  const bool is_stuck = (wanted >= greatest && error_rad_s > 0.0) || (wanted <= 0.0 && error_rad_s < 0.0);
  if (!is_stuck) *integral_rad += error_rad_s * drive->period_s;
  return fmin(fmax(wanted, 0.0), greatest);
}

struct sb_drive_state sb_drive_tick(const struct sb_drive *drive, const struct sb_drive_state *from, double time_s,
                                    double speed_rad_s)
{
  struct sb_drive_state state = *from;
  state.order = (int)sb_drive_order_at(drive, time_s);
  if (state.order != from->order) state.duty = state.integral_rad = 0.0; /* a new order starts from nothing */
  if (state.order == SB_ORDER_STOP) return state;

  const double sense = state.order;
  const double greatest = greatest_duty(drive, fabs(state.duty));
  const double duty = drive->mode == SB_DRIVE_SPEED_CONTROL
                          ? hold_duty(drive, sense * speed_rad_s, greatest, &state.integral_rad)
                          : greatest;
  state.duty = sense * duty;
  return state;
}

struct sb_drive_state sb_drive_start(const struct sb_drive *drive, double speed_rad_s)
{
  const struct sb_drive_state off = {.order = SB_ORDER_STOP};
  return sb_drive_tick(drive, &off, 0.0, speed_rad_s);
}
