// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * tune.h - thresholds and dwell of one gear pair that hold for many machines at once: several loads, and the samples of
 * their tolerances.
 *
 * Each machine's exact map (map.h) says where it holds. A lattice point's margin is how far, in lattice steps and in any
 * direction at once, one may move before the first machine fails; thresholds out of order and the lattice's ends count
 * as failures. So does, for a cautious search, a hunting band by the closed form: a run does not hunt when its load
 * never stays in the band, but the next load may. Only when nothing is left then is caution dropped, and said so. The search goes over a few dwells, shortest first, and takes the shortest whose best margin is nearly as
 * wide as the widest. Nothing is taken from a map alone: the answer is run on its own for every machine.
 */
#ifndef SHIFTBAND_TUNE_H
#define SHIFTBAND_TUNE_H

#include <signal.h>
#include <stdint.h>

#include "shiftband/map.h"

enum sb_prefer {
  SB_PREFER_MARGIN, /* the highest down within three quarters of the widest margin: the cautious choice */
  SB_PREFER_TIME,   /* the most output turns of the machines as written, at half the widest margin at least */
  SB_PREFER_ENERGY  /* the least energy a turn of the machines as written, at half the widest margin at least */
};

/* One machine under one load. Same number of gears and same sensor in all. */
struct sb_tune_machine {
  struct sb_model model;
  int scenario;  /* index of the scenario it comes from */
  int sample;    /* 0: as written */
  bool is_light; /* among the few (as written, corners) that the search over dwells uses */
};

struct sb_tune_options {
  int pair;
  enum sb_prefer prefer;
  bool
      is_cautious; /* by the closed forms no machine has a hunting band or gets stuck low, whatever its own load does */
  int jobs;        /* threads, >= 1 */
  struct sb_map_axis axis; /* of both thresholds */
  /* Long work, as in study.h. Each survey of the machines is a study of its own. */
  uint64_t identity;        /* of the scenarios and options */
  const char *journal_stem; /* journals are STEM.1.part, STEM.2.part, ...; NULL: none */
  bool is_resumed;
  const volatile sig_atomic_t *stop;                         /* NULL: never */
  void (*on_progress)(void *context, long done, long total); /* may be NULL */
  void (*on_journal)(void *context, const char *path);       /* a journal to forget at the end */
  void *context;
};

/* The first failure on the way from the answer in one direction. */
struct sb_tune_limit {
  double margin_fraction; /* how far the threshold may move (steps that hold), of the reference */
  double fails_at_fraction;
  bool is_end;  /* no failure before the lattice's end or the other threshold */
  bool is_band; /* no failure of a run, but by the closed form the machine's hunting band opens there, */
  bool is_low;  /* or its slower gear no longer comes above up under its lightest load */
  int machine;  /* index of the first machine that fails there, -1 with is_end */
  struct sb_map_verdict verdict; /* what it comes to */
};

enum sb_tune_direction {
  SB_TUNE_DOWN_LOWER,
  SB_TUNE_DOWN_HIGHER,
  SB_TUNE_UP_LOWER,
  SB_TUNE_UP_HIGHER,
  SB_TUNE_DIRECTIONS
};

/* A single change that would open a region, found by trying it. */
enum sb_remedy {
  SB_REMEDY_NONE,
  SB_REMEDY_SENSOR,
  SB_REMEDY_DWELL,
  SB_REMEDY_VOLTAGE,
  SB_REMEDY_RATIO,
  SB_REMEDY_COUNT
};

struct sb_tune_result {
  bool is_interrupted; /* nothing else here is filled then */
  bool holds;          /* for every machine */
  bool is_cautious;    /* and the closed forms find no hunting band and nothing stuck low, as was asked for */
  double down_fraction, up_fraction;
  double dwell_s;
  double margin_fraction; /* in every direction at once */
  int failing;            /* machines that fail at the answer; 0 when it holds */
  int first_failing;      /* one of them, -1 */
  struct sb_map_verdict first_verdict;
  struct sb_tune_limit limits[SB_TUNE_DIRECTIONS];
  double least_dwell_s, greatest_dwell_s; /* that hold at these thresholds, as far as tried (a tenth to ten times) */
  double turns, energy_j;                 /* of the machines as written, summed, at the answer */
  size_t holding_points;                  /* lattice points at which all machines hold */
  enum sb_remedy remedy;                  /* when nothing holds */
  double remedy_amount; /* factor on dwell, voltage or the slower gear's ratio; resolution as a fraction */
  double remedy_margin_fraction;
};

struct sb_tune_options sb_tune_options_default(const struct sb_model *model);

/*
 * Searches. machines[count], count >= 1; nothing in them is changed. SB_OK also when nothing holds (holds false and the
 * least bad choice).
 */
enum sb_status sb_tune(const struct sb_tune_machine *machines, int count, const struct sb_tune_options *options,
                       struct sb_tune_result *result, struct sb_error *err);

/* What a machine comes to with these thresholds and dwell, in a run of its own. */
enum sb_status sb_tune_try(const struct sb_model *model, int pair, double down_fraction, double up_fraction,
                           double dwell_s, struct sb_map_verdict *verdict, struct sb_map_figures *figures,
                           struct sb_error *err);

/* The thresholds beyond which the closed forms let all machines hold, given the other threshold of the answer. */
struct sb_tune_closed {
  double least_up;      /* hunting band empty at this down */
  double greatest_up;   /* the slower gear still gets there under the lightest load */
  double greatest_down; /* the faster gear still holds the lightest load, and the band stays empty at this up */
};

struct sb_tune_closed sb_tune_closed_limits(const struct sb_tune_machine *machines, int count, int pair,
                                            double down_fraction, double up_fraction);

/* Why simulation and closed form part at a limit: what has to be taken away for them to meet again. */
enum sb_reason { SB_REASON_AGREE, SB_REASON_ROUNDING, SB_REASON_SAMPLING, SB_REASON_INERTIA, SB_REASON_LOAD };

/* Tries the limit's machine with an exact reading, then with a finer sample period too, then with less inertia. */
enum sb_status sb_tune_reason(const struct sb_tune_machine *machine, const struct sb_tune_options *options,
                              const struct sb_tune_result *result, enum sb_tune_direction direction,
                              double closed_fraction, enum sb_reason *reason, struct sb_error *err);

#endif
