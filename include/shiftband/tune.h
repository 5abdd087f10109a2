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
      is_cautious; /* by the closed forms no machine may have a hunting band or get stuck low, whatever its load does */
  double dwell_s;  /* > 0: this dwell; 0: searches for one */
  bool is_fixed;   /* keeps the thresholds of the first machine and only describes them */
  bool is_rough;   /* leaves out limits and remedies: for a round that others follow */
  int jobs;        /* threads, >= 1; 0: all cores */
  struct sb_map_axis axis; /* of both thresholds */
  /* Someone else's controller: each lattice point is a run of its own, and between two points nothing is known; the closed
   * forms speak of ours, so is_cautious must be false. No remedy is searched for. NULL: ours, by exact maps. */
  const struct sb_decider *decider;
  /* Long work, as in tasks.h. Each survey of the machines is a study of its own. */
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
  double margin_fraction;   /* distance to the first failure, or to the end, of the reference */
  double fails_at_fraction; /* where it is */
  bool is_end;              /* no failure before the lattice's end or the other threshold */
  bool is_band;             /* no failure of a run, but by the closed form the machine's hunting band opens there, */
  bool is_low;              /* or its slower gear no longer comes above up under its lightest load */
  int machine;              /* index of the first machine that fails there, -1 with is_end */
  struct sb_map_verdict verdict; /* what it comes to */
};

/* The same for the dwell, in whole samples. */
struct sb_tune_dwell_limit {
  double holds_s; /* the last dwell that holds on the way */
  bool is_end;    /* nothing fails as far as was tried (a tenth, ten times) */
  int machine;    /* that fails a sample further; -1 with is_end */
  struct sb_map_verdict verdict;
};

enum sb_tune_direction {
  SB_TUNE_DOWN_LOWER,
  SB_TUNE_DOWN_HIGHER,
  SB_TUNE_UP_LOWER,
  SB_TUNE_UP_HIGHER,
  SB_TUNE_DIRECTIONS
};

/* A single change that would open a region, found by trying it on all machines. */
enum sb_remedy {
  SB_REMEDY_NONE,
  SB_REMEDY_DWELL,   /* amount: factor on the dwell */
  SB_REMEDY_SENSOR,  /* amount: the resolution, a fraction of the reference */
  SB_REMEDY_VOLTAGE, /* amount: factor on the supply's voltage */
  SB_REMEDY_RATIO,   /* amount: factor on the slower gear's reduction */
  SB_REMEDY_COUNT
};

struct sb_tune_result {
  bool holds;       /* for every machine */
  bool is_cautious; /* and the closed forms find no hunting band and nothing stuck low */
  double downshift_fraction, upshift_fraction;
  double dwell_s;
  double margin_fraction; /* distance to the nearest failure, in any direction at once */
  int failing;            /* machines that fail at the answer; 0 when it holds */
  int first_failing;      /* one of them, -1 */
  struct sb_map_verdict first_verdict;
  struct sb_tune_limit limits[SB_TUNE_DIRECTIONS];
  struct sb_tune_dwell_limit shortest_dwell, longest_dwell;
  double turns, energy_j; /* of the machines as written, summed, at the answer */
  enum sb_remedy remedy;  /* when nothing holds */
  double remedy_amount;
  double remedy_margin_fraction;
};

struct sb_tune_options sb_tune_options_default(const struct sb_model *model);

/*
 * Searches. machines[count], count >= 1; nothing in them is changed. SB_OK also when nothing holds (holds false and the
 * least bad choice); SB_ERR_STOPPED when options->stop was raised.
 */
enum sb_status sb_tune(const struct sb_tune_machine *machines, int count, const struct sb_tune_options *options,
                       struct sb_tune_result *result, struct sb_error *err);

/* What a machine comes to with these thresholds and dwell, in a run of its own. */
enum sb_status sb_tune_try(const struct sb_model *model, int pair, double downshift_fraction, double upshift_fraction,
                           double dwell_s, struct sb_map_verdict *verdict, struct sb_map_figures *figures,
                           struct sb_error *err);

/* The thresholds beyond which the closed forms let all machines hold, given the other threshold of the answer. */
struct sb_tune_closed {
  double least_up;           /* hunting band empty at this down */
  double greatest_up;        /* the slower gear still gets there under the lightest load */
  double greatest_down_band; /* hunting band empty at this up */
  double greatest_down_hold; /* the faster gear still holds the lightest load */
};

struct sb_tune_closed sb_tune_closed_limits(const struct sb_tune_machine *machines, int count, int pair,
                                            double downshift_fraction, double upshift_fraction);

/* Why simulation and closed form part at a limit: what has to be taken away for them to meet again. */
#define SB_REASON_LIST(X)                                                                    \
  X(SB_REASON_AGREE, "they agree")                                                           \
  X(SB_REASON_ROUNDING, "the reading's rounding parts them")                                 \
  X(SB_REASON_NOISE, "the reading's noise parts them")                                       \
  X(SB_REASON_FILTER, "the reading's filter parts them")                                     \
  X(SB_REASON_SAMPLING, "the time between samples, or the debounce count, parts them")       \
  X(SB_REASON_INERTIA, "inertia parts them: the load moves faster than the machine settles") \
  X(SB_REASON_LOAD, "the load's course parts them: it never stays where the closed form puts it")

enum sb_reason {
#define SB_REASON_CODE(code, text) code,
  SB_REASON_LIST(SB_REASON_CODE)
#undef SB_REASON_CODE
};

/* The reason in words, a constant string. */
const char *sb_reason_text(enum sb_reason reason);

/* Takes away one thing after the other from the limit's machine, in the order of the list, until they meet. */
enum sb_status sb_tune_reason(const struct sb_tune_machine *machine, const struct sb_tune_options *options,
                              const struct sb_tune_result *result, enum sb_tune_direction direction,
                              double closed_fraction, enum sb_reason *reason, struct sb_error *err);

#endif
