// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * closed_form.h - what follows from a model without simulating it.
 *
 * Under a constant torque TL that the motor drives, the speed of the steady state solves T(w) - D = TL(w / N) / (N eta)
 * (overrun: 1 / eta_back for eta). For a fast gear f and a slow gear s, at readings d and u:
 *
 *   downshift torque Td: the load that the fast gear carries at d     upshift torque Tu: that of the slow gear at u
 *   hunting band     Td < TL < Tu                                     stuck low   Tu <= the lightest load
 *   needless downshift      Td <= the lightest load                   stall       N eta (Tv - D)
 *   tau = J_eff / (m + b / (N^2 eta)),  J_eff = Jm + Jo / (N^2 eta)
 *   dwell >= time of the shift + tau ln((s_f - s_start) / (s_f - d))
 *
 * Torques of the load are those from outside: without the parts that follow the speed, which are solved together with the
 * motor's line. Readings and thresholds are fractions of the sensor's reference. During a shift and the climb after it the
 * load keeps its torque of the lightest moment.
 *
 * Readings of duty and current (sensor.h) and speed control change where a reading falls with the load: an upshift torque
 * of -INFINITY means that no load is light enough for the threshold, a downshift torque of INFINITY that none is heavy
 * enough. A load that drives the motor raises its current, too. Td and Tu are those of I > 0; below the torques of the same
 * |I| at I < 0 (on the line of the duty's limit, or on the motor's short circuit above the target speed) such a load reads
 * as a heavy one.
 *
 * Times to climb are those at the limit of the duty: exact until the speed controller reduces the duty, a lower bound then.
 *
 * Leaves out: filter, noise and rounding of the reading, whole samples, loads that change during a shift, ramps of
 * the drive, and supplies so weak (Ri > R) that more duty may give less torque.
 * Source: steady state and first-order response of the linear motor line, standard; checked in
 * tests/theory/test_closed_form.c against worked examples and against simulation.
 */
#ifndef SHIFTBAND_CLOSED_FORM_H
#define SHIFTBAND_CLOSED_FORM_H

#include <stdbool.h>

#include "shiftband/model.h"

#ifdef __cplusplus
extern "C" {
#endif

struct sb_gear_figures {
  double ratio;
  double efficiency;
  int output_direction;        /* +1: the output turns as the motor does, -1: against it */
  double stall_torque_nm;      /* N m at the output: the greatest constant torque that the gear still moves */
  double inertia_kg_m2;        /* J_eff at the motor shaft, driving */
  double wheels_inertia_kg_m2; /* of the box's wheels, in it */
  double time_constant_s;      /* tau, with viscous load; the quadratic part is left out */
  double lightest_reading;     /* in steady state at the lightest load; of the speed: 0 when the gear stalls */
  double lightest_speed_rad_s; /* of the output there; 0 when the gear stalls */
  double heaviest_reading;     /* the same at the heaviest load */
  double heaviest_speed_rad_s;
  double back_efficiency; /* eta_back */
  /* Of the motor, where the path locks itself and there is a load to lower: |eta_back| TL / N + D; else NAN. */
  double lowering_torque_nm;
  double jam_inertia_kg_m2; /* Jm + Jo eta_back / N^2; not positive: it jams as soon as the output would drive */
  double hidden_torque_nm;  /* speed control: torque from outside up to which the speed stays at its target; else NAN */
  bool is_stable;           /* speed control: small deviations die out; true in open loop */
  double
      least_voltage_v; /* open-circuit voltage below which the gear stalls at the heaviest load; NAN: it moves at any */
};

/* A pair of neighbours. Voltages are those of the open circuit; NAN: at any voltage, INFINITY: at none. */
struct sb_pair_figures {
  double downshift_torque_nm; /* Td */
  double upshift_torque_nm;   /* Tu */
  /* Readings of the current, and gears that lock themselves: torques of loads that help, below which they take so much of
   * the motor again that the slow gear does not come above u, and the fast one falls below d. Else -INFINITY. */
  double helping_upshift_nm;
  double helping_downshift_nm;
  bool has_band;                  /* Td < Tu: every constant load between makes the box hunt */
  double least_safe_upshift;      /* u at which the band is empty, d kept; NAN: above the no-load reading */
  double greatest_safe_downshift; /* d at which the band is empty, u kept; NAN: not above 0 */
  bool is_stuck_low;              /* Tu <= the lightest load, or the heaviest one <= helping_upshift_nm */
  bool is_needless_downshift;     /* Td <= the lightest load, or the heaviest one <= helping_downshift_nm */
  double upshift_time_s;          /* slow to fast, command to engagement, from reading u; NAN: it does not engage */
  double downshift_time_s;        /* fast to slow, from reading d */
  /* The motor's lead over the output just before the engagement, at the output, rad/s; NAN: it does not engage. Upshift:
   * the greater of that at reading u and that from the slow gear's steady state, under the lightest load. Downshift: at
   * reading d, under the load that brings it there. */
  double slip_upshift_rad_s;
  double slip_downshift_rad_s;
  double shortest_dwell_s;        /* upshift at reading u, lightest load; NAN: the fast gear never gets above d */
  double shortest_dwell_steady_s; /* the same from the slow gear's steady state */
  double shortest_start_delay_s;  /* from rest in the fast gear to d under the lightest load; NAN as above */
  double least_voltage_upshift_v; /* below it the box is stuck low */
  double least_voltage_hold_v;    /* below it the fast gear shifts down needlessly */
};

struct sb_closed_form {
  double no_load_fraction; /* v = wv / w_ref */
  double stall_torque_nm;  /* Tv at the motor */
  double lightest_load_nm; /* torque from outside over the run */
  double heaviest_load_nm;
  double lowered_load_nm; /* the load that acts and helps most, forward or in reverse, less what resists; 0: none */
  struct sb_gear_figures gears[SB_GEAR_MAX];
  struct sb_pair_figures pairs[SB_GEAR_MAX - 1];
};

/* The load at one moment: what acts, what resists in motion, and what it holds at rest. */
struct sb_load_moment {
  double acting_nm;    /* > 0 opposes the motion in gear, < 0 helps it */
  double resisting_nm; /* >= 0 */
  double hold_nm;      /* >= resisting_nm */
};

/* The load at its lightest while the output moves forward, over the run. */
struct sb_load_moment sb_closed_form_lightest(const struct sb_model *model);

/* All figures at the model's supply. */
struct sb_closed_form sb_closed_form_solve(const struct sb_model *model);

#ifdef __cplusplus
}
#endif

#endif
