// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * bench.h - the machine on the bench: from parameters to what each reading should have been.
 *
 * Parameters are kept in their natural units, p[SB_FIT_PARAMETER_COUNT]; the solver sees x = 10 + ln(p / p0) for those that
 * are positive and 10 + (p - p0) / scale for the others, so that all x are near 10 and may go either way.
 */
#ifndef SHIFTBAND_FIT_BENCH_H
#define SHIFTBAND_FIT_BENCH_H

#include "shiftband/fit.h"

enum { SB_BENCH_EVENT_MAX = 24 };

/* SB_OWN_EVENT + k: the instant of event k, by the log's clock. */
enum sb_own { SB_OWN_START, SB_OWN_SPEED, SB_OWN_OFF, SB_OWN_EVENT, SB_OWN_COUNT = SB_OWN_EVENT + SB_BENCH_EVENT_MAX };

/* Somewhere between two rows a gear was left, or the next one engaged. */
struct sb_bench_event {
  size_t from_row, to_row;
  int gear;                  /* index: the one commanded */
  bool is_engaging;          /* else the command */
  double middle_s, spread_s; /* where the instant is held to, softly; spread 0: it is known */
};

/* A time with the same voltage and circuit, until the next one begins. */
struct sb_bench_span {
  double from_s;    /* by the log's clock */
  double voltage_v; /* duty times what the drive is fed with */
  double length_s;  /* over which that is a mean */
  bool is_open;
};

/* One log in use. */
struct sb_bench_test {
  const struct sb_log *log;
  bool is_dynamic;
  enum sb_fit_phase phase; /* FIND: spans come from a duty column */
  int gear;                /* index */
  double added_inertia_kg_m2;
  struct sb_fit_corner corner;
  double source_ohm; /* of the supply, in series with the winding; 0 where the voltage was measured behind it */
  size_t span_count, span_room;
  struct sb_bench_span *spans; /* owned */
  size_t first_row, last_row;  /* of a log with shifts: those with a gear engaged before and after all else */
  size_t resting_row;          /* the last before it moves; row_count: it turns from first_row on */
  size_t event_count;
  struct sb_bench_event events[SB_BENCH_EVENT_MAX]; /* commands, each followed by its engagement where that is logged */
  bool is_slipping;                                 /* a clutch, which engages without a jump */
  bool is_engagement_logged;                        /* neutral has rows of its own */
  double own[SB_OWN_COUNT];
  double own_scale[SB_OWN_COUNT];
  bool is_own_free[SB_OWN_COUNT];
  size_t first, count; /* readings[first..first + count) are its own, by row */
};

struct sb_bench_reading {
  int test, channel;
  enum sb_log_column column;
  size_t row;
  double value;   /* SI */
  double repeats; /* equal readings in a row, this one among them: they share one rounding */
  bool is_outlier;
};

struct sb_bench {
  const struct sb_fit_setup *setup;
  double nominal_voltage_v;
  bool is_voltage_known;
  double fed_voltage_v;   /* of logs without a voltage column */
  double current_limit_a; /* of the driver, from the scenario or a corner in the points; 0: none */
  double p[SB_FIT_PARAMETER_COUNT];
  double prior[SB_FIT_PARAMETER_COUNT]; /* the scenario's values */
  double scale[SB_FIT_PARAMETER_COUNT]; /* of those that may be zero or less */
  bool is_free[SB_FIT_PARAMETER_COUNT];
  int test_count;
  struct sb_bench_test tests[SB_FIT_LOG_MAX];
  size_t reading_count;
  struct sb_bench_reading *readings; /* owned */
  int channel_count;
  struct sb_fit_channel channels[3 * SB_FIT_LOG_MAX];
  double gains[SB_FIT_GAUGE_COUNT]; /* assumed of each gauge: reading / truth */
  bool has_currents;                /* the electric side has a part in the fit */
  size_t known_count;               /* facts as further residuals: the setup's, and equal constants */
};

/* Where every x starts. */
#define SB_BENCH_MIDDLE 10.0

/* Whether a parameter is positive by nature. */
bool sb_bench_is_positive(int parameter);

/* All values that a search moves. */
struct sb_bench_place {
  double p[SB_FIT_PARAMETER_COUNT];
  double own[SB_FIT_LOG_MAX][SB_OWN_COUNT];
};

struct sb_bench_place sb_bench_place_now(const struct sb_bench *bench);
void sb_bench_go_to(struct sb_bench *bench, const struct sb_bench_place *place);

/* Number of x: free parameters first, then each test's own unknowns. */
size_t sb_bench_unknown_count(const struct sb_bench *bench);

