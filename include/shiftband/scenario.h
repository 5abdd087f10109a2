// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * scenario.h - a scenario file read, checked and turned into a model.
 *
 * One table (src/scenario/, a file each section) holds for every key its unit, range, default and meaning: the parser, its error texts
 * and the manual all come from it. All faults of a file are reported, not only the first. Limits: a file of 1 MiB,
 * 16 levels; anchors and aliases are refused.
 */
#ifndef SHIFTBAND_SCENARIO_H
#define SHIFTBAND_SCENARIO_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#include "shiftband/model.h"
#include "shiftband/status.h"
#include "shiftband/units.h"

#ifdef __cplusplus
extern "C" {
#endif

/* One spread from `tolerances:`: the key's path and its least and greatest value in SI units. */
struct sb_tolerance {
  char path[128];
  double nominal;
  double least;
  double greatest;
  double unit_scale; /* value * unit_scale with the unit behind it reads back: "motor.stall_torque=0.38 N.m" */
  char unit[16];     /* empty for a plain ratio */
};

enum { SB_TOLERANCE_MAX = 32, SB_COMMA_TABLE_MAX = 8 };

/* A number that a --set could give, whether it stands in the file or not: "controller.dwell", "load.parts.1.torque". */
struct sb_scenario_key {
  const char *path;
  enum sb_quantity quantity; /* what it takes */
  enum sb_quantity other;    /* what else it takes, or the same */
  bool is_whole;             /* a whole number without unit */
  bool is_given;             /* it stands in the file, or was set */
};

struct sb_choices;

struct sb_scenario {
  struct sb_model model;
  int tolerance_count;
  struct sb_tolerance tolerances[SB_TOLERANCE_MAX];
  size_t key_count;
  const struct sb_scenario_key *keys; /* keys[key_count], in the order of the file's sections; in storage */
  size_t comma_count;                 /* tables whose decimal commas were read as points, at most that many named */
  const char *comma_tables[SB_COMMA_TABLE_MAX]; /* their paths; in storage */
  const struct sb_choices
      *choices;           /* src/scenario/choices.h: what a design is chosen from; NULL: nothing; in storage */
  struct sb_faults notes; /* what was read otherwise than is written, one text each, with its place; owned */
  void *storage;          /* tables the model points to; owned */
};

/*
 * Reads a scenario; the path "-" is standard input, which is read once and kept. `sets` holds set_count
 * texts PATH=VALUE that replace or add single keys before anything is checked (gears by name or number, parts by number:
 * "controller.downshift_below=55 %", "gearbox.gears.slow.drag=2 mN.m").
 *
 * On success fills *out, to be released with sb_scenario_clear(). On failure returns SB_ERR_SCENARIO (faults filled),
 * SB_ERR_IO (one text: the file could not be read), SB_ERR_USAGE (a set that is not PATH=VALUE) or SB_ERR_MEMORY.
 * Always release faults with sb_faults_clear().
 */
enum sb_status sb_scenario_load(const char *path, const char *const *sets, size_t set_count, struct sb_scenario *out,
                                struct sb_faults *faults);

/*
 * A file that a scenario names (a table, a section of a motor) is read only where the scenario's folder or one below it holds it,
 * links followed, until this allows others. For the whole program; call it before other threads start.
 */
void sb_scenario_allow_outside(bool is_allowed);

/* The same from text in memory; `path` is only the name used in messages and the folder of CSV tables. */
enum sb_status sb_scenario_parse(const char *path, const char *text, size_t length, const char *const *sets,
                                 size_t set_count, struct sb_scenario *out, struct sb_faults *faults);

void sb_scenario_clear(struct sb_scenario *scenario);

/* Where a scenario comes from, to load it again with other values. */
struct sb_scenario_source {
  const char *path;
  const char *const *sets; /* sets[set_count] */
  size_t set_count;
};

enum { SB_CHANGE_MAX = 48, SB_CHANGE_SIZE = 192 };

/* Values that differ from the source's, as texts PATH=VALUE. Start with {.count = 0}; more than fit are left out. */
struct sb_changes {
  size_t count;
  char texts[SB_CHANGE_MAX][SB_CHANGE_SIZE];
};

void sb_scenario_add_change(struct sb_changes *changes, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* As sb_scenario_load(), with the changes behind the source's sets. */
enum sb_status sb_scenario_load_changed(const struct sb_scenario_source *source, const struct sb_changes *changes,
                                        struct sb_scenario *out, struct sb_faults *faults);

/*
 * Samples of a scenario within its tolerances. Every tolerance is a range of one key. Ways to sample it, all seeded and
 * the same on every machine:
 *
 *   nominal       the scenario as written
 *   corners       all combinations of least and greatest for up to 4 tolerances, else one tolerance at a time
 *   quasi-random  Sobol points (GSL), shifted by a seeded random vector: even coverage, for searching
 *   random        independent uniform draws (GSL mt19937): for shares with a confidence bound
 *
 * The reference speed of the reading stays that of the nominal scenario unless it has a tolerance of its own: a
 * controller does not know that its motor is a slow one.
 */
enum sb_samples_kind { SB_SAMPLES_SEARCH, SB_SAMPLES_RANDOM };

/* Number of corner samples of a scenario: 0 without tolerances. */
int sb_samples_corner_count(const struct sb_scenario *scenario);

/*
 * Values, in SI, of all tolerances of the first `count` samples, in one pass: values[count * tolerance_count]. The first
 * ones of more samples are the same.
 *   SEARCH: 0 nominal, then the corners, then quasi-random points.    RANDOM: all random.
 * SB_ERR_MEMORY, or SB_ERR_NUMERICS when there are more tolerances than Sobol dimensions (40).
 */
enum sb_status sb_samples_draw(const struct sb_scenario *scenario, enum sb_samples_kind kind, unsigned long seed,
                               int count, double *values, struct sb_error *err);

/* Adds the values of one sample, and what must not follow them, to the changes. */
void sb_samples_change(const struct sb_scenario *nominal, const double *values, struct sb_changes *changes);

/* One sample in words, of what differs from the scenario as written: "supply.open_circuit_voltage 9.6 V,
 * motor.stall_torque 0.38 N.m"; "nominal" when nothing does. */
const char *sb_samples_words(const struct sb_scenario *nominal, const double *values, char *text, size_t size);

/* Writes the manual of all keys: section by section, with unit, range, default and meaning. Returns 0, or -1 (errno). */
int sb_scenario_write_keys(FILE *out);

/* The same as a JSON Schema (draft 7) on one line, for editors and validators: keys, types and units, no ranges of numbers with
 * units, and nothing that keys demand of each other. Returns 0, or -1 (errno). */
int sb_scenario_write_schema(FILE *out);

/* All dotted paths that a --set takes, with 1 for each number, a space behind each; or with has_words a line of a shell's `case` for
 * each, `key:PATH) echo 'WORDS' ;;`: kinds, choices, and units behind an @. For the completion of shells. */
void sb_scenario_write_paths(FILE *out, bool has_words);

#ifdef __cplusplus
}
#endif

#endif
