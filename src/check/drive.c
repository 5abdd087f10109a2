// SPDX-License-Identifier: GPL-3.0-or-later
/* drive.c - the drive: speed control and what it hides from the reading, ramp and schedule. */
#include <math.h>

#include "check/parts.h"

static const char *const readings[] = {"speed", "duty", "current"};

static void find_schedule(const struct sb_drive *drive, struct sb_check_drive *out)
{
  out->schedule = drive->schedule;
  for (size_t k = 0; k < drive->schedule.count; k++) {
    out->has_stop |= drive->schedule.y[k] == (double)SB_COMMAND_STOP;
    out->has_reverse |= drive->schedule.y[k] == (double)SB_COMMAND_REVERSE;
  }
}

void sb_check_find_drive(const struct sb_check_machine *machine, struct sb_check_drive *out)
{
  const struct sb_drive *drive = &machine->model->drive;
  const struct sb_sensor *sensor = &machine->model->control.sensor;
  const bool is_controlled = drive->mode == SB_DRIVE_SPEED_CONTROL;
  *out = (struct sb_check_drive){
      .mode = is_controlled ? "speed control" : "open loop",
      .is_speed_controlled = is_controlled,
      .is_plain = !sb_drive_is_moving(drive) && sensor->quantity == SB_SENSES_SPEED,
      .limit_fraction = drive->limit_fraction,
      .period_s = drive->period_s,
      .ramp_s = drive->ramp_s,
      .when_off = drive->off == SB_OFF_BRAKE ? "brake" : "coast",
      .is_brake_at_off = drive->off == SB_OFF_BRAKE,
      .is_duty_read = sensor->quantity == SB_SENSES_DUTY,
      .is_current_read = sensor->quantity == SB_SENSES_CURRENT,
      .reading = readings[sensor->quantity],
      .reference_a = sensor->quantity == SB_SENSES_CURRENT ? sensor->reference_a : (double)NAN,
      .target_rad_s = NAN,
      .target_fraction = NAN,
      .proportional_band_rad_s = NAN,
      .integral_time_s = NAN,
  };
  find_schedule(drive, out);
  if (!is_controlled) return;
  out->target_rad_s = drive->target_rad_s;
  out->target_fraction = drive->target_rad_s / machine->model->motor.no_load_speed_rad_s;
  out->proportional_band_rad_s = 1.0 / drive->gain_per_rad_s;
  out->integral_time_s = drive->gain_per_rad_s / drive->integral_per_rad;
}
