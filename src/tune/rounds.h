// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * rounds.h - machines out of scenarios and samples of their tolerances, and all pairs of gears tuned for them.
 *
 * One pair is searched at once. Several hang together: what one pair's thresholds spoil another cannot mend, a pair's thresholds
 * bound its neighbour's, and they share the dwell. So they are searched roughly, one beside the answers of the others, at
 * the longest dwell that any asks for, until none of them changes (at most four times), and described with everything in place.
 */
#ifndef SHIFTBAND_TUNE_ROUNDS_H
#define SHIFTBAND_TUNE_ROUNDS_H

#include "shiftband/prove.h"
#include "shiftband/scenario.h"
#include "shiftband/tune.h"

struct sb_tune_request {
  const char *const *paths; /* of the scenarios */
  int path_count;
  const char *const *sets;
  size_t set_count;
  enum sb_prefer prefer;
  bool is_any_load; /* as in tune.h */
  bool is_brief;    /* as in tune.h; without proofs and measures, too */
  long samples;     /* quasi-random ones, besides nominal and corners; < 0: the usual number */
  unsigned long seed;
  long pair;   /* from 1; 0: all of them */
  long points; /* along each threshold, under someone else's controller; 0: the usual number */
  int jobs;
  const struct sb_decider *decider; /* someone else's controller; NULL: the built-in one */
  uint64_t identity;                /* of the program and the controller */
  /* Long work, as in tune.h; the journals of round R and pair P are STEM.R-P.1.part ... */
  const char *journal_stem;
  bool is_resumed;
  const volatile sig_atomic_t *stop;
  void (*on_pair)(void *context, bool begins); /* around the search of a pair in a round; may be NULL */
  void (*on_progress)(void *context, long done, long total);
  void (*on_journal)(void *context, const char *path);
  void *context;
};

enum { SB_TUNE_MEASURE_MAX = 10 };

/* A figure of the first scenario over its tolerance, or 10 % either way, alone. */
struct sb_tune_measure {
  char path[128], unit[16];
  bool has_tolerance;
  double least, greatest; /* in its unit; an end that is no valid scenario is the scenario's own figure */
  double move_fraction;   /* that the limits of the thresholds move, of the reference, at most */
  bool fails;             /* the answer at one of its ends */
  double fails_at;        /* in its unit */
  struct sb_map_verdict verdict;
};

/* All scenarios, their samples, and the answers pair by pair. */
struct sb_rounds {
  int nominal_count;
  struct sb_scenario *nominals; /* as written, by scenario */
  double **values;              /* of all samples of a scenario, one behind the other; owned */
  int machine_count;
  struct sb_scenario *samples; /* behind the machines; own their tables */
  struct sb_tune_machine *machines;
  unsigned long seed;
  int first_pair, last_pair;
  double dwell_s; /* one for all pairs */
  struct sb_tune_options options[SB_GEAR_MAX - 1];
  struct sb_tune_result results[SB_GEAR_MAX - 1];
  struct sb_prove_line proof; /* what holds for every load within bounds, in the first scenario as written */
  int measure_count;          /* figures that move the answer most, the first one first; where all pairs pass */
  struct sb_tune_measure measures[SB_TUNE_MEASURE_MAX];
};

/*
 * Loads scenarios and samples, and checks that one controller can serve them all. On failure err says what is wrong, with
 * the file's name, and faults may hold more; release both of them, and the tuning, in any case.
 */
enum sb_status sb_rounds_load(const struct sb_tune_request *request, struct sb_rounds *tuning, struct sb_faults *faults,
                              struct sb_error *err);

/* Tunes. SB_ERR_STOPPED: the stop flag was raised. */
enum sb_status sb_rounds_run(const struct sb_tune_request *request, struct sb_rounds *tuning, struct sb_error *err);

/* measure.c: fills the measures of a tuning that passes, by the built-in controller. */
enum sb_status sb_rounds_measure(const struct sb_tune_request *request, struct sb_rounds *tuning, struct sb_error *err);

void sb_rounds_clear(struct sb_rounds *tuning);

#endif