/* The x that stand for the bench's present values: all 10. */
void sb_bench_pack(const struct sb_bench *bench, double *x);

/* p and own[test_count][SB_OWN_COUNT] for an x. */
void sb_bench_unpack(const struct sb_bench *bench, const double *x, double *p, double (*own)[SB_OWN_COUNT]);

/* The machine for parameters; a test's added inertia is put on the output. False when they make no machine. */
bool sb_bench_machine(const struct sb_bench *bench, const double *p, double added_inertia_kg_m2, struct sb_model *out);

/* A figure for parameters. NAN where the machine has none. */
double sb_bench_figure(const struct sb_bench *bench, const double *p, enum sb_fit_figure_kind kind);

/* When a row was logged, in seconds by the log's clock. */
double sb_bench_time(const struct sb_bench_test *test, size_t row);

/* Speeds of a log: the motor's, else the output's. */
const double *sb_bench_speeds(const struct sb_log *log);

/* Voltage at the motor in a row of a log. */
double sb_bench_voltage(const struct sb_bench *bench, const struct sb_log *log, size_t row);

/*
 * What is known beforehand where logs have shifts, as further residuals: instants lie near the middles of their pauses (those
 * that are free to), and parameters within reason (first, one each). off[count] for an x's p and own, weights[count];
 * either may be NULL. Returns how many.
 */
size_t sb_bench_priors(const struct sb_bench *bench, const double *p, double (*own)[SB_OWN_COUNT], double *off,
                       double *weights);

/* Whether any log has a shift. */
bool sb_bench_has_shift(const struct sb_bench *bench);

/* corner.c: the corner of a log of points in steady state. */
struct sb_fit_corner sb_corner_find(const struct sb_log *log);

/* plan.c: tests, readings, spans and channels from the logs; what is free. Clear after failure too. */
enum sb_status sb_bench_init(struct sb_bench *bench, const struct sb_fit_setup *setup, const struct sb_log *logs,
                             size_t count, struct sb_error *err);
void sb_bench_clear(struct sb_bench *bench);

/* Sum of deviations at the present values, each cut at a tenth of its channel's greatest reading: good starts have small
 * ones. computed[reading_count]: scratch. INFINITY where the machine makes no sense. */
double sb_bench_cost(const struct sb_bench *bench, double *computed);

/* start.c: first values; and sizes that matter, for the present values, of what may be zero. */
void sb_bench_set_scales(struct sb_bench *bench);
enum sb_status sb_bench_start(struct sb_bench *bench, struct sb_error *err);

/* ---- shift_find.c: the shifts in a log by its gear column; of a log without any it changes nothing else ---- */

/* Finds events, the first and last row that count, and the row from which the machine moves. */
enum sb_status sb_shift_find(const struct sb_model *model, struct sb_bench_test *test, struct sb_error *err);

/* Sets first values for the log's own unknowns: its start, and the instants of its events. */
void sb_shift_find_own(struct sb_bench_test *test);

/* Number of shifts found. */
int sb_shift_find_count(const struct sb_bench_test *test);

/* Whether a reading is compared: not where a jump of speed or current may stand on either side of it. */
bool sb_shift_find_is_wanted(const struct sb_bench_test *test, enum sb_log_column column, size_t row);

/* ---- predict.c: what each reading of the logs should have been: of points itself, else asks dynamics or shift ---- */

/* Computes each reading: computed[reading_count]. Returns 0, or -1 where the parameters make no machine. */
int sb_predict(const struct sb_bench *bench, const double *p, double (*own)[SB_OWN_COUNT], double *computed);

/* Steady-state speed of the motor under a torque (at the output, with a scenario) at a voltage, in rad/s; not cut at rest. */
double sb_predict_speed_rad_s(const struct sb_model *machine, int gear, double voltage_v, double torque_nm);

/* ---- logs over time in one gear ---- */

/* Computes the readings of one log; changes the machine. Returns 0, or -1 where it can't be simulated. */
int sb_dynamics_compute(const struct sb_bench *bench, const struct sb_bench_test *test, struct sb_model *machine,
                        const double *own, double *computed);

/* ---- logs with shifts: one run of the simulator, in pieces from one command to the next ---- */

/* Computes the readings of one log; changes the machine. Returns 0, or -1 where it can't be simulated. */
int sb_shift_compute(const struct sb_bench *bench, const struct sb_bench_test *test, struct sb_model *machine,
                     const double *own, double *computed);

/* Memory ran out, which is noted, for searches that go on without a trial that fails (base/shortage.h). */
enum sb_status sb_bench_no_memory(struct sb_error *err);

#endif
