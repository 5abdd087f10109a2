// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * load.h - the torque that opposes the output, as a sum of parts.
 *
 * Between two corners every part is a closed expression in time, angle and speed of the output, so the sum is
 * handed to the integrator as one struct sb_load_curve, good until the next corner and for one direction of motion:
 *
 *   TL = c0 + per_s (t - t0) + per_rad (a - a0) + per_rad_s W + per_rad_s2 W |W| + sum of waves + sum of grades
 *
 * A wave is a sine of time or angle; a grade is that of a vehicle's road where it changes along the way, g = g0 + g1 (a - a0),
 * of which the sine and the cosine of its angle count: (sine_nm g + cosine_nm) / sqrt(1 + g^2).
 *
 * TL > 0 opposes the forward direction (that in which gear 1 drives the output). A part that resists takes the sign of
 * the motion and, at standstill, holds up to its value or its higher breakaway value; one that acts keeps its sign.
 *
 * A new kind of part is one file in src/machine/load/ with an ops table, one line in sb_load_kinds, and one in the schema.
 * Source: Coulomb, viscous and quadratic resistance, standard; stick as a mode: D. Karnopp 1985 (from memory).
 */
#ifndef SHIFTBAND_LOAD_H
#define SHIFTBAND_LOAD_H

#include <stdbool.h>
#include <stddef.h>

#include "shiftband/road.h"
#include "shiftband/status.h"
#include "shiftband/table.h"

