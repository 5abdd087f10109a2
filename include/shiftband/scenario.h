// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * scenario.h - a scenario file read, checked and turned into a model.
 *
 * One table (src/scenario/schema.c) holds for every key its unit, range, default and meaning: the parser, its error texts
 * and the manual all come from it. All faults of a file are reported, not only the first. Limits: a file of 1 MiB,
 * 16 levels; anchors and aliases are refused.
 */
#ifndef SHIFTBAND_SCENARIO_H
#define SHIFTBAND_SCENARIO_H

#include <stddef.h>
#include <stdio.h>

#include "shiftband/model.h"
#include "shiftband/status.h"
#include "shiftband/units.h"

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

struct sb_scenario {
  struct sb_model model;
  int tolerance_count;
  struct sb_tolerance tolerances[SB_TOLERANCE_MAX];
  size_t key_count;
  const struct sb_scenario_key *keys; /* keys[key_count], in the order of the file's sections; in storage */
  size_t comma_count;                 /* tables whose decimal commas were read as points, at most that many named */
  const char *comma_tables[SB_COMMA_TABLE_MAX]; /* their paths; in storage */
  void *storage;                                /* tables the model points to; owned */
};

/* The faults of a file: each text is whole ("file:line:column: key: needs ..., found ..."), in order of place. */
struct sb_faults {
  size_t count;
  char **texts; /* texts[count], owned */
};

void sb_faults_clear(struct sb_faults *faults);

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

/* The same from text in memory; `path` is only the name used in messages and the folder of CSV tables. */
enum sb_status sb_scenario_parse(const char *path, const char *text, size_t length, const char *const *sets,
                                 size_t set_count, struct sb_scenario *out, struct sb_faults *faults);

void sb_scenario_clear(struct sb_scenario *scenario);

/* Writes the manual of all keys: section by section, with unit, range, default and meaning. Returns 0, or -1 (errno). */
int sb_scenario_write_keys(FILE *out);

#endif
