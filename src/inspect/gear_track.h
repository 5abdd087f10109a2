// SPDX-License-Identifier: GPL-3.0-or-later
/* gear_track.h - which gear is engaged, value by value, by which column that is told, and why a box hunts. */
#ifndef SHIFTBAND_INSPECT_GEAR_TRACK_H
#define SHIFTBAND_INSPECT_GEAR_TRACK_H

#include "shiftband/inspect.h"

/* A series without holes: what was there, smoothed or not. */
struct sb_series {
  size_t count;
  double *time_s; /* owned */
  double *a, *b;  /* owned; b may be NULL */
};

/* Takes the rows in which column a, and b unless it is -1, have values. SB_ERR_MEMORY. */
enum sb_status sb_series_take(const struct sb_log *log, int a, int b, struct sb_series *out);
void sb_series_clear(struct sb_series *series);

/* Running median over an odd number of values, at most 31; in place. */
void sb_series_smooth(double *values, size_t count, size_t width);

/* What a share (0 to 1) of the values is below, between two of them in proportion, as of sorted ones; leaves them in another order. */
double sb_series_quantile(double *values, size_t count, double share);

/* The median of values[first..last], last included and both cut to the series. */
double sb_series_median(const double *values, size_t count, long first, long last);

/* Gears over time, from 1; 0 neutral or between gears, -1 not known. */
struct sb_track {
  size_t count;
  double *time_s; /* owned */
  int *gear;      /* owned */
};

enum sb_status sb_gear_track_by_gear(const struct sb_log *log, struct sb_track *track);
enum sb_status sb_gear_track_by_ratio(const struct sb_log *log, const struct sb_inspect_options *options,
                                      struct sb_inspection *out, struct sb_track *track, struct sb_error *err);

/* Motor alone: finds shifts themselves; the track holds the gears that follow from them. */
enum sb_status sb_gear_track_by_motor(const struct sb_log *log, const struct sb_inspect_options *options,
                                      struct sb_inspection *out, struct sb_track *track, struct sb_error *err);

/* A track with these times, in neutral all the time. SB_ERR_MEMORY. */
enum sb_status sb_gear_track_new(size_t count, const double *time_s, struct sb_track *track);
void sb_gear_track_clear(struct sb_track *track);

/* What counts as rest in a column. */
double sb_inspect_rest_of(const struct sb_log *log, enum sb_log_column column, double wanted);

/* ---- courses.c: the most likely course of gears beside a log of the motor's speed alone ---- */

/*
 * Finds shifts and fills the track.
 *
 *   series       a: speeds of the motor, rad/s, with sign; times from the run's start, s
 *   noise_rad_s  standard deviation of their noise
 *
 * SB_OK with out->shifts NULL: nothing could be followed. SB_ERR_MEMORY.
 */
enum sb_status sb_courses_follow(const struct sb_series *series, const struct sb_model *model, double noise_rad_s,
                                 struct sb_inspection *out, struct sb_track *track);

/* ---- cause.c: why a box in a log hunts, by the loads that the log shows at its shifts ---- */

/* Adds a stretch of at least three shifts, its period_s being the sum of its periods so far; false: out of memory. */
bool sb_inspect_add_hunt(struct sb_inspection *found, const struct sb_inspect_hunt *hunt);

/* With a model, and where the log has a load torque at all shifts: judges each three shifts as a run does, and puts the stretches
 * with their causes and loads in place of the chains of quick shifts. */
enum sb_status sb_inspect_find_causes(const struct sb_log *log, const struct sb_inspect_options *options,
                                      struct sb_inspection *found);

#endif
