// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * model.h - one machine, its load, its controller and its run, in SI units. Const once validated: a simulation moves
 * only its own state. Copying a model is a plain assignment; the tables and strings it points to stay with the scenario.
 */
#ifndef SHIFTBAND_MODEL_H
#define SHIFTBAND_MODEL_H

#include <stdbool.h>

#include "shiftband/battery.h"
#include "shiftband/body.h"
#include "shiftband/drive.h"
#include "shiftband/driveshaft.h"
#include "shiftband/gearbox.h"
#include "shiftband/load.h"
#include "shiftband/magnet.h"
#include "shiftband/motor.h"
#include "shiftband/sensor.h"
#include "shiftband/shifter.h"
#include "shiftband/status.h"
#include "shiftband/winding.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Thresholds are fractions of the sensor's reference; pair p lies between gears p + 1 and p + 2. */
struct sb_control {
  int start_gear;                             /* from 1 */
  double sample_period_s;                     /* s, > 0, a whole multiple of the step */
  double start_delay_s;                       /* s, >= 0 */
  double dwell_s;                             /* s, >= 0 */
  double downshift_fraction[SB_GEAR_MAX - 1]; /* 0 < down < up */
  double upshift_fraction[SB_GEAR_MAX - 1];
  double threshold_step_fraction; /* > 0: thresholds that the controller can be given lie on its multiples */
  int debounce_count;             /* 1..255 */
  struct sb_sensor sensor;
};

struct sb_run_setup {
  double duration_s;                 /* s, > 0 */
  double step_s;                     /* s, > 0 */
  double trace_interval_s;           /* s, > 0, a whole multiple of the step */
  double initial_output_speed_rad_s; /* rad/s, any sign */
};

/* What counts as a verdict; INFINITY: no limit was given. */
struct sb_limits {
  double output_torque_nm; /* N m, > 0 */
  double winding_c;        /* deg C */
  double stall_time_s;     /* s, > 0, default 0.5 */
  double slip_time_s;      /* s, >= 0, default 0.1 */
  double hunt_window_s;    /* s, > 0; NAN: 3 dwell + the shift's time + 5 tau of the slower gear */
  /* 0: the default of the functions below. */
  double shift_rate_per_s;
  double motor_speed_rad_s;
  double run_back_rad; /* at the output */
  double clutch_slip_time_s;
};

enum { SB_LIMIT_TEXT_SIZE = 160 };

struct sb_model {
  char name[128];
  struct sb_motor motor;
  struct sb_supply supply;
  struct sb_battery battery;       /* absent: the supply's voltage stays */
  struct sb_winding winding;       /* absent: the winding's resistance stays */
  struct sb_magnet magnet;         /* absent: torque and voltage constant stay */
  struct sb_drive drive;           /* its direction comes from the gear and the command in force */
  struct sb_driveshaft driveshaft; /* absent: rigid */
  struct sb_gearbox gearbox;
  struct sb_shifter shifter;
  struct sb_load load;
  int body_count; /* 0..SB_BODY_MAX: bodies that the load holds already, for reports */
  struct sb_body bodies[SB_BODY_MAX];
  struct sb_control control;
  struct sb_run_setup run;
  struct sb_limits limits;
  char output_limit[SB_LIMIT_TEXT_SIZE]; /* the part that gives limits.output_torque_nm; "": a torque, or none */
};

/*
 * What follows from a validated model alone, derived once for a run, a map or a check. In the arrays [0] is neutral and
 * [g + 1] the gear of index g.
 */
struct sb_derived {
  struct sb_motor_line line; /* at the model's supply and limit of the duty */
  double viscous_nms_rad;    /* of all the load, N m s / rad */
  double quadratic_nms2_rad2;
  /* s: with the reflected load, in neutral the shorter of motor and output alone; a radian of the load's fastest wave when that
   * is shorter. */
  double time_constant_s[SB_GEAR_MAX + 1];
  /* s: the least of all that the simulator has to follow; wheels that slip and a shaft's swing count, too. */
  double least_time_constant_s[SB_GEAR_MAX + 1];
};

