// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * any_load.h - what `prove` says over a plane of thresholds, without carrying all sets of states at each point.
 *
 * Most of it hangs on one threshold alone: the steady states on both sides of it, how far a speed at it goes on while samples
 * decide, and what comes of a shift that is commanded there. That is calculated once a row (downshift threshold d) and once a column
 * (upshift threshold u). Commands come from d and below, and from u and above, and courses never cross, so the slowest of all upshifts
 * begins at u and the fastest of all downshifts at d. What hangs on both is
 *
 *   HA   the least constant load that takes the faster gear, engaged from u, below d
 *   LB   the greatest that lets the slower gear, engaged from d, pass u
 *
 * A constant load makes the box hunt only between HA and LB where HA < LB; else HA - LB is the swing that makes it shift for ever. Both
 * lie beside the closed forms of the steady state (theory/steady.h), and are sought from there.
 *
 * A swing arm engages later from a higher speed, so its ends are not the extremes of what lies between: these are taken from a
 * grid of speeds, with what may lie between two of them added. Where that, or anything else, leaves a doubt, `prove` itself
 * answers for the point (is_by_sets). It does so everywhere for filters, for gears that lock themselves
 * and for more than two gears.
 */
#ifndef SHIFTBAND_PROVE_ANY_LOAD_H
#define SHIFTBAND_PROVE_ANY_LOAD_H

#include "shiftband/map.h"
#include "shiftband/prove.h"

/* What a point comes to; the first that is true. X(code, letter, words) */
#define SB_ANY_LOAD_CLASS_LIST(X)                       \
  X(SB_ANY_LOAD_HUNTS, 'H', "hunts at a constant load") \
  X(SB_ANY_LOAD_STUCK_LOW, 'K', "does not come back")   \
  X(SB_ANY_LOAD_STALLS, 'S', "stalls under some load")  \
  X(SB_ANY_LOAD_UNDECIDED, '?', "undecided")            \
  X(SB_ANY_LOAD_NEVER_SHIFTS, 'F', "never shifts")      \
  X(SB_ANY_LOAD_PROVED, '.', "all is proved")

enum sb_any_load_class {
#define SB_ANY_LOAD_CODE(code, letter, words) code,
  SB_ANY_LOAD_CLASS_LIST(SB_ANY_LOAD_CODE)
#undef SB_ANY_LOAD_CODE
      SB_ANY_LOAD_CLASS_COUNT
};

char sb_any_load_letter(enum sb_any_load_class class);
const char *sb_any_load_words(enum sb_any_load_class class);

struct sb_any_load_point {
  enum sb_any_load_class class;
  bool is_by_sets;
  /* HA and LB, of the torque from outside, N m, whether within the bounds or not; where HA is below LB without any dwell the steady
   * states alone. NAN: not known. */
  double high_nm, low_nm;
  double standing_s; /* longest standstill in gear, where it comes back; INFINITY: for ever */
};

/* HA - LB, but not below 0. Pure. */
double sb_any_load_swing_nm(const struct sb_any_load_point *point);

/* The class of what `prove` found out. Pure. */
enum sb_any_load_class sb_any_load_class_of(const struct sb_prove *prove);

struct sb_any_load_options {
  int pair;
  struct sb_map_axis downshift, upshift;
  const unsigned char *wanted; /* by points, as those of the plane: others are left undecided; NULL: all are wanted */
  int jobs;                    /* threads; 0: all cores */
  const volatile sig_atomic_t *stop;                         /* NULL: never */
  void (*on_progress)(void *context, long done, long total); /* columns; may be NULL */
  void *progress_context;
};

/*
 * The plane in steps of about half a percent, or of five where `prove` answers for each point; or those steps of a part of it.
 * Fails with SB_ERR_MEMORY.
 */
enum sb_status sb_any_load_options_default(const struct sb_model *model, struct sb_any_load_options *options,
                                           struct sb_error *err);
enum sb_status sb_any_load_options_of(const struct sb_model *model, const struct sb_map_options *part,
                                      struct sb_any_load_options *options, struct sb_error *err);

/* Whether points are told by rows and columns. Pure. */
bool sb_any_load_is_quick(const struct sb_model *model);

struct sb_any_load {
  const struct sb_model *model;
  struct sb_any_load_options options;
  double acting_nm[2], resisting_nm[2]; /* the bounds of the load */
  struct sb_any_load_point
      *points; /* points[downshift.count * upshift.count], by rows of the downshift threshold; owned */
};

/* The point at a place of the lattice; the downshift threshold is below the upshift threshold. */
static inline const struct sb_any_load_point *sb_any_load_at(const struct sb_any_load *plane, int downshift,
                                                             int upshift)
{
  return &plane->points[downshift * plane->options.upshift.count + upshift];
}

/* Fills *plane on SB_OK; release with sb_any_load_clear(). SB_ERR_SCENARIO: outside the class, the text names the key. SB_ERR_STOPPED. The
 * same whatever the number of threads. The model outlives it. */
enum sb_status sb_any_load_solve(const struct sb_model *model, const struct sb_any_load_options *options,
                                 struct sb_any_load *plane, struct sb_error *err);
void sb_any_load_clear(struct sb_any_load *plane);

/* One point, thresholds on the lattice or not. */
enum sb_status sb_any_load_look_at(const struct sb_model *model, int pair, double downshift_fraction,
                                   double upshift_fraction, struct sb_any_load_point *point, struct sb_error *err);

#endif
