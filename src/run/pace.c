// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/pace.h"

#include <math.h>

static const double settled_within = 0.02;
static const double settled_after = 5.0; /* time constants */

void sb_pace_init(struct sb_pace *pace)
{
  *pace = (struct sb_pace){.first_s = NAN, .least_rad_s = NAN, .since_s = NAN};
}

void sb_pace_finish(struct sb_pace *pace, double time_s)
{
  if (time_s - pace->since_s > pace->enough_s) {
    if (pace->spell_count == 0) pace->first_s = pace->since_s;
    pace->spell_count++;
    pace->lost_s += time_s - pace->since_s;
    pace->least_rad_s = fmin(pace->least_rad_s, pace->since_least_rad_s); /* fmin passes over a NAN */
  }
  pace->since_s = NAN;
}

void sb_pace_row(struct sb_pace *pace, const struct sb_model *model, double time_constant_s, const struct sb_row *row)
{
  const struct sb_drive *drive = &model->drive;
  if (drive->mode != SB_DRIVE_SPEED_CONTROL) return;
  const double speed_rad_s = fabs(row->motor_speed_rad_s);
  const int is_full = row->gear > 0 && fabs(row->duty_fraction) >= drive->limit_fraction * (1.0 - 1e-9);
  if (!is_full || speed_rad_s >= (1.0 - settled_within) * drive->target_rad_s) {
    sb_pace_finish(pace, row->time_s);
    return;
  }
  if (isnan(pace->since_s)) {
    pace->since_s = row->time_s;
    pace->since_least_rad_s = speed_rad_s;
    pace->enough_s = fmax(model->limits.stall_time_s, settled_after * time_constant_s);
  }
  pace->since_least_rad_s = fmin(pace->since_least_rad_s, speed_rad_s);
}
