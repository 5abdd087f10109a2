// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * overlay.h - a simulation compared with a log: where the two deviate, by how much, and which one number of the scenario
 * would explain it.
 *
 * The simulation is taken at the log's own times: linear between its rows, gear and drive held. A column of the log that has
 * one sign only is compared with magnitudes. Differences pass a running median over SB_INSPECT_SMOOTH values, so that single
 * outliers and a shift that comes one value earlier or later count for nothing. Log and simulation deviate where it exceeds
 *
 *   max(tolerance x scale, 3 x noise)     scale: the size that 98 % of the column's values, logged and simulated, stay below
 *
 * For the hint each candidate is a factor exp(s), -0.7 <= s <= 0.7, on one number of the scenario, all else as written. It is
 * scanned, and refined by Brent's method (GSL), to the least
 *
 *   J = sum over columns of the mean of min((log - simulation)^2 / scale^2, 1), a gear that differs counting 1/4
 *
 * and ranked by the share of J, without what the noise alone makes, that it removes. It is a hint: causes that look the same
 * in the logged columns (a weak motor, an empty battery) share it, and two causes at once are not looked for.
 */
#ifndef SHIFTBAND_OVERLAY_H
#define SHIFTBAND_OVERLAY_H

#include "shiftband/inspect.h"
#include "shiftband/scenario.h"

#ifdef __cplusplus
extern "C" {
#endif

struct sb_overlay_options {
  double offset_s;           /* time of the log at which the simulation begins */
  double tolerance_fraction; /* of the scale, > 0 */
};

struct sb_overlay_column {
  bool is_compared;
  bool is_magnitude;
  double scale, tolerance;   /* in the column's unit; gear: 0.5 */
  double first_deviation_s;  /* first time beyond the tolerance, NAN: never */
  double deviating_fraction; /* share of the compared values that are beyond it */
  double greatest;           /* greatest difference log - simulation, by magnitude, after the running median */
  double greatest_s;
  double rms; /* of the differences as they are */
};

struct sb_overlay {
  size_t count; /* the log's rows */
  double
      *simulated[SB_LOG_COLUMN_COUNT]; /* [count], owned, at the log's times, NAN outside the run; NULL: not compared */
  struct sb_overlay_column columns[SB_LOG_COLUMN_COUNT];
  double first_deviation_s; /* of all columns, NAN: they agree */
  enum sb_log_column first; /* the column that deviates first */
  double cost;              /* J */
  double noise_cost;        /* what the noise alone makes of it */
};

struct sb_overlay_options sb_overlay_options_default(void);

/*
 * Runs a model from offset_s on to the end of the log or of its own run.duration, whichever comes first, about as densely as
 * the log. *simulated is to be cleared.
 */
enum sb_status sb_overlay_run(const struct sb_model *model, const struct sb_log *log,
                              const struct sb_overlay_options *options, struct sb_log *simulated, struct sb_error *err);

/* Compares. SB_ERR_SCENARIO: they have no time or no column in common. Release with sb_overlay_clear(). */
enum sb_status sb_overlay_compare(const struct sb_log *log, const struct sb_log *simulated,
                                  const struct sb_overlay_options *options, struct sb_overlay *out,
                                  struct sb_error *err);

void sb_overlay_clear(struct sb_overlay *overlay);

/* CSV: time_s, then NAME_log and NAME_sim for each compared column. Returns 0, or -1 with errno set. */
int sb_overlay_write_csv(FILE *out, const struct sb_log *log, const struct sb_overlay *overlay);

enum { SB_HINT_MAX = 64 };

/* One number of the scenario that was tried. */
struct sb_hint {
  char path[128];       /* what --set takes; "load torques": all of them together */
  double written, best; /* in unit */
  char unit[16];
  bool is_factor; /* written and best are factors on several numbers at once, not values */
  bool is_at_end; /* the best lies at the end of what was tried */
  double gain;    /* share of J that it removes, 0..1 */
};

/* What was tried, best first. */
struct sb_explanation {
  size_t count; /* 0: nothing was tried */
  struct sb_hint hints[SB_HINT_MAX];
  bool is_found;  /* the best one removes enough to be worth a look */
  bool is_shared; /* found, and the second one removes nearly as much: the log cannot show which one is true */
};

/* The scenario as it is loaded again for each trial. */
struct sb_hint_request {
  struct sb_scenario_source source;
  const char *const *tries; /* tries[try_count]: only these paths; NULL: the usual ones */
  size_t try_count;
  /* Called before each of them; other than 0 ends the search with SB_ERR_STOPPED. May be NULL. */
  int (*on_trial)(void *context, size_t done, size_t total);
  void *context;
};

/* Fills *out. SB_ERR_USAGE: a path of tries is no number of this scenario, or has no value to begin from. */
enum sb_status sb_overlay_explain(const struct sb_log *log, const struct sb_scenario *scenario,
                                  const struct sb_overlay_options *options, const struct sb_hint_request *request,
                                  struct sb_explanation *out, struct sb_error *err);

/* All that a simulation beside a log shows. */
struct sb_inspect_beside {
  struct sb_log simulated;
  struct sb_inspection found; /* in the simulation, by its gear */
  double ends_s;              /* end of the simulation, in the log's time */
  struct sb_overlay overlay;
  struct sb_explanation explanation;
};

/* Runs, inspects in the same way as the log, and compares. As the functions above. Release with sb_inspect_beside_clear(). */
enum sb_status sb_inspect_beside(const struct sb_log *log, const struct sb_model *model,
                                 const struct sb_inspect_options *inspect, const struct sb_overlay_options *options,
                                 struct sb_inspect_beside *out, struct sb_error *err);

/* Explains, unless nothing deviates and no path is asked for: there is nothing to explain then. */
enum sb_status sb_inspect_beside_explain(const struct sb_log *log, const struct sb_scenario *scenario,
                                         const struct sb_overlay_options *options,
                                         const struct sb_hint_request *request, struct sb_inspect_beside *beside,
                                         struct sb_error *err);

void sb_inspect_beside_clear(struct sb_inspect_beside *beside);

#ifdef __cplusplus
}
#endif

#endif