/*
 * Whether a model that a program has put together or changed is one that a scenario file could have given: each number within
 * its range, thresholds in order, periods whole multiples of the step, derived ratios those of the meshes. A simulation of
 * another one is undefined. After a change of motor or gears derive first (sb_motor_derive(), sb_gearbox_derive()).
 *
 * SB_ERR_SCENARIO with the first fault, as "run.step: needs ..., found ...", or SB_ERR_MEMORY. The model stays as it is.
 */
enum sb_status sb_model_validate(const struct sb_model *model, struct sb_error *err);

/* Pure. */
struct sb_derived sb_model_derive(const struct sb_model *model);

/* The shortest time constant of all gears and neutral, s. */
double sb_model_shortest_s(const struct sb_derived *derived, const struct sb_model *model);

/* Inertia of the motor in neutral, with the wheels before the shifter, and of an output with so much of its own, with the
 * other wheels, kg m^2. Pure. */
double sb_model_motor_inertia_kg_m2(const struct sb_model *model);
double sb_model_output_inertia_kg_m2(const struct sb_model *model, double output_inertia_kg_m2);

/* The two sides of an engaged gear (index), each at its own end, kg m^2: rotor with wheels, driving or in overrun, and an output with
 * so much of its own. Wheels beyond a clutch are the output's whether it slips or holds. Pure. */
double sb_model_engaged_motor_kg_m2(const struct sb_model *model, int gear, bool is_driving);
double sb_model_engaged_output_kg_m2(const struct sb_model *model, double output_inertia_kg_m2);

/* Inertia that the motor sees in a gear (index), with so much at the output and the wheels of the box: Jm + Jo / (N^2 eta)
 * driving, Jm + Jo eta_back / N^2 in overrun, kg m^2. Where the latter is not positive, the gear jams as soon as the output
 * would drive. Pure. */
double sb_model_driven_inertia_kg_m2(const struct sb_model *model, int gear, double output_inertia_kg_m2);
double sb_model_overrun_inertia_kg_m2(const struct sb_model *model, int gear, double output_inertia_kg_m2);

/* Number of whole steps in a duration: rounds to the nearest when within 1e-6 of it, else up. */
long long sb_model_step_count(double duration_s, double step_s);

/* How long the controller waits for a duration: whole samples, rounded up, in s. */
double sb_model_whole_samples_s(const struct sb_control *control, double duration_s);

/* Torque at the output that a holding brake must hold at rest: that of the parts which act, less the friction of the
 * bodies, N m, >= 0. Pure. */
double sb_model_suspended_nm(const struct sb_model *model);

/* The least time between two shifts at the limit of their rate, s: 60 s / 10. Pure. */
double sb_model_shift_interval_s(const struct sb_model *model);

/* The limit of the motor's speed, rad/s: 1.5 times the no-load speed at full duty and the greatest open-circuit voltage (common
 * practice). Pure. */
double sb_model_motor_speed_limit_rad_s(const struct sb_model *model);

/* How far the output may turn back in a run in which it turned way_rad to and fro, rad: an eighth of a turn; for a vehicle or hoist
 * 1 % of the way, at least 10 mm, at most a quarter turn of wheel or drum. What a shaft that gives can be twisted by comes
 * on top. Pure. */
double sb_model_run_back_rad(const struct sb_model *model, double way_rad);

/* The radius of the wheel or drum of the first body that has one, m; 0: none. Pure. */
double sb_model_body_radius_m(const struct sb_model *model);

/* For how long an engaged clutch may have too much to transmit, s: 50 ms. Pure. */
double sb_model_clutch_slip_s(const struct sb_model *model);

#ifdef __cplusplus
}
#endif

#endif
