// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * study.h - the machine evaluated over changed keys, and added up.
 *
 * A study is a grid of points along axes (numbers of the scenario), at each of them the machine as written or random
 * samples of its tolerances. Each sample at each point is one task (tasks.h): it can be done anywhere, in any order.
 * Two evaluators know what a task is and what its results add up to:
 *
 *   runs    a run with the scenario's own thresholds, or someone else's controller: most keys act on the motion itself
 *   maps    the exact map of thresholds (map.h): over samples and over charges of a battery, where only thresholds vary
 *
 * A varied key has the point's value in all samples, whatever its tolerance. All that the results need to be read goes
 * with them as lines of text (facts.h), so that whole, resumed and joined results are the same by construction.
 *
 *   struct sb_study study;
 *   sb_study_plan(&request, &source, &study, &err)
 *   sb_study_begin(&work, &study, &source, &err); sb_tasks_run({.run_task = sb_study_run_task, .context = &work}, ...)
 *   sb_study_take(&study, &result, &report, &err); sb_study_write_csv() ...
 */
#ifndef SHIFTBAND_STUDY_STUDY_H
#define SHIFTBAND_STUDY_STUDY_H

#include <signal.h>

#include "shiftband/external_program.h"
#include "shiftband/map.h"
#include "shiftband/tasks.h"
#include "study/axis.h"
#include "text/json.h"

enum { SB_STUDY_AXIS_MAX = 6, SB_STUDY_POINTS_DEFAULT = 41, SB_STUDY_POINTS_FEWER = 11, SB_STUDY_TASKS_MAX = 2000000 };

enum sb_study_kind { SB_STUDY_RUNS, SB_STUDY_MAPS };

/* The form of the records: what has another one is not read. 2: they say what never shifts. */
enum { SB_STUDY_FORM = 2 };

struct sb_study {
  int form;        /* SB_STUDY_FORM */
  int kind;        /* enum sb_study_kind */
  int axis_count;  /* the first one varies fastest; maps: 0, or 1 over the charge, in fractions */
  int pair;        /* maps: which plane, and below the thresholds as written */
  bool is_whole;   /* maps: pictures show all of it */
  bool has_limits; /* runs: with the closed forms of each point */
  bool has_acting_load;
  char scenario[128];   /* its name */
  char controller[128]; /* name of someone else's; "": the built-in one */
  char slower[SB_NAME_SIZE], faster[SB_NAME_SIZE];
  char battery_caution[512];
  struct sb_axis axes[SB_STUDY_AXIS_MAX];
  long samples, seed; /* samples 0: the machine as written */
  struct sb_map_axis downshift, upshift;
  double downshift_fraction, upshift_fraction;
};

/* What is asked for; zero or NULL: not. */
struct sb_study_request {
  const char *pair, *downshift, *upshift; /* the plane, as in plane.h */
  const char *const *vary;                /* texts PATH=FROM..TO */
  size_t vary_count;
  long points; /* along each axis */
  long samples, seed, charges;
  bool has_limits;
};

/* The machine that is studied. */
struct sb_study_source {
  const char *path; /* of the scenario, for it is loaded again at each point */
  const char *const *sets;
  size_t set_count;
  const struct sb_scenario *nominal;
  const struct sb_decider *decider;  /* someone else's controller; NULL: the built-in one */
  const volatile sig_atomic_t *stop; /* as in map.h */
};

/* Lays out a study. SB_ERR_USAGE: the request is wrong; SB_ERR_SCENARIO: the scenario lacks something. */
enum sb_status sb_study_plan(const struct sb_study_request *request, const struct sb_study_source *source,
                             struct sb_study *study, struct sb_error *err);

/* Points of the grid; the index along an axis of one of them; samples at each, 1 as written; tasks. Pure. */
long sb_study_point_count(const struct sb_study *study);
int sb_study_index(const struct sb_study *study, long point, int axis);
long sb_study_sample_count(const struct sb_study *study);
long sb_study_task_count(const struct sb_study *study);

/* The number of tasks, however great: a study has at most SB_STUDY_TASKS_MAX. Pure. */
double sb_study_size(const struct sb_study *study);

/* The study as lines of text, and back. False when they are none. */
void sb_study_write(struct sb_lines *lines, const struct sb_study *study);
bool sb_study_read(const char *text, struct sb_study *study);

/* What the tasks share: context of sb_study_run_task(). */
struct sb_study_work {
  const struct sb_study *study;
  const struct sb_study_source *source;
  double *values; /* values[samples * tolerance_count], SI, owned: drawn in one pass */
};

enum sb_status sb_study_begin(struct sb_study_work *work, const struct sb_study *study,
                              const struct sb_study_source *source, struct sb_error *err);
void sb_study_end(struct sb_study_work *work);

/* A task of sb_tasks_run(). */
enum sb_status sb_study_run_task(void *work, long index, struct sb_lines *out, struct sb_error *err);

enum { SB_REFUSAL_MAX = 5 };

/* Samples that are no valid scenario: by their reasons, the first ones of which are kept. */
struct sb_refusals {
  long count;
  int kept_count;
  struct sb_refusal {
    const char *reason; /* reason[length], in the record of the first one */
    int length;
    long count, first_task;
  } kept[SB_REFUSAL_MAX];
};

/* What all tasks came to, read back and added up; the result stays in use. SB_ERR_SCENARIO when records are none. */
struct sb_study_report {
  const struct sb_study *study;
  struct sb_refusals refusals;
  void *points; /* by the evaluator; owned */
};

enum sb_status sb_study_take(const struct sb_study *study, const struct sb_tasks_result *result,
                             struct sb_study_report *report, struct sb_error *err);
void sb_study_report_clear(struct sb_study_report *report);

/* Tables: 0, or -1 when writing failed (errno). Limits: the closed forms at each point, of each pair of gears. */
int sb_study_write_csv(FILE *out, const struct sb_study_report *report);
int sb_study_write_limits(FILE *out, const struct sb_study_report *report);

/* The same facts for people, and as one object. */
enum sb_status sb_study_write_text(FILE *out, const struct sb_study_report *report, struct sb_error *err);
void sb_study_write_json(FILE *out, const struct sb_study_report *report);

#endif
