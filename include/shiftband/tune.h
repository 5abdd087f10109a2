// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * tune.h - thresholds and dwell of one gear pair that pass for many machines at once: several loads, and the samples of
 * their tolerances.
 *
 * Each machine's exact map (map.h) says where it passes. A lattice point's margin is how far, in lattice steps and in any
 * direction at once, one may move before the first machine fails; thresholds out of order and the lattice's ends count
 * as failures. So does a point at which no machine ever shifts: it passes, but decides nothing. So does, for a cautious
 * search, a hunting band by the closed form: a run does not hunt when its load never stays in the band, but the next load
 * may. Only when nothing is left then is caution dropped, and said so. The search goes over a few dwells, shortest first,
 * and takes the shortest whose best margin is nearly as wide as the widest. Nothing is taken from a map alone: the answer and
 * its alternatives are run on their own for every machine.
 */
#ifndef SHIFTBAND_TUNE_H
#define SHIFTBAND_TUNE_H

#include <signal.h>
#include <stdint.h>

#include "shiftband/map.h"

#ifdef __cplusplus
extern "C" {
#endif

/*
 * Which of the points that pass is recommended. Speed is the mean speed of the output, to and fro, over the machines as
 * written; charge is that for the same distance.
 */
#define SB_TUNE_SPEED_KEPT 0.98 /* of the greatest speed of any point */
#define SB_TUNE_CHARGE_KEPT 1.1 /* of the least charge of any point */
#define SB_TUNE_MARGIN_KEPT 0.5 /* of the widest margin of any point, by those who prefer time or energy */

enum sb_prefer {
  SB_PREFER_MARGIN, /* the widest margin of those that keep both speed and charge; where there are none, of those that keep the speed */
  SB_PREFER_TIME,  /* the greatest speed of those that keep the margin */
  SB_PREFER_ENERGY /* the least charge of those that keep the margin */
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
  bool
      is_any_load; /* the recommended choice is proved for every load within the bounds, if there is one (prove.h); two gears */
  bool is_fixed; /* keeps the thresholds of the first machine and only describes them */
  bool is_rough; /* leaves out limits and remedies: for a round that others follow */
  bool is_brief; /* leaves out limits, remedies and alternatives, and of what it withstands all but more load */
  int jobs;      /* threads, >= 1; 0: all cores */
  struct sb_map_axis axis; /* of both thresholds */
  struct sb_control own;   /* the scenario's own thresholds and dwell, to stand beside the answer */
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

/* The thresholds up to which, by the closed forms, all machines pass, with the other threshold of the answer. */
struct sb_tune_closed {
  double least_upshift;              /* from here on no hunting band */
  double greatest_upshift;           /* the slower gear still exceeds it under the lightest load */
  double greatest_downshift_band;    /* up to here no hunting band */
  double greatest_downshift_carried; /* the faster gear still carries the lightest load above it */
};

/* Why simulation and closed form differ at a limit: what has to be removed from the machine for them to agree. */
#define SB_REASON_LIST(X)                                                                                    \
  X(SB_REASON_AGREE, "they agree")                                                                           \
  X(SB_REASON_ROUNDING, "they differ by the sensor's counts")                                                \
  X(SB_REASON_NOISE, "they differ by the reading's noise")                                                   \
  X(SB_REASON_FILTER, "they differ by the reading's filter")                                                 \
  X(SB_REASON_SAMPLING, "they differ by the time between samples, or by debounce_samples")                   \
  X(SB_REASON_INERTIA, "they differ by the inertia: the load changes before the machine is in steady state") \
  X(SB_REASON_LOAD, "they differ by the load profile, which never stays where the closed form assumes it")

enum sb_reason {
#define SB_REASON_CODE(code, text) code,
  SB_REASON_LIST(SB_REASON_CODE)
#undef SB_REASON_CODE
};

/* The first failure on the way from the answer in one direction. */
struct sb_tune_limit {
  double margin_fraction;   /* distance to the first failure, or to the end, of the reference */
  double fails_at_fraction; /* where it is */
  bool is_end;              /* no failure before the lattice's end or the other threshold */
  bool is_fixed;            /* no failure, but no machine shifts any more */
  bool is_band;             /* no failure of a run, but by the closed form the machine's hunting band opens there, */
  bool is_low;              /* or its slower gear no longer exceeds upshift_above under its lightest load */
  int machine;              /* index of the first machine that fails there, -1 with is_end */
  struct sb_map_verdict verdict; /* what it comes to */
  double closed_fraction;        /* by sb_tune_explain(): the closed form about the same failure; NAN: there is none */
  enum sb_reason reason;         /* why it differs from fails_at_fraction */
};

/* The same for the dwell, in whole samples. */
struct sb_tune_dwell_limit {
  double passes_s; /* the last dwell on the way that passes */
  bool is_end;     /* nothing fails as far as was tried (a tenth, ten times) */
  int machine;     /* that fails a sample further; -1 with is_end */
  struct sb_map_verdict verdict;
  long tried_count, untried_count; /* whole samples from the answer's dwell to that one, or to the one that fails */
};

enum sb_tune_direction {
  SB_TUNE_DOWNSHIFT_LOWER,
  SB_TUNE_DOWNSHIFT_HIGHER,
  SB_TUNE_UPSHIFT_LOWER,
  SB_TUNE_UPSHIFT_HIGHER,
  SB_TUNE_DIRECTIONS
};

/* A single change that would open a region, found by trying it on all machines. */
enum sb_remedy {
  SB_REMEDY_NONE,
  SB_REMEDY_DWELL,     /* amount: factor on the dwell */
  SB_REMEDY_REFERENCE, /* a reference that follows the measured supply */
  SB_REMEDY_SENSOR,    /* amount: the resolution, a fraction of the reference */
  SB_REMEDY_VOLTAGE,   /* amount: factor on the supply's voltage */
  SB_REMEDY_RATIO,     /* amount: factor on the slower gear's reduction */
  SB_REMEDY_COUNT
};

/* What may be more or less than the scenario says. */
enum sb_tune_quantity { SB_TUNE_LOAD, SB_TUNE_VOLTAGE, SB_TUNE_INERTIA, SB_TUNE_FRICTION, SB_TUNE_QUANTITY_COUNT };

/* "load", "voltage", "inertia", "friction". */
const char *sb_tune_quantity_name(enum sb_tune_quantity quantity);

/* How far one quantity of all machines may be more, or less, until one of them fails at the answer. */
struct sb_tune_reserve {
  enum sb_tune_quantity quantity;
  bool is_more;
  double passes_share,
      fails_share; /* of the quantity, less than 0 for less: the last tried that passes, the first that fails */
  bool is_end;     /* nothing fails as far as was tried, which is passes_share */
  int machine;     /* that fails, -1 with is_end */
  struct sb_map_verdict verdict;
};

enum { SB_TUNE_ALTERNATIVE_MAX = 4, SB_TUNE_CHOICE_MAX = SB_TUNE_ALTERNATIVE_MAX + 1 + SB_GEAR_MAX };

/* What thresholds, or one gear locked, come to in runs of all machines. */
struct sb_tune_choice {
  const char
      *name; /* "recommended", "fastest", "least charge", "widest margin", "scenario", "locked": constant strings */
  int locked_gear;                                      /* from 1; 0: by thresholds */
  double downshift_fraction, upshift_fraction, dwell_s; /* NAN with a locked gear */
  int failing;                                          /* machines */
  int first_failing;                                    /* -1: none */
  struct sb_map_verdict first_verdict;
  /* Of the machines as written, summed, and their mean speed. */
  double time_s, way_rad, speed_rad_s, energy_j;
  double charge_as; /* NAN without currents */
  long shift_count;
  /* Greatest of all machines; NAN: not known. */
  double current_a, winding_c;
  double margin_fraction; /* NAN: not known */
};

/* What `prove` says of the answer in all machines, where that was asked for. */
struct sb_tune_any_load {
  bool is_asked;
  bool is_proved;    /* all is proved in all machines, but for the standstill */
  bool is_alone;     /* but the answer keeps neither the speed nor the charge of others */
  double swing_nm;   /* the least of all machines; INFINITY: no load within the bounds makes one shift for ever */
  double standing_s; /* the longest standstill in gear of all machines, */
  bool is_standing;  /* longer than limits.stall_time of its machine */
  double return_s, reaction_s;      /* the longest of all machines; NAN: none is needed */
  int swing_machine, first_failing; /* -1: none */
};

struct sb_tune_result {
  struct sb_tune_any_load any_load;
  bool passes;      /* in every machine */
  bool is_cautious; /* and the closed forms find no hunting band and nothing stuck low */
  double downshift_fraction, upshift_fraction;
  double dwell_s;
  double margin_fraction; /* distance to the nearest failure, in any direction at once */
  int failing;            /* machines that fail at the answer; 0 when it passes */
  int first_failing;      /* one of them, -1 */
  struct sb_map_verdict first_verdict;
  struct sb_tune_limit limits[SB_TUNE_DIRECTIONS];
  struct sb_tune_dwell_limit shortest_dwell, longest_dwell;
  struct sb_tune_closed closed; /* by sb_tune_explain() */
  double turns, energy_j;       /* of the machines as written, summed, at the answer */
  int reserve_count; /* of quantities that mean something here, when the answer passes; none of a rough search */
  struct sb_tune_reserve reserves[2 * SB_TUNE_QUANTITY_COUNT];
  /* Choices: alternatives, of which none is worse in everything, the recommended one first; then the scenario's own
   * thresholds, and each gear locked. None of a rough search. */
  int alternative_count, choice_count;
  struct sb_tune_choice choices[SB_TUNE_CHOICE_MAX];
  bool is_speed_alone;   /* nothing keeps both speed and charge: the recommended one keeps the speed */
  bool never_shifts;     /* something passes, but no machine shifts there; passes is false */
  int needed_gear;       /* from 1: this gear alone does as well in every machine; 0: none does */
  enum sb_remedy remedy; /* when nothing passes */
  double remedy_amount;
  double remedy_margin_fraction;
  double
      reference_margin_fraction; /* what SB_REMEDY_REFERENCE gives, whatever the remedy is; 0: nothing, NAN: not asked */
};

struct sb_tune_options sb_tune_options_default(const struct sb_model *model);

/*
 * Searches. machines[count], count >= 1; nothing in them is changed. SB_OK also when nothing passes (passes false and the
 * least bad choice); SB_ERR_STOPPED when options->stop was raised.
 */
enum sb_status sb_tune(const struct sb_tune_machine *machines, int count, const struct sb_tune_options *options,
                       struct sb_tune_result *result, struct sb_error *err);

/* What a machine comes to with these thresholds and dwell, in a run of its own. */
enum sb_status sb_tune_try(const struct sb_model *model, int pair, double downshift_fraction, double upshift_fraction,
                           double dwell_s, struct sb_map_verdict *verdict, struct sb_map_figures *figures,
                           struct sb_error *err);

struct sb_tune_closed sb_tune_closed_limits(const struct sb_tune_machine *machines, int count, int pair,
                                            double downshift_fraction, double upshift_fraction);

/* The reason in words, a constant string. */
const char *sb_reason_text(enum sb_reason reason);

/*
 * Fills closed and, for each limit that a closed form is about, closed_fraction and reason of a result of sb_tune() for these
 * machines and options, without a controller of somebody else. One thing after the other is removed from the limit's machine, in the order
 * of the list, until simulation and closed form agree.
 */
enum sb_status sb_tune_explain(const struct sb_tune_machine *machines, int count, const struct sb_tune_options *options,
                               struct sb_tune_result *result, struct sb_error *err);

#ifdef __cplusplus
}
#endif

#endif
