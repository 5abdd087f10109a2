// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/verdict.h"

#include <math.h>

static const double settled_within = 0.02;
static const double settled_after = 5.0; /* time constants */

void sb_shortfall_init(struct sb_shortfall *shortfall)
{
  *shortfall = (struct sb_shortfall){.first_s = NAN, .least_rad_s = NAN, .since_s = NAN};
}

void sb_shortfall_finish(struct sb_shortfall *shortfall, double time_s)
{
  if (time_s - shortfall->since_s > shortfall->enough_s) {
    if (shortfall->count == 0) shortfall->first_s = shortfall->since_s;
    shortfall->count++;
    shortfall->duration_s += time_s - shortfall->since_s;
    shortfall->least_rad_s = fmin(shortfall->least_rad_s, shortfall->since_least_rad_s); /* fmin passes over a NAN */
  }
  shortfall->since_s = NAN;
}

void sb_shortfall_row(struct sb_shortfall *shortfall, const struct sb_model *model, double time_constant_s,
                      const struct sb_row *row)
{
  const struct sb_drive *drive = &model->drive;
  if (drive->mode != SB_DRIVE_SPEED_CONTROL) return;
  const double speed_rad_s = fabs(row->motor_speed_rad_s);
  const int is_full = row->gear > 0 && fabs(row->asked_fraction) >= drive->limit_fraction * (1.0 - 1e-9);
  if (!is_full || speed_rad_s >= (1.0 - settled_within) * drive->target_rad_s) {
    sb_shortfall_finish(shortfall, row->time_s);
    return;
  }
  if (isnan(shortfall->since_s)) {
    shortfall->since_s = row->time_s;
    shortfall->since_least_rad_s = speed_rad_s;
    shortfall->enough_s = fmax(model->limits.stall_time_s, settled_after * time_constant_s);
  }
  shortfall->since_least_rad_s = fmin(shortfall->since_least_rad_s, speed_rad_s);
}
