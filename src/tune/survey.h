// SPDX-License-Identifier: GPL-3.0-or-later
/* survey.h - internal: the maps of several machines at one dwell, added up; threads share the machines. */
#ifndef SHIFTBAND_TUNE_SURVEY_H
#define SHIFTBAND_TUNE_SURVEY_H

#include "shiftband/tasks.h"
#include "tune/raster.h"

/* One search at one dwell: the maps of some machines, added up. */
struct sb_survey {
  const struct sb_tune_machine *machines;
  int count;
  const struct sb_tune_options *options;
  double dwell_s;
  bool is_light; /* only the light machines */
  bool has_figures;
  bool is_whole;     /* counts at all points are asked for: not only where all machines may pass */
  int *serial;       /* surveys so far: names the journal */
  long *done, total; /* maps, for progress over all surveys */
};

/*
 * Runs it, in stages of more and more machines: later ones are mapped only where all earlier ones pass. So unless the survey is a
 * whole one, the counts of the raster are those of all machines that pass where all do, and anything less elsewhere.
 * The raster is to be cleared with sb_raster_clear() after SB_OK. SB_ERR_STOPPED: the stop flag was raised. */
enum sb_status sb_survey_run(const struct sb_survey *survey, struct sb_raster *raster, struct sb_error *err);

/*
 * ---- sampled.c: where a machine holds under someone else's controller, by a run at each lattice point ----
 *
 * Only of the built-in controller is it known that thresholds act through comparisons alone, which makes its maps exact.
 * Of another one nothing is known between two points.
 */

/* One row of the lattice, down kept: lines as a survey reads them. dwell_s as in the survey. */
enum sb_status sb_sampled_row(const struct sb_survey *survey, const struct sb_model *model, int downshift,
                              struct sb_lines *out, struct sb_error *err);

/* ---- remedy.c: when no thresholds pass, which single change would give some that do ---- */

/* Tries changes to all light machines, the cheapest for a builder first, and enters the first that opens a region. */
enum sb_status sb_remedy_find(const struct sb_survey *survey, struct sb_tune_result *result, struct sb_error *err);

/* Whether a reference that follows the measured supply means anything for these machines. */
bool sb_remedy_can_follow(const struct sb_survey *survey);

/* Changes a machine as the remedy of a result says, but for its dwell; motor: of the machine as written. False: that means nothing
 * for it. */
bool sb_remedy_apply(struct sb_model *model, const struct sb_motor *motor, int pair,
                     const struct sb_tune_result *result);

/* Pulses a turn that bring a count of a window's pulses down to a resolution, a fraction of the reference: a whole number. Pure. */
double sb_remedy_pulses(const struct sb_sensor *sensor, double resolution_fraction);

#endif
