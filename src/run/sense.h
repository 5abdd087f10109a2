// SPDX-License-Identifier: GPL-3.0-or-later
/* sense.h - internal: what the controller's sensor makes of the simulated machine at a sample. */
#ifndef SHIFTBAND_RUN_SENSE_H
#define SHIFTBAND_RUN_SENSE_H

#include "shiftband/sim.h"

/* In counts: the least reading that a downshift may be decided by, the greatest that an upshift may; they differ only for a window of
 * the worst phase. */
struct sb_sensed {
  int32_t least, greatest;
  int32_t counts,
      voltage_counts; /* the least before it is set against the supply, and the supply's; the same and 0 where it is not */
};

/* At a sample, each in its turn. Fills what the row shows of the sensor, but for the reading; noise in standard deviations. */
struct sb_sensed sb_sense_take(struct sb_reading *reading, struct sb_sim *sim, struct sb_row *row, double noise);

/* Whether the sensor reads the motor's speed, and nothing else of the machine: no pulses, no supply. Pure. */
bool sb_sense_is_of_speed(const struct sb_sensor *sensor);

/* The same for such a sensor. */
struct sb_sensed sb_sense_take_speed(struct sb_reading *reading, const struct sb_sensor *sensor,
                                     double motor_speed_rad_s, double noise);

#endif
