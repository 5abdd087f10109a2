// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * map.h - the verdict over the whole plane of down and up thresholds of one gear pair, exactly.
 *
 * Thresholds enter a run only through comparisons with sampled readings, so the plane falls into rectangles in which
 * every decision, and with it the whole trace, is the same. They are found by following all thresholds at once: where a
 * reading parts those that shift from those that do not, both are followed. Between two commands the machine moves on a
 * track that depends only on the instant, the gear and the state; a track is simulated once, as far as anybody needs it,
 * and ends where it meets another one bit for bit. Verdicts that compare a load with a threshold's closed form cut a
 * rectangle further, exactly too.
 *
 * Thresholds lie on a lattice, first + k step: no cut falls between two of its points.
 * All of it agrees, point by point, with runs of their own (tests/map/test_map.c).
 */
#ifndef SHIFTBAND_MAP_H
#define SHIFTBAND_MAP_H

#include <signal.h>
#include <stddef.h>

#include "shiftband/run.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Lattice of a threshold, fractions of the reference: first + k step, k = 0..count-1. */
struct sb_map_axis {
  double first_fraction;
  double step_fraction; /* > 0 */
  int count;            /* >= 1 */
};

/* The threshold at a lattice index. Pure. */
double sb_map_axis_at(const struct sb_map_axis *axis, int index);

struct sb_map_options {
  int pair; /* index of the gear pair, 0..gear_count-2 */
  struct sb_map_axis downshift;
  struct sb_map_axis upshift;
  size_t leaf_max;     /* gives up beyond so many rectangles of equal traces */
  size_t memory_bytes; /* for motions that may be needed again, which cost time when they are not kept; 0: the usual */
  /* Only where thresholds pass is asked for: what fails may be missing from the cells, or show one of its verdicts alone. */
  bool is_passing_asked;
  /* wanted[(downshift.count + 1) * (upshift.count + 1)]: at (i, j) how many points below both indices are wanted, by rows of i;
   * cells need hold no others. NULL: all. */
  const int *wanted;
  const volatile sig_atomic_t *stop; /* other than 0: gives up with SB_ERR_STOPPED; NULL: never */
  /* Told now and then how many of the ordered points are known; NULL: nobody. */
  void (*on_progress)(void *context, long done, long total);
  void *progress_context;
};

/* The whole plane of the first pair at the controller's threshold step (0: 0.1 %), from one step to a little above the
 * fastest reading. */
struct sb_map_options sb_map_options_default(const struct sb_model *model);

/* What a run with these thresholds comes to. */
struct sb_map_figures {
  long shift_count;
  double output_turns;
  double given_j;            /* energy from the supply, or at the motor shaft without currents */
  double greatest_torque_nm; /* by magnitude, at the output */
  double way_rad;            /* that the output has turned, to and fro */
  double end_s;              /* when the run ended: at the end of its road, or of its duration */
};

/* A set of verdicts: bit k is enum sb_verdict_kind k. */
struct sb_map_verdict {
  unsigned kinds;
  enum sb_cause
      cause; /* of hunting and busy shifting: thresholds before dwell before load, when several stretches differ */
};

/* Adds a cause, with the kind that it is of; SB_CAUSE_NONE adds nothing. */
void sb_map_take_cause(struct sb_map_verdict *verdict, enum sb_cause cause);

/* The verdicts of a finished run as a set, and its figures. Pure. */
struct sb_map_verdict sb_map_verdict_of(const struct sb_monitor *monitor);
struct sb_map_figures sb_map_figures_of(const struct sb_run_result *result);

/* The verdict that matters most, as a kind, or -1 when nothing went wrong. Pure. */
int sb_map_verdict_worst(const struct sb_map_verdict *verdict);

struct sb_map_shift {
  int sample;                      /* of the controller: the command's time is sample * sample period */
  int to;                          /* gear from 1 */
  const struct sb_map_shift *last; /* the shift before, NULL: none */
};

/* A rectangle of the lattice, ends included. Its points with down >= up mean nothing. */
struct sb_map_cell {
  int downshift_first, downshift_last;
  int upshift_first, upshift_last;
  struct sb_map_verdict verdict;
  struct sb_map_figures figures;
  const struct sb_map_shift *shifts; /* the last one first; of joined cells, those of one of them */
};

struct sb_map {
  struct sb_map_options options;
  struct sb_map_cell *cells; /* cells[cell_count], owned; together they cover the lattice where down < up */
  size_t cell_count;
  size_t leaf_count; /* rectangles of equal traces */
  size_t track_count;
  long long sample_count; /* samples simulated */
  double effort;          /* what that took, in plain samples: a cost that is the same on every computer */
  void *storage;          /* owned */
};

/*
 * Maps a model. Fills *map on SB_OK; release with sb_map_clear(). SB_ERR_NUMERICS: a simulation gave up, or there are more
 * than leaf_max rectangles. SB_ERR_STOPPED: options->stop was raised. is_joined: cells with equal verdict and figures are joined; else each keeps its own shifts.
 */
enum sb_status sb_map_exact(const struct sb_model *model, const struct sb_map_options *options, bool is_joined,
                            struct sb_map *map, struct sb_error *err);

void sb_map_clear(struct sb_map *map);

/* The cell that holds a lattice point, or NULL. */
const struct sb_map_cell *sb_map_cell_at(const struct sb_map *map, int downshift_index, int upshift_index);

#ifdef __cplusplus
}
#endif

#endif
