// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * closed_form.h - what follows from a model without simulating it.
 *
 * Under a constant torque TL that the motor drives the settled speed solves T(w) - D = TL(w / N) / (N eta) (overrun:
 * 1 / eta_back for eta). For a fast gear f and a slow gear s, at readings d and u:
 *
 *   downshift torque Td: what the fast gear carries at d     upshift torque Tu: what the slow gear carries at u
 *   hunting band     Td < TL < Tu                            stuck low   Tu <= the lightest load
 *   needless downshift   Td <= the lightest load          stall       N eta (Tv - D)
 *   tau = J_eff / (m + b / (N^2 eta)),  J_eff = Jm + Jo / (N^2 eta)
 *   dwell >= shift's own time + tau ln((s_f - s_start) / (s_f - d))
 *
 * Torques are "outside" torques: what the speed-following parts take at that speed is already taken off.
 * Readings and thresholds are fractions of the sensor's reference. Viscous and quadratic loads are solved together
 * with the motor's line everywhere, in neutral and while climbing too: every motion between two events is
 * J z' = p - q z - r z^2, whose solution is elementary. The load stands still meanwhile, at its lightest moment.
 *
 * In speed control the motor turns at its target, whatever the load, until the duty is at its limit: a settled reading of the
 * speed is at most the target's, and no load is light enough for a threshold above it (torque -INFINITY). Readings of duty
 * and current (reading.h) tell the load through the motor's voltages and its torque:
 *
 *   duty     1 - u,  u Voc - Ri u^2 I = ke wh + R I    at the target wh, up to the limit
 *   current  1 - |I| / Iref,  T = kt I - Tf            at the target, or on the line of the limit
 *
 * A load that drives the motor raises its current too. Td and Tu are those of I > 0; below the torques of the same |I|
 * at I < 0 (the motor on the limit's line, or on its short circuit once a held speed is passed) it reads as a heavy one.
 *
 * Times to climb are those at the limit's duty: exact until the loop takes the duty back, and a lower bound then.
 *
 * Leaves out: the reading's filter, noise and rounding, whole samples, loads that change during a shift, ramps of
 * the drive, and supplies so weak (Ri > R) that more duty may give less torque.
 * Source: settled point and first-order response of the linear motor line, standard; checked in
 * tests/theory/test_closed_form.c against worked examples and against simulation.
 */
#ifndef SHIFTBAND_CLOSED_FORM_H
#define SHIFTBAND_CLOSED_FORM_H

#include <stdbool.h>

#include "shiftband/model.h"

struct sb_gear_figures {
  double ratio;
  double efficiency;
  int sense;
  double stall_torque_nm;      /* N m at the output: the greatest constant torque that the gear still moves */
  double inertia_kg_m2;        /* J_eff at the motor shaft, driving */
  double time_constant_s;      /* tau, with viscous load; the quadratic part is left out */
  double lightest_reading;     /* settled reading at the lightest outside load; of the speed: 0 when it stalls */
  double lightest_speed_rad_s; /* settled output speed there; 0 when it stalls */
  double heaviest_reading;     /* the same at the heaviest outside load */
  double heaviest_speed_rad_s;
  double hidden_torque_nm; /* speed control: outside torque up to which the speed is held; else NAN */
  double least_voltage_v;  /* open-circuit voltage below which it stalls at the heaviest load; NAN: at any it moves */
};

struct sb_pair_figures {
  double downshift_torque_nm; /* Td */
  double upshift_torque_nm;   /* Tu */
  /* Readings of the current: outside torques, of loads that drive the motor, below which the current has grown so far again
   * that the slow gear does not come above up, and the fast one falls below down. Else -INFINITY. */
  double helping_up_nm;
  double helping_down_nm;
  bool has_band;              /* Td < Tu: every constant load between makes the box hunt */
  double least_safe_up;       /* fraction: u at which the band is empty, d kept; NAN when above the no-load speed */
  double greatest_safe_down;  /* fraction: d at which the band is empty, u kept; NAN when not above 0 */
  bool is_stuck_low;          /* Tu <= the lightest load, or the heaviest one <= helping_up */
  bool is_needless_downshift; /* Td <= the lightest load, or the heaviest one <= helping_down */
  double shift_up_time_s;     /* slow to fast, command to engagement, from reading u; NAN: does not engage */
  double shift_down_time_s;   /* fast to slow, from reading d */
  /* The motor's lead over the output just before the joining, at the output, rad/s; NAN: does not engage. Upshift: the
   * greater of that at reading u and that from the slow gear's settled speed, under the lightest load. Downshift: at
   * reading d, under the load that brings it there. */
  double slip_up_rad_s;
  double slip_down_rad_s;
  double
      shortest_dwell_s; /* after an upshift at reading u under the lightest load; NAN: the fast gear never gets above d */
  double shortest_dwell_settled_s; /* the same from the slow gear's settled speed */
  double shortest_start_delay_s;   /* from rest in the fast gear to d under the lightest load; NAN as above */
  double
      least_voltage_upshift_v; /* open-circuit voltage below which the box is stuck low; NAN: at any does it come up, INFINITY: at none */
  double least_voltage_hold_v; /* below which the fast gear shifts down for nothing; NAN, INFINITY: the same */
};

struct sb_closed_form {
  double no_load_fraction; /* v = wv / w_ref */
  double stall_torque_nm;  /* Tv at the motor */
  double lightest_load_nm; /* outside torque over the run */
  double heaviest_load_nm;
  struct sb_gear_figures gears[SB_GEAR_MAX];
  struct sb_pair_figures pairs[SB_GEAR_MAX - 1];
};

/* A load held still: what acts, what resists while sliding, and what it holds at rest. */
struct sb_load_moment {
  double acting_nm;    /* > 0 opposes the motion in gear, < 0 helps it */
  double resisting_nm; /* >= 0 */
  double hold_nm;      /* >= resisting_nm */
};

/* One shift, from the command to the engagement. "New sense": that in which the new gear drives. */
struct sb_shift_figures {
  double time_s;             /* INFINITY: it never engages, and the rest is NAN */
  double motor_speed_rad_s;  /* just before the joining, in the new sense */
  double output_speed_rad_s; /* the same for the output */
  double joined_speed_rad_s; /* the motor's just after */
  double lost_j;             /* energy lost in the joining; 0 with a clutch, which rubs it away before */
};

/* The motor's line at the model's duty and supply. */
struct sb_motor_line sb_closed_form_line(const struct sb_model *model);

/* Outside torque (N m at the output) that gear (index from 0) carries, settled, at a reading > 0. Pure. */
double sb_closed_form_carried_nm(const struct sb_model *model, const struct sb_motor_line *line, int gear,
                                 double reading);

/* Readings of the current: outside torque of a load that drives the motor in a gear until |I| brings the reading down to a
 * value < 1; -INFINITY for other readings, and where no load can. Pure. */
double sb_closed_form_helping_nm(const struct sb_model *model, const struct sb_motor_line *line, int gear,
                                 double reading);

/* Settled reading of a gear under an outside torque; of the speed: 0 when the gear stalls. Pure. */
double sb_closed_form_settled(const struct sb_model *model, const struct sb_motor_line *line, int gear,
                              double outside_nm);

/* The motor's settled speed in rad/s; 0 when the gear stalls. Pure. */
double sb_closed_form_settled_speed_rad_s(const struct sb_model *model, const struct sb_motor_line *line, int gear,
                                          double outside_nm);

/* The supply's voltage under the settled motor's current, in V; that at standstill when the gear stalls. Pure. */
double sb_closed_form_supply_v(const struct sb_model *model, const struct sb_motor_line *line, int gear,
                               double outside_nm);

/* The reading of an unloaded motor. Pure. */
double sb_closed_form_greatest_reading(const struct sb_model *model, const struct sb_motor_line *line);

/* Speed control: outside torque at which a gear's duty reaches its limit, so that the speed begins to fall; NAN in open
 * loop. Pure. */
double sb_closed_form_hidden_nm(const struct sb_model *model, const struct sb_motor_line *line, int gear);

/* Whether the inner loop settles in a gear, small swings taken; true in open loop. Pure. */
bool sb_closed_form_hold_settles(const struct sb_model *model, const struct sb_motor_line *line, int gear);

/* Time constant of a gear in s, driving. Pure. */
double sb_closed_form_time_constant_s(const struct sb_model *model, const struct sb_motor_line *line, int gear);

/* The load at its lightest while the output moves forward, over the run. */
struct sb_load_moment sb_closed_form_lightest(const struct sb_model *model);

/*
 * A shift between two gears (indices from 0) commanded at a motor speed > 0 (rad/s, in the old gear's sense): the motor
 * on its line, or the clutch's torque, the output coasting under the load (and rolling back when the load can do it).
 * A selector's drive, unless cut, takes the new gear's sense at the command. Pure.
 */
struct sb_shift_figures sb_closed_form_shift(const struct sb_model *model, const struct sb_motor_line *line, int from,
                                             int to, const struct sb_load_moment *load, double start_speed_rad_s);

/*
 * Time in s that a gear needs, in mesh and driven, from a motor speed (any sign) to a motor speed > 0; 0 when it is
 * there already, INFINITY when it never gets there. Driving and overrun are told apart on the way. Pure.
 */
double sb_closed_form_climb_s(const struct sb_model *model, const struct sb_motor_line *line, int gear,
                              const struct sb_load_moment *load, double start_speed_rad_s, double target_rad_s);

/* All figures at the model's supply. */
struct sb_closed_form sb_closed_form_solve(const struct sb_model *model);

#endif
