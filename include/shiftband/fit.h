// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * fit.h - motor, friction, efficiency and inertia from simple measurements on a bench.
 *
 * Two kinds of logs (CSV), any number of them together:
 *
 *   points   rows of torque (or a force or a weight on an arm), speed, optionally current and voltage, each in steady state
 *   time     rows of time and speed, optionally voltage, current, duty and gear: spin-up, coast-down, a shift
 *
 * One machine explains all of them. Without a scenario it is the bare motor with what turns on its shaft:
 *
 *   J dw/dt = kt I - Tf sign(w) - b w - torque,   I = (u V - ke w) / R   (open circuit: I = 0)
 *   R = Vn / Is,   ke = (Vn - I0 R) / w0,   kt I0 = Tf + b w0,   Ts = kt Is - Tf
 *
 * so that w0, I0, Ts and Is are what a data sheet gives: measured free and locked, at the nominal voltage Vn. With a
 * scenario it is the scenario's machine (motor.h, gearbox.h, load.h), and b belongs to its load. Motions are the
 * simulator's own (sim.h); points are its steady-state speeds.
 *
 * Estimates minimize the weighted squares of (measured - computed) over all speeds and currents. Each channel of each log
 * has a spread of its own, estimated from its residuals at its share of the degrees of freedom; readings rounded to steps
 * of q add q^2 / 12, and equal readings in a row share one rounding. Readings too far from a fit by Tukey's bisquare (the
 * chance of one such in a sound log is 0.1 %) are outliers: left out, and named. Each dynamic log has its own time origin;
 * a coast-down may begin before the circuit is opened.
 * Standard errors are those of the linearized problem; intervals take Student's t at the degrees of freedom of the channels
 * that carry them (Welch and Satterthwaite).
 *
 * What the data leave open is read off the singular values of the Jacobian in units of one standard deviation: a direction
 * that may change the parameters by half of themselves is undetermined, is named, and is kept where the setup has it.
 *
 * A gauge may err by one gain throughout (SB_FIT_GAUGE_LIST); what that does to each figure is added to its error and interval,
 * correlated as it is, by distributions (src/fit/gauge.c, src/fit/cover.c).
 *
 * Leaves out: errors of the duty, of added inertias and of single torques and voltages (taken as exact), offsets of gauges,
 * inductance, warming, noise that is correlated in time.
 * Of a scenario's battery, winding, magnets and drive nothing is used but drive.current_limit, for the log says what fed the motor; its output shaft gives
 * only across a shift. A log with shifts is one run at one duty and one open-circuit voltage: the median of what was measured
 * with a gear engaged and of what the supply's resistance took of it (without currents, as if measured behind it). Bodies and loads that change are refused.
 *
 * Shifts. The instants of commands and engagements lie between two rows; they are the log's own unknowns, held softly to the
 * middle of that pause. The squares have several minima then, so the search starts from points of a Sobol sequence
 * around the scenario's values, and from small changes of what it finds; far from the scenario (an e-fold of an inertia, a quarter
 * of an efficiency, friction below zero) it goes only where readings require it. The minima are flat to one side and steep
 * to the other: an interval is how far a parameter can go, all others following, before the squares have grown by t^2
 * (profile t: D. M. Bates, D. G. Watts, Nonlinear Regression Analysis and Its Applications, from memory), and what is
 * called its standard error is half of that over t.
 * Source: weighted and robust regression as in N. R. Draper, H. Smith, Applied Regression Analysis, and P. J. Rousseeuw,
 * A. M. Leroy, Robust Regression and Outlier Detection (reweighted least squares); B. L. Welch 1947, F. E. Satterthwaite
 * 1946 (all from memory). Checked in tests/fit/ by intervals that contain the truth as often as they say.
 */
#ifndef SHIFTBAND_FIT_H
#define SHIFTBAND_FIT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#include "shiftband/log.h"
#include "shiftband/model.h"
#include "shiftband/scenario.h"
#include "shiftband/status.h"
#include "shiftband/units.h"