#ifdef __cplusplus
extern "C" {
#endif

enum { SB_LOAD_PART_MAX = 16, SB_GRADE_MAX = 4 };

enum sb_load_axis { SB_OVER_TIME, SB_OVER_TURNS };

struct sb_load_ops;

struct sb_load_part {
  const struct sb_load_ops *ops; /* its kind, never NULL */
  bool is_resisting;             /* takes the sign of the motion; else it acts */
  bool is_beyond;                /* on the vehicle: beyond the contact of its wheels */
  double torque_nm;              /* constant: N m; >= 0 when resisting */
  double breakaway_nm;           /* N m, >= 0: least hold at standstill of a resisting part; 0: its own value */
  double viscous_nms_rad;        /* viscous: N m s / rad, >= 0 */
  double quadratic_nms2_rad2;    /* quadratic: N m s^2 / rad^2, >= 0 */
  enum sb_load_axis axis;        /* profile and sine: over time or over output turns */
  struct sb_table table;         /* profile: N m over s, or over rad of the output; count >= 1 */
  bool is_grade;       /* profile over turns: the table is a grade, rise over run, linear between points, and the
                                  * part is torque_nm times the cosine of its angle when resisting, else times the sine */
  bool is_held;        /* profile: hold each value to the next point; else linear between points */
  bool is_repeating;   /* profile: starts again after its last point; else the last value stays */
  double mean_nm;      /* sine: N m; when resisting mean >= amplitude */
  double amplitude_nm; /* sine: N m, >= 0 */
  double period;       /* sine: s or rad of the output, > 0 */
  double phase_rad;    /* sine: rad; TL = mean + amplitude sin(2 pi x / period + phase) */
};

/* What is known of the torque from outside where its profile is not (src/prove/): the sum of the parts of one manner stays within
 * bounds, and changes no faster than the rate. Runs know nothing of it. */
enum sb_bounds_manner { SB_BOUNDS_NONE, SB_BOUNDS_RESISTS, SB_BOUNDS_ACTS };

struct sb_load_bounds {
  int manner;                   /* enum sb_bounds_manner; none: all are those of the load itself */
  double least_nm, greatest_nm; /* N m, least <= greatest, >= 0 where it resists */
  double rate_nm_s;             /* N m / s, > 0; INFINITY: any */
};

struct sb_load {
  double inertia_kg_m2; /* Jo: whole inertia at the output, > 0 */
  double breakaway_nm;  /* N m, >= 0: least hold of all resisting parts together at standstill */
  int part_count;       /* 0..SB_LOAD_PART_MAX */
  struct sb_load_part parts[SB_LOAD_PART_MAX];
  double brake_nm;     /* N m, >= 0: resists in neutral and while the drive is off, moving or at rest */
  struct sb_road road; /* of a vehicle, when it has one */
  struct sb_load_bounds bounds;
};

struct sb_load_wave {
  double amplitude_nm;
  double per_s;     /* rad/s of phase, 0 for a wave over the angle */
  double per_rad;   /* rad of phase per rad of the output, 0 for a wave over time */
  double phase_rad; /* phase at t = 0, a = 0 */
};

struct sb_load_grade {
  double start, per_rad;     /* g0, g1 */
  double sine_nm, cosine_nm; /* what the sine and the cosine of its angle are times */
};

struct sb_load_curve {
  double time_s;    /* t0 */
  double angle_rad; /* a0 */
  double c0_nm;
  double per_s;
  double per_rad;
  double per_rad_s;
  double per_rad_s2;
  int wave_count;
  struct sb_load_wave waves[SB_LOAD_PART_MAX];
  int grade_count;
  struct sb_load_grade grades[SB_GRADE_MAX]; /* each of another road */
};

/* Where a curve is taken: at a corner the piece ahead in time, and ahead in the direction of motion, counts. */
struct sb_load_at {
  double time_s;
  double angle_rad;
  double beyond_rad; /* the vehicle's angle, for parts beyond the wheels' contact */
  int direction;     /* +1 or -1: direction of the output's motion, or of the motion that is tried from rest */
  bool is_at_rest;   /* the hold counts (breakaway), not the sliding value */
};

enum sb_load_share {
  SB_SHARE_ALL,      /* everything, with sign */
  SB_SHARE_ACTING,   /* only the parts that act */
  SB_SHARE_RESISTING /* only the parts that resist, taken positive: a hold, at rest */
};

/* Parts before or beyond the contact of a vehicle's wheels. */
enum sb_load_side { SB_SIDE_BOTH, SB_SIDE_NEAR, SB_SIDE_BEYOND };

struct sb_load_ops {
  const char *name;     /* as in the scenario file */
  bool is_from_a_table; /* the part's torque is its table, piece by piece */
  /* Adds the part's curve at `at`, times sign, to the sum. */
  void (*add)(const struct sb_load_part *part, const struct sb_load_at *at, double sign, struct sb_load_curve *sum);
  /* The next corner after time_s, or INFINITY; NULL: none ever. */
  double (*next_time_s)(const struct sb_load_part *part, double time_s);
  /* The next corner from angle_rad in the direction, or direction * INFINITY; NULL: none ever. */
  double (*next_angle_rad)(const struct sb_load_part *part, double angle_rad, int direction);
  /* Least and greatest torque of the part from outside (0, 0 when it only follows speed). */
  void (*range_nm)(const struct sb_load_part *part, double *least, double *greatest);
};

/* All kinds, NULL at the end. */
extern const struct sb_load_ops *const sb_load_kinds[];

/* The kind of that name, or NULL. */
const struct sb_load_ops *sb_load_kind_find(const char *name);

/* The sum of the parts of a share at a place, good until the next corner. Pure. */
struct sb_load_curve sb_load_curve_at(const struct sb_load *load, const struct sb_load_at *at,
                                      enum sb_load_share share);

/* The same of one side of the contact; the curve's angle is that side's (the output's for both). Pure. */
struct sb_load_curve sb_load_side_curve_at(const struct sb_load *load, const struct sb_load_at *at,
                                           enum sb_load_share share, enum sb_load_side side);

/* The curve's value, in N m, at a time (s), angle (rad) and speed (rad/s) of the output. Pure. */
double sb_load_curve_nm(const struct sb_load_curve *curve, double time_s, double angle_rad, double speed_rad_s);

/* Whether it has waves or grades, and their sum alone, N m. Pure. */
bool sb_load_is_bent(const struct sb_load_curve *curve);
double sb_load_bends_nm(const struct sb_load_curve *curve, double time_s, double angle_rad);

/* Adds a grade; that of a road which the curve has already joins it. At most SB_GRADE_MAX roads. */
void sb_load_curve_add_grade(struct sb_load_curve *curve, const struct sb_load_grade *grade);

/* The part of it that comes from outside: without what follows speed. N m. Pure. */
double sb_load_curve_external_nm(const struct sb_load_curve *curve, double time_s, double angle_rad);

/* First corner in time after time_s, or INFINITY. */
double sb_load_next_time_s(const struct sb_load *load, double time_s);

/* First corner in angle from angle_rad in the direction (+1, -1), or direction * INFINITY. */
double sb_load_next_angle_rad(const struct sb_load *load, enum sb_load_side side, double angle_rad, int direction);

/*
 * Least and greatest torque from outside while the output moves forward in 0..duration_s, N m. Exact for tables over time,
 * and for tables over turns (those of one axis taken together at their corners: rolling and grade of a vehicle belong together
 * place by place; between two corners a grade that changes and other tables over turns are bounded each by itself); the two
 * and sines are bounded each by its own extremes. Bodies in a
 * vehicle's way count as all pushed at once for the greatest.
 */
void sb_load_range_nm(const struct sb_load *load, double duration_s, double *least, double *greatest);

/* The same of the parts of a share alone. */
void sb_load_share_range_nm(const struct sb_load *load, double duration_s, enum sb_load_share share, double *least,
                            double *greatest);

/* Sum of the viscous (N m s / rad) and quadratic (N m s^2 / rad^2) coefficients. */
void sb_load_speed_terms(const struct sb_load *load, double *viscous, double *quadratic);

#ifdef __cplusplus
}
#endif

#endif
