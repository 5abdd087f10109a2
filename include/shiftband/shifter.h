// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * shifter.h - what takes the box out of one gear and into the next.
 *
 *   swing arm  the motor's reversal selects: the drive flips at the command, the arm leaves mesh at once and engages
 *              when the motor has turned swing_turns revolutions in the new direction, counted from its reversal
 *   selector   a second actuator: engages travel_time after the command; the drive may be cut meanwhile
 *   clutch     a slipping clutch, between motor and gears, joins at once with its torque until the speeds meet, through the
 *              meshes with their loss; once joined it transmits at most its torque: above, it slips again until they meet
 *
 * A new kind is one file in src/machine/shifter/ with an ops table, one line in sb_shifter_kinds, and one in the schema.
 * Source: inelastic joining of two inertias, R. S. Khurmi, J. K. Gupta, Theory of Machines, chapter 3.
 */
#ifndef SHIFTBAND_SHIFTER_H
#define SHIFTBAND_SHIFTER_H

#include <stdbool.h>

#ifdef __cplusplus
extern "C" {
#endif

struct sb_shifter_ops;

struct sb_shifter {
  const struct sb_shifter_ops *ops; /* its kind, never NULL */
  double swing_turns;               /* swing arm: revolutions of the motor, >= 0 */
  double travel_time_s;             /* selector: s, >= 0 */
  bool is_drive_cut;                /* selector: open circuit while moving */
  double clutch_nm;                 /* clutch: N m at the motor shaft, > 0 */
  double timeout_s;                 /* s, > 0: a shift that has not engaged by then is a verdict */
};

/* How neutral is left, fixed at the command. */
struct sb_shift_plan {
  bool is_drive_cut;      /* no current until engaged */
  double engage_time_s;   /* engages at this time; INFINITY: not by time */
  double engage_turn_rad; /* engages after this turn of the motor in its new direction; INFINITY: not by turning */
  double clutch_nm;       /* joins motor and output by slipping; 0: neutral is open. Engages when the speeds meet */
};

struct sb_shifter_ops {
  const char *name;           /* as in the scenario file */
  bool has_clutch;            /* a clutch between motor and gears */
  bool is_direction_selected; /* the motor's direction picks the gear: two gears, of opposite motor direction */
  struct sb_shift_plan (*plan)(const struct sb_shifter *shifter, double command_time_s);
};

/* Torque of the clutch between motor and gears, N m at the motor shaft; 0: there is none. Pure. */
static inline double sb_shifter_clutch_nm(const struct sb_shifter *shifter)
{
  return shifter->ops->has_clutch ? shifter->clutch_nm : 0.0;
}

/* All kinds, NULL at the end. */
extern const struct sb_shifter_ops *const sb_shifter_kinds[];

/* The kind of that name, or NULL. */
const struct sb_shifter_ops *sb_shifter_kind_find(const char *name);

#ifdef __cplusplus
}
#endif

#endif
