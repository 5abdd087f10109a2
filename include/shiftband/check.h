// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * check.h - everything about one scenario that needs no simulation, in one struct.
 *
 * sb_check_solve() fills it once; text, JSON and CSV only read it. Figures come from the closed forms (closed_form.h), over
 * the charge of a battery from discharge.h. What is absent is NAN, INFINITY or NULL, as said beside it; fractions are of 1.
 * Strings point into the scenario, which must live as long as the struct, or are constant.
 *
 * Leaves out: what the closed forms leave out; `run` simulates it.
 */
#ifndef SHIFTBAND_CHECK_H
#define SHIFTBAND_CHECK_H

#include <stdbool.h>
#include <stdio.h>

#include "shiftband/closed_form.h"
#include "shiftband/crossover.h"
#include "shiftband/discharge.h"
#include "shiftband/scenario.h"

#ifdef __cplusplus
extern "C" {
#endif

enum {
  SB_CHECK_REMARK_MAX = 64,
  SB_CHECK_REMARK_SIZE = 640,
  SB_CHECK_CURE_MAX = 2,
  SB_CHECK_CURE_SIZE = 96,
  SB_CHECK_CHARGE_MAX = 101 + 2 * SB_DISCHARGE_SPAN_MAX,
  SB_CHECK_BURDEN_MAX = 1 + 2 * SB_GEAR_MAX,
  SB_CHECK_STAGE_MAX = 2 * (SB_OBSTACLE_MAX + 1)
};

/* A change that cures what a remark is about: a key of the scenario and the value to give it. */
struct sb_check_cure {
  char key[SB_CHECK_CURE_SIZE];
  const char *bound; /* "at least", "at most": which side of the value cures, too */
  char value[SB_CHECK_CURE_SIZE];
};

/* A finding, a note or a caution: what, why, and what cures it. */
struct sb_check_remark {
  const char *kind; /* "hunting", "stuck low", ..., or the section that a note is about */
  int pair;         /* index of the pair of gears, or -1 */
  char text[SB_CHECK_REMARK_SIZE];
  int cure_count; /* each of the cures helps by itself */
  struct sb_check_cure cures[SB_CHECK_CURE_MAX];
};

struct sb_check_remarks {
  int count;
  struct sb_check_remark items[SB_CHECK_REMARK_MAX];
};

struct sb_check_motor {
  double open_circuit_voltage_v;
  double internal_resistance_ohm;
  double duty_fraction; /* the drive's limit */
  double no_load_speed_rad_s;
  double no_load_fraction;  /* the reading there */
  double reference_rad_s;   /* 100 % of a reading of the speed */
  bool is_speed_read;       /* the reading is that of the speed */
  double stall_torque_nm;   /* at the motor */
  double current_limit_a;   /* of the driver; these four NAN without one */
  double corner_rad_s;      /* below it the current is held there */
  double corner_fraction;   /* the reading there; NAN where the speed is not read */
  double corner_battery_a;  /* what the battery gives there */
  double speed_limit_rad_s; /* that the motor withstands */
  double greatest_power_w;  /* at the shaft */
  double power_speed_rad_s; /* where it is greatest */
  double slope_nms_rad;     /* of the line of torque over speed */
  double friction_nm;
  double kt_nm_a; /* these three NAN without currents */
  double ke_vs_rad;
  double resistance_ohm;
};

struct sb_check_gear {
  const char *name;
  struct sb_gear_figures figures;
  bool jams;              /* it locks itself, and stops at once as soon as the output would drive */
  bool exceeds_limit;     /* its stall torque exceeds the limit of the output torque */
  bool is_target_reached; /* speed control: its target, under the lightest load */
};

enum sb_check_band_load { SB_BAND_LOAD_OUTSIDE, SB_BAND_LOAD_OVERLAPS, SB_BAND_LOAD_INSIDE };

/* Two neighbours: gears pair + 1 and pair + 2. */
struct sb_check_pair {
  const char *slower;
  const char *faster;
  double downshift_below; /* thresholds, fractions of the reading */
  double upshift_above;
  struct sb_pair_figures figures;
  struct sb_crossover crossover;
  bool is_downshift_below,
      is_upshift_below;           /* the torques of the thresholds, of the crossover load where there is one */
  double slower_lightest_reading; /* in steady state at the lightest load */
  double faster_lightest_reading;
  double slower_stall_nm;
  double faster_stall_nm;
  double upshift_margin;             /* upshift threshold less the least safe one; NAN: there is none */
  enum sb_check_band_load band_load; /* the scenario's loads and the hunting band, where there is one */
  bool slower_locks, faster_locks;   /* they lock themselves */
  bool is_upshift_opposed;    /* the lightest loads drive the motor so hard that the current opposes the upshift */
  bool is_downshift_forced;   /* ... that the current forces the downshift */
  double dwell_s;             /* the scenario's */
  double needed_dwell_s;      /* the greater of both shortest ones; NAN: none is long enough */
  bool is_dwell_enough;       /* in whole samples */
  double start_delay_s;       /* the scenario's */
  bool is_start_delay_needed; /* the machine starts in the faster gear, and gets above the downshift threshold */
  bool is_start_delay_enough;
};

/* The machine at one voltage or temperature. */
struct sb_check_case {
  const char *label; /* "nominal", "least", "greatest"; "cold", "warm" */
  double winding_c;  /* NAN: the reference temperature */
  double magnet_c;   /* NAN: no magnet weakens; warm: the housing as warm as such a winding makes it in the end */
  struct sb_check_motor motor;
  int gear_count;
  struct sb_check_gear gears[SB_GEAR_MAX];
  struct sb_check_pair pairs[SB_GEAR_MAX - 1];
};

struct sb_check_load {
  double lightest_nm; /* external torque while the output moves forward */
  double heaviest_nm;
  double lowered_nm; /* the load that acts and helps most, forward or in reverse; 0: none */
  double duration_s; /* of the run, over which these are found */
  double inertia_kg_m2;
  double viscous_nms_rad;
  double quadratic_nms2_rad2;
  double holding_brake_nm; /* 0: none */
  double suspended_nm;     /* torque that a holding brake must hold, less the drum's friction */
  bool is_held;            /* the holding brake holds it */
};

struct sb_check_limit {
  double torque_nm; /* at the output; INFINITY: none given */
  const char *part; /* the part that gives it, or NULL: given as a torque, or none */
  bool is_exceeded; /* by a gear at stall */
};

struct sb_check_drive {
  const char *mode; /* as in the scenario */
  bool is_speed_controlled;
  bool is_plain; /* constant duty, read by the speed: nothing to say */
  double limit_fraction;
  double period_s;
  double ramp_s;        /* 0: none */
  const char *when_off; /* "coast", "brake" */
  bool is_brake_at_off;
  struct sb_table schedule;
  bool has_stop;
  bool has_reverse;
  const char *reading; /* "speed", "duty", "current" */
  bool is_duty_read;
  bool is_current_read;
  double reference_a;     /* NAN: the reading is not that of the current */
  double target_rad_s;    /* these four NAN in open loop */
  double target_fraction; /* of the motor's no-load speed */
  double proportional_band_rad_s;
  double integral_time_s;
};

/* What a sensor of pulses makes of a pair of gears. */
struct sb_check_sensor_pair {
  double dwell_s;       /* from which on it is fit: the needed dwell, and what the sensor takes; NAN: none is */
  double start_delay_s; /* likewise; NAN: none is needed, or none is long enough */
  double stall_seen_s;  /* after a stop at once, at most, the reading is below the downshift threshold */
  bool is_dwell_enough, is_start_delay_enough;
};

/* A sensor of pulses (sensor.h). */
struct sb_check_sensor {
  bool is_present;
  double pulses_per_turn;
  double window_s;       /* NAN: between pulses */
  double count_rad_s;    /* one pulse in the window: speeds below it read 0 or 1; NAN: between pulses */
  double count_fraction; /* thresholds closer together than this act alike; NAN likewise */
  double lag_s;          /* of a steady change: half the window, or half the time between two pulses at full speed */
  struct sb_check_sensor_pair pairs[SB_GEAR_MAX - 1];
};

/* An engagement (of gears) or an impact (of a vehicle on a body): two inertias join at a difference in speed. */
struct sb_check_shock {
  double speed_difference_rad_s; /* at the output, the motor's lead; 0 or NAN: there is none */
  double impulse_nms;            /* on a rigid shaft */
  double peak_torque_nm;         /* alone, damped; NAN: rigid */
  double undamped_peak_torque_nm;
  double stiffness_that_matters_nm_rad; /* above it the peak exceeds 1.5 times the stall torque of the gear */
  double stiffness_at_limit_nm_rad; /* above it the peak exceeds the limit of the output torque; INFINITY: none given */
};

struct sb_check_shaft_gear {
  double natural_frequency_rad_s; /* NAN: rigid */
  double damping_ratio;
  struct sb_check_shock engagement;
  struct sb_check_shock impact;
};

/* The least stiffness of all shocks, and the shock. */
struct sb_check_stiffness {
  double nm_rad; /* INFINITY: none */
  int gear;
  bool is_impact;
};

struct sb_check_shaft {
  bool is_rigid;
  double stiffness_nm_rad; /* NAN: rigid */
  double damping_nms_rad;
  double backlash_rad;
  bool is_relevant;       /* compliant: a shock alone exceeds the limit or 1.5 times the stall torque of its gear */
  bool is_limit_exceeded; /* compliant: a shock alone exceeds the limit */
  double greatest_shock_nm;
  int greatest_gear; /* index */
  struct sb_check_stiffness that_matters;
  struct sb_check_stiffness at_limit;
  struct sb_check_shaft_gear gears[SB_GEAR_MAX];
};

enum sb_check_fate { SB_FATE_GOES, SB_FATE_STALLS, SB_FATE_SLIPS };

/* Where a vehicle meets a body, or where the stretch behind it is steepest. */
struct sb_check_stage {
  int bodies; /* pushed there */
  bool is_steepest;
  double distance_m;
  double need_n; /* push that the vehicle needs there */
  double
      ballast_kg; /* on the driven wheels, to push it all with slipping wheels; 0: none, INFINITY: no ballast helps */
  enum sb_check_fate fates[SB_GEAR_MAX];
};

/* A vehicle whose wheels can slip, or that meets bodies. */
struct sb_check_vehicle {
  bool is_present;
  bool can_slip;
  double carried_push_n; /* the ground's, at the start; these three NAN: it carries any */
  double carried_torque_nm;
  double slipping_push_n;
  double stall_push_n[SB_GEAR_MAX];
  bool is_slipping[SB_GEAR_MAX]; /* at stall */
  int stage_count;
  struct sb_check_stage stages[SB_CHECK_STAGE_MAX];
  double ballast_kg; /* the greatest of all stages */
  double end_m;      /* NAN: none */
};

/* A trouble over a stretch of the charge. */
struct sb_check_span {
  const char *kind; /* sb_discharge_words() */
  const char *gear; /* NULL: it is about a pair, or about the start */
  const char *slower;
  const char *faster;
  double from_fraction;
  double to_fraction;
  double from_voltage_v;
  double to_voltage_v;
  char text[SB_CHECK_REMARK_SIZE];
};

struct sb_check_charge_pair {
  double downshift_torque_nm;
  double upshift_torque_nm;
  double least_safe_upshift;
  double greatest_safe_downshift;
  double slower_lightest_reading; /* the box is stuck low from this upshift threshold on */
  double faster_lightest_reading; /* it shifts down needlessly from this downshift threshold on */
  bool is_hunting;                /* these just below the charge */
  bool is_stuck_low;
  bool is_needless; /* a downshift */
  bool is_slower_stalled;
  bool is_faster_stalled;
  bool is_faster_cut; /* below the cut-off under the lightest load */
  bool is_start_cut;  /* every start from rest is */
};

/* At one charge. */
struct sb_check_charge {
  double charge_fraction;
  bool is_tenth; /* a whole multiple of 10 % */
  double voltage_v;
  double stall_torques_nm[SB_GEAR_MAX];
  struct sb_check_charge_pair pairs[SB_GEAR_MAX - 1];
};

struct sb_check_battery {
  bool is_present;
  const char *chemistry; /* NULL: a curve of its own */
  const char *source;
  int cells; /* in series */
  double capacity_ah;
  double charge_fraction; /* at the start */
  double cutoff_v;        /* 0: none */
  int span_count;
  struct sb_check_span spans[SB_DISCHARGE_SPAN_MAX];
  int charge_count;
  struct sb_check_charge charges[SB_CHECK_CHARGE_MAX]; /* falling: each hundredth, and the ends of all spans */
};

/* A load and a gear that warm the winding for as long as it takes. */
struct sb_check_burden {
  const char *gear;          /* NULL: the shaft is blocked */
  const char *load;          /* "lightest", "heaviest"; NULL: blocked */
  double external_torque_nm; /* NAN: blocked */
  double start_loss_w;
  double steady_winding_c; /* INFINITY: the winding burns */
  double steady_housing_c;
  double bound_reached_s; /* INFINITY: never; NAN: the calculation failed */
};

struct sb_check_heat {
  bool is_present;
  double ambient_c;
  double start_c;
  double reference_c;
  double magnet_per_k; /* NAN: no magnet weakens */
  bool is_housed;
  double limit_c;   /* INFINITY: none given */
  double cut_out_c; /* INFINITY: none given */
  double reset_c;
  double bound_c; /* the lower of limit and cut-out */
  int burden_count;
  struct sb_check_burden burdens[SB_CHECK_BURDEN_MAX]; /* the blocked shaft first */
  double closed_again_s;         /* with the shaft blocked, after the cut-out opened; NAN: it never opens */
  double warm_c;                 /* of the warm motor; NAN: it burns */
  bool has_cases;                /* false: it burns, or does not overcome its own friction when so warm */
  struct sb_check_case cases[2]; /* cold, warm */
};

enum { SB_CHECK_NOMINAL, SB_CHECK_LEAST, SB_CHECK_GREATEST, SB_CHECK_CASE_MAX };

struct sb_check {
  const char *name;
  int case_count; /* 1, or 3 where the scenario gives the supply's voltage a range */
  struct sb_check_case cases[SB_CHECK_CASE_MAX];
  struct sb_check_load load;
  struct sb_check_limit limit;
  struct sb_check_drive drive;
  struct sb_check_sensor sensor;
  struct sb_check_shaft shaft;
  struct sb_check_vehicle vehicle;
  struct sb_check_battery battery;
  struct sb_check_heat heat;
  struct sb_check_remarks findings; /* of pairs of gears, in their order */
  struct sb_check_remarks notes;
  struct sb_check_remarks cautions; /* where people or things could be hurt */
};

/* Fills all of *out, which is large: half a megabyte. Fails with SB_ERR_MEMORY. The scenario must outlive *out. */
enum sb_status sb_check_solve(const struct sb_scenario *scenario, struct sb_check *out, struct sb_error *err);

/* For people, in lines of sb_text_width() columns at most. Returns 0, or -1 when writing failed. */
int sb_check_write_text(const struct sb_check *check, FILE *out);

/* One JSON object on one line. Returns 0, or -1 when writing failed. */
int sb_check_write_json(const struct sb_check *check, FILE *out);

/* Thresholds over the charge of the battery as CSV, a row for each charge and pair; only the header without a battery.
 * Returns 0, or -1 when writing failed. */
int sb_check_write_discharge_csv(const struct sb_check *check, FILE *out);

#ifdef __cplusplus
}
#endif

#endif