#ifdef __cplusplus
extern "C" {
#endif

/* ---- logs ---- */

/*
 * Reads a log (log.h): rows over time, or settled points. Force and mass become torque by the arm. SB_ERR_SCENARIO (faults
 * filled: "file:line:column: name: needs ..., found ..."), SB_ERR_IO (errno says why) or SB_ERR_MEMORY. Release with
 * sb_log_clear().
 */
enum sb_status sb_fit_log_read(const char *path, const struct sb_log_options *options, struct sb_log *out,
                               struct sb_faults *faults);

/* ---- parameters and figures ---- */

/* What is fitted. X(name, words) */
#define SB_FIT_PARAMETER_LIST(X)                 \
  X(SB_FIT_P_NO_LOAD_SPEED, "no-load speed")     \
  X(SB_FIT_P_STALL_TORQUE, "stall torque")       \
  X(SB_FIT_P_STALL_CURRENT, "stall current")     \
  X(SB_FIT_P_FRICTION_SHARE, "motor friction")   \
  X(SB_FIT_P_ROTOR_INERTIA, "rotor inertia")     \
  X(SB_FIT_P_MESH_EFFICIENCY, "mesh efficiency") \
  X(SB_FIT_P_LOAD_FRICTION, "load friction")     \
  X(SB_FIT_P_VISCOUS, "viscous friction")        \
  X(SB_FIT_P_LOAD_INERTIA, "load inertia")

enum sb_fit_parameter {
#define SB_FIT_PARAMETER_NAME(name, words) name,
  SB_FIT_PARAMETER_LIST(SB_FIT_PARAMETER_NAME)
#undef SB_FIT_PARAMETER_NAME
      SB_FIT_PARAMETER_COUNT
};

extern const char *const sb_fit_parameter_words[SB_FIT_PARAMETER_COUNT];

/*
 * What is reported: parameters in the units of a scenario, and what follows from them. X(name, key or short name, quantity,
 * words). A name with a dot is the key of a scenario.
 */
#define SB_FIT_FIGURE_LIST(X)                                                              \
  X(SB_FIT_NO_LOAD_SPEED, "motor.no_load_speed", SB_SPEED, "no-load speed")                \
  X(SB_FIT_STALL_TORQUE, "motor.stall_torque", SB_TORQUE, "stall torque")                  \
  X(SB_FIT_STALL_CURRENT, "motor.stall_current", SB_CURRENT, "stall current")              \
  X(SB_FIT_NO_LOAD_CURRENT, "motor.no_load_current", SB_CURRENT, "no-load current")        \
  X(SB_FIT_ROTOR_INERTIA, "motor.rotor_inertia", SB_INERTIA, "rotor inertia")              \
  X(SB_FIT_MESH_EFFICIENCY, "gearbox.mesh_efficiency", SB_RATIO, "mesh efficiency")        \
  X(SB_FIT_LOAD_FRICTION, "load_friction", SB_TORQUE, "output friction")                   \
  X(SB_FIT_LOAD_VISCOUS, "load_viscous", SB_VISCOUS, "output viscous friction")            \
  X(SB_FIT_LOAD_INERTIA, "load.inertia", SB_INERTIA, "output inertia")                     \
  X(SB_FIT_MOTOR_FRICTION, "motor_friction", SB_TORQUE, "motor constant friction")         \
  X(SB_FIT_MOTOR_VISCOUS, "motor_viscous", SB_VISCOUS, "motor viscous friction")           \
  X(SB_FIT_RESISTANCE, "resistance", SB_RESISTANCE, "winding resistance")                  \
  X(SB_FIT_KT, "torque_constant", SB_RATIO, "torque constant kt")                          \
  X(SB_FIT_KE, "voltage_constant", SB_RATIO, "voltage constant ke")                        \
  X(SB_FIT_KT_OVER_KE, "kt_over_ke", SB_RATIO, "kt / ke (1: no gears)")                    \
  X(SB_FIT_TIME_CONSTANT, "time_constant", SB_TIME, "spin-up time constant")               \
  X(SB_FIT_TORQUE_OVER_INERTIA, "torque_over_inertia", SB_RATIO, "stall torque / inertia") \
  X(SB_FIT_FRICTION_OVER_INERTIA, "friction_over_inertia", SB_RATIO, "friction / inertia") \
  X(SB_FIT_VISCOUS_OVER_INERTIA, "viscous_over_inertia", SB_RATIO, "viscous / inertia")

enum sb_fit_figure_kind {
#define SB_FIT_FIGURE_NAME(name, ...) name,
  SB_FIT_FIGURE_LIST(SB_FIT_FIGURE_NAME)
#undef SB_FIT_FIGURE_NAME
      SB_FIT_FIGURE_COUNT
};

extern const struct sb_fit_figure_facts {
  const char *key; /* "motor.stall_torque" */
  enum sb_quantity quantity;
  const char *words; /* "stall torque" */
} sb_fit_figures[SB_FIT_FIGURE_COUNT];

/* The figure of that name, or -1. */
int sb_fit_figure_find(const char *name);

/* The parameter that a figure is, or (the no-load current) follows from; -1: it follows from several. */
int sb_fit_figure_parameter(enum sb_fit_figure_kind kind);

enum sb_fit_state {
  SB_FIT_ABSENT,      /* has no part in this machine */
  SB_FIT_GIVEN,       /* kept at the value of the setup or of a fact */
  SB_FIT_DETERMINED,  /* by the data */
  SB_FIT_UNDETERMINED /* the data leave it open */
};

struct sb_fit_figure {
  enum sb_fit_state state;
  double value;           /* SI */
  double standard_error;  /* SI, of noise and gauges; NAN unless determined */
  double least, greatest; /* 95 % interval, SI; NAN unless determined */
  double gauge_share;     /* by which exact gauges would narrow the interval, 0..1; NAN unless determined */
  double freedom;         /* degrees of freedom behind the interval */
};

/* ---- gauges ---- */

/*
 * What measured a quantity, in all logs of a fit: its readings are (1 + e) times the true ones, with one e for all of them, and
 * every e within a half-width equally likely (the GUM's evaluation of type B). Torque: of force, weight and arm as well. Clock:
 * times. X(name, word, the usual half-width in %, what such a gauge is). The usual ones are common practice.
 */
#define SB_FIT_GAUGE_LIST(X)                                                                    \
  X(SB_FIT_GAUGE_TORQUE, "torque", 2, "a kitchen scale or spring balance, and an arm by ruler") \
  X(SB_FIT_GAUGE_SPEED, "speed", 0.5, "turns counted on film, or a simple tachometer")          \
  X(SB_FIT_GAUGE_CURRENT, "current", 1.5, "a simple multimeter")                                \
  X(SB_FIT_GAUGE_VOLTAGE, "voltage", 0.5, "a simple multimeter")                                \
  X(SB_FIT_GAUGE_CLOCK, "clock", 0.1, "the frame rate of a telephone's camera")

enum sb_fit_gauge_kind {
#define SB_FIT_GAUGE_NAME(name, ...) name,
  SB_FIT_GAUGE_LIST(SB_FIT_GAUGE_NAME)
#undef SB_FIT_GAUGE_NAME
      SB_FIT_GAUGE_COUNT
};

extern const struct sb_fit_gauge_facts {
  const char *name;
  double usual; /* half-width, a fraction */
  const char *means;
} sb_fit_gauges[SB_FIT_GAUGE_COUNT];

struct sb_fit_gauge {
  double half_width; /* fraction, 0..SB_FIT_GAUGE_MOST; 0: exact */
  bool is_default;   /* the usual one, not given */
};

#define SB_FIT_GAUGE_MOST 0.3

/* ---- the fit ---- */

/* What a log over time without a duty column shows. */
enum sb_fit_phase {
  SB_FIT_PHASE_FIND, /* to be seen from the speeds */
  SB_FIT_SPIN_UP,    /* at rest, then driven */
  SB_FIT_COAST_DOWN, /* turning, then open circuit */
  SB_FIT_BOTH        /* driven, then open circuit at a moment to be found */
};

/* A figure known beforehand: exactly (least == greatest), or to 95 % within a range. */
struct sb_fit_known {
  enum sb_fit_figure_kind kind;
  double least, greatest; /* SI */
};

enum { SB_FIT_KNOWN_MAX = 16, SB_FIT_LOG_MAX = 16 };

struct sb_fit_setup {
  const struct sb_model *model;             /* the scenario's; NULL: a bare motor */
  double nominal_voltage_v;                 /* V; 0: the scenario's, else the median of the measured ones, else 1 */
  int gear;                                 /* from 1, of logs without a gear column; 0: the start gear */
  bool is_fitted[SB_FIT_PARAMETER_COUNT];   /* with a scenario: what is fitted; others keep its values */
  bool is_braking;                          /* duty 0 is a short circuit; else an open one */
  bool is_equal_constants;                  /* ke = kt is given: no gears between winding and shaft */
  enum sb_fit_phase phases[SB_FIT_LOG_MAX]; /* one a log */
  size_t known_count;
  struct sb_fit_known known[SB_FIT_KNOWN_MAX];
  struct sb_fit_gauge gauges[SB_FIT_GAUGE_COUNT];
};

/* Defaults: a bare motor; or with a scenario its friction, efficiency and inertia. Usual gauges. */
struct sb_fit_setup sb_fit_setup_default(const struct sb_model *model);

/*
 * From words as the command takes them: a figure known beforehand (KEY=VALUE, KEY=LEAST..GREATEST), what is fitted with a
 * scenario (KEY,KEY). SB_ERR_USAGE says what is wrong.
 */
enum sb_status sb_fit_setup_know(struct sb_fit_setup *setup, const char *text, struct sb_error *err);
enum sb_status sb_fit_setup_choose(struct sb_fit_setup *setup, const char *keys, struct sb_error *err);

/* "torque=1 %, speed=0.5 %": others stay as they are; "none" makes all of them exact, "none, torque=1 %" all others. */
enum sb_status sb_fit_setup_gauge(struct sb_fit_setup *setup, const char *text, struct sb_error *err);

/* One reading and what the machine makes of it. */
struct sb_fit_reading {
  int log;                   /* index */
  enum sb_log_column column; /* speed, output_speed or current */
  size_t row;                /* of the log */
  double measured, computed; /* SI */
  bool is_outlier;           /* left out of the fit */
};

struct sb_fit_channel {
  int log;
  enum sb_log_column column;
  size_t count, outlier_count; /* readings, outliers among them */
  size_t deviating_count;      /* readings in rows where the machine moved in another way than the model: kept */
  double sd;                   /* SI: standard deviation of the residuals */
  double freedom;              /* degrees of freedom left to it */
  double quantum;              /* rounding taken into account; 0: none */
  double explained_fraction;   /* of the readings' variance, without outliers */
};

/*
 * Points in steady state whose motor was fed by a driver that limits the current: below a corner speed the current is one and the same
 * and the motor's line, which the points above the corner make, would bring more. They are left out, and logs over time are
 * calculated with the limit.
 */
struct sb_fit_corner {
  size_t point_count;             /* below it; 0: no corner is seen */
  double current_a, current_sd_a; /* mean of their currents, and the standard deviation of one */
  double speed_rad_s;             /* of the corner, where the line brings that current */
};

/* A dynamic log's own unknowns. */
struct sb_fit_origin {
  bool is_dynamic;
  int shift_count;            /* 0: none, it stays in one gear */
  bool is_engagement_seen;    /* rows in neutral show when the next gear engaged, or a clutch's law does */
  enum sb_fit_phase phase;    /* FIND: shown by a duty or gear column */
  double start_s, start_se_s; /* when the drive was switched (or how late the log's clock is); NAN error: known */
  double off_s, off_se_s;     /* BOTH, COAST_DOWN: when it was switched off; NAN error: before the log begins */
  double speed_rad_s;         /* before that */
  struct sb_fit_corner corner;
};

enum { SB_FIT_UNDETERMINED_MAX = 8, SB_FIT_ADVICE_MAX = 4 };

/* How the parameters of a direction change without any change in the readings. */
enum sb_fit_relation {
  SB_FIT_ALONE,     /* one parameter, by itself */
  SB_FIT_TOGETHER,  /* all by the same factor: their ratios are determined */
  SB_FIT_OPPOSITE,  /* two, one as much up as the other down: their product is determined */
  SB_FIT_PROPORTION /* several, in other proportions */
};

/* What the data leave open: parameters that may change together (logarithmic shares; 0: not among them). */
struct sb_fit_undetermined {
  double shares[SB_FIT_PARAMETER_COUNT];
  enum sb_fit_relation relation;
  enum sb_fit_parameter held; /* kept at its value so that the others get one */
  bool is_vague;              /* determined, and not kept, but too uncertain to be of use */
  const char *advice;         /* the measurement that would determine most of it; NULL: none is known */
};

struct sb_fit_result {
  bool has_scenario;
  double nominal_voltage_v;
  bool is_voltage_known;
  struct sb_fit_figure figures[SB_FIT_FIGURE_COUNT];
  struct sb_fit_gauge gauges[SB_FIT_GAUGE_COUNT];
  bool is_gauge_used[SB_FIT_GAUGE_COUNT]; /* it measured something in these logs */
  size_t log_count;
  struct sb_fit_origin origins[SB_FIT_LOG_MAX];
  size_t channel_count;
  struct sb_fit_channel channels[3 * SB_FIT_LOG_MAX];
  size_t reading_count;
  struct sb_fit_reading *readings; /* owned */
  size_t undetermined_count;
  struct sb_fit_undetermined undetermined[SB_FIT_UNDETERMINED_MAX];
  bool has_unseen_engagement; /* a log with shifts does not show when the next gear engaged */
  /* Measurements after which the least certain parameter is best known, the best first, until everything is determined
   * (the first one even where it is): constant texts. */
  size_t advice_count;
  const char *advice[SB_FIT_ADVICE_MAX];
  enum sb_fit_figure_kind least_certain; /* determined, with the widest relative interval */
};

/*
 * Fits. logs[count], 1 <= count <= SB_FIT_LOG_MAX. SB_ERR_SCENARIO: the logs do not fit together or to the setup, or make
 * figures that no machine can have, such as a friction below zero with its whole interval (err says which file);
 * SB_ERR_NUMERICS: no fit was found; SB_ERR_MEMORY. Release the result with sb_fit_result_clear().
 */
enum sb_status sb_fit_solve(const struct sb_fit_setup *setup, const struct sb_log *logs, size_t count,
                            struct sb_fit_result *out, struct sb_error *err);

void sb_fit_result_clear(struct sb_fit_result *result);

/* ---- reports: 0, or -1 (errno) ---- */

/* For people. */
int sb_fit_write_text(const struct sb_fit_result *result, const struct sb_log *logs, FILE *out);

/* A section of a scenario to paste, with the 95 % intervals as tolerances. */
int sb_fit_write_section(const struct sb_fit_result *result, const struct sb_log *logs, FILE *out);

/* One JSON object. */
int sb_fit_write_json(const struct sb_fit_result *result, const struct sb_log *logs, FILE *out);

/* Every reading with its computed value: CSV. */
int sb_fit_write_residuals(const struct sb_fit_result *result, const struct sb_log *logs, FILE *out);

#ifdef __cplusplus
}
#endif

#endif
